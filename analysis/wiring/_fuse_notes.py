"""Notes on fuses: amplifiers' own, and those that parallel runs share."""

from __future__ import annotations

from collections.abc import Iterator

from analysis.wiring._finding import Finding, finding
from analysis.wiring._fuse_bands import fuse_limit
from analysis.wiring._fuse_findings import positive_conductors
from analysis.wiring._limits import COMMON
from analysis.wiring._survey import Survey, asked_a
from analysis.wiring._system import Amplifier

_ROUNDING = 1 + 1e-9


def own_fuses(survey: Survey) -> Iterator[Finding]:
    """Notes on what amplifiers' own fuses say: about the fuse before them, and about the rated power."""
    for amplifier in survey.system.amplifiers:
        total = sum(amplifier.own_fuses_a)
        if total > 0:
            yield from _own_against_supply(survey, amplifier, total)
            yield from _own_against_rating(amplifier, total)


def _own_against_supply(survey: Survey, amplifier: Amplifier, total: float) -> Iterator[Finding]:
    for fuse in survey.system.fuses:
        if survey.feeding.serves(fuse) == {amplifier.name} and fuse.rated_a < total:
            need = asked_a(amplifier, survey.limits.demand_volts.value)
            yield finding(
                "note",
                fuse.name,
                "own fuses above supply fuse",
                f"'{fuse.name}' ({fuse.rated_a:g} A) opens before the fuses of '{amplifier.name}' ({total:g} A "
                f"together), which asks {need:.0f} A at rated power.",
                "Nothing to do as long as the fuse carries the demand.",
                figure=total,
                limit=fuse.rated_a,
                unit="A",
                source=COMMON,
            )


def _own_against_rating(amplifier: Amplifier, total: float) -> Iterator[Finding]:
    most = total * amplifier.at_volts * amplifier.efficiency
    if most < amplifier.rated_w / _ROUNDING:
        yield finding(
            "note",
            amplifier.name,
            "rating not credible",
            f"'{amplifier.name}' is rated {amplifier.rated_w:.0f} W, but its own fuses ({total:g} A at "
            f"{amplifier.at_volts:g} V, efficiency {amplifier.efficiency:.2f}) pass no more than {most:.0f} W.",
            f"Reckon with {most:.0f} W.",
            figure=amplifier.rated_w,
            limit=most,
            unit="W",
            source=f"{COMMON}: own fuses x volts x efficiency",
        )


def parallel_runs(survey: Survey) -> Iterator[Finding]:
    """Parallel runs behind fuses that are too large for one of them alone."""
    for one in positive_conductors(survey):
        amps = max(0.0 if side.has_battery else side.amps for side in survey.feeding.sides(one))
        single = fuse_limit(one, survey.system.ambient_c).per_run_a
        if one.runs > 1 and amps > single * _ROUNDING:
            yield finding(
                "note",
                one.name,
                "parallel runs fused together",
                f"The {one.runs} runs of '{one.name}' share {amps:g} A of fuse; one alone may have {single:.0f} A, "
                "which is what counts when the other comes loose.",
                "Give each run a fuse of its own.",
                figure=amps,
                limit=single,
                unit="A",
                source=COMMON,
            )
