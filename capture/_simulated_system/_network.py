"""From currents to volts: every line of every emitter through grounds, shields, fields, feeds and gains.

A linear network at each frequency, solved with complex rms values; relations in `Lead` and beside the functions.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from capture._simulated_system._parts import (
    AMPLIFIER,
    FIRST_LEAD,
    PROCESSOR,
    SECOND_LEAD,
    SOURCE,
    Box,
    Emitter,
    Impedance,
    Lead,
    OperatingPoint,
    SoundSystem,
)

Floats = npt.NDArray[np.float64]
Complexes = npt.NDArray[np.complex128]

#: a floating box: nothing but stray capacitance, taken as this conductance
_FLOATING_S = 1e-9
#: columns of the table of couplings
_COLUMNS = 20
#: where a tap is: at the speaker, at the amplifier's input, between the processor's and the amplifier's case, and
#: in the shield of the amplifier's lead (A)
TAPS = ("speaker", "signal", "ground-offset", "current")
#: and in the shield of the processor's lead, where a clamp is held too
FIRST_CURRENT = "first current"


@dataclass(frozen=True, slots=True, eq=False)
class Response:
    """Complex rms of every line, shape (lines,); `taps` by name of `TAPS`; before gating."""

    emitters: tuple[Emitter, ...]
    #: which emitter each line belongs to, its frequency, and which multiple of the base it is
    owner: npt.NDArray[np.intp]
    hz: Floats
    multiple: Floats
    #: at the battery posts, V
    supply: Complexes
    taps: dict[str, Complexes]
    #: hiss at each tap, V per root Hz
    hiss: dict[str, float]


def base_hz(system: SoundSystem, point: OperatingPoint, emitter: Emitter) -> float:
    """Base frequency of an emitter's comb; a brushed motor's speed follows its volts (no-load speed of a DC motor)."""
    if emitter.law == "engine":
        return emitter.base * point.rpm / 60
    return emitter.base * (system.bus_v(point) / 13.8 if emitter.law == "volts" else 1.0)


def runs(system: SoundSystem, point: OperatingPoint, emitter: Emitter) -> bool:
    """Whether it makes any noise at this operating point."""
    if emitter.group == "alternator":
        return system.charging(point) > 0
    if (emitter.needs_engine or emitter.law == "engine") and not point.rpm:
        return False
    return not (emitter.lamp and not point.lamps) and not (emitter.blower and not point.blower)


def respond(
    system: SoundSystem,
    point: OperatingPoint,
    below_hz: float = 20_000.0,
    factors: Sequence[float] | None = None,
) -> Response:
    """Every line of every running emitter up to a frequency, at all taps; `factors` on the emitters' levels."""
    numbers = [index for index, one in enumerate(system.emitters) if runs(system, point, one)]
    emitters = tuple(system.emitters[index] for index in numbers)
    strength = np.ones(len(numbers)) if factors is None else np.array([factors[index] for index in numbers])
    owner, multiple, hz, current = _lines(system, point, emitters, strength, below_hz)
    jw = np.asarray(2j * math.pi * hz, complex)
    table = _table(system, emitters)[owner].T
    supply, feed, cases = _solve(system, table, jw, current)
    taps = _taps(system, point, table, jw, current, supply, feed, cases)
    return Response(emitters, owner, hz, multiple, supply, taps, _hiss(system, point))


def _lines(
    system: SoundSystem, point: OperatingPoint, emitters: tuple[Emitter, ...], strength: Floats, below_hz: float
) -> tuple[npt.NDArray[np.intp], Floats, Floats, Complexes]:
    """Owner, multiple, frequency and current of each line."""
    if not emitters:
        return np.empty(0, np.intp), np.empty(0), np.empty(0), np.empty(0, complex)
    count = [len(one.comb.orders) for one in emitters]
    owner = np.repeat(np.arange(len(emitters)), count)
    multiple = np.concatenate([one.comb.orders for one in emitters])
    base = np.array([base_hz(system, point, one) for one in emitters])
    charging = system.charging(point)
    level = np.array([one.level * (charging if one.group == "alternator" else 1.0) for one in emitters])
    hz = base[owner] * multiple
    kept = hz < below_hz
    current = (np.concatenate([one.comb.rms for one in emitters]) * (level * strength)[owner])[kept]
    return owner[kept], multiple[kept], hz[kept], current


