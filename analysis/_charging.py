"""The charging system read from the lines of its ripple: in order, a diode, a phase, the battery's connection."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np

from analysis._order_fit import MeasuredLine

Machine = Literal["claw-pole", "permanent-magnet", "single-phase"]
Condition = Literal[
    "three-phase in order",
    "double three-phase in order",
    "double three-phase, sets unequal",
    "single-phase in order",
    "diode open or shorted",
    "phase open",
    "shunt regulator at work",
    "weak battery or loose post",
]
HowSure = Literal["clear", "likely", "possible"]
_SURE: tuple[HowSure, ...] = ("clear", "likely", "possible")

#: multiples of the electrical frequency that a verdict argues with
_LOW, _RIPPLE = (1, 2, 3), (6, 12)
_READ = (1, 2, 3, 4, 6, 12, 18)
#: a low multiple within so much of the ripple line, or above it, is a fault's; two closer than that are alike, dB
_MARGIN_DB, _ALIKE_DB = 10.0, 6.0
#: a line is a multiple of f_e within this share, besides the uncertainties
_MATCH = 0.005
#: electrical cycles per engine turn that machines have (p r; common practice: pole pairs 6 to 8, pulleys 1.5 to 3.2;
#: rotor on the crank: pole pairs 4 to 9)
_ORDERS: dict[Machine, tuple[float, float]] = {
    "claw-pole": (9.0, 25.6),
    "permanent-magnet": (4.0, 9.0),
    "single-phase": (4.0, 9.0),
}
_HEAVY_LOAD = (
    "repeat with a heavy load on (lamps, blower, discharged battery): a shunt regulator that skips phases shows the "
    "same lines as a bad diode, but not under load"
)
_TIE = (
    "what the lines are multiples of: state the engine speed and the alternator's order, or record at a second "
    "engine speed; with the machine's kind the speed alone may do"
)


@dataclass(frozen=True, slots=True)
class Electrical:
    """The alternator's electrical frequency, k = 2, and what ties it."""

    hz: float
    uncertainty_hz: float
    tied_by: str


@dataclass(frozen=True, slots=True)
class ChargingCandidate:
    """One thing that the lines may mean, how sure, and why in words."""

    condition: Condition
    how_sure: HowSure
    why: str


@dataclass(frozen=True, slots=True)
class Charging:
    """What the supply's ripple says of the charging system; no candidate without the lines it needs."""

    #: None when nothing ties it, or when several fit
    electrical: Electrical | None
    #: the likeliest first
    candidates: tuple[ChargingCandidate, ...]
    #: rms by multiple of the electrical frequency, those that were seen
    levels: dict[int, float] = field(default_factory=dict)
    cannot_tell: tuple[str, ...] = ()
    advice: tuple[str, ...] = ()

    @property
    def likeliest(self) -> ChargingCandidate | None:
        """The first candidate, if there is any."""
        return self.candidates[0] if self.candidates else None


def electrical_frequency(rpm: float, rpm_uncertainty: float, pole_pulley: float, uncertainty: float) -> Electrical:
    """f_e = p r rpm / 60, from the engine's speed and p r (fitted from two speeds, or known); uncertainties k = 2."""
    hz = pole_pulley * rpm / 60
    relative = float(np.hypot(rpm_uncertainty / rpm, uncertainty / pole_pulley))
    return Electrical(hz, relative * hz, f"{pole_pulley:.4g} electrical cycles per turn at {rpm:.4g} rpm")


@dataclass(frozen=True, slots=True)
class RippleCase:
    """The supply's lines, and what else is known of the vehicle and the moment."""

    lines: tuple[MeasuredLine, ...]
    #: rms that a line must have to be found at all: only below it is a line known to be absent
    least_rms: float
    #: what the recording carries
    band_hz: tuple[float, float]
    electrical: Electrical | None = None
    machine: Machine | None = None
    rpm: float | None = None
    #: the shop's limit of the ripple's rms at this tap, in the lines' unit
    limit_rms: float | None = None
    #: share of the ripple's power that lies in bursts, 0 to 1
    gated: float = 0.0
    #: whether lamps, blower and the like were on
    heavy_load: bool | None = None


