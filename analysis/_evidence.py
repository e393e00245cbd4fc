"""What recordings under isolation steps, and a technician's answers, say to each question of a likelihood table.

A strength P lies between 0 (no) and 1 (yes). For a measured figure x with standard uncertainty u and a limit t it is
the normal tail P = Phi((x - t) / u): a drop of 10.5 dB against a limit of 10 dB is hardly more than a coin's toss.
What was not done is no evidence; what contradicts itself is told and weighs nothing.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

from analysis._isolation_steps import STEP_BY_SLUG
from analysis._picture import AGGRESSORS, Aggressor, NoisePicture, PictureLine

Kind = Literal[
    "drop",
    "change",
    "stays",
    "follows speed",
    "alternator order",
    "supply fault lines",
    "firing",
    "coherence",
    "mains",
    "fixed",
    "gated",
    "hiss",
    "supply ripple",
    "moves with volts",
    "shield coherence",
    "reading",
    "answer",
]
Said = Literal["yes", "no", "not sure", "not done"]

#: what one recording differs from the next under unchanged conditions, 1 sigma (trade estimate: whine 1 to 3 dB)
REPEATABILITY_DB = 1.5
#: the same where the engine speed of one of the two is not known
_UNKNOWN_SPEED_DB = 4.0
#: no measurement is surer than this: the clip may have hung on the wrong plug
_SUREST = 0.99
#: how much a technician's plain yes or no weighs
ANSWER_STRENGTH = 0.98
#: engine speeds that count as one
_SAME_SPEED = 0.02
#: a tone is heard this far below the hiss, which the ear spreads over its bands
_TONE_ADVANTAGE_DB = 3.0
#: a baseline that comes and goes by more than this by itself is told
_RESTLESS_DB = 6.0
_ENGINE_DRIVEN: tuple[Aggressor, ...] = ("alternator", "ignition")
_TONES: tuple[Aggressor, ...] = tuple(a for a in AGGRESSORS if a not in ("broadband", "instrument floor"))
#: steps that change the engine speed on purpose
_SPEED_STEPS = ("engine-off", "second-speed")

NOISE_WORDS: dict[Aggressor, str] = {
    "alternator": "the alternator's whine",
    "ignition": "the ticking of the ignition",
    "mains": "the mains hum",
    "converter": "the fixed tones",
    "motor": "the motor's tone",
    "frames": "the buzz of transmit frames",
    "broadband": "the hiss",
    "instrument floor": "the instrument's floor",
    "unexplained": "the noise",
}


@dataclass(frozen=True, slots=True)
class EvidenceItem:
    """One question of a likelihood table."""

    slug: str
    #: as asked from a technician; "yes" must be an answer to it
    question: str
    #: how it is drawn from pictures; "answer" where only a person can tell
    kind: Kind
    #: the isolation step, or the check, that answers it
    step: str
    #: dB, a share, or V, as the kind has it
    limit: float = 0.0
    #: with two causes at once it is yes if "any" of them brings it, or only if "all" do (a drop needs both to go)
    together: Literal["any", "all"] = "any"
    #: items of one group say much the same and share their weight
    group: str = ""
    #: for a "reading": the unit its limit is in, and the tap point whose baseline recording tells it, too
    unit: str = ""
    tap: str = ""


@dataclass(frozen=True, slots=True)
class Observation:
    """The picture of one recording with what was changed for it; observations come in the order they were made."""

    name: str
    step: str
    picture: NoisePicture
    #: the tap point: only pictures of one tap are compared
    tap: str = "signal"
    #: its level is a lower bound
    clipped: bool = False


@dataclass(frozen=True, slots=True)
class Answer:
    """What a technician said to an item."""

    item: str
    said: Said
    #: what a meter showed, where the item is a reading; then `said` is not looked at
    reading: float | None = None


@dataclass(frozen=True, slots=True)
class Evidence:
    """What is known about one item: strength 0 (no) to 1 (yes), and why in words with figures."""

    item: str
    strength: float
    words: str
    source: Literal["measured", "answered"]


@dataclass(frozen=True, slots=True)
class Drawn:
    """All evidence, one for each item that carries any, and what could not be drawn or contradicts itself."""

    evidence: tuple[Evidence, ...]
    #: what the complaint is taken to be; None when no baseline was recorded
    noise: Aggressor | None
    #: where that was judged
    tap: str = ""
    contradictions: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class _Reading:
    strength: float
    words: str


@dataclass(frozen=True, slots=True)
class _Silence:
    """Why an item cannot be told."""

    words: str


_Found = _Reading | _Silence | None


def draw_evidence(
    items: Sequence[EvidenceItem], observations: Sequence[Observation], answers: Sequence[Answer] = ()
) -> Drawn:
    """Everything that pictures and answers say to the items.

    Parameters
    ----------
    items
        The questions of a likelihood table.
    observations
        One for each recording, in the order they were made; the baselines are those whose step is "baseline".
    answers
        What the technician said; "not done" and "not sure" carry nothing.
    """
    readings_at = {item.tap for item in items if item.tap}
    everything, observations = observations, [one for one in observations if one.tap not in readings_at]
    noise = principal_noise(observations)
    evidence: list[Evidence] = []
    contradictions = list(_restless(observations, noise))
    notes = list(_limits(observations, noise))
    for item in items:
        own = [answer for answer in answers if answer.item == item.slug]
        found = _read_off(item, everything, own) if item.kind == "reading" else _find(item, observations, noise)
        notes += [one.words for one in found if isinstance(one, _Silence)]
        readings = [one for one in found if isinstance(one, _Reading)]
        joined = _join(item, readings, [] if item.kind == "reading" and readings else own)
        if isinstance(joined, str):
            contradictions.append(joined)
        elif joined is not None:
            evidence.append(joined)
    tap = next((one.tap for one in observations if one.step == "baseline"), "")
    return Drawn(tuple(evidence), noise, tap, tuple(contradictions), tuple(dict.fromkeys(notes)))


def strengths(items: Sequence[EvidenceItem], drawn: Drawn) -> list[float]:
    """The strengths in the items' order; NaN where there is no evidence."""
    known = {one.item: one.strength for one in drawn.evidence}
    return [known.get(item.slug, math.nan) for item in items]


