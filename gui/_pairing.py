"""Which recordings belong together before and after, and what differs between them: from their headers. No Qt."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime

from analysis import find_step
from capture import RecordingInfo
from gui._load import FOUND, LEFT, OpenedJob
from gui._words import tr
from job import Entry

#: engine speeds further apart than this share are not the same, as the comparison has it (trade practice)
RPM_TOLERANCE = 0.02


@dataclass(frozen=True, slots=True)
class Take:
    """One readable recording of a job, as its header has it."""

    entry: Entry
    info: RecordingInfo

    @property
    def state(self) -> str:
        """As found, as left or instrument floor."""
        return self.entry.state

    @property
    def step(self) -> str:
        """The isolation step, as it stands in the recording."""
        return self.info.isolation_step

    @property
    def step_slug(self) -> str:
        """The step's short name, or its words where it is none of ours."""
        known = find_step(self.step)
        return known.slug if known else self.step.strip().lower()

    @property
    def is_baseline(self) -> bool:
        """Whether nothing was changed for it."""
        return self.step_slug == "baseline"

    @property
    def kinds(self) -> frozenset[str]:
        """Roles of its channels, without their points."""
        return frozenset(channel.role.partition("@")[0] for channel in self.info.channels)

    @property
    def signal(self) -> str:
        """The test signal, empty where none is stated."""
        return (self.info.conditions.test_signal or "").strip()

    @property
    def has_bursts(self) -> bool:
        """Whether test bursts played."""
        return "burst" in self.signal.lower()

    @property
    def start_utc(self) -> datetime:
        """When it began."""
        return self.info.start_utc

    @property
    def speed(self) -> str:
        """ "at 1,800 rpm", empty where it is not stated."""
        rpm = self.info.conditions.engine_rpm
        return "" if rpm is None else tr("at {rpm} rpm", rpm=f"{rpm:,.0f}")

    @property
    def words(self) -> str:
        """What it is, in one line."""
        return " ".join(part for part in (self.step, self.speed, f"({self.signal})" if self.signal else "") if part)

    @property
    def conditions(self) -> tuple[tuple[str, str], ...]:
        """What has to be the same when it is taken again, for the recording strip."""
        own = self.info.conditions
        told = {
            "rpm": None if own.engine_rpm is None else f"{own.engine_rpm:g}",
            "loads": None if own.loads is None else ", ".join(own.loads),
            "volume": own.volume,
            "gains": own.gains,
            "signal": own.test_signal,
            "full level": None if own.full_level_v is None else f"{own.full_level_v:g}",
        }
        return tuple((name, value) for name, value in told.items() if value is not None)


def takes_of(opened: OpenedJob) -> tuple[Take, ...]:
    """Every readable recording, in the order of job.toml."""
    infos = opened.infos
    return tuple(Take(entry, infos[entry.file]) for entry in opened.job.facts.recordings if entry.file in infos)


def to_be_repeated(takes: Iterable[Take]) -> list[Take]:
    """As-found baselines, the last of each signal, tap points and speed: an isolation step needs no as-left one.

    Nor does a baseline that was recorded once more after a step: it is the way back of a proof.
    """
    latest: list[Take] = []
    settled: list[Take] = []
    for take in takes:
        if take.state == FOUND and not take.is_baseline:
            settled = list(latest)
        elif take.state == FOUND and not any(_alike(one, take) for one in settled):
            latest = [one for one in latest if not _alike(one, take)] + [take]
    return latest


def _alike(first: Take, second: Take) -> bool:
    return _same_place(first, second) and _same_speed(first, second)


def partner_of(take: Take, takes: Sequence[Take]) -> Take | None:
    """Its as-left twin: the one that differs in least, the last of several; never one of another's speed."""
    candidates = [other for other in takes if other.state == LEFT and _same_place(take, other)]
    others = [one for one in to_be_repeated(takes) if one is not take and _same_place(take, one)]
    free = [c for c in candidates if not any(_same_speed(c, one) for one in others) or _same_speed(c, take)]
    return min(reversed(free), key=lambda other: len(list(_differences(take, other))), default=None)


def _same_place(first: Take, second: Take) -> bool:
    """The same step, signal and tap points: what `job.pairs` goes by."""
    return (first.step, first.info.conditions.test_signal, _roles(first)) == (
        second.step,
        second.info.conditions.test_signal,
        _roles(second),
    )


def _roles(take: Take) -> frozenset[str]:
    return frozenset(channel.role or channel.name for channel in take.info.channels)


def _same_speed(first: Take, second: Take) -> bool:
    a, b = first.info.conditions.engine_rpm, second.info.conditions.engine_rpm
    return a == b or (a is not None and b is not None and abs(a - b) <= RPM_TOLERANCE * max(a, b))


def differences(found: Take, left: Take) -> list[str]:
    """Why the two cannot be compared, in plain words; empty where nothing in their headers speaks against it."""
    return list(_differences(found, left))


def _differences(found: Take, left: Take) -> Iterator[str]:
    before, after = found.info.conditions, left.info.conditions
    if not _same_speed(found, left):
        yield _speed_words(before.engine_rpm, after.engine_rpm)
    elif before.engine_rpm is None:
        yield tr("The engine speed is not written down, neither as found nor as left")
    for name, first, second in (
        (tr("electrical loads"), before.loads, after.loads),
        (tr("volume"), before.volume, after.volume),
        (tr("gains"), before.gains, after.gains),
    ):
        yield from _told(name, first, second)
    if found.info.simulated != left.info.simulated:
        yield tr("One of as found and as left is simulated, the other is not")
    if found.info.rate_hz != left.info.rate_hz:
        rates = {"after": f"{left.info.rate_hz:,.0f}", "before": f"{found.info.rate_hz:,.0f}"}
        yield tr("As left was taken at {after} samples a second, as found at {before}", **rates)


def _speed_words(before: float | None, after: float | None) -> str:
    if before is None or after is None:
        state = FOUND if before is None else LEFT
        return tr("The engine speed is not written down {state}", state=tr(state))
    return tr("As left was taken at {after} rpm, as found at {before}", after=f"{after:,.0f}", before=f"{before:,.0f}")


def _told(name: str, before: object, after: object) -> Iterator[str]:
    if before is None and after is None:
        yield tr("{name}: not written down, neither as found nor as left", name=name)
    elif before is None or after is None:
        yield tr("{name}: not written down {state}", name=name, state=tr(FOUND if before is None else LEFT))
    elif _plain(before) != _plain(after):
        yield tr("{name}: {before} as found, {after} as left", name=name, before=_shown(before), after=_shown(after))


def _plain(value: object) -> object:
    return sorted(map(_plain, value)) if isinstance(value, tuple) else str(value).strip().lower()  # type: ignore[type-var]


def _shown(value: object) -> str:
    return ", ".join(map(str, value)) or tr("none") if isinstance(value, tuple) else str(value)