def _table(system: SoundSystem, emitters: tuple[Emitter, ...]) -> Floats:
    """Couplings of each emitter as it stands, shape (emitters, `_COLUMNS`)."""
    rows = [
        (
            one.through_battery,
            *one.ground_ohm,
            *one.ground_h,
            *one.joint,
            *one.panel,
            *one.lead_h,
            *one.shared,
            _before_volume(system, one),
            *one.inside[1:],
        )
        for one in emitters
    ]
    return np.array(rows, float).reshape(len(emitters), _COLUMNS)


def _before_volume(system: SoundSystem, emitter: Emitter) -> float:
    hears = system.antenna and system.chosen_input == "tuner"
    chosen = emitter.only_input in ("", system.chosen_input)
    return emitter.inside[0] * chosen + emitter.antenna * hears


def _solve(
    system: SoundSystem, table: Floats, jw: Complexes, current: Complexes
) -> tuple[Complexes, Complexes, Complexes]:
    """Ripple at the posts, ripple on the processor's feed, and the potentials of the three cases, shape (3, lines).

    Kirchhoff's currents at four nodes: the posts, and each case. A case hangs on its ground wire, which ends at a
    place in the body that the returns of others lift; on the posts through its feed and input capacitor; and on the
    other cases through leads and straps.
    """
    in_wire = current * (table[14] + jw * table[15])
    into, ground, feed = [], [], []
    for place, box in enumerate(system.boxes):
        body = current * (table[1 + place] + jw * table[4 + place] + table[7 + place] * box.joint_ohm)
        ground.append(np.full_like(jw, _FLOATING_S) if box.floating else 1 / _ground(box, jw))
        feed.append(np.zeros_like(jw) if box.floating else 1 / _feed(box, jw))
        into.append(np.zeros_like(jw) if box.floating else body * ground[place])
    into[PROCESSOR] = into[PROCESSOR] + in_wire * feed[PROCESSOR]
    at_posts = current * table[0] - in_wire * feed[PROCESSOR]
    posts = 1 / (system.battery[0] + jw * system.battery[1]) + sum(feed)
    # The posts are eliminated: what hung on them hangs on each other (star to mesh).
    into = [i + at_posts * y / posts for i, y in zip(into, feed, strict=True)]
    own = [g + y * (1 - sum(feed) / posts) for g, y in zip(ground, feed, strict=True)]
    cases = _joined(system, jw, into, own, [y / posts for y in feed], feed)
    supply = (at_posts + sum(y * v for y, v in zip(feed, cases, strict=True))) / posts
    return supply, supply + in_wire, cases


def _ground(box: Box, jw: Complexes) -> Complexes:
    return np.asarray(box.ground[0] + box.joint_ohm + jw * box.ground[1])


def _feed(box: Box, jw: Complexes) -> Complexes:
    return np.asarray(box.feed_ohm + 1 / (jw * box.input_farad))


def _joined(
    system: SoundSystem,
    jw: Complexes,
    into: list[Complexes],
    own: list[Complexes],
    share: list[Complexes],
    feed: list[Complexes],
) -> Complexes:
    """Potentials of the cases, by elimination; `share` times `feed` is what ties two of them by way of the posts."""
    first, second = (_through_lead(lead, jw) for lead in system.leads)
    across, second_strap, to_battery = (_through_strap(strap, jw) for strap in system.straps)
    first = first + share[SOURCE] * feed[PROCESSOR]
    second = second + second_strap + share[PROCESSOR] * feed[AMPLIFIER]
    across = across + share[SOURCE] * feed[AMPLIFIER]
    a = own[SOURCE] + first + across
    b = own[PROCESSOR] + first + second
    c = own[AMPLIFIER] + second + across + to_battery
    # rows: a v0 - first v1 - across v2 = into[0], and so on; the source's case is eliminated first
    b1, c1, m = b - first**2 / a, c - across**2 / a, second + first * across / a
    j1, j2 = into[PROCESSOR] + first * into[SOURCE] / a, into[AMPLIFIER] + across * into[SOURCE] / a
    v2 = (j2 + m * j1 / b1) / (c1 - m**2 / b1)
    v1 = (j1 + m * v2) / b1
    v0 = (into[SOURCE] + first * v1 + across * v2) / a
    return np.stack((v0, v1, v2))


