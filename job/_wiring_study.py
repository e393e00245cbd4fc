"""All that is told of a wiring file: operating points, shares, findings, the largest power, what would mend it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

from analysis import AnalysisError
from analysis.wiring import (
    CASES,
    Case,
    ChangePlan,
    Demand,
    Finding,
    Influence,
    Limits,
    Prices,
    Solution,
    System,
    UsablePower,
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
from job._errors import JobError
from job._parts_list import with_parts
from job._prices import bundled_prices
from job._wiring_file import read_wiring_file, wiring_error
from job._wiring_model import WiringFile, WiringState
from job._wiring_system import Assumption, WiringSystem, wiring_system
from job._words import CAUTIONS

#: the cautions for whoever handles wires and fuses
WIRING_CAUTIONS = tuple(
    one for one in CAUTIONS if any(word in one for word in ("its fuse", "power ground", "airbag", "local codes"))
)


@dataclass(frozen=True, slots=True)
class WiringStudy:
    """One state of a wiring file, solved and judged."""

    path: Path
    file: WiringFile
    state: WiringState
    system: System
    limits: Limits
    #: what the file did not say
    assumptions: tuple[Assumption, ...]
    #: the cases that are always looked at, the hardest first
    solutions: tuple[Solution, ...]
    #: the one that conductors and amplifiers are told of
    main: Solution
    influence: Influence
    findings: tuple[Finding, ...]
    #: with the engine as in `main`, and the k = 2 uncertainty of its power, W
    largest: Solution
    largest_uncertainty_w: float
    #: at rated power, against what the fuses let through
    demand: Demand
    #: with all limits kept
    usable: UsablePower
    #: amperes that fuses let into each conductor
    fused_a: dict[str, float | None]
    #: None when it was not asked for
    plan: ChangePlan | None

    @property
    def assumed(self) -> tuple[str, ...]:
        """One text for each assumption."""
        return tuple(one.text for one in self.assumptions)


def wiring_study(
    path: Path,
    state: WiringState = "as found",
    prices: Prices | None = None,
    *,
    engine: str | None = None,
    level: float = 1.0,
    changes: bool = True,
    parts: Path | None = None,
) -> WiringStudy:
    """Read a wiring file and reckon all that can be told of it.

    Parameters
    ----------
    prices
        For the changes; without them the list that comes along.
    engine, level
        What conductors and amplifiers are told of: "off", "idle" or "running" (without it running where an alternator
        is described), and the share of the rated power.
    changes
        Whether to look for the cheapest set of changes, which takes longest.
    parts
        A parts list that is laid over the file.

    Raises
    ------
    JobError
        One line with file, line, entry and remedy.
    """
    file = read_wiring_file(path)
    file = with_parts(file, parts) if parts is not None else file
    if state not in file.states():
        raise JobError(f'{path}: says nothing of the system {state}: mark what was changed with state = "{state}"')
    made = wiring_system(file, state)
    if engine in ("idle", "running") and not made.system.alternators:
        raise JobError(f"{path}: describes no alternator {state}: add an [[alternator]], or choose engine off")
    case = Case(level=level, engine=engine or ("running" if made.system.alternators else "off"))
    try:
        return _study(path, file, state, made, case, (prices or bundled_prices()) if changes else None)
    except WiringError as error:
        raise wiring_error(path, made.places.get(error.element, ("system",)), str(error)) from error
    except AnalysisError as error:
        raise JobError(f"{path}: {error}") from error


def _study(
    path: Path, file: WiringFile, state: WiringState, made: WiringSystem, case: Case, prices: Prices | None
) -> WiringStudy:
    system, limits = made.system, file.limits.limits()
    cases = CASES if system.alternators else tuple(one for one in CASES if one.engine == "off")
    solutions = tuple(solve(system, one) for one in cases)
    main = next((one for one in solutions if one.case == case), None) or solve(system, case)
    largest = largest_deliverable(system, replace(case, level=1.0))
    return WiringStudy(
        path=path,
        file=file,
        state=state,
        system=system,
        limits=limits,
        assumptions=made.assumptions,
        solutions=solutions,
        main=main,
        influence=influence(system, main),
        findings=find_faults(system, limits),
        largest=largest,
        largest_uncertainty_w=largest_uncertainty(system, largest),
        demand=demand(system, limits),
        usable=usable_power(system, limits),
        fused_a=fused_amps(system),
        plan=cheapest_changes(system, prices, limits) if prices is not None else None,
    )