# ---------------------------------------------------------------- which noise it is about


def principal_noise(observations: Sequence[Observation]) -> Aggressor | None:
    """The aggressor that is heard most in the baseline: the strongest tone, or the hiss where it stands well above."""
    first = next((one for one in observations if one.step == "baseline"), None)
    if first is None:
        return None
    hiss_weight = 10 ** (-_TONE_ADVANTAGE_DB / 20)
    heard: dict[Aggressor, float] = {a: first.picture.ledger.get(a, 0.0) for a in _TONES}
    heard["broadband"] = hiss_weight * first.picture.ledger.get("broadband", 0.0)
    return max(heard, key=lambda aggressor: heard[aggressor])


def noise_level(picture: NoisePicture, noise: Aggressor) -> float:
    """Rms of that noise in a picture; where the engine speed is not known its tones cannot be told from others."""
    unnamed = picture.engine_rpm is None and noise in _ENGINE_DRIVEN
    if noise == "unexplained" or (unnamed and not picture.ledger.get(noise, 0.0)):
        return math.sqrt(sum(picture.ledger.get(tone, 0.0) ** 2 for tone in _TONES))
    return picture.ledger.get(noise, 0.0)


def _spread_db(picture: NoisePicture, noise: Aggressor, level: float) -> float:
    """Standard uncertainty of that level, dB: of the lines it is made of, else of the whole noise."""
    own = [line for line in picture.lines if line.aggressor == noise]
    if own:
        power = sum(line.rms**2 for line in own)
        spread = math.sqrt(sum((line.rms * line.uncertainty) ** 2 for line in own)) / 2
        relative = spread / power if power > 0 else 0.0
    else:
        relative = picture.noise_uncertainty / 2 / picture.noise_rms if picture.noise_rms > 0 else 0.0
    return 20 / math.log(10) * relative if level > 0 else 0.0


@dataclass(frozen=True, slots=True)
class _Change:
    """From the baseline to a step: `fall_db` with its standard uncertainty; bounds where a side shows only a limit."""

    fall_db: float
    spread_db: float
    at_least: bool = False
    at_most: bool = False


