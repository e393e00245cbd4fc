"""Joints, blocks and sources."""

from __future__ import annotations

from collections.abc import Iterator

from analysis.wiring._finding import Finding, finding
from analysis.wiring._limits import COMMON
from analysis.wiring._survey import Survey

#: whatever their resistance is today
NEVER = ("through washers", "on paint", "twisted", "corroded")


def bad_joints(survey: Survey) -> Iterator[Finding]:
    """Joints of a kind that does not last, and joints with more resistance than their kind should have."""
    for joint in survey.system.joints:
        amps, _ = survey.worst(survey.rated, joint)
        lost = f"{joint.ohm * 1e3:.2g} mΩ, {amps * joint.ohm:.2f} V and {amps**2 * joint.ohm:.0f} W at {amps:.0f} A"
        if joint.kind in NEVER:
            yield finding(
                "fault",
                joint.name,
                "joint through washers" if joint.kind == "through washers" else "joint of a kind that fails",
                f"'{joint.name}' was found {joint.kind}: {lost}.",
                "Make it anew: bare metal, lug flat on the terminal's face, tightened to its maker's torque.",
                figure=joint.ohm * 1e3,
                limit=joint.most_ohm * 1e3,
                unit="mΩ",
                source=COMMON,
            )
        elif joint.ohm > joint.most_ohm * (1 + 1e-9):
            yield finding(
                "fault",
                joint.name,
                "joint resistance",
                f"'{joint.name}' ({joint.kind}) has {lost}; a sound one has at most {joint.most_ohm * 1e3:.2g} mΩ.",
                "Clean it, make it anew and measure it under load.",
                figure=joint.ohm * 1e3,
                limit=joint.most_ohm * 1e3,
                unit="mΩ",
                source=COMMON,
            )


def full_blocks(survey: Survey) -> Iterator[Finding]:
    """More terminals described than a block has."""
    for block in survey.system.blocks:
        used = sum(joint.block == block.name for joint in survey.system.joints)
        if used > block.ways:
            yield finding(
                "note",
                block.name,
                "more wires than ways",
                f"'{block.name}' has {block.ways} ways and {used} conductors: two share one.",
                "One conductor for each way: fit a block with more.",
                figure=used,
                limit=block.ways,
                unit="ways",
                source=COMMON,
            )


def drains(survey: Survey) -> Iterator[Finding]:
    """Loud music that asks for more than the alternators give: the battery makes up for it until it is empty."""
    system, limits = survey.system, survey.limits
    gives = sum(one.rated_a for one in system.alternators)
    others = sum(one.amps for one in system.other_loads)
    level = limits.music_level.value
    asks = others + sum(one.input_w(level) for one in system.amplifiers) / limits.demand_volts.value
    if not gives or asks <= gives * (1 + 1e-9):
        return
    hold = sum(one.capacity_ah or 0.0 for one in system.batteries)
    lasts = f"; {hold:g} Ah last about {hold / (asks - gives):.1f} h" if hold else ""
    yield finding(
        "note",
        system.alternators[0].name,
        "demand above alternator",
        f"Loud music (an average of {100 * level:.0f} % of rated power) and the other loads ask {asks:.0f} A, the "
        f"alternator gives {gives:.0f} A{lasts}.",
        "Play less loud for long, or fit a larger alternator.",
        figure=asks,
        limit=gives,
        unit="A",
        source=f"{COMMON}, at {limits.demand_volts.value:g} V",
    )
