"""A wiring study on the terminal, readable in 80 columns."""

from __future__ import annotations

import os
import sys
import textwrap
from collections.abc import Iterable
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rich.console import Console
    from rich.table import Table

    from analysis.wiring import Amplifier, ChangePlan, Conductor, Finding, Solution
    from job import WiringStudy

_LEAST_WIDTH, _MOST_WIDTH = 60, 100
_SHARES_SHOWN = 6
_POWERS = {1.0: "rated power", 1 / 3: "a third of it", 1 / 8: "an eighth of it"}
_SEVERITIES = {"danger": "DANGER: can end in a fire", "fault": "FAULT", "note": "NOTE"}


def show_wiring(study: WiringStudy) -> None:
    """The whole of one state."""
    console = wiring_console()
    _head(console, study, study.state)
    _say(console, f"{_case_words(study.main)}: {_outcome(study)}")
    _say(console, _demand_words(study))
    _say(console, _usable_words(study))
    _lay(console, _amplifier_table(study))
    _lay(console, _conductor_table(study))
    if not study.main.converged:
        print()
        _say(console, "These are the figures where the supply gives way, not those that the amplifiers ask for.")
    _lay(console, _case_table(study.solutions))
    _show_shares(console, study)
    _show_findings(console, study.findings)
    if study.plan is not None:
        _show_plan(console, study.plan)
    if study.assumed:
        print()
    for text in study.assumed:
        _say(console, f"assumed: {text}")
    _show_cautions(console)


def show_both(found: WiringStudy, left: WiringStudy) -> None:
    """As found beside as left."""
    console = wiring_console()
    _head(console, found, "as found and as left")
    for study in (found, left):
        _say(console, f"{study.state}: {_case_words(study.main)}: {_outcome(study)}")
    _lay(console, _amplifiers_beside(found, left))
    _lay(console, _conductors_beside(found, left))
    _lay(console, _totals_beside(found, left))
    _show_gone(console, found, left)
    _show_cautions(console)


# ---------------------------------------------------------------- words


def wiring_console() -> Console:
    """As wide as the terminal, within reason; 80 columns in a pipe, or what COLUMNS says."""
    from rich.console import Console

    if sys.stdout.isatty():
        wide = Console().width
    else:
        told = os.environ.get("COLUMNS", "")
        wide = int(told) if told.isdecimal() else 80
    return Console(width=min(max(wide, _LEAST_WIDTH), _MOST_WIDTH), highlight=False, markup=False)


def _say(console: Console, text: str, indent: int = 0) -> None:
    """A sentence, wrapped; further lines stand two columns in."""
    lines = textwrap.wrap(text, console.width - 1, initial_indent=" " * indent, subsequent_indent=" " * (indent + 2))
    print("\n".join(lines))


def _head(console: Console, study: WiringStudy, state: str) -> None:
    marked = "   SIMULATED" if study.system.simulated else ""
    _say(console, f"{study.system.name}, {state}{marked}")


def _case_words(solution: Solution) -> str:
    power = _POWERS.get(solution.case.level, f"{solution.case.level:.0%}")
    return f"At {power}, engine {solution.case.engine}"


def _outcome(study: WiringStudy) -> str:
    most = f"at most {_largest(study)} (k = 2) can be delivered to the amplifiers"
    if study.main.converged:
        return f"the supply holds; {most}; most is lost in '{study.influence.bottleneck}'."
    at = f"{100 * study.main.demand:.0f} % of what is asked"
    return f"the supply COLLAPSES at {at}; {most}; most is lost in '{study.influence.bottleneck}'."


def _largest(study: WiringStudy) -> str:
    return f"{study.largest.delivered_w:.0f} ± {study.largest_uncertainty_w:.0f} W"


def _demand_words(study: WiringStudy) -> str:
    one = study.demand
    asked = f"Rated power asks {one.total_w:.0f} W, with other loads {one.total_a:.0f} A at {one.volts:g} V"
    if one.fused_a is None or one.fused_w is None:
        return f"{asked}; no fuse lies in its way."
    return f"{asked}; the fuses let {one.fused_a:g} A through, {one.fused_w:.0f} W."


