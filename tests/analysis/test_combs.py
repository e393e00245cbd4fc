"""Combs and sidebands: found with members missing, several at once, among unrelated lines as rarely as stated."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pytest
import soundfile

from analysis import LineTracker
from analysis._combs import FALSE_ALARM, Comb, Sidebands, find_combs, find_sidebands
from tests.analysis.making import Floats, candidates_of, feed, sine, tracks_of, white

RATE_HZ = 8000.0
CLOCK = 1e-4


@dataclass(frozen=True)
class Tone:
    frequency_hz: float
    frequency_uncertainty_hz: float
    reading_uncertainty_hz: float | None
    rms: float


def tone(frequency_hz: float, own_hz: float = 0.01, rms: float = 1.0) -> Tone:
    """A line with an expanded uncertainty of its own, and the clock's."""
    return Tone(frequency_hz, float(np.hypot(own_hz, CLOCK * frequency_hz)), own_hz, rms)


def scattered(frequencies: list[float] | Floats, seed: int = 0, own_hz: float = 0.01) -> list[Tone]:
    """Lines read with errors as large as their uncertainties say."""
    errors = np.random.default_rng(seed).normal(0, own_hz / 2, len(frequencies))
    return [tone(float(f + e), own_hz) for f, e in zip(frequencies, errors, strict=True)]


def multiples(comb: Comb) -> list[int]:
    return [member.multiple for member in comb.members]


@pytest.mark.parametrize(
    "present", ([1, 2, 3, 4], [1, 3, 5, 7], [2, 3, 5], [3, 4, 5, 6, 9], [2, 3, 7, 11, 13], [5, 7, 11, 13, 17])
)
@pytest.mark.parametrize("seed", range(5))
def test_members_may_be_missing_the_fundamental_too(present: list[int], seed: int) -> None:
    (comb,) = find_combs(scattered([50.013 * n for n in present], seed), RATE_HZ)
    assert multiples(comb) == present
    assert comb.fundamental_hz == pytest.approx(50.013, abs=comb.uncertainty_hz)
    assert comb.chance <= FALSE_ALARM
    assert comb.power == pytest.approx(len(present))


