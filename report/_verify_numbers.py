"""Every number of a report, recomputed from the raw samples and set against what was printed."""

from __future__ import annotations

import math
import tomllib
from collections.abc import Callable, Iterator
from contextlib import suppress
from pathlib import Path

from analysis import HumproofError
from job import (
    Job,
    Study,
    WiringStudy,
    compare_studies,
    diagnose_job,
    open_job,
    study_recording,
    wiring_study,
)
from report._method_page import readings_table
from report._numbers_told import (
    DIAGNOSIS,
    WIRING,
    Told,
    numbers_of_diagnosis,
    numbers_of_sheet,
    numbers_of_studies,
    numbers_of_wiring,
    sheet_name,
    wiring_source,
)
from report._page_numbers import words_in
from report._recorded import recorded
from report._seal import VERSION, ReportDigests, SealedSheet, software
from report._sealing import numbers_of_contents
from report._sheets import Contents, Sheet, gather
from report._tables import instrument_lines
from report._verification import Differing, FilesChecked, Kind, Problem, Recomputed, Words, missing_words

Progress = Callable[[float], None]
#: of a full value: what another processor may round otherwise, as a share of it or of its uncertainty
_SAME, _SAME_OF_UNCERTAINTY = 1e-6, 1e-3
#: how many differing numbers are named one by one
_NAMED = 5


def recompute(folder: Path, seal: ReportDigests, files: FilesChecked, progress: Progress) -> Recomputed:
    """Study what is there anew and compare, to the printed digit.

    A recording that was changed is studied, too, as long as it can be read: so it is seen what the change did.
    """
    if not seal.numbers and not _tells_the_same(seal):
        return Recomputed(notes=("the report lists no numbers that could be recomputed",))
    work = _Work(folder, seal, files, progress)
    numbers = {one.key: one for one in work.numbers()}
    missing = _missing(numbers, seal) if _untouched(files) else ()
    left = [one for one in seal.numbers if one.key not in numbers and one.source in work.failed]
    wrong = [Differing(one, numbers.get(one.key)) for one in seal.numbers if not _agree(one, numbers.get(one.key))]
    differing = tuple(one for one in wrong if one.now or one.told.source not in work.failed)
    problems = (*_differ(differing, len(seal.numbers)), *_lacking(missing), *work.problems)
    notes = tuple(work.notes)
    return Recomputed(tuple(numbers.values()), differing, missing, len(left), problems, notes, work.words)


def _tells_the_same(seal: ReportDigests) -> bool:
    """Whether a report made here tells the same numbers: another version may tell more, or fewer."""
    return seal.version >= VERSION and seal.software == software()


def _untouched(files: FilesChecked) -> bool:
    """Whether nothing that lies here is other than the report was made from."""
    states = set(files.recordings.values()) | {files.job, files.wiring}
    return states <= {"matches", "missing", "not in the job"} and "missing" not in files.recordings.values()


def _missing(numbers: dict[tuple[str, str, str], Told], seal: ReportDigests) -> tuple[Told, ...]:
    """What comes out of the files that the report was made from, and is not listed: somebody took it out."""
    if not _tells_the_same(seal):
        return ()
    listed = {one.key for one in seal.numbers}
    return tuple(one for key, one in numbers.items() if key not in listed)


def _agree(told: Told, now: Told | None) -> bool:
    """The same to the printed digit, and in full but for rounding."""
    if now is None or (told.printed, told.unit) != (now.printed, now.unit):
        return False
    spread = _SAME_OF_UNCERTAINTY * (now.uncertainty or 0.0)
    return _near(told.value, now.value, spread) and _near(told.uncertainty, now.uncertainty, spread)


def _near(one: float | None, other: float | None, apart: float) -> bool:
    if one is None or other is None:
        return one == other
    return math.isclose(one, other, rel_tol=_SAME, abs_tol=max(apart, 1e-15))


def _differ(differing: tuple[Differing, ...], listed: int) -> list[Problem]:
    all_told = f"{len(differing)} of {listed} numbers differ from what the files give now"
    return _named("number differs", [one.words for one in differing], all_told)


def _lacking(missing: tuple[Told, ...]) -> list[Problem]:
    words = [missing_words(one) for one in missing]
    return _named("number missing", words, f"the report's list leaves out {len(missing)} numbers that the files give")


def _named(kind: Kind, words: list[str], all_told: str) -> list[Problem]:
    """The first few one by one, then how many there are."""
    shown = words[:_NAMED] + ([f"{all_told}; all of them: --json"] if len(words) > _NAMED else [])
    return [Problem(kind, text) for text in shown]


