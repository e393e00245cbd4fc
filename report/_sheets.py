"""What goes into a report: each pair of recordings, or each single one where there is no pair; wiring and causes."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path

from analysis import Change, Channel, Comparison
from capture import RecordingInfo
from job import (
    Entry,
    Job,
    JobDiagnosis,
    JobError,
    Pair,
    Study,
    WiringStudy,
    compare_studies,
    diagnose_job,
    pairs,
    read_wiring_file,
    study_recording,
    wiring_study,
)
from report._errors import ReportError

Progress = Callable[[float, str], None]
WIRING_FILE = "wiring.toml"
#: of the progress, until recordings are studied, and until causes are found; the rest is the wiring
_STUDIED, _DIAGNOSED = 0.75, 0.9
#: the study of a recording; told how far it is, 0 to 1
Studier = Callable[[Job, Entry, Callable[[float], None]], Study]


@dataclass(frozen=True, slots=True)
class Sheet:
    """One comparison, or one recording that has nothing to be compared with.

    `sides` names its studies: "before" and "after", or the state of the only one.
    """

    sides: tuple[tuple[str, Study], ...]
    floor: Study | None = None
    comparison: Comparison | None = None

    @property
    def first(self) -> Study:
        """The as-found side, or the only one."""
        return self.sides[0][1]

    @property
    def with_floor(self) -> tuple[tuple[str, Study], ...]:
        """The sides and, where there is one, the instrument's floor."""
        return (*self.sides, ("floor", self.floor)) if self.floor else self.sides


@dataclass(frozen=True, slots=True)
class Contents:
    """Every sheet of a report, and a sentence for everything that could not be compared."""

    sheets: tuple[Sheet, ...]
    missing: tuple[str, ...]
    #: True when nothing was recorded as found, or nothing as left
    one_sided: bool
    #: the wiring as found and as left, as far as the job's wiring file says
    wiring: tuple[WiringStudy, ...] = ()
    #: None where no cause can be told, for the reason that is given
    diagnosis: JobDiagnosis | None = None
    not_diagnosed: str = ""
    #: what the recordings that were studied say of themselves and their lengths in s, by their file in job.toml
    told: Mapping[str, tuple[RecordingInfo, float]] = field(default_factory=dict)

    @property
    def comparisons(self) -> tuple[Sheet, ...]:
        """The sheets that compare."""
        return tuple(sheet for sheet in self.sheets if sheet.comparison)


def study_anew(job: Job, entry: Entry, progress: Callable[[float], None]) -> Study:
    """Read and analyse the file."""
    return study_recording(job.path(entry), progress)


def gather(job: Job, progress: Progress, study: Studier = study_anew) -> Contents:
    """Study what belongs into the report; each recording is read once."""
    kept = _Kept(job, study)
    sheets = _sheets(job, lambda part, text: progress(_STUDIED * part, text), kept)
    diagnosis, reason = _diagnosis(job, kept, _between(progress, _STUDIED, _DIAGNOSED, "weighing the causes"))
    progress(_DIAGNOSED, "reckoning the wiring")
    wiring = _wiring(job)
    missing = tuple(_missing(job, sheets, diagnosis))
    return replace(sheets, missing=missing, wiring=wiring, diagnosis=diagnosis, not_diagnosed=reason, told=kept.told())


class _Kept:
    """Studies of this job, each made once and of the very bytes that job.toml names."""

    def __init__(self, job: Job, study: Studier) -> None:
        self._job, self._study = job, study
        self._studies: dict[Entry, Study] = {}

    def of(self, entry: Entry, progress: Callable[[float], None]) -> Study:
        if entry not in self._studies:
            made = self._study(self._job, entry, progress)
            if made.sha256 != entry.sha256:
                path = self._job.path(entry)
                raise ReportError(f"{path}: was changed while the report was being made; make it again")
            self._studies[entry] = made
        return self._studies[entry]

    def told(self) -> dict[str, tuple[RecordingInfo, float]]:
        return {entry.file: (one.info, one.frames / one.info.rate_hz) for entry, one in self._studies.items()}

    def at(self, path: Path, progress: Callable[[float], None]) -> Study:
        entry = next(one for one in self._job.facts.recordings if self._job.path(one) == path)
        return self.of(entry, progress)


def _between(progress: Progress, start: float, end: float, text: str) -> Callable[[float], None]:
    return lambda part: progress(start + (end - start) * part, text)


def _diagnosis(job: Job, kept: _Kept, progress: Callable[[float], None]) -> tuple[JobDiagnosis | None, str]:
    try:
        return diagnose_job(job, progress=progress, study=kept.at), ""
    except JobError as error:
        # Where the job lies on this computer is nobody's business on paper.
        return None, str(error).replace(f"{job.file}: ", "").replace(f"{job.folder}: ", "the job ")


def _wiring(job: Job) -> tuple[WiringStudy, ...]:
    """Both states that the wiring file tells of, as found first."""
    path = job.folder / WIRING_FILE
    if not path.is_file():
        return ()
    return tuple(wiring_study(path, state, changes=False) for state in read_wiring_file(path).states())