@pytest.mark.parametrize("present, base", (([2, 4, 6, 8], 2), ([3, 6, 9], 3), ([6, 12, 18, 24], 6)))
def test_no_fraction_of_the_fundamental_is_told(present: list[int], base: int) -> None:
    (comb,) = find_combs(scattered([50.0 * n for n in present]), RATE_HZ)
    assert comb.fundamental_hz == pytest.approx(50.0 * base, abs=comb.uncertainty_hz)
    assert multiples(comb) == [n // base for n in present]


def test_a_faint_line_does_not_halve_the_fundamental_a_weak_one_does() -> None:
    """A subharmonic 40 dB below tells of a fault and belongs to the comb; one 90 dB below is left over."""
    for rms, expected in ((1e-2, [2, 4, 5, 6, 8]), (3e-5, [1, 2, 3, 4])):
        lines = [tone(50.0 * n) for n in range(1, 5)] + [tone(125.0, rms=rms)]
        (comb,) = find_combs(lines, RATE_HZ)
        assert multiples(comb) == expected


def test_three_combs_at_once_among_strays() -> None:
    """Mains 50 Hz, an alternator's ripple at 211.3 Hz, ignition at 27.9 Hz, and lines of nothing in particular."""
    wanted = {50.02: [1, 2, 3, 5, 7, 9], 211.3: [1, 2, 3, 4, 6], 27.9: [1, 2, 3, 4, 5, 6, 8]}
    strays = [83.21, 431.7, 1234.56, 1717.17]
    frequencies = [base * n for base, present in wanted.items() for n in present] + strays
    combs = find_combs(scattered(frequencies, 3), RATE_HZ)
    found = {round(comb.fundamental_hz, 1): multiples(comb) for comb in combs}
    assert found == {round(base, 1): present for base, present in wanted.items()}
    used = [member.line for comb in combs for member in comb.members]
    assert len(used) == len(set(used)) == len(frequencies) - len(strays)


@pytest.mark.parametrize("number, own_hz", ((8, 0.01), (40, 0.01), (40, 0.1), (40, 1.0)))
def test_unrelated_lines_show_a_comb_hardly_ever(number: int, own_hz: float) -> None:
    """At most at the stated rate: of 60 sets a binomial of 1 % gives more than four in one of 4000 runs."""
    alarms = 0
    for seed in range(60):
        frequencies = np.random.default_rng(seed).uniform(20, 3500, number)
        alarms += bool(find_combs([tone(float(f), own_hz) for f in frequencies], RATE_HZ))
    assert alarms <= 3


def test_the_chance_is_the_inverse_of_the_likelihood_ratio() -> None:
    """By hand: the first line gives the fundamental, two more hit 100 Hz within 3 of their standard uncertainties,
    each of which an unrelated line does with p; three lines were tried, whole fundamentals with the weight 6/pi^2."""
    (comb,) = find_combs([tone(100.0, 0.2), tone(200.0, 0.2), tone(300.0, 0.2)], RATE_HZ)
    spread = 0.1 / np.sqrt(1 + 4 + 9)
    p = [2 * 3 * np.hypot(0.1, n * spread) / 100 for n in (2, 3)]
    ratio = np.mean([np.prod([q / each + 1 - q for each in p]) for q in (0.1, 0.3, 0.6, 0.9)])
    assert comb.chance == pytest.approx(3 / ratio / (6 / np.pi**2), rel=1e-6)


def test_the_fundamental_is_as_sure_as_all_its_members_make_it() -> None:
    """Weighted least squares through the origin; the clock's share is common to all and not averaged away."""
    errors, own = [], []
    for seed in range(300):
        (comb,) = find_combs(scattered([61.7 * n for n in range(1, 11)], seed, 0.05), RATE_HZ)
        errors.append(comb.fundamental_hz - 61.7)
        own.append(np.sqrt(comb.uncertainty_hz**2 - (CLOCK * comb.fundamental_hz) ** 2))
    theory = 0.025 / np.sqrt(sum(n**2 for n in range(1, 11)))
    assert np.std(errors) == pytest.approx(theory, rel=0.15)
    assert 0.9 < np.mean(np.abs(errors) <= np.array(own)) <= 1


def test_two_lines_are_no_comb_and_none_is_none() -> None:
    assert find_combs([tone(50.0), tone(100.0)], RATE_HZ) == []
    assert find_combs([], RATE_HZ) == []
    assert find_sidebands([]) == []


def test_without_a_reading_the_stated_uncertainty_less_the_clock_counts() -> None:
    lines = [tone(n * 50.0) for n in range(1, 5)]
    bare = [replace(line, reading_uncertainty_hz=None) for line in lines]
    (told,), (worked_out,) = find_combs(lines, RATE_HZ), find_combs(bare, RATE_HZ)
    assert worked_out.chance == pytest.approx(told.chance)
    assert worked_out.members == told.members


def test_lines_too_unsure_to_tell_are_no_comb() -> None:
    """Known to a bin only: any fundamental would hit them."""
    assert find_combs([tone(50.0 * n, 15.0) for n in range(1, 6)], RATE_HZ) == []


# ------------------------------------------------------------------ sidebands


def pairs(bands: Sidebands) -> list[int]:
    return [member.multiple for member in bands.members]


def test_sidebands_are_tied_to_their_carrier() -> None:
    """A converter at 1480 Hz whose load draws 7.3 Hz pulses, beside mains hum."""
    hum = [tone(50.0 * n, rms=0.5) for n in range(1, 6)]
    sides = [tone(1480.2 + 7.3 * n, rms=0.1 / abs(n)) for n in (-2, -1, 1, 2)]
    lines = [*hum, tone(1480.2, rms=1.0), *sides, tone(1600.0, rms=0.05)]
    combs = find_combs(lines, RATE_HZ)
    (bands,) = find_sidebands(lines, combs)
    assert lines[bands.carrier].frequency_hz == 1480.2
    assert bands.spacing_hz == pytest.approx(7.3, abs=bands.uncertainty_hz)
    assert pairs(bands) == [-2, -1, 1, 2]


def test_harmonics_are_no_sidebands_of_each_other() -> None:
    lines = [tone(50.0 * n, rms=1.0 / abs(n - 8.5)) for n in range(5, 14)]
    combs = find_combs(lines, RATE_HZ)
    assert len(combs) == 1
    assert find_sidebands(lines, combs) == []


def test_a_lopsided_pair_is_no_pair() -> None:
    assert find_sidebands([tone(1000.0), tone(990.0, rms=0.3), tone(1010.0, rms=0.01)]) == []
    assert find_sidebands([tone(1000.0), tone(990.0, rms=0.3), tone(1011.0, rms=0.3)]) == []
    assert len(find_sidebands([tone(1000.0), tone(990.0, rms=0.3), tone(1010.0, rms=0.3)])) == 1


def test_unrelated_lines_show_sidebands_hardly_ever() -> None:
    alarms = 0
    for seed in range(200):
        chance = np.random.default_rng(seed)
        lines = [
            tone(f, 0.02, rms) for f, rms in zip(chance.uniform(20, 3500, 40), chance.uniform(0, 1, 40), strict=True)
        ]
        alarms += bool(find_sidebands(lines))
    assert alarms <= 6


# ------------------------------------------------------------------ from samples


def test_from_samples_a_swaying_alternator_over_mains() -> None:
    """Members of the one comb wander together; those of the other stand still. Both fundamentals come out right."""
    frames = 80_000
    place = np.arange(frames) / 4000.0
    turns = 183.4 * place - 2.0 * np.cos(2 * np.pi * place / 4) / np.pi
    samples = white(1, 1e-3, frames)
    for n, rms in ((1, 0.05), (2, 0.2), (3, 0.04), (4, 0.03)):
        samples += np.sqrt(2) * rms * np.cos(2 * np.pi * n * turns + n)
    for n, rms in ((1, 0.1), (3, 0.04), (5, 0.03), (7, 0.01)):
        samples += sine(50.03 * n, rms, 4000.0, frames, n)
    tracks = tracks_of(samples, 4000.0)
    combs = {round(comb.fundamental_hz): comb for comb in find_combs(tracks, 4000.0)}
    assert set(combs) == {50, 183}
    assert multiples(combs[50]) == [1, 3, 5, 7]
    assert combs[50].fundamental_hz == pytest.approx(50.03, abs=combs[50].uncertainty_hz)
    assert multiples(combs[183]) == [1, 2, 3, 4]
    assert combs[183].fundamental_hz == pytest.approx(183.4, abs=combs[183].uncertainty_hz)


def test_modulated_tone_from_samples() -> None:
    """cos(c t) (1 + m cos(s t)) = a carrier and two sidebands of m / 2 each: closed form."""
    frames = 40_000
    place = np.arange(frames) / 4000.0
    samples = sine(777.1, 1.0, 4000.0, frames) * (1 + 0.2 * np.cos(2 * np.pi * 11.7 * place)) + white(2, 1e-3, frames)
    tracks = tracks_of(samples, 4000.0)
    (bands,) = find_sidebands(tracks, find_combs(tracks, 4000.0))
    assert tracks[bands.carrier].frequency_hz == pytest.approx(777.1, abs=0.1)
    assert bands.spacing_hz == pytest.approx(11.7, abs=bands.uncertainty_hz)
    assert [tracks[member.line].rms for member in bands.members] == pytest.approx([0.1, 0.1], rel=0.01)


# ------------------------------------------------------------------ recordings made by others


def test_hum_of_two_channels_is_one_comb(recordings: Path) -> None:
    """Seen in the file with general tools (SOURCES.md beside it): 49.997 Hz and odd harmonics."""
    path = recordings / "hum" / "two-channel-50hz-strong.csv"
    if not path.is_file():
        pytest.skip("no two-channel hum in the folder of recordings")
    rows = np.genfromtxt(path, delimiter=",", skip_header=1, usecols=(1, 2), encoding="utf-8-sig")
    for tracks in feed(LineTracker(2000.0, 2048, candidates_of(rows, 2000.0)), rows).result():
        comb = find_combs(tracks, 2000.0)[0]
        assert comb.fundamental_hz == pytest.approx(49.997, abs=0.005)
        assert {1, 3, 5, 7} <= set(multiples(comb))


def test_mains_that_wanders_is_fitted(recordings: Path) -> None:
    """Straight from the mains (SOURCES.md): mean 50.0093 Hz, drifting; second harmonic -58 dB, third -35 dB."""
    path = recordings / "hum" / "mains-reference-a.wav"
    if not path.is_file():
        pytest.skip("no mains reference in the folder of recordings")
    samples, rate_hz = soundfile.read(path)
    comb = find_combs(tracks_of(samples, float(rate_hz)), float(rate_hz))[0]
    assert comb.fundamental_hz == pytest.approx(50.0093, abs=0.002 + comb.uncertainty_hz)
    assert {1, 3} <= set(multiples(comb))