def classify_charging(case: RippleCase) -> Charging:
    """Say what the ripple lines mean.

    Notes
    -----
    A three-phase bridge gives 6 f_e, two of them shifted by 30 degrees 12 f_e, a single-phase bridge 2 f_e (Fourier
    series of rectified sines). One diode missing or shorted breaks the symmetry of the half-waves: f_e comes first,
    then 2 f_e and 3 f_e. A phase missing leaves a single-phase bridge: 2 f_e without f_e. The tests rebuild these
    cases as circuits. Margins (10 dB, 6 dB) are ours. A line counts as absent only where the floor lies 10 dB
    below what it is compared with.
    """
    if case.electrical is not None:
        return _judged(case, case.electrical)
    if case.machine is None or case.rpm is None:
        return Charging(None, (), cannot_tell=(_TIE,))
    return _supposed(case, case.machine, case.rpm)


# ------------------------------------------------------------------ f_e known


def _judged(case: RippleCase, electrical: Electrical) -> Charging:
    levels = _levels(case.lines, electrical)
    if not levels:
        return Charging(
            electrical, (), cannot_tell=("anything: no line of the alternator is seen; check that it is charging",)
        )
    problem = _out_of_band(case, electrical)
    if problem:
        return Charging(electrical, (), levels, (problem,))
    view = _View(levels, case.least_rms)
    found, cannot = _read(case, view)
    advice = _advice(case, found)
    return Charging(electrical, tuple(found), levels, tuple(cannot), advice)


def _levels(lines: Sequence[MeasuredLine], electrical: Electrical) -> dict[int, float]:
    """Rms of each multiple that was seen: the strongest line near it."""
    levels: dict[int, float] = {}
    for multiple in _READ:
        near = [line.rms for line in lines if _is_multiple(line, electrical, multiple)]
        if near:
            levels[multiple] = max(near)
    return levels


def _is_multiple(line: MeasuredLine, electrical: Electrical, multiple: int) -> bool:
    doubt = np.hypot(multiple * electrical.uncertainty_hz, line.frequency_uncertainty_hz)
    # Never so wide that a line could be two multiples at once.
    reach = min(doubt + _MATCH * multiple * electrical.hz, 0.4 * electrical.hz)
    return bool(abs(line.frequency_hz - multiple * electrical.hz) <= reach)


def _out_of_band(case: RippleCase, electrical: Electrical) -> str | None:
    low, high = case.band_hz
    if electrical.hz < low:
        return f"the electrical frequency {electrical.hz:.0f} Hz lies below the recording's {low:g} Hz"
    if case.machine != "single-phase" and 6 * electrical.hz > high:
        return (
            f"the ripple line at {6 * electrical.hz:.0f} Hz lies above the recording's {high:g} Hz: "
            "record at a higher rate or a lower engine speed"
        )
    return None


class _View:
    """Levels in dB: of what was seen, or at most the floor."""

    def __init__(self, levels: dict[int, float], least_rms: float) -> None:
        self.levels = levels
        self._floor_db = 20 * float(np.log10(max(least_rms, 1e-300)))

    def seen(self, multiple: int) -> bool:
        return multiple in self.levels

    def db(self, multiple: int) -> float:
        """Level of a multiple; where none was seen, the most it can be."""
        if multiple not in self.levels:
            return self._floor_db
        return 20 * float(np.log10(self.levels[multiple]))

    @property
    def ripple_db(self) -> float:
        """Of the stronger of the lines that a three-phase machine in order has."""
        return max(self.db(multiple) for multiple in _RIPPLE)

    @property
    def ripple_seen(self) -> bool:
        return any(self.seen(multiple) for multiple in _RIPPLE)