def _usable_words(study: WiringStudy) -> str:
    one = study.usable
    if not one.element:
        return f"With all limits kept {one.audio_w:.0f} W of sound can be made: the full rated power."
    return (
        f"With all limits kept {one.audio_w:.0f} W of sound can be made ({100 * one.share:.0f} % of the rating); the "
        f"first to be broken is '{one.rule}' at '{one.element}'."
    )


# ---------------------------------------------------------------- tables


def _lay(console: Console, table: Table) -> None:
    """A table with air above it."""
    print()
    console.print(table)


def _table(*columns: str) -> Table:
    """Names on the left may wrap, figures on the right may not."""
    from rich import box
    from rich.table import Table

    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, padding=(0, 1, 0, 0), show_edge=False)
    table.add_column(columns[0], overflow="fold", min_width=14)
    for column in columns[1:]:
        table.add_column(column, justify="right", no_wrap=True)
    return table


def _amplifier_table(study: WiringStudy) -> Table:
    table = _table("amplifier", "V (k = 2)", "least V", "A", "W drawn", "W asked")
    for one, point in zip(study.system.amplifiers, study.main.amplifiers, strict=True):
        uncertainty = study.influence.volts_uncertainty.get(one.name)
        table.add_row(
            one.name,
            _volts(point.volts, uncertainty),
            f"{one.least_volts:.1f}",
            f"{point.amps:.1f}",
            f"{point.power_w:.0f}",
            f"{one.input_w(study.main.case.level):.0f}",
        )
    return table


def _volts(volts: float, uncertainty: float | None) -> str:
    return f"{volts:.2f}" if uncertainty is None else f"{volts:.2f} ± {uncertainty:.2f}"


def _conductor_table(study: WiringStudy) -> Table:
    table = _table("conductor", "size", "A", "may", "fuse", "V lost", "mΩ", "°C")
    for one in study.system.conductors:
        point = study.main.elements[one.name]
        fuse = study.fused_a[one.name]
        table.add_row(
            one.name,
            _size(one),
            f"{abs(point.amps):.1f}",
            f"{one.ampacity_at(study.system.ambient_c):.0f}",
            f"{fuse:g}" if fuse is not None else "-",
            f"{abs(point.volts):.3f}",
            f"{1e3 * point.ohm:.2f}",
            f"{point.celsius:.0f}",
        )
    return table


_METALS = {"copper": "Cu", "aluminium": "Al"}


def _size(one: Conductor) -> str:
    runs = f"{one.runs}x " if one.runs > 1 else ""
    metal = _METALS.get(one.material.name, one.material.name.replace("copper-clad aluminium ", "Cu/Al "))
    return f"{runs}{one.size.label} {metal}"


def _case_table(solutions: Iterable[Solution]) -> Table:
    table = _table("power", "engine", "supply", "least V", "at", "W drawn")
    for one in solutions:
        lowest = min(one.amplifiers, key=lambda each: each.volts)
        outcome = "holds" if one.converged else f"collapses at {100 * one.demand:.0f} %"
        power = _POWERS.get(one.case.level, "")
        table.add_row(power, one.case.engine, outcome, f"{lowest.volts:.2f}", lowest.name, f"{one.delivered_w:.0f}")
    return table


def _show_shares(console: Console, study: WiringStudy) -> None:
    """Where the amplifier with the least volts over its least loses them."""
    worst: Amplifier = min(
        study.system.amplifiers,
        key=lambda one: next(point.volts for point in study.main.amplifiers if point.name == one.name),
    )
    shares = study.influence.shares.get(worst.name, {})
    whole = sum(shares.values())
    if not whole:
        return
    ranked = sorted(shares.items(), key=lambda pair: -abs(pair[1]))
    rest = sum(volts for _, volts in ranked[_SHARES_SHOWN:])
    table = _table(f"what '{worst.name}' loses in", "V", "share")
    for name, volts in [*ranked[:_SHARES_SHOWN], ("all the rest", rest), ("together", whole)]:
        table.add_row(name, f"{volts:.3f}", f"{100 * volts / whole:.0f} %")
    _lay(console, table)