def _change(before: Observation, after: Observation, noise: Aggressor) -> _Change | None:
    """None where the baseline holds none of this noise."""
    first, second = noise_level(before.picture, noise), noise_level(after.picture, noise)
    if first <= 0:
        return None
    floor = _least_level(after.picture, noise)
    spread = math.hypot(_spread_db(before.picture, noise, first), _spread_db(after.picture, noise, second))
    repeat = math.sqrt(2) * REPEATABILITY_DB
    if None in (before.picture.engine_rpm, after.picture.engine_rpm) and noise in _ENGINE_DRIVEN:
        repeat = _UNKNOWN_SPEED_DB
    hidden = second < floor
    fall = 20 * math.log10(first / max(second, floor, first * 1e-6))
    return _Change(fall, math.hypot(spread, repeat), hidden or before.clipped, after.clipped)


def _least_level(picture: NoisePicture, noise: Aggressor) -> float:
    """Below it a tone would not have been seen beside the hiss: a hundredth of the hiss (-40 dB)."""
    if noise == "broadband":
        return picture.floor_rms or 0.0
    return 0.01 * picture.hiss_rms


# ---------------------------------------------------------------- pictures to strengths


def _find(item: EvidenceItem, observations: Sequence[Observation], noise: Aggressor | None) -> list[_Found]:
    if item.kind == "answer" or noise is None:
        return []
    if item.kind in _OF_ONE:
        drawer = _OF_ONE[item.kind]
        return [drawer(item, one, noise) for one in observations if one.step == item.step]
    return [
        _OF_TWO[item.kind](item, base, one, noise) if isinstance(base, Observation) else base
        for one in observations
        if one.step == item.step
        for base in (_baseline_of(one, observations, item),)
    ]


def _read_off(item: EvidenceItem, observations: Sequence[Observation], answers: Sequence[Answer]) -> list[_Found]:
    """Meter readings as typed, and the noise at the item's own tap point in the baseline."""
    values = [answer.reading for answer in answers if answer.reading is not None]
    values += [one.picture.noise_rms for one in observations if one.tap == item.tap and one.step == "baseline"]
    return [_over_limit(item, value) for value in values]


def _over_limit(item: EvidenceItem, value: float) -> _Reading:
    words = f"{item.question}: {_milli(value, item.unit)} (shop limit {_milli(item.limit, item.unit)})"
    return _Reading(_tail(20 * math.log10(max(value, 1e-9) / item.limit), REPEATABILITY_DB), words)


def _milli(value: float, unit: str) -> str:
    return f"{1000 * value:.3g} m{unit}" if value < 1 else f"{value:.3g} {unit}"


def _baseline_of(one: Observation, observations: Sequence[Observation], item: EvidenceItem) -> Observation | _Silence:
    """The nearest baseline before it, else after it, at the same tap, unit and (where it matters) engine speed."""
    place = next(index for index, other in enumerate(observations) if other is one)
    others = [*reversed(observations[:place]), *observations[place + 1 :]]
    baselines = [other for other in others if other.step == "baseline"]
    if not baselines:
        return _Silence(f"{one.name}: no baseline to compare with; record one")
    same = [b for b in baselines if b.tap == one.tap and b.picture.unit == one.picture.unit]
    if not same:
        return _Silence(f"{one.name}: its tap point or unit is that of no baseline: not compared")
    if item.step in _SPEED_STEPS:
        return same[0]
    steady = [b for b in same if _same_speed(b.picture.engine_rpm, one.picture.engine_rpm)]
    if steady:
        return steady[0]
    speeds = f"{one.picture.engine_rpm:.0f} rpm against {same[0].picture.engine_rpm:.0f} rpm"
    return _Silence(f"{one.name}: engine speed differs from the baseline's ({speeds}): levels not compared")


def _same_speed(first: float | None, second: float | None) -> bool:
    if first is None or second is None:
        return True
    return abs(first - second) <= _SAME_SPEED * max(first, second)


def _drop(item: EvidenceItem, base: Observation, one: Observation, noise: Aggressor) -> _Found:
    change = _change(base, one, noise)
    if change is None:
        return _Silence(f"{base.name}: holds nothing of what this is about: {one.name} not compared")
    return _bounded(change, _tail(change.fall_db - item.limit, change.spread_db), _fell(change, item, noise), one)