class _Work:
    """Recomputes source by source; what fails is told once and its numbers are left."""

    def __init__(self, folder: Path, seal: ReportDigests, files: FilesChecked, progress: Progress) -> None:
        self._folder, self._seal, self._files, self._progress = folder, seal, files, progress
        self._studies: dict[str, Study] = {}
        self._asked = {one.source for one in seal.numbers}
        self.failed: set[str] = set()
        self.problems: list[Problem] = []
        self.notes: list[str] = []
        self.words: Words | None = None

    def numbers(self) -> Iterator[Told]:
        """Those of a report made anew where all of it lies here; else what the sheets of this one can give."""
        complete = "missing" not in (self._files.job, self._files.wiring)
        if complete and _untouched(self._files) and _tells_the_same(self._seal):
            with suppress(HumproofError):
                yield from self._made_anew()
                return
        yield from self._sheet_by_sheet()

    def _made_anew(self) -> list[Told]:
        job = self._as_it_lies()
        names = {
            job.path(one): entry.file for one, entry in zip(job.facts.recordings, self._seal.recordings, strict=True)
        }
        contents = gather(job, lambda part, text: self._progress(part))
        self.words = _words(job, contents)
        return list(numbers_of_contents(contents, names))

    def _sheet_by_sheet(self) -> Iterator[Told]:
        wanted = dict.fromkeys(file for sheet in self._seal.sheets for file in _files_of(sheet))
        for index, file in enumerate(wanted):
            self._study(file, lambda part, done=index: self._progress((done + part) / len(wanted)))  # type: ignore[misc]
        yield from numbers_of_studies(list(self._studies.items()))
        for sheet in self._seal.sheets:
            yield from self._of_sheet(sheet)
        yield from numbers_of_wiring(list(self._wiring()))
        yield from self._causes()

    def _fail(self, source: str, why: str, *, untouched: bool) -> None:
        """What is amiss with the file is a problem of its own: then this is only a remark."""
        self.failed.add(source)
        text = f"{source}: its numbers could not be recomputed: {why}"
        if untouched:
            self.problems.append(Problem("not recomputed", text))
        elif source in self._asked:
            self.notes.append(text)

    def _study(self, file: str, progress: Progress) -> None:
        if file not in self._files.places:
            return self._fail(file, "it is missing", untouched=False)
        try:
            self._studies[file] = study_recording(self._files.places[file], progress)
        except HumproofError as error:
            self._fail(file, str(error), untouched=self._files.recordings[file] == "matches")

    def _of_sheet(self, sheet: SealedSheet) -> list[Told]:
        name, files = sheet_name(list(sheet.sides.values())), _files_of(sheet)
        if self.failed & set(files):
            self._fail(name, "a recording is missing or cannot be read", untouched=False)
            return []
        sides = tuple((side, self._studies[file]) for side, file in sheet.sides.items())
        floor = self._studies[sheet.floor] if sheet.floor else None
        try:
            compared = compare_studies(sides[0][1], sides[1][1], floor) if len(sides) > 1 else None
            return numbers_of_sheet(name, Sheet(sides, floor, compared))
        except HumproofError as error:
            self._fail(name, str(error), untouched=all(self._files.recordings[file] == "matches" for file in files))
            return []

    def _wiring(self) -> Iterator[WiringStudy]:
        path = self._folder / WIRING
        for state in ("as found", "as left"):
            source = wiring_source(state)
            if source not in self._asked:
                continue
            if not path.is_file():
                self._fail(source, f"there is no {WIRING} beside the report", untouched=False)
                continue
            try:
                yield wiring_study(path, state, changes=False)
            except HumproofError as error:
                self._fail(source, str(error), untouched=self._files.wiring == "matches")

    def _causes(self) -> list[Told]:
        """The answers to questions stand in job.toml, so it must be there; the recordings are those of the report."""
        if DIAGNOSIS not in self._asked:
            return []
        if self._files.job == "missing" or len(self._files.places) < len(self._seal.recordings):
            self._fail(DIAGNOSIS, "that takes job.toml and every recording", untouched=False)
            return []
        try:
            return numbers_of_diagnosis(diagnose_job(self._as_it_lies(), study=self._kept))
        except HumproofError as error:
            whole = self._files.job == "matches" and set(self._files.recordings.values()) == {"matches"}
            self._fail(DIAGNOSIS, str(error), untouched=whole)
            return []

    def _as_it_lies(self) -> Job:
        """The job beside the report, with the recordings where they were found."""
        job = open_job(self._folder)
        places = self._files.places
        entries = tuple(
            entry.model_copy(update={"file": places[entry.file].relative_to(self._folder).as_posix()})
            for entry in self._seal.recordings
        )
        return Job(job.folder, job.facts.model_copy(update={"recordings": entries}))

    def _kept(self, path: Path, progress: Progress) -> Study:
        known = next((study for study in self._studies.values() if study.path == path), None)
        return known or study_recording(path, progress)


def _words(job: Job, contents: Contents) -> Words:
    """Everything that was typed, in whatever file, and every sentence that follows from it and from the recordings."""
    infos = [recorded(job, entry, contents)[0] for entry in job.facts.recordings]
    readings = readings_table(job, contents)
    typed = {*words_in(job.facts), *words_in(infos), *words_in(readings), *_wiring_words(job.folder / WIRING)}
    return Words(frozenset(typed), frozenset({*words_in(contents), *instrument_lines(contents.sheets)}))


def _wiring_words(path: Path) -> Iterator[str]:
    if path.is_file():
        with suppress(OSError, ValueError):
            yield from words_in(tomllib.loads(path.read_text(encoding="utf-8")))


def _files_of(sheet: SealedSheet) -> list[str]:
    return [*sheet.sides.values(), *([sheet.floor] if sheet.floor else [])]
