"""What job.toml holds, validated: the visit, the vehicle, the shop, and which recordings belong to it."""

from __future__ import annotations

from datetime import date
from pathlib import PurePosixPath
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationInfo, field_validator, model_validator

from analysis import CAUSES

VERSION = 1

State = Literal["as found", "as left", "instrument floor"]
STATES: tuple[State, ...] = ("as found", "as left", "instrument floor")

Text = Annotated[str, Field(max_length=10_000)]
Digest = Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")]
Finite = Annotated[float, Field(allow_inf_nan=False)]
NotNegative = Annotated[float, Field(ge=0, allow_inf_nan=False)]


class _Table(BaseModel):
    """A misspelt key is an error, not a silence."""

    model_config = ConfigDict(frozen=True, extra="forbid")


class Visit(_Table):
    """The order itself."""

    number: Text = ""
    title: Text = ""
    opened: date | None = None
    complaint: Text = ""
    began_after: Text = ""
    found: Text = ""
    done: Text = ""
    not_tested: Text = ""


class Vehicle(_Table):
    """What was brought in."""

    kind: Text = ""
    description: Text = ""
    registration: Text = ""
    odometer: Text = ""


class Shop(_Table):
    """Who did the work."""

    name: Text = ""
    address: Text = ""
    technician: Text = ""


class Entry(_Table):
    """One recording of the job; its conditions and isolation step stand in the sealed file itself."""

    file: Text
    state: State
    sha256: Digest
    note: Text = ""

    @field_validator("file")
    @classmethod
    def _lies_in_the_job(cls, file: str) -> str:
        path = PurePosixPath(file)
        if not file or path.is_absolute() or ".." in path.parts or "\\" in file:
            raise ValueError(f"'{file}' does not lie in the job folder: write a path such as recordings/name.h5")
        return file


class AlignmentEntry(_Table):
    """How the clocks of two recordings of the job stand to each other; uncertainties k = 2.

    A moment `t` of the first, in seconds from its first row at the nominal rate, is
    `t + offset_s + (rate_ratio - 1) * (t - at_s)` in the second.
    """

    first: Text
    second: Text
    offset_s: Finite
    uncertainty_s: NotNegative
    at_s: Finite
    rate_ratio: Annotated[float, Field(gt=0.9, lt=1.1)] = 1.0
    rate_ratio_uncertainty: NotNegative
    bursts: Annotated[int, Field(ge=1)]
    #: what was compared with what
    how: Text = ""

    @field_validator("second")
    @classmethod
    def _is_another(cls, second: str, info: ValidationInfo) -> str:
        if second == info.data.get("first"):
            raise ValueError(f"'{second}' is aligned with itself: name two recordings")
        return second


class AnswerEntry(_Table):
    """What the technician answered, or read off a meter, to a question of the likelihood table."""

    item: Text
    answer: Literal["", "yes", "no", "not sure", "not done"] = ""
    #: in the item's unit
    reading: NotNegative | None = None
    note: Text = ""

    @model_validator(mode="after")
    def _says_something(self) -> AnswerEntry:
        if bool(self.answer) == (self.reading is not None):
            raise ValueError(f"'{self.item}' needs either an answer (yes, no, not sure, not done) or a reading")
        return self


class Outcome(_Table):
    """What it was in the end: what finished jobs teach the likelihood table."""

    cause: Text = ""
    #: where there were two at once
    second_cause: Text = ""
    how_it_was_proven: Text = ""

    @field_validator("cause", "second_cause")
    @classmethod
    def _is_known(cls, cause: str) -> str:
        known = [one.slug for one in CAUSES]
        if cause and cause not in known:
            raise ValueError(f"'{cause}' is not a cause that humproof knows: use one of {', '.join(known)}")
        return cause


class JobFile(_Table):
    """The whole of job.toml."""

    format: Literal["humproof-job"]
    version: int
    visit: Visit = Visit()
    vehicle: Vehicle = Vehicle()
    shop: Shop = Shop()
    recordings: tuple[Entry, ...] = ()
    alignments: tuple[AlignmentEntry, ...] = ()
    answers: tuple[AnswerEntry, ...] = ()
    outcome: Outcome = Outcome()

    @field_validator("version")
    @classmethod
    def _is_known(cls, version: int) -> int:
        if version != VERSION:
            raise ValueError(f"version {version} is not known; this humproof reads {VERSION}: update it")
        return version

    @field_validator("alignments")
    @classmethod
    def _are_of_recordings(
        cls, alignments: tuple[AlignmentEntry, ...], info: ValidationInfo
    ) -> tuple[AlignmentEntry, ...]:
        known = {entry.file for entry in info.data.get("recordings", ())}
        named = [file for alignment in alignments for file in (alignment.first, alignment.second)]
        strange = [file for file in named if file not in known]
        if strange and "recordings" in info.data:
            raise ValueError(f"'{strange[0]}' is not among the recordings: correct it or take that alignment out")
        return alignments
