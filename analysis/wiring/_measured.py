"""Measured against predicted: the drop that the wire does not account for, where it lies and how many milliohm.

Readings are voltages between points while amplifiers play. The prediction's uncertainty is that of all tolerances
carried through the network; what goes beyond it is laid on one element after the other (`_fault_fit`). Probabilities
are those of one bad element; where no single one explains the readings, it is said.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
import scipy  # its part `stats` loads at first use

from analysis._errors import AnalysisError
from analysis.wiring._beliefs import Beliefs, kind_words
from analysis.wiring._fault_fit import Evidence, FaultFit, Interval, fit_faults
from analysis.wiring._fault_states import Unknowns
from analysis.wiring._stretches import ALIKE, groups_of, shares_of, stretch_name
from analysis.wiring._system import Case, Element, Joint, System

#: a fault is shown when "nothing is bad, or only beyond the measuring points" is less likely than this
SHOWN_BELOW = 0.05
#: readings whose best explanation would misfit as badly only this often are not explained by one bad element
_UNEXPLAINED = 0.01


@dataclass(frozen=True, slots=True)
class Drop:
    """A measured voltage, V at `start` less V at `end`; uncertainty k = 2, V."""

    start: str
    end: str
    volts: float
    uncertainty: float = 0.02


@dataclass(frozen=True, slots=True)
class Current:
    """A measured current, A, through an element (from its start to its end), an amplifier or a source; k = 2."""

    of: str
    amps: float
    uncertainty: float


@dataclass(frozen=True, slots=True)
class ReadingCompared:
    """One reading against its prediction; in `unit`, uncertainties k = 2."""

    name: str
    unit: str
    predicted: float
    predicted_uncertainty: float
    measured: float
    measured_uncertainty: float

    @property
    def excess(self) -> float:
        """Measured less predicted."""
        return self.measured - self.predicted

    @property
    def uncertainty(self) -> float:
        """Of the excess."""
        return math.hypot(self.predicted_uncertainty, self.measured_uncertainty)

    @property
    def within(self) -> bool:
        """Whether the excess is no larger than its uncertainty."""
        return abs(self.excess) <= self.uncertainty


@dataclass(frozen=True, slots=True)
class Stretch:
    """Elements that the readings do not tell apart."""

    name: str
    elements: tuple[str, ...]
    #: that the bad element lies here, if one is bad
    probability: float
    #: excess resistance if it lies here; None where no reading reaches
    excess: Interval | None
    #: decision: a fault is shown, and here it most likely lies
    worse: bool


@dataclass(frozen=True, slots=True)
class Suspect:
    """An element that would explain the readings."""

    element: str
    kind: str
    #: that it is the bad one, if one is bad
    probability: float
    #: beyond what is described, if it is the bad one
    excess: Interval
    #: as described, and the most that its kind should have
    ohm: float
    most_ohm: float

    @property
    def worse_than_its_kind(self) -> bool:
        """Whether, if it is the bad one, even the lower limit lies above what its kind should have."""
        return self.ohm + self.excess.low > self.most_ohm

    @property
    def text(self) -> str:
        """In milliohm, with what its kind should have at most."""
        told = f"{_milliohm(self.ohm + self.excess.ohm, self.excess.uncertainty)} mΩ (k = 2)"
        most = f"a {self.kind} should have at most {1e3 * self.most_ohm:.2g} mΩ"
        return f"{self.element}: {told}; {most}"


@dataclass(frozen=True, slots=True)
class MeasuredAgainstPredicted:
    """Readings against the wiring as described."""

    case: Case
    drops: tuple[Drop, ...]
    currents: tuple[Current, ...]
    readings: tuple[ReadingCompared, ...]
    #: the most probable first
    stretches: tuple[Stretch, ...]
    suspects: tuple[Suspect, ...]
    #: probability that nothing is bad
    no_fault: float
    shown: bool
    #: False where no single bad element explains the readings
    explained: bool
    decision: str
    fit: FaultFit = field(repr=False, compare=False)

    @property
    def worse(self) -> Stretch | None:
        """The stretch that is worse than it should be, or None."""
        return next((stretch for stretch in self.stretches if stretch.worse), None)


def compare_with_prediction(
    system: System,
    case: Case,
    drops: Sequence[Drop],
    currents: Sequence[Current] = (),
    *,
    beliefs: Beliefs | None = None,
    unknowns: Unknowns | None = None,
) -> MeasuredAgainstPredicted:
    """Where the measured drops exceed what the wiring accounts for, and by how many ohm.

    Parameters
    ----------
    system, case
        As described; which amplifiers play, at which level, engine on or off. For bursts, `self_heating=False`.
    drops, currents
        Readings of the same moment. A measured current takes the uncertainty of the demand out of the drops.
    beliefs, unknowns
        What is held before measuring, and how far the system may differ from its description.

    Raises
    ------
    AnalysisError
        For a point, element or amplifier that the wiring does not have, a reading without uncertainty, or a supply
        that collapses as described.
    """
    drops, currents = tuple(drops), tuple(currents)
    _refuse(drops, currents)
    evidence = Evidence(
        pairs=tuple((drop.start, drop.end) for drop in drops),
        currents=tuple(current.of for current in currents),
        values=np.array([*(drop.volts for drop in drops), *(current.amps for current in currents)], dtype=np.float64),
        deviations=np.array(
            [u / 2 for u in (*(drop.uncertainty for drop in drops), *(one.uncertainty for one in currents))],
            dtype=np.float64,
        ),
    )
    fit = fit_faults(system, case, evidence, beliefs or Beliefs(), unknowns or Unknowns())
    return _told(system, case, drops, currents, fit)


def _refuse(drops: Sequence[Drop], currents: Sequence[Current]) -> None:
    for drop in drops:
        if drop.start == drop.end:
            raise AnalysisError(f"reading {drop.start}:{drop.end} is between one and the same point: name two")
    named = [(f"{d.start}:{d.end}", d.volts, d.uncertainty) for d in drops]
    for name, value, uncertainty in [*named, *((f"current of {c.of}", c.amps, c.uncertainty) for c in currents)]:
        if not math.isfinite(value) or not uncertainty > 0 or not math.isfinite(uncertainty):
            raise AnalysisError(f"reading {name}: give a number, and an uncertainty above 0 (k = 2)")


def _told(
    system: System, case: Case, drops: tuple[Drop, ...], currents: tuple[Current, ...], fit: FaultFit
) -> MeasuredAgainstPredicted:
    shares = shares_of(fit.model, fit.evidence.pairs)
    groups = groups_of(shares)
    beyond = np.abs(shares).max(axis=0, initial=0.0) <= ALIKE
    seen = float(fit.probability[~beyond].sum())
    shown = bool(drops) and 1 - (1 - fit.no_fault) * seen < SHOWN_BELOW
    points = {point for pair in fit.evidence.pairs for point in pair}
    groups.sort(key=lambda group: -float(fit.probability[group].sum()))
    stretches = tuple(
        _stretch(system, fit, group, points, beyond=bool(beyond[group[0]]), worse=shown and at == 0)
        for at, group in enumerate(groups)
    )
    suspects = tuple(_suspect(system.elements[at], fit, int(at)) for at in np.argsort(-fit.probability, kind="stable"))
    explained = _explained(fit, shown=shown)
    return MeasuredAgainstPredicted(
        case=case,
        drops=drops,
        currents=currents,
        readings=_readings(fit),
        stretches=stretches,
        suspects=suspects,
        no_fault=fit.no_fault,
        shown=shown,
        explained=explained,
        decision=_decision(stretches, suspects, fit, shown=shown, explained=explained)
        + _engine(system, case, shown=shown),
        fit=fit,
    )


def _readings(fit: FaultFit) -> tuple[ReadingCompared, ...]:
    evidence = fit.evidence
    names = [(f"{start}:{end}", "V") for start, end in evidence.pairs] + [(name, "A") for name in evidence.currents]
    return tuple(
        ReadingCompared(name, unit, float(p), 2 * math.sqrt(v), float(m), 2 * float(s))
        for (name, unit), p, v, m, s in zip(
            names, fit.predicted, np.diag(fit.covariance), evidence.values, evidence.deviations, strict=True
        )
    )


def _stretch(
    system: System, fit: FaultFit, group: npt.NDArray[np.int64], points: set[str], *, beyond: bool, worse: bool
) -> Stretch:
    return Stretch(
        name="beyond the measuring points" if beyond else stretch_name(system, group, points),
        elements=tuple(system.elements[number].name for number in group),
        probability=float(fit.probability[group].sum()),
        excess=None if beyond else fit.interval(group),
        worse=worse and not beyond,
    )


def _suspect(element: Element, fit: FaultFit, number: int) -> Suspect:
    ohm = float(fit.model.ohm[number])
    most = element.most_ohm if isinstance(element, Joint) else ohm * (1 + element.tolerance)
    return Suspect(
        element=element.name,
        kind=kind_words(element),
        probability=float(fit.probability[number]),
        excess=fit.interval(np.array([number])),
        ohm=ohm,
        most_ohm=most,
    )


def _explained(fit: FaultFit, *, shown: bool) -> bool:
    """By the chi² of the best explanation; a fault takes one degree of freedom."""
    count = len(fit.evidence.values)
    misfit = float(fit.misfit.min()) if shown else fit.misfit_without
    freedom = count - 1 if shown else count
    return freedom < 1 or bool(scipy.stats.chi2.sf(misfit, freedom) > _UNEXPLAINED)


def _decision(
    stretches: Sequence[Stretch], suspects: Sequence[Suspect], fit: FaultFit, *, shown: bool, explained: bool
) -> str:
    if not len(fit.evidence.pairs):
        return "nothing was measured"
    if not explained:
        return (
            "no single bad element explains these readings: more than one is bad, a reading or the demand is wrong, or "
            "the wiring is not as described; check level and engine, then measure shorter stretches, one by one"
        )
    first = stretches[0]
    if not shown or first.excess is None:
        return "no fault shown: tolerances and the readings' own uncertainty account for them"
    told = f"{_milliohm(first.excess.ohm, first.excess.uncertainty)} mΩ (k = 2)"
    return (
        f"{first.name} has {told} more than described (probability {100 * first.probability:.0f} %); "
        f"first suspect {suspects[0].text} (probability {100 * suspects[0].probability:.0f} %)"
    )


def _engine(system: System, case: Case, *, shown: bool) -> str:
    """A source that gives less than described looks like a loss on its way."""
    if not (shown and system.alternators and case.engine != "off"):
        return ""
    return "; the engine runs, and an alternator that gives less than described looks alike: repeat with the engine off"


def _milliohm(ohm: float, uncertainty: float) -> str:
    """Rounded to two digits of the uncertainty."""
    digits = min(max(0, 1 - math.floor(math.log10(1e3 * uncertainty))) if uncertainty > 0 else 2, 4)
    return f"{1e3 * ohm:.{digits}f} ± {1e3 * uncertainty:.{digits}f}"