def _stays(item: EvidenceItem, base: Observation, one: Observation, noise: Aggressor) -> _Found:
    found = _drop(item, base, one, noise)
    return _Reading(1 - found.strength, found.words) if isinstance(found, _Reading) else found


def _either_way(item: EvidenceItem, base: Observation, one: Observation, noise: Aggressor) -> _Found:
    """A change by at least the limit, up or down."""
    change = _change(base, one, noise)
    if change is None:
        return _Silence(f"{base.name}: holds nothing of what this is about: {one.name} not compared")
    up, down = (_tail(sign * change.fall_db - item.limit, change.spread_db) for sign in (-1, 1))
    return _bounded(change, min(up + down, _SUREST), _fell(change, item, noise), one)


def _bounded(change: _Change, strength: float, words: str, one: Observation) -> _Found:
    """A lower bound can say yes, an upper bound no; what it cannot say is silence."""
    if (change.at_least and strength < 0.5) or (change.at_most and strength > 0.5):
        return _Silence(f"{one.name}: only a bound of the change is known (clipped or below the floor): not used")
    return _Reading(strength, words)


def _fell(change: _Change, item: EvidenceItem, noise: Aggressor) -> str:
    step = STEP_BY_SLUG[item.step].words if item.step in STEP_BY_SLUG else item.step
    verb = "fell" if change.fall_db >= 0 else "rose"
    least = "at least " if change.at_least else ""
    return f"{NOISE_WORDS[noise]} {verb} by {least}{abs(change.fall_db):.1f} ± {2 * change.spread_db:.1f} dB: {step}"


def _follows_speed(item: EvidenceItem, base: Observation, one: Observation, noise: Aggressor) -> _Found:
    """Share of the power of the strongest lines that is found again at the same order, against the same frequency."""
    speeds = base.picture.engine_rpm, one.picture.engine_rpm
    if not speeds[0] or not speeds[1]:
        return _Silence(f"{one.name}: without both engine speeds it cannot be told what follows the engine")
    ratio = speeds[1] / speeds[0]
    if abs(ratio - 1) < 0.08:
        return _Silence(f"{one.name}: the two engine speeds are too close ({speeds[0]:.0f} and {speeds[1]:.0f} rpm)")
    lines = _strongest(base.picture, noise)
    scaled = sum(line.rms**2 for line in lines if _has_line(one.picture, line.frequency_hz * ratio))
    fixed = sum(line.rms**2 for line in lines if _has_line(one.picture, line.frequency_hz))
    if not lines:
        return _Reading(1 - _SUREST, f"{NOISE_WORDS[noise]} has no pitch that could follow the engine")
    if scaled + fixed == 0:
        return _Reading(0.2, "its lines are found at the second speed neither at the same order nor at the same pitch")
    share = scaled / (scaled + fixed)
    where = "move with the engine speed" if share > 0.5 else "stay where they are when the engine speed changes"
    return _Reading(_clip(share), f"the strongest lines {where} ({speeds[0]:.0f} to {speeds[1]:.0f} rpm)")


def _strongest(picture: NoisePicture, noise: Aggressor, most: int = 5) -> list[PictureLine]:
    own = [line for line in picture.lines if line.aggressor == noise or noise == "unexplained"]
    return sorted(own, key=lambda line: -line.rms)[:most]


def _has_line(picture: NoisePicture, frequency_hz: float) -> bool:
    return any(abs(line.frequency_hz / frequency_hz - 1) <= _SAME_SPEED for line in picture.lines)


def _moves_with_volts(item: EvidenceItem, base: Observation, one: Observation, noise: Aggressor) -> _Found:
    """Whether the strongest line, not engine-driven, is found shifted by the limit (relative) or more."""
    if noise in _ENGINE_DRIVEN:
        return _Reading(1 - _SUREST, f"{NOISE_WORDS[noise]} follows the engine, whatever the volts")
    lines = _strongest(base.picture, noise, 1)
    if not lines or not one.picture.lines:
        return None
    near = min(one.picture.lines, key=lambda line: abs(math.log(line.frequency_hz / lines[0].frequency_hz)))
    shift = abs(near.frequency_hz / lines[0].frequency_hz - 1)
    if shift > 0.15:
        return None
    return _Reading(
        _tail(shift - item.limit, 0.3 * item.limit), f"the strongest line moved by {100 * shift:.1f} % in pitch"
    )