# ---------------------------------------------------------------- findings and changes


def _show_findings(console: Console, findings: tuple[Finding, ...]) -> None:
    if not findings:
        print("\nNo findings.")
    for severity, heading in _SEVERITIES.items():
        mine = [one for one in findings if one.severity == severity]
        if mine:
            print(f"\n{heading} ({len(mine)})")
        for one in mine:
            _say(console, f"- {one.text} [{one.source}]", indent=1)


def _show_plan(console: Console, plan: ChangePlan) -> None:
    """What is to be done, in its order, with what it costs."""
    print("\nCheapest changes found")
    for number, one in enumerate(plan.changes, 1):
        _say(console, f"{number}. {one.text} Cost {one.cost:.2f}.", indent=1)
    _say(console, f"{plan.text} ({plan.prices_source})", indent=1)
    for left in plan.findings_left:
        if left.must_go:
            _say(console, f"left: {left.text}", indent=1)


def _show_cautions(console: Console) -> None:
    from job import WIRING_CAUTIONS

    print("\nBefore wires and fuses are touched:")
    for text in WIRING_CAUTIONS:
        _say(console, f"- {text}", indent=1)


# ---------------------------------------------------------------- side by side


def _amplifiers_beside(found: WiringStudy, left: WiringStudy) -> Table:
    table = _table("amplifier", "V found", "V left", "W found", "W left", "W asked")
    was, now = ({one.name: one for one in study.main.amplifiers} for study in (found, left))
    asked = {one.name: one.input_w(study.main.case.level) for study in (found, left) for one in study.system.amplifiers}
    for name in dict.fromkeys((*was, *now)):
        points = [each.get(name) for each in (was, now)]
        table.add_row(
            name,
            *(f"{point.volts:.2f}" if point else "-" for point in points),
            *(f"{point.power_w:.0f}" if point else "-" for point in points),
            f"{asked[name]:.0f}",
        )
    return table


def _conductors_beside(found: WiringStudy, left: WiringStudy) -> Table:
    table = _table("conductor", "found", "left", "A found", "A left", "V found", "V left")
    sides = [{one.name: one for one in study.system.conductors} for study in (found, left)]
    for name in dict.fromkeys((*sides[0], *sides[1])):
        sizes = [_size(side[name]) if name in side else "-" for side in sides]
        points = [
            study.main.elements[name] if name in side else None
            for study, side in zip((found, left), sides, strict=True)
        ]
        table.add_row(
            name,
            *sizes,
            *(f"{abs(point.amps):.1f}" if point else "-" for point in points),
            *(f"{abs(point.volts):.3f}" if point else "-" for point in points),
        )
    return table


def _totals_beside(found: WiringStudy, left: WiringStudy) -> Table:
    table = _table("", "as found", "as left")
    for severity in _SEVERITIES:
        counts = [sum(one.severity == severity for one in study.findings) for study in (found, left)]
        table.add_row(f"{severity} findings", *map(str, counts))
    most = [_largest(study) for study in (found, left)]
    table.add_row("largest deliverable power", *most)
    table.add_row("sound with all limits kept", *(f"{study.usable.audio_w:.0f} W" for study in (found, left)))
    table.add_row("most is lost in", *(study.influence.bottleneck for study in (found, left)))
    return table


def _show_gone(console: Console, found: WiringStudy, left: WiringStudy) -> None:
    """What the work put right, and what is still to be said."""
    still = {(one.rule, one.element) for one in left.findings}
    gone = [one for one in found.findings if one.must_go and (one.rule, one.element) not in still]
    if gone:
        print(f"\nPut right ({len(gone)})")
    for one in gone:
        _say(console, f"- {one.element}: {one.rule}", indent=1)
    print("\nAs left")
    _show_findings(console, left.findings)