def _sheets(job: Job, progress: Progress, kept: _Kept) -> Contents:
    matched = pairs(job)
    wanted = _wanted(job, matched)
    studies = _study_all(job, wanted, progress, kept)
    if matched:
        return Contents(tuple(_compared(pair, studies) for pair in matched), (), one_sided=False)
    floor = next((studies[entry] for entry in wanted if entry.state == "instrument floor"), None)
    singles = [entry for entry in wanted if entry.state != "instrument floor"]
    sheets = tuple(Sheet(((entry.state, studies[entry]),), _same_points(studies[entry], floor)) for entry in singles)
    return Contents(sheets, (), one_sided=not (job.entries("as found") and job.entries("as left")))


def _wanted(job: Job, matched: list[Pair]) -> list[Entry]:
    """The recordings of all pairs; without a pair, those as found (or else as left) and a floor."""
    if matched:
        parts = [entry for pair in matched for entry in (pair.before, pair.after, pair.floor) if entry]
    else:
        parts = [*(job.entries("as found") or job.entries("as left")), *job.entries("instrument floor")[-1:]]
    return list(dict.fromkeys(parts))


def _study_all(job: Job, wanted: list[Entry], progress: Progress, kept: _Kept) -> dict[Entry, Study]:
    return {
        entry: kept.of(entry, _share(progress, index, len(wanted), f"analysing {job.path(entry).name}"))
        for index, entry in enumerate(wanted)
    }


def _share(progress: Progress, index: int, count: int, text: str) -> Callable[[float], None]:
    return lambda part: progress((index + part) / count, text)


def _compared(pair: Pair, studies: dict[Entry, Study]) -> Sheet:
    before, after = studies[pair.before], studies[pair.after]
    floor = studies[pair.floor] if pair.floor else None
    return Sheet((("before", before), ("after", after)), floor, compare_studies(before, after, floor))


def _same_points(study: Study, floor: Study | None) -> Study | None:
    """The floor only where it shares a tap point with the recording."""
    if floor is None or not any(twin(floor, channel) for channel in study.analysis.channels):
        return None
    return floor


def _missing(job: Job, sheets: Contents, diagnosis: JobDiagnosis | None) -> list[str]:
    """Isolation steps need no partner: what they did stands with the cause."""
    if sheets.comparisons:
        used = {study.path for sheet in sheets.sheets for _, study in sheet.sides}
        used |= {job.folder / one.file for one in (diagnosis.taken if diagnosis else ())}
        entries = [*job.entries("as found"), *job.entries("as left")]
        alone = [entry for entry in entries if job.path(entry) not in used]
        return [_alone(alone)] if alone else []
    found, left = job.entries("as found"), job.entries("as left")
    if found and left:
        return [_UNMATCHED]
    return [_NOTHING_LEFT if found else _NOTHING_FOUND]


_UNMATCHED = (
    "No as-found recording has an as-left partner of the same isolation step, test signal and tap points "
    "(channel roles), so nothing is compared: record the missing side at the same points."
)
_NOTHING_LEFT = (
    "Nothing was recorded as left: after the work, record the same isolation steps, test signals and tap "
    "points again and make this report anew."
)
_NOTHING_FOUND = (
    "Nothing was recorded as found, so there is nothing to set against: the state before the work cannot be shown."
)


def _alone(alone: list[Entry]) -> str:
    names = ", ".join(Path(entry.file).name for entry in alone)
    return (
        "Not compared, because there is no partner of the same isolation step, test signal and tap points, "
        f"or another recording of the same counts: {names}."
    )


def twin(study: Study, channel: Channel) -> Channel | None:
    """The study's channel at the same tap point: the same role, or without a role the same name."""
    for own in study.analysis.channels:
        if (own.role, own.role or own.name) == (channel.role, channel.role or channel.name):
            return own
    return None


def channel_named(study: Study, name: str) -> Channel:
    """The study's channel of that name."""
    return next(channel for channel in study.analysis.channels if channel.name == name)


def clearest_changes(contents: Contents, most: int = 2) -> list[tuple[Sheet, Change]]:
    """The clearest change of each comparable pair, those furthest above their uncertainty first."""
    found = [(sheet, best) for sheet in contents.comparisons if (best := _clearest(sheet))]
    return sorted(found, key=lambda pair: -_clearness(pair[1]))[:most]


def _clearest(sheet: Sheet) -> Change | None:
    """Figures in volts go before ratios: a ratio's clearness in dB says the same noise another way."""
    if sheet.comparison is None or not sheet.comparison.comparable:
        return None
    shown = [c for c in sheet.comparison.changes if c.verdict != "no change shown" and _clearness(c) > 1]
    return max(shown, key=lambda change: (change.unit != "dB", _clearness(change)), default=None)


def _clearness(change: Change) -> float:
    return abs(change.change) / change.uncertainty if change.uncertainty else 0.0
