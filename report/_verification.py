"""What a check of a report found."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal

from report._numbers_told import Told
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


@dataclass(frozen=True, slots=True)
class Recomputed:
    """The numbers of a report against those of its recordings."""

    numbers: tuple[Told, ...] = ()
    differing: tuple[Differing, ...] = ()
    #: how many could not be recomputed
    left: int = 0
    problems: tuple[Problem, ...] = ()
    notes: tuple[str, ...] = ()


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

    @property
    def sound(self) -> bool:
        """Whether nothing is amiss."""
        return not self.problems


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
        },
        **({} if found.members is None else {"members": found.members}),
    }
