"""Every rule asked in turn."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from analysis.wiring._conductor_findings import (
    aluminium_terminals,
    ground_thinner,
    over_ampacity,
    split_many_ways,
    thick_through_thin,
    thinner_than_asked,
)
from analysis.wiring._drop_findings import collapses, low_volts, over_drop
from analysis.wiring._finding import SEVERITIES, Finding
from analysis.wiring._fuse_findings import above_conductor, below_demand, too_far, unprotected
from analysis.wiring._fuse_notes import own_fuses, parallel_runs
from analysis.wiring._limits import Limits
from analysis.wiring._other_findings import bad_joints, drains, full_blocks
from analysis.wiring._survey import Survey
from analysis.wiring._system import System

#: in the order in which their findings are told within a severity
_RULES: tuple[Callable[[Survey], Iterator[Finding]], ...] = (
    unprotected,
    too_far,
    above_conductor,
    over_ampacity,
    collapses,
    below_demand,
    split_many_ways,
    thick_through_thin,
    bad_joints,
    aluminium_terminals,
    over_drop,
    low_volts,
    ground_thinner,
    thinner_than_asked,
    own_fuses,
    parallel_runs,
    full_blocks,
    drains,
)


def find_faults(system: System, limits: Limits | None = None) -> tuple[Finding, ...]:
    """All findings, the gravest first. Raises `WiringError` where the wiring cannot be solved."""
    survey = Survey(system, limits or Limits())
    found = [one for rule in _RULES for one in rule(survey)]
    return tuple(sorted(found, key=lambda one: SEVERITIES.index(one.severity)))


def is_sound(system: System, limits: Limits) -> bool:
    """Whether there is neither danger nor fault; quicker than to tell all."""
    survey = Survey(system, limits)
    return not any(one.must_go for rule in _RULES for one in rule(survey))
