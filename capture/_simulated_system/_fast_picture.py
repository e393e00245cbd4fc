"""What an analysis of ten seconds would show, straight from the network: no samples are made."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from analysis import Aggressor, NoisePicture, PictureLine, coherence_chance_level
from capture._simulated_system._faulty_vehicle import FaultyVehicle, disturbed, gate_power, under_step
from capture._simulated_system._healthy import Rng
from capture._simulated_system._network import FIRST_CURRENT, Response, respond
from capture._simulated_system._parts import Emitter, OperatingPoint
from capture._simulated_system._taps import BAND_HZ, floor_rms

Floats = npt.NDArray[np.float64]

UNITS = {"current": "A"}
_SUPPLY_FLOOR = floor_rms("supply")
#: the analysis at 48 kHz: 65536-sample segments, Hann, ten seconds half overlapped
BIN_HZ, NOISE_BINS, AVERAGES = 48_000 / 65_536, 1.5, 9.0
#: a line is found when it stands this much above the noise in its bins, in power
_FOUND = 4.0
_MOST_LINES = 40
#: a line smeared over more bins lifts the running median of the floor, and is taken for noise
_WIDEST_BINS = 30
_SCALE, _CLOCK = 0.005, 1e-4
#: lines that an analysis cannot lay to anything, by chance
_NOT_TOLD = 0.02


def picture(
    vehicle: FaultyVehicle,
    step: str = "baseline",
    point: OperatingPoint | None = None,
    rng: Rng | None = None,
    tap: str = "speaker",
) -> NoisePicture:
    """What one tap shows under one isolation step.

    Parameters
    ----------
    step
        Slug or words of an isolation step.
    point
        How the vehicle is run; None as usual (lamps and blower on).
    rng
        Scatter between runs and of the measurement; None gives expected values.
    tap
        "speaker" (what is heard), "signal" (amplifier's input), "ground-offset" (processor's to amplifier's case,
        V) or "current" (shield of the amplifier's lead, A).

    `hiss_rms` holds the instrument's own floor, as a measured one does; the ledger has it apart.
    """
    system, run = under_step(vehicle, step, point)
    moved, factors = disturbed(system, run, rng)
    response = respond(system, moved, BAND_HZ, factors)
    rpm = run.rpm * (1 + 0.002 * float(rng.normal())) if rng and run.rpm else run.rpm
    return _picture(response, tap, rpm or None, rng)


def _picture(response: Response, tap: str, rpm: float | None, rng: Rng | None) -> NoisePicture:
    gates = np.array([gate_power(one) for one in response.emitters])[response.owner]
    power = np.abs(response.taps[tap]) ** 2 * gates
    floor = floor_rms(tap)
    hiss = response.hiss[tap] ** 2 * BAND_HZ + floor**2
    supply = np.abs(response.supply) ** 2 * gates
    bins = _bins(response)
    noise, supply_noise = (p / BAND_HZ * NOISE_BINS * BIN_HZ for p in (hiss, _SUPPLY_FLOOR**2))
    found, on_supply = (_strongest(p, n * bins, bins) for p, n in ((power, noise), (supply, supply_noise)))
    told = [_told(one, rng) for one in response.emitters]
    ratios = power / (noise * bins), supply / (supply_noise * bins)
    coherent = _coherence(*ratios, rng)
    lines = _lines(response, found, power, noise * bins, told, rpm, rng, coherent, supply, ratios[1])
    supply_lines = _lines(response, on_supply, supply, supply_noise * bins, told, rpm, rng)
    ledger = _ledger(lines, float(power.sum() - power[found].sum()) + hiss - floor**2, floor)
    noise_rms = math.sqrt(sum(rms**2 for rms in ledger.values()))
    return NoisePicture(
        unit=UNITS.get(tap, "V"),
        noise_rms=noise_rms,
        noise_uncertainty=_SCALE * noise_rms,
        hiss_rms=math.hypot(ledger["broadband"], floor),
        lines=lines,
        ledger=ledger,
        gated=_gated(response, power, noise_rms**2),
        engine_rpm=rpm,
        supply_lines=supply_lines,
        supply_ripple_rms=math.sqrt(float(supply.sum()) + _SUPPLY_FLOOR**2),
        floor_rms=floor,
        shield_coherence=_shield_coherence(response, power, ratios[0], bins, found, rng),
    )


def _bins(response: Response) -> Floats:
    """How many bins each line reaches into: three of its own, more when its frequency sways."""
    sway = np.array([one.sway[0] for one in response.emitters])[response.owner]
    return 3 + 2 * sway * response.hz / BIN_HZ


def _strongest(power: Floats, noise: Floats, bins: Floats) -> npt.NDArray[np.intp]:
    found = np.flatnonzero((power > _FOUND * noise) & (bins < _WIDEST_BINS))
    return found[np.argsort(-power[found])][:_MOST_LINES]


def _told(emitter: Emitter, rng: Rng | None) -> Aggressor:
    """What an analysis of this recording alone would lay a line to.

    A motor is told by its wander only, a bus's click train at 50 or 100 Hz looks like mains.
    """
    if rng is not None and rng.random() < _NOT_TOLD:
        return "unexplained"
    if emitter.name == "data" and emitter.base in (50.0, 100.0):
        return "mains"
    if emitter.group == "motor" and emitter.sway[0] * emitter.base < BIN_HZ:
        return "converter"
    return emitter.aggressor


def _coherence(ratio: Floats, supply_ratio: Floats, rng: Rng | None) -> Floats:
    """Of a line common to both with noise in each: 1 / ((1 + 1/a)(1 + 1/b)); with the scatter of `AVERAGES`.

    Without anything in common it is that of chance: P(C > c) = (1 - c)^(n - 1) (Bendat and Piersol).
    """
    with np.errstate(divide="ignore"):
        true = np.where(supply_ratio > 0, 1 / ((1 + 1 / ratio) * (1 + 1 / supply_ratio)), 0.0)
    if rng is None:
        return np.asarray(true)
    chance = 1 - rng.random(len(true)) ** (1 / (AVERAGES - 1))
    scatter = np.sqrt(2 * true / AVERAGES) * (1 - true) * rng.standard_normal(len(true))
    return np.asarray(np.clip(true + scatter + (1 - true) ** 2 * chance, 0, 1))


def _shield_coherence(
    response: Response, power: Floats, ratio: Floats, bins: Floats, found: npt.NDArray[np.intp], rng: Rng | None
) -> float | None:
    """Of the found lines, weighted by their power, with the current in the shield that shows more of them."""
    if not len(found):
        return None
    clamp = floor_rms("current") ** 2 / BAND_HZ * NOISE_BINS * BIN_HZ
    shields = (np.abs(response.taps[name]) ** 2 for name in ("current", FIRST_CURRENT))
    values = (_coherence(ratio[found], (one / (clamp * bins))[found], rng) for one in shields)
    return max(float(np.average(value, weights=power[found])) for value in values)


def _lines(
    response: Response,
    found: npt.NDArray[np.intp],
    power: Floats,
    noise: Floats,
    told: list[Aggressor],
    rpm: float | None,
    rng: Rng | None,
    coherent: Floats | None = None,
    supply: Floats | None = None,
    supply_ratio: Floats | None = None,
) -> tuple[PictureLine, ...]:
    rms = np.sqrt(power[found])
    spread = np.sqrt(noise[found] / (power[found] * AVERAGES))
    if rng is not None:
        rms = rms * np.abs(1 + spread / math.sqrt(2) * rng.standard_normal(len(found)))
    doubt = rms * np.hypot(_SCALE, 2 * spread)
    hz = response.hz[found]
    shown = [None] * len(found) if coherent is None else coherent[found].tolist()
    volts: list[float | None] = [None] * len(found)
    if supply is not None and supply_ratio is not None:
        seen = zip(supply[found].tolist(), supply_ratio[found].tolist(), strict=True)
        volts = [math.sqrt(p) if ratio > _FOUND else None for p, ratio in seen]
    chance = None if coherent is None else coherence_chance_level(AVERAGES)
    owner = response.owner[found].tolist()
    columns = zip(hz.tolist(), rms.tolist(), doubt.tolist(), owner, shown, volts, strict=True)
    return tuple(
        PictureLine(f, f * _CLOCK, r, u, told[own], 60 * f / rpm if rpm else None, c, chance, v)
        for f, r, u, own, c, v in columns
    )


def _ledger(lines: tuple[PictureLine, ...], between: float, floor: float) -> dict[Aggressor, float]:
    """Rms by aggressor; what no line holds is broadband."""
    powers: dict[Aggressor, float] = {"broadband": max(between, 0.0), "instrument floor": floor**2}
    for line in lines:
        powers[line.aggressor] = powers.get(line.aggressor, 0.0) + line.rms**2
    return {name: math.sqrt(power) for name, power in powers.items()}


def _gated(response: Response, power: Floats, total: float) -> float:
    """Share of the power that comes in bursts."""
    bursts = np.array([one.gate is not None for one in response.emitters], bool)[response.owner]
    return min(1.0, float(power[bursts].sum()) / total)
