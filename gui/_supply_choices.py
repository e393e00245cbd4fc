"""Which recordings the supply sheet offers, and what is recorded first where there is none. Knows no Qt."""

from __future__ import annotations

from dataclasses import dataclass

from analysis import DROP_ROLES, SUPPLY_ROLES, HumproofError
from capture import Recording
from gui._format import duration
from gui._load import FLOOR, FOUND, OpenedJob, Report
from gui._pairing import Take, takes_of
from gui._supply_model import SupplyAdvice, SupplyChoice
from gui._words import tr
from job import Entry

#: a recording that lasts as long as this is a log: an hour of volts is read otherwise than some seconds of bursts
LOG_S = 120.0
_KINDS = SUPPLY_ROLES | DROP_ROLES | {"current"}


@dataclass(frozen=True, slots=True)
class SupplyTakes:
    """The recordings of a job that hold something of the supply: bursts, then logs, then the others."""

    takes: tuple[Take, ...]
    lengths: dict[str, float]

    @property
    def choices(self) -> tuple[SupplyChoice, ...]:
        """What can be chosen."""
        return tuple(SupplyChoice(take.entry.file, self._label(take)) for take in self.takes)

    def entry(self, file: str) -> Entry | None:
        """The entry of a file."""
        return next((take.entry for take in self.takes if take.entry.file == file), None)

    @property
    def has_bursts(self) -> bool:
        """Whether bursts were recorded as found: without them little can be said."""
        return any(take.has_bursts and take.state == FOUND for take in self.takes)

    def newest(self, files: list[str]) -> str:
        """The one of them that was recorded last."""
        own = [take for take in self.takes if take.entry.file in files]
        return max(own, key=lambda take: take.start_utc).entry.file

    def _label(self, take: Take) -> str:
        length = self.lengths.get(take.entry.file, 0.0)
        log = tr("log of {length}, ", length=duration(length)) if length >= LOG_S else ""
        return f"{take.state}: {log}{take.words}, {take.start_utc.astimezone():%d %b %H:%M}"


def supply_takes(opened: OpenedJob, lengths: dict[str, float]) -> SupplyTakes:
    """Sorted for choosing; of the same kind as found before as left, and the newest first."""
    own = [take for take in takes_of(opened) if take.kinds & _KINDS and take.state != FLOOR]
    own.sort(key=lambda take: take.start_utc, reverse=True)
    own.sort(key=lambda take: _rank(take, lengths.get(take.entry.file, 0.0)))
    return SupplyTakes(tuple(own), lengths)


def _rank(take: Take, length_s: float) -> tuple[int, bool]:
    """Bursts, logs, others; bursts in a log are bursts."""
    return 0 if take.has_bursts else 1 if length_s >= LOG_S else 2, take.state != FOUND


def lengths_of(opened: OpenedJob, known: dict[str, float], report: Report) -> dict[str, float]:
    """How long the recordings are, in seconds, by file; runs in the background, what is `known` is not read again."""
    found = dict(known)
    own = [take for take in takes_of(opened) if take.entry.file not in known]
    for index, take in enumerate(own):
        report(index / len(own), tr("looking at the recordings"))
        try:
            with Recording(opened.job.path(take.entry)) as recording:
                found[take.entry.file] = recording.frames / recording.rate_hz
        except HumproofError:
            found[take.entry.file] = 0.0
    return found


def nothing_yet(opened: OpenedJob, takes: SupplyTakes) -> SupplyAdvice | None:
    """What to record first where there is nothing to show; None where there is."""
    if takes.takes:
        return None
    if opened.job.facts.recordings and not opened.infos:
        text = "\n\n".join((tr("No recording of this job can be read."), *opened.problems))
    elif opened.infos:
        text = tr("Nothing of the supply was recorded yet: no channel has the role of a supply, a drop or a current.")
    else:
        text = tr("No recordings yet.")
    return burst_advice(text)


def burst_advice(text: str) -> SupplyAdvice:
    """Bursts as found, with what is clipped where."""
    return SupplyAdvice(
        text,
        (
            tr("Clip the battery (role supply), the amplifier's own terminals (role supply-amp) and, where there are "
               "channels left, the drop along the positive and the ground side (roles drop-positive, drop-ground)."),
            tr("A DC clamp around the amplifier's positive wire (role current) adds source resistance and battery "
               "model. All channels DC-coupled: an AC-coupled input shows no sag."),
            tr("Play test bursts at the volume of the complaint, at least four of them, and read the cautions first."),
        ),
        (("state", FOUND), ("step", "baseline"), ("signal", "bursts")),
    )  # fmt: skip
