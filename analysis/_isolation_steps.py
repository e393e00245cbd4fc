"""The isolation steps of a noise hunt: what is changed for one recording, what it takes, and what could be harmed.

The words are those that stand in a recording's `isolation_step`. Minutes are a shop's usual time for one recording
with its preparation; they and the risks are our own estimates. Order of the tuple: the order in which a technician
who follows no advice would go.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

#: 0: nothing can be harmed; 1: a pop, or a slip that costs a fuse; 2: gear or people can be harmed
Risk = Literal[0, 1, 2]

_MUTED = ("mute the source", "switch the amplifier off and wait until it is silent")
_BACK_ON = ("switch the amplifier on again", "record")
_LEADS = "Signal leads only with the amplifier off: a plug in a live input makes a pop that can cost a speaker."
_ENGINE = "Engine running: outdoors or with the exhaust led away, brake set, hands and leads clear of belts and fans."


@dataclass(frozen=True, slots=True)
class IsolationStep:
    """One change to the sound system or its surroundings, made for one recording and undone after it."""

    slug: str
    #: as it stands in a recording
    words: str
    #: what must be at hand
    needs: tuple[str, ...]
    #: empty when nothing can be harmed
    caution: str
    #: what is done, in this order
    order: tuple[str, ...]
    minutes: float
    risk: Risk


def _leads(slug: str, words: str, needs: tuple[str, ...], doing: tuple[str, ...], minutes: float) -> IsolationStep:
    """A step that touches signal leads: the amplifier is off meanwhile."""
    return IsolationStep(slug, words, needs, _LEADS, (*_MUTED, *doing, *_BACK_ON), minutes, 1)


def _easy(slug: str, words: str, doing: str, minutes: float, needs: tuple[str, ...] = ()) -> IsolationStep:
    """A step that touches no wire."""
    return IsolationStep(slug, words, needs, "", (doing, "record"), minutes, 0)


_PLUGS = ("shorting plugs",)
_POWER_GROUND = (
    "Never open a power ground while signal leads are plugged in: the box's return current would run through the "
    "lead's shield and burn it, or the source's ground track. Amplifier off and signal leads out first."
)

ISOLATION_STEPS: tuple[IsolationStep, ...] = (
    IsolationStep(
        "baseline",
        "baseline",
        (),
        _ENGINE,
        ("hold the engine at 1500 to 2000 rpm", "lamps on, volume as the customer has it", "play silence", "record"),
        3,
        0,
    ),
    IsolationStep(
        "second-speed",
        "second engine speed",
        (),
        _ENGINE,
        ("hold the engine about a half faster than in the baseline", "record"),
        2,
        0,
    ),
    _easy("engine-off", "engine off", "stop the engine, key on", 2),
    _easy("loads-off", "lamps and blower off", "same engine speed, lamps and blower off", 2),
    _easy("volume-down", "volume at zero", "turn the source's volume to zero", 1),
    _easy("volume-up", "volume at maximum", "with silence playing, turn the source's volume to maximum", 1),
    _easy("source-muted", "source muted", "mute the source", 1),
    _easy("processor-muted", "processor muted", "mute the processor's outputs", 2),
    _easy("other-source", "another source chosen", "choose another source, same volume", 1),
    _easy("wireless-off", "phones and wireless off", "switch phones, Bluetooth and USB devices off", 2),
    _easy("mains-off", "mains lead out", "unplug shore lead, mains charger and the laptop's mains supply", 1),
    _easy("motors-off", "motor fuses pulled", "pull the fuses of pump, blower and wiper motors one by one", 6),
    _easy("dimmed-off", "dimmed lamp fuses pulled", "pull the fuses of dimmed and LED lamps one by one", 5),
    _easy("converters-off", "converter fuses pulled", "pull the fuses of DC-DC, inverter, solar and USB chargers", 5),
    _easy("bus-off", "data devices unplugged", "unplug trackers, dashcams and other data devices one by one", 5),
    _leads("inputs-shorted", "signal leads off and inputs shorted", _PLUGS, ("pull all signal leads at the amplifier",
           "shorting plugs into its inputs"), 6),
    _leads("lead-shorted", "amplifier lead unplugged at the processor and shorted", _PLUGS,
           ("lead stays on the amplifier", "unplug its far end at the processor and short it, touching no metal"), 7),
    _leads("processor-inputs-shorted", "processor inputs shorted", _PLUGS,
           ("leads back on amplifier and processor", "pull the processor's inputs and short them"), 6),
    _leads("source-lead-shorted", "processor lead unplugged at the source and shorted", _PLUGS,
           ("lead stays on the processor", "unplug its far end at the source and short it, touching no metal"), 9),
    _leads("loose-lead", "loose lead through the cabin", ("a spare screened lead",),
           ("replace the lead to the amplifier by a loose one, away from power wires",), 8),
    _leads("loose-source-lead", "loose lead from source to processor", ("a spare screened lead",),
           ("replace the lead to the processor by a loose one, away from power wires",), 9),
    _leads("isolated-lead", "isolation transformer in the amplifier lead", ("a signal isolation transformer",),
           ("put the transformer into the lead between processor and amplifier",), 6),
    _leads("isolated-source-lead", "isolation transformer in the processor lead", ("a signal isolation transformer",),
           ("put the transformer into the lead between source and processor",), 8),
    _leads("battery-player", "battery-powered player into the amplifier", ("a player on its own battery",),
           ("pull the amplifier's signal leads", "plug in the player, which touches no metal"), 5),
    _easy("antenna-off", "antenna unplugged", "unplug the antenna at the tuner", 6),
    IsolationStep(
        "strap-processor",
        "strap from processor case to amplifier ground",
        ("a heavy strap with clamps",),
        "A strap is added, nothing is opened; keep it off every positive terminal.",
        ("clamp the strap from the processor's case to the amplifier's ground terminal", "record"),
        5,
        1,
    ),
    IsolationStep(
        "strap-amplifier",
        "strap from amplifier ground to battery negative",
        ("a heavy strap with clamps",),
        "A strap is added, nothing is opened; keep it off every positive terminal.",
        ("clamp the strap from the amplifier's ground terminal to battery negative", "record"),
        6,
        1,
    ),
    IsolationStep(
        "strap-source",
        "strap from source case to amplifier ground",
        ("a heavy strap with clamps",),
        "A strap is added, nothing is opened; keep it off every positive terminal.",
        ("clamp the strap from the source's case to the amplifier's ground terminal", "record"),
        7,
        1,
    ),
    IsolationStep(
        "own-feed",
        "processor on its own pair from the battery",
        ("a twisted pair with its own fuse",),
        f"{_POWER_GROUND} Fuse at the battery first; pull the fuse before touching terminals.",
        (*_MUTED, "pull the signal leads", "pull the processor's fuse", "feed the processor by the twisted pair",
         "signal leads back in", *_BACK_ON),
        15,
        2,
    ),
    IsolationStep(
        "own-battery",
        "processor on its own battery",
        ("a small fused battery",),
        f"{_POWER_GROUND} Its case must touch no metal.",
        (*_MUTED, "pull the signal leads", "pull the processor's fuse", "then its power ground",
         "connect the small battery", "signal leads back in", *_BACK_ON),
        15,
        2,
    ),
    IsolationStep(
        "alternator-idle",
        "alternator not charging",
        ("tools for the belt or the field plug",),
        "Belt or field plug only with the engine stopped. Never disconnect the battery with the engine running. "
        "At most two minutes on the battery alone.",
        ("stop the engine", "take the belt off or pull the field plug", "start the engine, same speed", "record",
         "stop the engine and put it back"),
        25,
        2,
    ),
    IsolationStep(
        "speaker-leads-off",
        "speaker leads off and dummy load on the amplifier",
        ("a dummy load",),
        "A bridged output never to chassis; the dummy load gets hot and lies on a fireproof surface.",
        (*_MUTED, "pull the speaker leads", "dummy load on the output", *_BACK_ON),
        8,
        1,
    ),
    IsolationStep(
        "amplifier-unpowered",
        "amplifier unpowered",
        (),
        "Pull the amplifier's fuse at the battery, never its ground.",
        ("mute the source", "pull the amplifier's main fuse", "listen, and record"),
        3,
        0,
    ),
    _easy("wiggled", "leads and joints wiggled", "wiggle, tap and warm leads and joints one by one, listening", 8),
    _easy("after-fix", "baseline again after the fix", "the baseline's conditions once more", 3),
)  # fmt: skip

STEP_BY_SLUG = {step.slug: step for step in ISOLATION_STEPS}
STEP_BY_WORDS = {step.words: step for step in ISOLATION_STEPS}


def find_step(text: str) -> IsolationStep | None:
    """The step of a slug or of words, whatever the case; None when it is none of ours."""
    asked = " ".join(text.lower().split())
    return STEP_BY_WORDS.get(asked) or STEP_BY_SLUG.get(asked)
