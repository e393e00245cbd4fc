"""Noise mixed from parts whose powers are known: whine, hum, a fixed tone, hiss and ticks."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis import Analysis, Channel
from tests.analysis.making import analysis_of

Floats = npt.NDArray[np.float64]

RATE_HZ, FRAMES = 24_000.0, 8 * 24_000
SUPPLY = Channel("b", "supply", "V", "DC", scale_uncertainty=0.005)
SIGNAL = Channel("s", "signal", "V", "AC", scale_uncertainty=0.0)


def ticks(
    rate_hz: float,
    frames: int,
    pulses_hz: float,
    jitter: float,
    seed: int,
    *,
    decay_s: float = 3e-4,
    ring_hz: float = 3e3,
) -> Floats:
    """Ringing pulses at places between samples; each distance scatters by `jitter` times the mean. rms 1."""
    generator = np.random.default_rng([seed, 77])
    count = int(frames / rate_hz * pulses_hz * 1.2) + 10
    times = np.cumsum((1 + jitter * generator.standard_normal(count)) / pulses_hz)
    samples, length = np.zeros(frames), int(8 * decay_s * rate_hz)
    for time in times[times < frames / rate_hz]:
        first = int(np.ceil(time * rate_hz))
        after = (first + np.arange(min(length, frames - first))) / rate_hz - time
        samples[first : first + len(after)] += np.exp(-after / decay_s) * np.sin(2 * np.pi * ring_hz * after)
    return np.asarray(samples / np.sqrt(np.mean(samples**2)))


def frames(rate_hz: float, count: int, frame_hz: float, duty: float = 0.125, idle_every: int = 26) -> Floats:
    """A carrier-like tone keyed on for `duty` of each frame, every 26th frame silent. rms 1."""
    place = np.arange(count) / rate_hz * frame_hz
    on = (place % 1 < duty) & (np.floor(place) % idle_every != idle_every - 1)
    noise = on * np.random.default_rng(5).standard_normal(count)
    return np.asarray(noise / np.sqrt(np.mean(noise**2)))


@dataclass(frozen=True)
class Mixture:
    """What was mixed: rms in V by aggressor, and what came out."""

    truth: dict[str, float]
    analysis: Analysis


def mixture(seed: int) -> Mixture:
    """A vehicle at a random speed: its alternator's order is no whole number, as a belt makes it."""
    pick = np.random.default_rng(seed)
    time = np.arange(FRAMES) / RATE_HZ
    rpm = pick.uniform(700, 2500)
    whine_hz = pick.choice([72.0, 86.0, 90.0, 104.0]) * pick.uniform(0.96, 1.04) * rpm / 60
    truth: dict[str, float] = {}

    def part(name: str, tones: dict[float, float]) -> Floats:
        """Tones by frequency with their rms, at random phases."""
        truth[name] = 1e-3 * float(np.sqrt(sum(rms**2 for rms in tones.values())))
        waves = [rms * np.cos(2 * np.pi * hz * time + pick.uniform(0, 2 * np.pi)) for hz, rms in tones.items()]
        return np.asarray(1e-3 * np.sqrt(2) * np.sum(waves, axis=0))

    multiples = [k for k in range(1, 5) if k * whine_hz < 0.45 * RATE_HZ]
    level = _level(pick, 0.3, 3)
    whine = part("alternator", {k * whine_hz: level / k**2 for k in multiples})
    mains_hz, hum_level = pick.uniform(49.9, 50.1), _level(pick, 0.1, 2)
    hum = part("mains", {k * mains_hz: hum_level / k for k in (1, 2, 3)})
    fixed = part("converter", {pick.uniform(3000, 9000): _level(pick, 0.1, 1)})
    pulses_hz = pick.choice([2, 4, 6]) * rpm / 120
    shape = {"decay_s": _level(pick, 2e-4, 6e-4), "ring_hz": pick.uniform(1500, 4000)}
    truth["ignition"] = 1e-3 * _level(pick, 0.15, 2)
    pulses = ticks(RATE_HZ, FRAMES, pulses_hz, pick.choice([0, 0.002, 0.01]), seed, **shape)
    # 20 Hz to half the rate of a white noise that reaches from 0 to there.
    truth["broadband"] = 1e-3 * float(np.sqrt(1 - 20 / (RATE_HZ / 2)))
    hiss = 1e-3 * pick.standard_normal(FRAMES)
    supply = 13.8 + 50 / level * whine + 1e-3 * pick.standard_normal(FRAMES)
    rows = np.stack([supply, whine + hum + fixed + hiss + truth["ignition"] * pulses], axis=1)
    return Mixture(truth, analysis_of(rows, RATE_HZ, SUPPLY, SIGNAL, size=None, engine_rpm=rpm))


def _level(pick: np.random.Generator, low: float, high: float) -> float:
    return float(np.exp(pick.uniform(np.log(low), np.log(high))))


def coverage_of(seeds: range) -> dict[str, float]:
    """Per aggressor, the share of mixtures whose entry's uncertainty reaches the truth; "unexplained" is none."""
    hits: dict[str, list[bool]] = {}
    for seed in seeds:
        mixed = mixture(seed)
        entries = {entry.aggressor: entry for entry in mixed.analysis.ledger[0].entries}
        for name, truth in {**mixed.truth, "unexplained": 0.0}.items():
            entry = entries.get(name)  # type: ignore[call-overload]
            hits.setdefault(name, []).append(entry is not None and abs(entry.rms - truth) <= entry.uncertainty)
    return {name: float(np.mean(found)) for name, found in hits.items()}