def _alternator_order(item: EvidenceItem, one: Observation, noise: Aggressor) -> _Found:
    if one.picture.engine_rpm is None and not one.picture.ledger.get("alternator", 0.0):
        return _Silence(f"{one.name}: without the engine speed alternator lines cannot be told from others")
    return _leads(one, ("alternator",), "the strongest line stands at the alternator's ripple order")


def _firing(item: EvidenceItem, one: Observation, noise: Aggressor) -> _Found:
    if one.picture.engine_rpm is None and not one.picture.ledger.get("ignition", 0.0):
        return _Silence(f"{one.name}: without the engine speed the firing rate is not known")
    return _leads(one, ("ignition",), "impulses at the firing rate lead")


def _mains(item: EvidenceItem, one: Observation, noise: Aggressor) -> _Found:
    return _leads(one, ("mains",), "a comb of mains multiples leads")


def _fixed(item: EvidenceItem, one: Observation, noise: Aggressor) -> _Found:
    return _leads(one, ("converter", "motor"), "fixed tones lead")


def _leads(one: Observation, own: tuple[Aggressor, ...], words: str) -> _Found:
    """These aggressors against the strongest other tone, and against a tenth of the hiss, dB."""
    ledger = one.picture.ledger
    ours = math.sqrt(sum(ledger.get(a, 0.0) ** 2 for a in own))
    rivals = [ledger.get(tone, 0.0) for tone in _TONES if tone not in own]
    rival = max(*rivals, ledger.get("broadband", 0.0) * 10 ** (-_TONE_ADVANTAGE_DB / 20), 1e-12)
    if ours <= 0:
        return _Reading(1 - _SUREST, f"not so: {words}")
    margin = 20 * math.log10(ours / rival)
    stands = f"{abs(margin):.0f} dB {'above' if margin >= 0 else 'below'} what comes next"
    return _Reading(_tail(margin, 2 * REPEATABILITY_DB), f"{'' if margin >= 0 else 'not so: '}{words} ({stands})")


def _hiss(item: EvidenceItem, one: Observation, noise: Aggressor) -> _Found:
    """The strongest single line against the hiss: `limit` dB below it or more."""
    strongest = max((line.rms for line in one.picture.lines), default=0.0)
    if one.picture.hiss_rms <= 0:
        return _Reading(1 - _SUREST, "no hiss between the lines")
    below = 20 * math.log10(one.picture.hiss_rms / max(strongest, 1e-6 * one.picture.hiss_rms))
    words = f"the strongest line lies {abs(below):.0f} dB {'below' if below >= 0 else 'above'} the hiss"
    return _Reading(_tail(below - item.limit, 2 * REPEATABILITY_DB), words)


def _gated(item: EvidenceItem, one: Observation, noise: Aggressor) -> _Found:
    share = one.picture.gated
    return _Reading(_tail(share - item.limit, 0.1), f"{100 * share:.0f} % of the noise lies in bursts")


def _coherence(item: EvidenceItem, one: Observation, noise: Aggressor) -> _Found:
    """Coherence with the supply at the noise's lines, weighted by their power; few averages tell little."""
    lines = [line for line in _strongest(one.picture, noise, 20) if line.coherence is not None]
    power = sum(line.rms**2 for line in lines)
    if not lines or power <= 0:
        if noise == "broadband":
            return None
        return _Silence(f"{one.name}: no coherence with the supply: record supply and signal together, for longer")
    mean = sum(line.rms**2 * (line.coherence or 0.0) for line in lines) / power
    chance = max(line.chance_level or 0.0 for line in lines)
    if chance >= item.limit:
        return _Silence(f"{one.name}: too few averages: unrelated noise reaches a coherence of {chance:.2f} by chance")
    averages = 1 + math.log(0.05) / math.log1p(-chance) if 0 < chance < 1 else 100.0
    spread = math.sqrt(2 / averages) * math.sqrt(max(mean, 0.05)) * (1 - mean)  # of gamma^2: Bendat and Piersol
    words = f"coherence with the supply at its lines {mean:.2f} (chance level {chance:.2f})"
    return _Reading(_tail(mean - item.limit, max(spread, 0.05)), words)


