"""Conductors: what they carry, what they feed, what they are clamped in."""

from __future__ import annotations

from collections.abc import Iterator

from analysis.wiring._ampacity import AMPACITY_SOURCE
from analysis.wiring._finding import Finding, finding, plural
from analysis.wiring._fuse_bands import fuse_limit
from analysis.wiring._limits import COMMON
from analysis.wiring._survey import Survey, copper_mm2, engine_words
from analysis.wiring._system import Block, Conductor, Joint

_ROUNDING = 1 + 1e-9


def over_ampacity(survey: Survey) -> Iterator[Finding]:
    """A conductor that carries more than 33 CFR 183.425 allows it: at music a danger, at rated power a fault."""
    for one in survey.system.conductors:
        may = one.ampacity_at(survey.system.ambient_c)
        music, engine = survey.worst(survey.music, one)
        if music > may * _ROUNDING:
            share = survey.limits.music_level.value
            yield _over(
                one, "danger", music, may, f"with loud music ({share:.0%} of rated power, ".replace("%", " %"), engine
            )
            continue
        rated, engine = survey.worst(survey.rated, one)
        if rated > may * _ROUNDING:
            yield _over(one, "fault", rated, may, "at rated power (", engine)


def _over(one: Conductor, severity: str, amps: float, may: float, case: str, engine: str) -> Finding:
    return finding(
        "danger" if severity == "danger" else "fault",
        one.name,
        "conductor over ampacity",
        f"'{one.name}' ({describe(one)}) carries {amps:.0f} A {case}{engine_words(engine)}) and may carry {may:.0f} A.",
        "Fit a thicker conductor or more runs.",
        figure=amps,
        limit=may,
        unit="A",
        source=AMPACITY_SOURCE,
    )


def describe(one: Conductor) -> str:
    """ "2 runs of 4 SAE copper"."""
    runs = f"{plural(one.runs, 'run')} of " if one.runs > 1 else ""
    return f"{runs}{one.size.label} {one.material.name}"


def thick_through_thin(survey: Survey) -> Iterator[Finding]:
    """A conductor that alone feeds a thicker one, both reckoned as copper."""
    feeding, thinnest = survey.feeding, 1 - survey.limits.thinner_by.value
    fed: dict[str, Conductor] = {}
    for one in survey.system.conductors:
        if not feeding.is_positive(one) or not feeding.serves(one):
            continue
        for name in feeding.positive.upstream(one):
            if name not in fed or copper_mm2(one) > copper_mm2(fed[name]):
                fed[name] = one
    for one in survey.system.conductors:
        thick = fed.get(one.name)
        if thick is None or not feeding.is_positive(one):
            continue
        area, wanted = copper_mm2(one), copper_mm2(thick)
        if area < wanted * thinnest / _ROUNDING:
            yield finding(
                "fault",
                one.name,
                "thick fed through thin",
                f"'{one.name}' ({describe(one)}) conducts like {area:.1f} mm² of copper and alone feeds the thicker "
                f"'{thick.name}' ({wanted:.1f} mm²).",
                "Make it at least as thick as what it feeds.",
                figure=area,
                limit=wanted * thinnest,
                unit="mm²",
                source=COMMON,
            )


def split_many_ways(survey: Survey) -> Iterator[Finding]:
    """A conductor whose current is split, and the branches together ask for more than it may carry."""
    feeding = survey.feeding
    for one in survey.system.conductors:
        served = feeding.serves(one)
        if not feeding.is_positive(one) or len(served) < 2:
            continue
        asked = survey.asked[one.name]
        limit = fuse_limit(one, survey.system.ambient_c)
        if asked > limit.amps * _ROUNDING:
            yield finding(
                "fault",
                one.name,
                "one run split many ways",
                f"'{one.name}' ({describe(one)}) is split among {len(served)} loads that together ask {asked:.0f} A at "
                f"rated power ({survey.limits.demand_volts.value:g} V); it may be given {limit.amps:.0f} A.",
                "Fit a run for the sum of all, or runs of their own.",
                figure=asked,
                limit=limit.amps,
                unit="A",
                source=f"{limit.source}: {limit.rule}",
            )


