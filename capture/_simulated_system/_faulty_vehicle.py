"""A whole simulated vehicle from a seed: a healthy system, one fault or more that can be heard, and its story."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from analysis import CAUSES, WrongUseError, find_step
from capture._simulated_system._faults import Broken, put_fault
from capture._simulated_system._healthy import KINDS, Kind, Rng, healthy_system
from capture._simulated_system._network import respond
from capture._simulated_system._parts import Emitter, OperatingPoint, SoundSystem
from capture._simulated_system._steps import FASTER, apply_step
from capture._simulated_system._taps import BAND_HZ

#: a fault counts when it adds at least this much to the noise at the speaker, and that is heard: power ratio, V rms
_LEAST_RATIO = 10.0
_AUDIBLE_V = 0.7e-3
#: the amplifier would clip on its own noise, or switch off
_TOO_LOUD_V = 2.0
_MOST_TRIES = 400
#: rise and fall of a gate, s
GATE_RAMP_S = 0.02


@dataclass(frozen=True, slots=True)
class FaultyVehicle:
    """A simulated vehicle, marked as simulated wherever its samples go; `causes` is the truth."""

    seed: int
    kind: Kind
    causes: tuple[str, ...]
    system: SoundSystem
    #: the same vehicle without its faults
    healthy: SoundSystem
    point: OperatingPoint
    #: a contact of a fault comes and goes when it is moved; a fault is heard through the air
    loose: bool
    mechanical: bool


def random_vehicle(seed: int, fault: str = "random", faults: int = 1) -> FaultyVehicle:
    """A vehicle with every value drawn from its range.

    Parameters
    ----------
    seed
        The same seed, fault and number give the same vehicle.
    fault
        A cause's slug, several joined by "+", "none", or "random": then `faults` different ones, all as likely.

    Drawn again, all of it, until each fault adds 10 dB or more to what is heard at the baseline: a fault that nobody
    hears brings nobody to a workshop. Raises `WrongUseError` for an unknown fault.
    """
    _check(fault)
    rng = np.random.default_rng([seed, 0x5EED])
    causes = _chosen(rng, fault, faults)
    for _ in range(_MOST_TRIES):
        vehicle = _drawn(rng, seed, causes)
        if vehicle is not None:
            return vehicle
    raise WrongUseError(f"no audible vehicle with {' and '.join(causes)} came of seed {seed}: try another seed")


def _check(fault: str) -> None:
    slugs = [cause.slug for cause in CAUSES]
    unknown = [name for name in fault.split("+") if name not in (*slugs, "none", "random")]
    if unknown:
        raise WrongUseError(f"fault '{unknown[0]}' is not known: use random, none, or one of {', '.join(slugs)}")


def _chosen(rng: Rng, fault: str, faults: int) -> tuple[str, ...]:
    if fault == "none":
        return ()
    if fault != "random":
        return tuple(fault.split("+"))
    return tuple(str(slug) for slug in rng.choice([cause.slug for cause in CAUSES], faults, replace=False))


def _drawn(rng: Rng, seed: int, causes: tuple[str, ...]) -> FaultyVehicle | None:
    kinds = list(KINDS)
    kind = kinds[int(rng.choice(len(kinds), p=list(KINDS.values())))]
    healthy = healthy_system(rng, kind)
    point = OperatingPoint(rpm=float(rng.uniform(1500, 2000)))
    broken = Broken(healthy)
    for cause in causes:
        alone = put_fault(healthy, cause, rng)
        if not (alone.mechanical or _is_heard(healthy, alone.system, point, cause)):
            return None
        more = put_fault(broken.system, cause, rng) if len(causes) > 1 else alone
        broken = Broken(more.system, broken.loose or more.loose, broken.mechanical or more.mechanical)
    if noise_power(broken.system, point) > _TOO_LOUD_V**2:
        return None
    return FaultyVehicle(seed, kind, causes, broken.system, healthy, point, broken.loose, broken.mechanical)


def _is_heard(healthy: SoundSystem, faulty: SoundSystem, point: OperatingPoint, cause: str) -> bool:
    with_it = noise_power(faulty, point)
    if with_it < max(_AUDIBLE_V**2, _LEAST_RATIO * noise_power(healthy, point)):
        return False
    return cause != "hiss" or hiss_power(faulty, point) > 0.7 * with_it


def noise_power(system: SoundSystem, point: OperatingPoint) -> float:
    """Mean square at the speaker below 20 kHz, V^2."""
    heard = respond(system, point, BAND_HZ)
    gates = np.array([gate_power(one) for one in heard.emitters])
    lines = np.abs(heard.taps["speaker"]) ** 2 * gates[heard.owner]
    return float(lines.sum()) + heard.hiss["speaker"] ** 2 * BAND_HZ


def hiss_power(system: SoundSystem, point: OperatingPoint) -> float:
    """Mean square of the hiss at the speaker below 20 kHz, V^2."""
    return respond(replace(system, emitters=()), point).hiss["speaker"] ** 2 * BAND_HZ


def gate_power(emitter: Emitter) -> float:
    """Mean square of an emitter's gate: raised-cosine flanks have 3/8 of their length."""
    if emitter.gate is None:
        return 1.0
    period, share = emitter.gate
    return share - 2 * (1 - 3 / 8) * GATE_RAMP_S / period


def under_step(
    vehicle: FaultyVehicle, step: str, point: OperatingPoint | None = None
) -> tuple[SoundSystem, OperatingPoint]:
    """Network and operating point while a step (slug or words) is done; `WrongUseError` when it is none."""
    known = find_step(step)
    if known is None:
        raise WrongUseError(
            f"isolation step '{step}' is not known to the simulated vehicle: humproof diagnose names them"
        )
    system = vehicle.healthy if known.slug == "after-fix" else vehicle.system
    if known.slug == "wiggled" and vehicle.loose:
        system = replace(system, emitters=tuple(_comes_and_goes(one) for one in system.emitters))
    return apply_step(system, vehicle.point if point is None else point, known.slug)


def rpm_before(step: str, rpm: float) -> float:
    """The baseline's engine speed from which a step leads to this one."""
    known = find_step(step)
    return rpm / FASTER if known and known.slug == "second-speed" else rpm


def cured(vehicle: FaultyVehicle) -> FaultyVehicle:
    """The vehicle after its faults were put right."""
    return replace(vehicle, system=vehicle.healthy, loose=False, mechanical=False)


def _comes_and_goes(emitter: Emitter) -> Emitter:
    return replace(emitter, gate=emitter.gate or (0.8, 0.5))


def disturbed(system: SoundSystem, point: OperatingPoint, rng: Rng | None) -> tuple[OperatingPoint, list[float] | None]:
    """What differs between two runs: the point, and a factor for each emitter.

    One standard deviation: 0.3 % of engine speed, 1 dB in every emitter (trade: a whine differs by 1 to 3 dB from
    run to run).
    """
    if rng is None:
        return point, None
    factors: list[float] = (10 ** (rng.normal(0, 1.0, len(system.emitters)) / 20)).tolist()
    return replace(point, rpm=point.rpm * (1 + 0.003 * float(rng.normal()))), factors