def _supply_ripple(item: EvidenceItem, one: Observation, noise: Aggressor) -> _Found:
    ripple = one.picture.supply_ripple_rms
    if ripple is None:
        return _Silence(f"{one.name}: the supply was not recorded: its ripple is not known")
    margin = 20 * math.log10(max(ripple, 1e-9) / item.limit)
    words = f"ripple at the battery {1000 * ripple:.0f} mV rms (shop limit {1000 * item.limit:.0f} mV)"
    return _Reading(_tail(margin, REPEATABILITY_DB), words)


def _tail(margin: float, spread: float) -> float:
    """P(true value above the limit) = Phi(margin / spread), never surer than `_SUREST`."""
    return _clip(0.5 * math.erfc(-margin / max(spread, 1e-9) / math.sqrt(2)))


def _clip(share: float) -> float:
    return min(max(share, 1 - _SUREST), _SUREST)


def _supply_fault(item: EvidenceItem, one: Observation, noise: Aggressor) -> _Found:
    """Lines of the ripple at f_e or 2 f_e beside, or instead of, those of a healthy bridge.

    A bridge of q pulses has lines at q, 2 q, 3 q times f_e with 2 / (n^2 - 1) of its mean: six pulses have the second
    12.2 dB below the first, two pulses (an open phase, or a single-phase machine) 14.0 dB. Denser or fuller families
    are those of a bridge with a branch missing. A single-phase machine on a crank looks like an open phase.
    """
    if one.picture.supply_ripple_rms is None:
        return _Silence(f"{one.name}: the supply was not recorded: a fault of the alternator does not show")
    lines = sorted((li for li in one.picture.supply_lines if li.aggressor == "alternator"), key=lambda li: -li.rms)
    if not lines:
        return _Reading(0.1, "no ripple lines of the alternator on the supply")
    strong = [li for li in lines if li.rms >= 0.1 * lines[0].rms]
    base = min(strong, key=lambda li: li.frequency_hz)
    if base.order is None:
        return _Silence(f"{one.name}: without the engine speed the alternator's orders are not known")
    second = max((li.rms for li in lines if abs(li.frequency_hz / base.frequency_hz - 2) < 0.05), default=0.0)
    words = f"the ripple's lowest strong line on the supply has the order {base.order:.1f}"
    if base.order >= _LOWEST_BRIDGE_ORDER:
        return _Reading(0.03, f"{words}, as a healthy bridge has")
    if base is not lines[0] or second > 0.35 * base.rms:
        return _Reading(0.97, f"{words} and its multiples are as strong as those of a broken bridge")
    six_pulses = _tail(20 * math.log10(max(second, 1e-6) / base.rms) - _BETWEEN_SHAPES_DB, 0.5)
    open_phase = 0.9 if base.order > _HIGHEST_SINGLE_PHASE_ORDER else 0.5
    shape = "six pulses: a machine on the crank" if six_pulses > 0.5 else "two pulses: an open phase, or a single phase"
    return _Reading(0.08 * six_pulses + open_phase * (1 - six_pulses), f"{words} and the shape of {shape}")


def _shield_coherence(item: EvidenceItem, one: Observation, noise: Aggressor) -> _Found:
    share = one.picture.shield_coherence
    if share is None:
        return None
    return _Reading(_tail(share - item.limit, 0.1), f"coherence of the noise with the shield's current {share:.2f}")


#: K of a van's or boat's healthy six-pulse machine is 6 p r with p r of 12 and more (trade practice)
_LOWEST_BRIDGE_ORDER = 60.0
#: 2 p of a single-phase machine on the crank, p up to 9
_HIGHEST_SINGLE_PHASE_ORDER = 20.0
#: second line over the first, between six pulses (12.2 dB below) and two (14.0 dB)
_BETWEEN_SHAPES_DB = -13.1


