"""Which recordings the noise sheet offers, and in which order: the newest baseline first. Knows no Qt."""

from __future__ import annotations

from dataclasses import dataclass

from analysis import NOISE_ROLES, IsolationStep, find_step
from gui._load import FLOOR, FOUND, OpenedJob
from gui._noise_model import Advice, StepShown, TakeChoice
from gui._pairing import Take, takes_of
from gui._words import tr
from job import Entry

#: what an isolation step changes of the conditions; None: it is not known beforehand
_CHANGED: dict[str, dict[str, str | None]] = {
    "engine-off": {"rpm": "0"},
    "second-speed": {"rpm": None},
    "loads-off": {"loads": ""},
    "volume-down": {"volume": None},
    "volume-up": {"volume": None},
}


@dataclass(frozen=True, slots=True)
class NoiseTakes:
    """The recordings of a job as the noise sheet needs them, those with bursts left to the end."""

    takes: tuple[Take, ...]

    @property
    def choices(self) -> tuple[TakeChoice, ...]:
        """What can be chosen."""
        return tuple(TakeChoice(take.entry.file, _label(take)) for take in self.takes)

    def entry(self, file: str) -> Entry | None:
        """The entry of a file."""
        return next((take.entry for take in self.takes if take.entry.file == file), None)

    def floor_for(self, entry: Entry) -> Entry | None:
        """The newest floor recording, which belongs to every other one."""
        floors = [take for take in self.takes if take.state == FLOOR and take.entry != entry]
        return max(floors, key=lambda take: take.start_utc).entry if floors else None

    @property
    def baseline(self) -> Take | None:
        """The newest baseline as found, without bursts: what every step is set against."""
        own = [take for take in self.takes if take.state == FOUND and take.is_baseline and _judged(take)]
        return max(own, key=lambda take: take.start_utc, default=None)

    @property
    def hunt(self) -> tuple[Take, ...]:
        """As-found recordings of noise in the order in which they were made."""
        own = [take for take in self.takes if take.state == FOUND and _judged(take)]
        return tuple(sorted(own, key=lambda take: take.start_utc))


def noise_takes(opened: OpenedJob) -> NoiseTakes:
    """Sorted for choosing."""
    newest_first = sorted(takes_of(opened), key=lambda take: take.start_utc, reverse=True)
    return NoiseTakes(tuple(sorted(newest_first, key=_rank)))


def _rank(take: Take) -> tuple[bool, bool, bool]:
    return take.state == FLOOR, not _judged(take), not take.is_baseline


def _judged(take: Take) -> bool:
    """Whether its noise can be judged: a tap point of noise, and no bursts."""
    return bool(take.kinds & NOISE_ROLES) and not take.has_bursts


def _label(take: Take) -> str:
    when = f"{take.start_utc.astimezone():%d %b %H:%M}"
    return f"{take.state}: {take.words}, {when}"


def record_facts(takes: NoiseTakes, slug: str, state: str = FOUND) -> tuple[tuple[str, str], ...]:
    """What the recording strip is told for a step: the baseline's conditions but for what the step changes."""
    base = takes.baseline
    held = dict(base.conditions) if base else {}
    for name, value in _CHANGED.get(slug, {}).items():
        held.pop(name, None)
        if value is not None:
            held[name] = value
    return (("state", state), ("step", slug), *held.items())


def nothing_yet(opened: OpenedJob, takes: NoiseTakes) -> Advice | None:
    """What to record first where there is nothing to show; None where there is."""
    if takes.takes:
        return None
    known = find_step("baseline")
    baseline = step_shown(known, record_facts(takes, "baseline")) if known else None
    if opened.job.facts.recordings:
        text = tr("No recording of this job can be read.")
        return Advice("\n\n".join((text, *opened.problems)), baseline)
    return Advice(
        tr(
            "No recordings yet.\n\nRecord the noise as it is before anything is changed: the baseline. Clip the "
            "amplifier's input (role signal) or output (role speaker) and the battery (role supply) together, hold "
            "the engine's speed, play silence, record 15 seconds or more."
        ),
        baseline,
    )


def step_shown(step: IsolationStep, facts: tuple[tuple[str, str], ...], why: str = "", price: str = "") -> StepShown:
    """An isolation step for the card."""
    return StepShown(
        slug=step.slug,
        title=step.words[:1].upper() + step.words[1:],
        why=why,
        price=price or step_price(step),
        needs=step.needs,
        caution=step.caution,
        order=step.order,
        facts=facts,
    )


RISKS = ("nothing can be harmed", "a pop or a fuse at risk", "gear or people can be harmed")


def step_price(step: IsolationStep, bits: float | None = None) -> str:
    """What a step is expected to tell and what it costs, in one line."""
    told = [] if bits is None else [tr("{bits} bits expected", bits=f"{bits:.2f}")]
    # With a caution, "nothing can be harmed" would belie it.
    risk = [] if step.risk == 0 and step.caution else [tr(RISKS[step.risk])]
    return ", ".join((*told, tr("{minutes} minutes", minutes=f"{step.minutes:g}"), *risk))