def _read(case: RippleCase, view: _View) -> tuple[list[ChargingCandidate], list[str]]:
    """Candidates, and what cannot be told."""
    if view.seen(1) and view.db(1) >= max(view.ripple_db - _MARGIN_DB, view.db(2) - _MARGIN_DB):
        return _with_electrical(case, view), []
    if view.seen(2) and (case.machine == "single-phase" or view.db(2) >= view.ripple_db - _MARGIN_DB):
        if view.db(1) <= view.db(2) - _MARGIN_DB:
            return _without_electrical(case, view), []
        return [], [f"whether f_e is absent: the floor is too near to 2 f_e ({_said(view)}); record for longer"]
    if view.ripple_seen and case.machine != "single-phase":
        if max(view.db(multiple) for multiple in _LOW) < view.ripple_db - _MARGIN_DB:
            return _in_order(case, view)
        if not any(view.seen(multiple) for multiple in _LOW):
            return [], ["whether f_e and 2 f_e are absent: the floor is too near to the ripple; record for longer"]
    return [], [f"which pattern this is: {_said(view)}"]


def _said(view: _View) -> str:
    """The levels in words, against the strongest."""
    top = max(view.levels.values())
    parts = (f"{_multiple(m)} {20 * np.log10(rms / top):+.0f} dB" for m, rms in view.levels.items())
    return ", ".join(parts)


def _multiple(multiple: int) -> str:
    return "f_e" if multiple == 1 else f"{multiple} f_e"


def _with_electrical(case: RippleCase, view: _View) -> list[ChargingCandidate]:
    """f_e itself is there, near the ripple line or above it."""
    first = view.db(1) >= view.ripple_db and view.db(1) >= view.db(2) and view.seen(2)
    why = f"f_e itself shows in the ripple, which a sound bridge cancels ({_said(view)})"
    told: list[ChargingCandidate] = [ChargingCandidate("diode open or shorted", "clear" if first else "likely", why)]
    if not first and view.db(2) > view.db(1) + _ALIKE_DB:
        told = [ChargingCandidate("diode open or shorted", "possible", why)]
        told.append(ChargingCandidate("phase open", "possible", f"2 f_e stands well above f_e ({_said(view)})"))
    if case.machine in ("permanent-magnet", "single-phase") and case.heavy_load is not True:
        skips = "a shunt regulator shorts the stator when the battery is full and may skip phases, which gives f_e too"
        bursts = f"; {100 * case.gated:.0f} % of the power lies in bursts" if case.gated > 0.5 else ""
        regulator = ChargingCandidate("shunt regulator at work", "likely" if bursts else "possible", skips + bursts)
        # Under no load neither can be told from the other: a burst pattern speaks for the regulator.
        told = [replace(candidate, how_sure="possible") for candidate in told]
        told.insert(0 if bursts else len(told), regulator)
    return told


def _without_electrical(case: RippleCase, view: _View) -> list[ChargingCandidate]:
    """2 f_e without f_e: one phase's bridge is all that works."""
    why = f"2 f_e shows without f_e: rectified by a single-phase bridge ({_said(view)})"
    healthy = ChargingCandidate("single-phase in order", "clear", f"{why}, as this machine is one")
    if case.machine == "single-phase":
        return [healthy]
    phase = ChargingCandidate("phase open", "clear", f"{why}; of three phases one lead or both its diodes are open")
    if case.machine == "claw-pole":
        return [phase]
    told = [replace(phase, how_sure="possible")]
    if case.machine is None:
        return [*told, replace(healthy, how_sure="possible", why=f"{why}, if the machine is single-phase")]
    if case.heavy_load is True:
        return [replace(phase, how_sure="likely")]
    skips = "a regulator that skips a phase while the battery is full leaves 2 f_e too"
    return [*told, ChargingCandidate("shunt regulator at work", "possible", skips)]


