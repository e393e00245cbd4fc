"""What a check of a report found."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal

from report._numbers_told import Told
from report._page_numbers import PagesCompared
from report._seal import ReportDigests

#: what can be wrong, in words that commands print as JSON
Kind = Literal[
    "saved anew",
    "PDF changed",
    "pages changed",
    "attachment changed",
    "not issued",
    "signature broken",
    "not signed",
    "another key",
    "another job",
    "job changed",
    "wiring changed",
    "recording changed",
    "recording swapped",
    "recording missing",
    "number differs",
    "number missing",
    "number not listed",
    "not recomputed",
    "bundle changed",
]


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing that is not as it was issued: one sentence that names the place first."""

    kind: Kind
    text: str


@dataclass(frozen=True, slots=True)
class Differing:
    """A number that comes out otherwise now."""

    told: Told
    now: Told | None

    @property
    def words(self) -> str:
        """Which, how it is printed, and how it would be now."""
        if self.now is None:
            return f"{self.told.words}: printed {self.told.printed}, not found in the recordings"
        if self.told.printed != self.now.printed:
            return f"{self.told.words}: printed {self.told.printed}, recomputed {self.now.printed}"
        told, now = (f"{one.value} ± {one.uncertainty}" for one in (self.told, self.now))
        return f"{self.told.words}: listed in full as {told}, recomputed {now}; printed both are {self.now.printed}"


def missing_words(told: Told) -> str:
    """A number that the report's list does not have although it comes out of its files."""
    return f"{told.words}: comes out as {told.printed}, but the report's list leaves it out"


@dataclass(frozen=True, slots=True)
class Words:
    """Texts that may hold numbers which are in no list."""

    #: by persons, in the job, its wiring and its recordings
    typed: frozenset[str]
    #: by the program, from the recordings
    made: frozenset[str]


@dataclass(frozen=True, slots=True)
class Recomputed:
    """The numbers of a report against those of its recordings."""

    numbers: tuple[Told, ...] = ()
    differing: tuple[Differing, ...] = ()
    #: those that a report of these files tells, and this one does not list
    missing: tuple[Told, ...] = ()
    #: how many could not be recomputed
    left: int = 0
    problems: tuple[Problem, ...] = ()
    notes: tuple[str, ...] = ()
    #: what the pages of a report made anew may say; None where not all that it was made from lies here as it was
    words: Words | None = None


@dataclass(frozen=True, slots=True)
class FilesChecked:
    """How the files beside a report stand to it."""

    #: where each recording that is there stands, by its name in the job
    places: dict[str, Path]
    #: "matches", "changed", "swapped" or "missing", by the same name
    recordings: dict[str, str]
    #: "matches", "changed", "missing" or "another job"
    job: str
    wiring: str
    problems: tuple[Problem, ...] = ()


@dataclass(frozen=True, slots=True)
class Verification:
    """Everything that was checked of a report; sound when there is no problem."""

    target: Path
    seal: ReportDigests
    files: FilesChecked
    recomputed: Recomputed
    problems: tuple[Problem, ...]
    notes: tuple[str, ...] = ()
    #: of the key that signed, where the signature holds
    fingerprint: str | None = None
    #: of the bundle, where it came in one
    members: int | None = field(default=None)
    #: the numbers on the pages against the list
    pages: PagesCompared = field(default_factory=PagesCompared)

    @property
    def sound(self) -> bool:
        """Whether nothing is amiss."""
        return not self.problems


@dataclass(frozen=True, slots=True)
class CheckedLine:
    """One line of what a check found, in letters that steer no terminal; `matches` is None where it is a remark."""

    text: str
    matches: bool | None = None


def verification_lines(found: Verification) -> tuple[CheckedLine, ...]:
    """Which report it is, how each file stands to it, how many numbers come out again, and the remarks."""
    seal = found.seal
    recomputed = len(seal.numbers) - found.recomputed.left
    differing = len(found.recomputed.differing)
    same, all_same = recomputed - differing, True if recomputed == len(seal.numbers) else None
    issued = f"{seal.issued_utc:%Y-%m-%d %H:%M} UTC by {printable(seal.software)}"
    return (
        CheckedLine(f"{found.target}: revision {seal.revision}, issued {issued}"),
        *(
            CheckedLine(f"{printable(file)}: {state}", state == "matches")
            for file, state in found.files.recordings.items()
        ),
        CheckedLine(f"job.toml: {found.files.job}; wiring.toml: {found.files.wiring}", _files_match(found.files)),
        CheckedLine(
            f"numbers: {same} of {len(seal.numbers)} come out as printed, from the raw samples{_on_pages(found.pages)}",
            False if differing or found.pages.refused else all_same,
        ),
        *(CheckedLine(printable(note)) for note in found.notes),
    )


def _on_pages(pages: PagesCompared) -> str:
    if pages.found is None:
        return ""
    known = len(pages.found) - sum(one in {*pages.unknown, *pages.of_the_shop} for one in pages.found)
    return f"; {known} of {len(pages.found)} compared on the pages are among them or were typed"


def _files_match(files: FilesChecked) -> bool | None:
    """A file that is not asked for is neither right nor wrong."""
    states = {files.job, files.wiring}
    if states & {"changed", "another job"}:
        return False
    return True if "matches" in states else None


def sound_line(found: Verification) -> str:
    """What a sound report comes to."""
    states = found.files.recordings.values()
    matching = sum(state == "matches" for state in states)
    return f"{found.target}: {matching} of {len(states)} recordings match, and every number that was recomputed"


def printable(text: str) -> str:
    """What stands in files of others must not steer a terminal, nor break a line of a window."""
    return "".join(letter if letter.isprintable() else " " if letter.isspace() else "?" for letter in text)


def verification_json(found: Verification) -> dict[str, Any]:
    """The JSON object of `humproof verify` for a report or a bundle."""
    seal, numbers = found.seal, found.recomputed
    return {
        "target": str(found.target),
        "sound": found.sound,
        "problems": [{"kind": one.kind, "text": one.text} for one in found.problems],
        "notes": list(found.notes),
        "report": {
            "job_number": seal.job_number,
            "revision": seal.revision,
            "issued_utc": seal.issued_utc.isoformat(),
            "software": seal.software,
            "signed_by": found.fingerprint,
        },
        "job": found.files.job,
        "wiring": found.files.wiring,
        "recordings": found.files.recordings,
        "numbers": {
            "listed": len(seal.numbers),
            "recomputed": len(seal.numbers) - numbers.left,
            "differing": [
                {
                    "source": one.told.source,
                    "what": one.told.what,
                    "channel": one.told.channel,
                    "printed": one.told.printed,
                    "recomputed": one.now.printed if one.now else None,
                    "value": one.told.value,
                    "value_recomputed": one.now.value if one.now else None,
                }
                for one in numbers.differing
            ],
            "missing": [
                {"source": one.source, "what": one.what, "channel": one.channel, "recomputed": one.printed}
                for one in numbers.missing
            ],
            "on_pages": {
                "compared": None if found.pages.found is None else len(found.pages.found),
                "unknown": [{"page": one.page, "printed": one.printed} for one in found.pages.unknown],
                "of_the_shop": [{"page": one.page, "printed": one.printed} for one in found.pages.of_the_shop],
            },
        },
        **({} if found.members is None else {"members": found.members}),
    }
