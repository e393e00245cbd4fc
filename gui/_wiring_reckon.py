"""A wiring reckoned quickly: what a drawing needs, without the search for changes. Runs in the background; no Qt."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

from analysis import AnalysisError, HumproofError
from analysis.wiring import (
    Block,
    Case,
    Demand,
    Element,
    Finding,
    Influence,
    Joint,
    Limits,
    Port,
    Solution,
    System,
    WiringError,
    cheapest_changes,
    demand,
    find_faults,
    fused_amps,
    influence,
    largest_deliverable,
    largest_uncertainty,
    solve,
    usable_power,
)
from gui._load import Report
from gui._wiring_draft import Draft
from gui._wiring_model import ChangeShown, Choice, PlanShown
from gui._wiring_words import doubt_words, usable_words
from gui._words import tr
from job import WiringState, WiringSystem, bundled_prices, plain, wiring_system


@dataclass(frozen=True, slots=True)
class Figures:
    """Everything that is reckoned of a system that can be solved."""

    solution: Solution
    influence: Influence
    findings: tuple[Finding, ...]
    largest: Solution
    demand: Demand
    fused_a: dict[str, float | None]


@dataclass(frozen=True, slots=True)
class Reckoned:
    """One state of a draft; `figures` is None where it cannot be solved, and `trouble` says why."""

    draft: Draft
    state: WiringState
    system: System
    limits: Limits
    assumed: tuple[str, ...]
    figures: Figures | None
    trouble: str = ""
    blamed: str = ""


def system_of(draft: Draft, state: WiringState) -> WiringSystem:
    """The system in a state, its parts in the order in which their names first stand in the file.

    What is changed in one state is written at another place; the drawing must not rearrange itself for that.
    """
    made = wiring_system(draft.file, state)
    rank: dict[str, int] = {}
    for number, (_, entry) in enumerate(draft.file.entries()):
        rank.setdefault(entry.name, number)

    def place(one: Element | Port | Block) -> int:
        name = one.name.removeprefix(f"{one.block}: ") if isinstance(one, Joint) and one.block else one.name
        return rank.get(name, len(rank))

    kinds = (
        "batteries",
        "alternators",
        "conductors",
        "joints",
        "fuses",
        "chassis",
        "blocks",
        "amplifiers",
        "other_loads",
    )
    ordered: dict[str, Any] = {kind: tuple(sorted(getattr(made.system, kind), key=place)) for kind in kinds}
    return replace(made, system=replace(made.system, **ordered))


def reckon(draft: Draft, state: WiringState, choice: Choice) -> Reckoned:
    """Solve and judge; a wiring that is not whole yet is drawn all the same."""
    made = system_of(draft, state)
    limits = draft.file.limits.limits()
    try:
        figures = _figures(made.system, limits, _case(made.system, choice))
    except WiringError as error:
        return Reckoned(draft, state, made.system, limits, made.assumed, None, str(error), error.element)
    except AnalysisError as error:
        return Reckoned(draft, state, made.system, limits, made.assumed, None, str(error))
    return Reckoned(draft, state, made.system, limits, made.assumed, figures)


def _case(system: System, choice: Choice) -> Case:
    """An engine that is to run and has no alternator is off."""
    engine = choice.engine or "running"
    return Case(level=choice.level, engine=engine if system.alternators else "off")


def _figures(system: System, limits: Limits, case: Case) -> Figures:
    solution = solve(system, case)
    return Figures(
        solution=solution,
        influence=influence(system, solution),
        findings=find_faults(system, limits),
        largest=largest_deliverable(system, replace(case, level=1.0)),
        demand=demand(system, limits),
        fused_a=fused_amps(system),
    )


def usable(draft: Draft, state: WiringState, choice: Choice, report: Report) -> str:
    """The most with all limits kept, and how well the largest power is known: what takes longer than all the rest."""
    report(0.0, tr("reckoning the usable power"))
    system, limits = system_of(draft, state).system, draft.file.limits.limits()
    try:
        words = usable_words(usable_power(system, limits))
        report(0.5, tr("reckoning how well the largest power is known"))
        largest = largest_deliverable(system, replace(_case(system, choice), level=1.0))
        return f"{words}  {doubt_words(largest_uncertainty(system, largest))}"
    except HumproofError:
        return ""


def plan(draft: Draft, state: WiringState, report: Report) -> PlanShown:
    """The cheapest changes; raises `HumproofError` where the wiring cannot be solved."""
    report(0.0, tr("looking for the cheapest changes"))
    system, prices = system_of(draft, state).system, bundled_prices()
    found = cheapest_changes(system, prices, draft.file.limits.limits())
    report(1.0, tr("looking for the cheapest changes"))
    shown = tuple(ChangeShown(one, one.text, plain(one.cost, found.unit, 4)) for one in found.changes)
    left = tuple(one.text for one in found.findings_left if one.must_go)
    return PlanShown(shown, found.text, found.prices_source, left, system, found.system)