def _through_lead(lead: Lead, jw: Complexes) -> Complexes:
    """Admittance of the loop that a lead's shield closes between two cases."""
    if not lead.plugged:
        return np.zeros_like(jw)
    loop = lead.sender_ohm + lead.shield_ohm + lead.receiver_ohm + jw * lead.shield_h
    if lead.transformer_farad is not None:
        loop = loop + 1 / (jw * lead.transformer_farad)
    return np.asarray(1 / loop)


def _through_strap(strap: Impedance | None, jw: Complexes) -> Complexes:
    return np.zeros_like(jw) if strap is None else np.asarray(1 / (strap[0] + jw * strap[1]))


def _in_lead(lead: Lead, jw: Complexes, difference: Complexes, pick_up: Complexes) -> tuple[Complexes, Complexes]:
    """Noise that a lead adds to its signal, V, and the current in its shield, A.

    The field of a wire at current I induces j w M I in the lead (Faraday), whatever is plugged in at its ends.
    """
    shield = difference * _through_lead(lead, jw)
    drops = lead.shield_ohm + lead.sender_leak * lead.sender_ohm + lead.receiver_leak * lead.receiver_ohm
    if lead.transformer_farad is not None:
        # Its winding sees only what stands between the sender's own shell and pin.
        drops = lead.sender_leak * lead.sender_ohm
    return shield * drops + lead.nearness * jw * pick_up, shield


def _taps(
    system: SoundSystem,
    point: OperatingPoint,
    table: Floats,
    jw: Complexes,
    current: Complexes,
    supply: Complexes,
    feed: Complexes,
    cases: Complexes,
) -> dict[str, Complexes]:
    """Along the signal: source, first lead, processor, second lead, amplifier, speaker."""
    first, first_shield = _in_lead(system.leads[FIRST_LEAD], jw, cases[0] - cases[1], current * table[12])
    second, shield = _in_lead(system.leads[SECOND_LEAD], jw, cases[1] - cases[2], current * table[13])
    at_source, at_processor = _volumes(system, point)
    source = at_source * system.source_passes * current * table[16]
    source = source + current * table[17] + system.boxes[SOURCE].supply_leak * supply
    source = system.source_output * source
    processed = at_processor * system.processor_passes * system.processor_gain * (source + first)
    leak = 0.0 if system.boxes[PROCESSOR].floating else system.boxes[PROCESSOR].supply_leak
    processor = system.processor_output * (processed + current * table[18] + leak * feed)
    signal = system.amplifier_input * (processor + second)
    inner = current * table[19] + system.boxes[AMPLIFIER].supply_leak * supply
    panel = current * (table[10] + jw * table[11]) - cases[2]
    speaker = system.amplifier_on * (system.amplifier_gain * (signal + inner) + system.panel_touch * panel)
    return {
        "speaker": speaker,
        "signal": signal,
        "ground-offset": cases[1] - cases[2],
        "current": shield,
        FIRST_CURRENT: first_shield,
    }


def _volumes(system: SoundSystem, point: OperatingPoint) -> tuple[float, float]:
    """Gain of the volume control in the source and in the processor."""
    return (point.volume, 1.0) if system.volume_at == "source" else (1.0, point.volume)


def _hiss(system: SoundSystem, point: OperatingPoint) -> dict[str, float]:
    """White noise adds in power (uncorrelated sources), V per root Hz."""
    before, out, processor, amplifier = system.hiss
    at_source, at_processor = _volumes(system, point)
    source = system.source_output * math.hypot(at_source * system.source_passes * before, out)
    through = at_processor * system.processor_passes * system.processor_gain * source
    signal = system.amplifier_input * system.processor_output * math.hypot(through, processor)
    speaker = system.amplifier_on * system.amplifier_gain * math.hypot(signal, amplifier)
    return {"speaker": speaker, "signal": signal, "ground-offset": 0.0, "current": 0.0}