def _in_order(case: RippleCase, view: _View) -> tuple[list[ChargingCandidate], list[str]]:
    """Nothing but ripple lines: which bridge, and whether there is too much of it."""
    over = view.db(12) - view.db(6)
    if over > _MARGIN_DB:
        told = ChargingCandidate("double three-phase in order", "clear", f"12 f_e leads, no lower line ({_said(view)})")
    elif over > -_ALIKE_DB and view.seen(12):
        why = f"6 f_e stands beside 12 f_e: the two sets do not share the load alike ({_said(view)})"
        told = ChargingCandidate("double three-phase, sets unequal", "likely", why)
    else:
        why = f"6 f_e leads, f_e and 2 f_e are at least {_MARGIN_DB:g} dB below ({_said(view)})"
        told = ChargingCandidate("three-phase in order", "clear", why)
    rms = float(np.sqrt(sum(view.levels.get(multiple, 0.0) ** 2 for multiple in (6, 12, 18))))
    if case.limit_rms is None:
        return [told], [f"whether the ripple of {rms:.3g} rms is too large: no limit is set for this tap"]
    if rms <= case.limit_rms:
        return [told], []
    why = f"only ripple lines, but {rms:.3g} rms against a limit of {case.limit_rms:.3g}: the battery does not hold it"
    return [ChargingCandidate("weak battery or loose post", "likely", why), told], []


def _advice(case: RippleCase, found: Sequence[ChargingCandidate]) -> tuple[str, ...]:
    """What would tell more."""
    conditions = {candidate.condition for candidate in found}
    faults = conditions & {"diode open or shorted", "phase open"}
    told = []
    if faults and case.machine != "claw-pole" and case.heavy_load is not True:
        told.append(_HEAVY_LOAD)
    if "diode open or shorted" in conditions:
        told.append("the lines do not tell an open diode from a shorted one: a shorted one costs far more current")
    if "weak battery or loose post" in conditions:
        told.append(
            "compare the ripple at the alternator and at the battery posts: much more at the alternator is a joint"
        )
    return tuple(told)


# ------------------------------------------------------------------ f_e sought


def _supposed(case: RippleCase, machine: Machine, rpm: float) -> Charging:
    """Every f_e that the machine's kind allows and that makes the strongest line a line machines have."""
    low, high = (order * rpm / 60 for order in _ORDERS[machine])
    if not case.lines:
        return Charging(None, (), cannot_tell=("anything: the supply shows no line",))
    strongest = max(case.lines, key=lambda line: line.rms)
    verdicts = []
    for multiple in (1, 2, *_RIPPLE):
        hz = strongest.frequency_hz / multiple
        if low <= hz <= high:
            tied = f"a {machine} machine at {rpm:.4g} rpm whose strongest line is {_multiple(multiple)}"
            electrical = Electrical(hz, strongest.frequency_uncertainty_hz / multiple, tied)
            verdicts.append(_judged(case, electrical))
    verdicts = [verdict for verdict in verdicts if verdict.candidates and _leads(verdict)]
    return _merged(verdicts)


def _leads(verdict: Charging) -> bool:
    """Whether the verdict's strongest line is one that its first candidate leads with."""
    leads = {"diode open or shorted": (1,), "shunt regulator at work": (1, 2), "phase open": (2,)}
    leads |= {"single-phase in order": (2,)}
    strongest = max(verdict.levels, key=lambda multiple: verdict.levels[multiple])
    return strongest in leads.get(verdict.candidates[0].condition, _RIPPLE)


def _merged(verdicts: list[Charging]) -> Charging:
    """One verdict is one step less sure than with a tied f_e; several are all possible."""
    if not verdicts:
        return Charging(None, (), cannot_tell=(_TIE,))
    steps = 1 if len(verdicts) == 1 else 2
    candidates = tuple(_less_sure(candidate, steps) for verdict in verdicts for candidate in verdict.candidates)
    advice = tuple(dict.fromkeys(text for verdict in verdicts for text in verdict.advice))
    if len(verdicts) == 1:
        return replace(verdicts[0], candidates=candidates)
    return Charging(None, candidates, cannot_tell=(_TIE,), advice=advice)


def _less_sure(candidate: ChargingCandidate, steps: int) -> ChargingCandidate:
    place = min(_SURE.index(candidate.how_sure) + steps, len(_SURE) - 1)
    return replace(candidate, how_sure=_SURE[place])