def thinner_than_asked(survey: Survey) -> Iterator[Finding]:
    """A lead of an amplifier alone that is thinner than its maker asks."""
    least = 1 - survey.limits.thinner_by.value
    for amplifier in survey.system.amplifiers:
        if amplifier.least_area_mm2 is None:
            continue
        for one in survey.system.conductors:
            if survey.feeding.serves(one) != {amplifier.name}:
                continue
            area = copper_mm2(one)
            if area < amplifier.least_area_mm2 * least / _ROUNDING:
                yield finding(
                    "fault",
                    one.name,
                    "lead thinner than the maker asks",
                    f"'{one.name}' ({describe(one)}) conducts like {area:.1f} mm² of copper; the maker of "
                    f"'{amplifier.name}' asks for {amplifier.least_area_mm2:.1f} mm².",
                    "Fit the size the maker asks for.",
                    figure=area,
                    limit=amplifier.least_area_mm2 * least,
                    unit="mm²",
                    source="the amplifier's maker",
                )


def ground_thinner(survey: Survey) -> Iterator[Finding]:
    """A conductor of the ground side that is thinner than a positive one whose whole current returns through it."""
    feeding, least = survey.feeding, 1 - survey.limits.thinner_by.value
    positives = [(one, feeding.serves(one)) for one in survey.system.conductors if feeding.is_positive(one)]
    for one in survey.system.conductors:
        served = feeding.serves(one)
        through = [positive for positive, loads in positives if loads and loads <= served]
        if feeding.is_positive(one) or not through:
            continue
        thickest = max(through, key=copper_mm2)
        area, wanted = copper_mm2(one), copper_mm2(thickest)
        if area < wanted * least / _ROUNDING:
            yield finding(
                "fault",
                one.name,
                "ground thinner than positive",
                f"'{one.name}' ({describe(one)}) conducts like {area:.1f} mm² of copper; all current of "
                f"'{thickest.name}' ({wanted:.1f} mm²) returns through it.",
                "Make the ground as thick as the positive side.",
                figure=area,
                limit=wanted * least,
                unit="mm²",
                source=COMMON,
            )


def aluminium_terminals(survey: Survey) -> Iterator[Finding]:
    """Aluminium in a terminal made for copper; the softer core of clad wire is a note."""
    blocks = {block.name: block for block in survey.system.blocks}
    for terminal in survey.system.joints:
        if takes_aluminium(terminal, blocks):
            continue
        for one in clamped_in(terminal, survey):
            clad = one.material.name.startswith("copper-clad")
            if one.material.name == "copper":
                continue
            yield finding(
                "note" if clad else "fault",
                terminal.name,
                "aluminium in copper terminal",
                f"'{one.name}' ({one.material.name}) is clamped in '{terminal.name}' ({terminal.kind}), which is not "
                "rated for aluminium: it creeps and corrodes there, and the joint grows hot.",
                "Change to copper, or to a terminal rated for aluminium with its compound.",
                figure=1,
                limit=0,
                unit="conductors",
                source=COMMON,
            )


def takes_aluminium(terminal: Joint, blocks: dict[str, Block]) -> bool:
    """Whether it, or the block whose terminal it is, is rated for aluminium."""
    block = blocks.get(terminal.block)
    return terminal.takes_aluminium or (block is not None and block.takes_aluminium)


def clamped_in(terminal: Joint, survey: Survey) -> list[Conductor]:
    """The conductors that end in a terminal: of a block's terminal those at its outer end."""
    inner = {block.point for block in survey.system.blocks if block.name == terminal.block}
    ends = {terminal.start, terminal.end} - inner
    return [one for end in ends for one in survey.feeding.around.get(end, []) if isinstance(one, Conductor)]