_OF_ONE: dict[Kind, Callable[[EvidenceItem, Observation, Aggressor], _Found]] = {
    "alternator order": _alternator_order,
    "supply fault lines": _supply_fault,
    "firing": _firing,
    "coherence": _coherence,
    "mains": _mains,
    "fixed": _fixed,
    "gated": _gated,
    "hiss": _hiss,
    "supply ripple": _supply_ripple,
    "shield coherence": _shield_coherence,
}
_OF_TWO: dict[Kind, Callable[[EvidenceItem, Observation, Observation, Aggressor], _Found]] = {
    "drop": _drop,
    "change": _either_way,
    "stays": _stays,
    "follows speed": _follows_speed,
    "moves with volts": _moves_with_volts,
}


# ---------------------------------------------------------------- several readings of one item


def _join(item: EvidenceItem, readings: list[_Reading], answers: list[Answer]) -> Evidence | str | None:
    """One evidence, a contradiction in words, or nothing."""
    said = {answer.said for answer in answers} & {"yes", "no"}
    if said == {"yes", "no"}:
        return f"'{item.question}' was answered both yes and no: neither is used"
    told = next(iter(said), None)
    spans = [reading.strength for reading in readings]
    if spans and max(spans) > 0.8 and min(spans) < 0.2:
        both = " but ".join((max(readings, key=_strength).words, min(readings, key=_strength).words))
        return f"recordings of the same step disagree: {both}; none is used: repeat the step"
    measured = sorted(readings, key=_strength)[len(readings) // 2] if readings else None
    if measured is None:
        return _answered(item, told)
    if told and ((told == "yes" and measured.strength < 0.2) or (told == "no" and measured.strength > 0.8)):
        return f"'{item.question}' was answered {told}, but {measured.words}: neither is used: repeat the step"
    times = f" (the middle one of {len(readings)} recordings)" if len(readings) > 1 else ""
    return Evidence(item.slug, measured.strength, measured.words + times, "measured")


def _strength(reading: _Reading) -> float:
    return reading.strength


def _answered(item: EvidenceItem, told: Said | None) -> Evidence | None:
    if told is None:
        return None
    strength = ANSWER_STRENGTH if told == "yes" else 1 - ANSWER_STRENGTH
    return Evidence(item.slug, strength, f"{item.question}: {told} (answered)", "answered")


# ---------------------------------------------------------------- what a recording cannot carry


def _restless(observations: Sequence[Observation], noise: Aggressor | None) -> Iterator[str]:
    """Baselines of one engine speed that differ by themselves."""
    if noise is None:
        return
    first, *others = [one for one in observations if one.step == "baseline"]
    for other in others:
        alike = other.tap == first.tap and other.picture.unit == first.picture.unit
        if not alike or not _same_speed(first.picture.engine_rpm, other.picture.engine_rpm):
            continue
        levels = [max(noise_level(one.picture, noise), 1e-12) for one in (first, other)]
        fall = 20 * math.log10(levels[0] / levels[1])
        if abs(fall) > _RESTLESS_DB:
            yield (
                f"the baseline changed by itself: {NOISE_WORDS[noise]} {'fell' if fall > 0 else 'rose'} by "
                f"{abs(fall):.1f} dB from {first.name} to {other.name}: an intermittent fault, or something else moved"
            )


def _limits(observations: Sequence[Observation], noise: Aggressor | None) -> Iterator[str]:
    if noise is None:
        yield "no baseline recording: levels cannot be compared; record one with nothing changed"
    rotating = [one for one in observations if one.step == "baseline" and one.picture.engine_rpm is None]
    for one in rotating:
        yield f"{one.name}: the engine speed was not noted: what turns with the engine cannot be told from fixed tones"
    if observations and not any(one.step == "second-speed" for one in observations):
        yield "one engine speed only: whether the pitch follows the engine is not known"
    for one in observations:
        if one.clipped:
            yield f"{one.name}: clipped: its levels are lower bounds and part of its lines is made by the clipping"
    yield from _cannot_tell(observations)


def _cannot_tell(observations: Sequence[Observation]) -> Iterator[str]:
    """What several recordings cannot tell is said once."""
    said: dict[str, list[str]] = {}
    for one in observations:
        for text in one.picture.cannot_tell:
            said.setdefault(text, []).append(one.name)
    for text, names in said.items():
        yield f"{names[0]}{f' and {len(names) - 1} more' if len(names) > 1 else ''}: {text}"
