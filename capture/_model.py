"""The facts that travel with samples: channels, calibration, conditions, gaps, marks.

Everything here is validated on the way in, because it is also read from files that others made.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Annotated, Any, Literal

import numpy as np
import numpy.typing as npt
from pydantic import BaseModel, ConfigDict, Field, field_validator, model_validator

from analysis import Channel, role_problem

FORMAT = "humproof-recording"
FORMAT_VERSION = "1.2"

Finite = Annotated[float, Field(allow_inf_nan=False)]
Positive = Annotated[float, Field(gt=0, allow_inf_nan=False)]
NotNegative = Annotated[float, Field(ge=0, allow_inf_nan=False)]
Text = Annotated[str, Field(max_length=10_000)]


class _Facts(BaseModel):
    """Frozen, and deaf to keys it does not know only when a newer minor version wrote them."""

    model_config = ConfigDict(frozen=True, extra="ignore")


class Calibration(_Facts):
    """How counts were tied to a unit, and how well (uncertainties expanded, k = 2)."""

    date: Text
    method: Text
    reference: Text = ""
    temperature_c: Finite | None = None
    #: relative, k = 2: 0.01 is one per cent
    scale_uncertainty: NotNegative
    #: in the channel's unit, k = 2
    offset_uncertainty: NotNegative = 0.0
    #: since 1.1: False where nobody measured the zero; `offset_uncertainty` is then a bound
    offset_known: bool = True
    #: since 1.1: name of the stored calibration that was applied; empty when the scale was typed or the device's own
    name: Text = ""
    #: since 1.1: ISO date after which the calibration wants renewing
    valid_until: Text = ""
    #: since 1.1: divider or probe that the scale contains
    probe: Text = ""
    #: since 1.1: the input that was calibrated
    source_kind: Text = ""
    source_name: Text = ""
    host_api: Text = ""
    #: since 1.1: the channel's number on that device, from 0, and its name there
    device_channel: int | None = None
    channel_name: Text = ""
    #: since 1.1: what was set on the device while it was calibrated
    settings: dict[Text, Text] = {}
    #: since 1.1: shorted input, rms from 20 Hz to 20 kHz in the channel's unit; None when not measured
    floor_rms: NotNegative | None = None
    #: since 1.1: True when it was made from simulated recordings
    simulated: bool = False


class RecordedChannel(_Facts):
    """One channel: `value = counts * scale + offset`, in `unit`."""

    name: Text
    role: Text = ""
    unit: Literal["V", "A", "FS"] = "FS"
    scale: Finite = 1.0
    offset: Finite = 0.0
    coupling: Literal["DC", "AC", "unknown"] = "unknown"
    #: lowest and highest count the converter can give; None when unknown
    limits_counts: tuple[Finite, Finite] | None = None
    #: one step of the converter in counts; 0 when unknown (floating-point samples)
    step_counts: NotNegative = 0.0
    calibration: Calibration | None = None

    @field_validator("role")
    @classmethod
    def _role_is_known(cls, role: str) -> str:
        problem = role_problem(role) if role else None
        if problem:
            raise ValueError(problem)
        return role

    @model_validator(mode="after")
    def _scale_is_usable(self) -> RecordedChannel:
        if self.scale == 0:
            raise ValueError(f"channel '{self.name}': a scale of 0 would turn every sample into the same value")
        return self

    def as_analysed(self) -> Channel:
        """The same channel in the words of the analysis."""
        calibration = self.calibration
        return Channel(
            name=self.name,
            role=self.role,
            unit=self.unit,
            coupling=self.coupling,
            limits=self._limits(),
            resolution=abs(self.step_counts * self.scale),
            scale_uncertainty=None if calibration is None else calibration.scale_uncertainty,
            offset_uncertainty=0.0 if calibration is None else calibration.offset_uncertainty,
        )

    def _limits(self) -> tuple[float, float] | None:
        if self.limits_counts is None:
            return None
        ends = [count * self.scale + self.offset for count in self.limits_counts]
        return min(ends), max(ends)


class Conditions(_Facts):
    """What was held fixed while recording; None means that nobody wrote it down."""

    engine_rpm: NotNegative | None = None
    loads: tuple[Text, ...] | None = None
    volume: Text | None = None
    gains: Text | None = None
    test_signal: Text | None = None
    battery: Text | None = None
    laptop_supply: Text | None = None
    temperature_c: Finite | None = None
    #: since 1.1: what the tacho channel counts: teeth-missing and perhaps cam, such as "60-2"
    tacho_wheel: Text | None = None
    #: V rms that a full-level tone gave at this very tap point: the reference for signal-to-noise ratio
    full_level_v: Positive | None = None
    note: Text | None = None


class SourceFacts(_Facts):
    """Where the samples came from."""

    kind: Text
    name: Text
    host_api: Text = ""
    #: SHA-256 of the file that was imported or replayed; empty for a live source
    original_sha256: Text = ""
    #: what was set on the device, such as gain, range or baud rate: another setting needs another calibration
    settings: dict[Text, Text] = {}
    note: Text = ""


class RecordingInfo(_Facts):
    """Everything about a recording but its samples, gaps and marks."""

    start_utc: datetime
    rate_hz: Positive
    #: since 1.1: relative, k = 2, where the source measured or told it
    rate_uncertainty: NotNegative | None = None
    channels: tuple[RecordedChannel, ...] = Field(min_length=1, max_length=256)
    source: SourceFacts
    software: Text
    simulated: bool
    conditions: Conditions = Conditions()
    isolation_step: Text = "baseline"
    warnings: tuple[Text, ...] = ()

    @field_validator("start_utc")
    @classmethod
    def _in_utc(cls, moment: datetime) -> datetime:
        return moment.replace(tzinfo=UTC) if moment.tzinfo is None else moment.astimezone(UTC)

    @field_validator("channels")
    @classmethod
    def _names_differ(cls, channels: tuple[RecordedChannel, ...]) -> tuple[RecordedChannel, ...]:
        names = [channel.name for channel in channels]
        doubles = sorted({name for name in names if names.count(name) > 1})
        if doubles:
            raise ValueError(f"two channels are named '{doubles[0]}': give each its own name")
        return channels

    def changed(self, **facts: Any) -> RecordingInfo:
        """A copy with some facts replaced, validated again."""
        kept = {key: getattr(self, key) for key in type(self).model_fields}
        return type(self)(**(kept | facts))


@dataclass(frozen=True, slots=True)
class Gap:
    """Samples that were never taken or got lost: rows `first` to `first + length`, and why."""

    first: int
    length: int
    cause: str
    #: which channel is missing them; None when all are
    channel: int | None = None

    @property
    def stop(self) -> int:
        """The row after the last missing one."""
        return self.first + self.length


@dataclass(frozen=True, slots=True)
class Mark:
    """Something that happened at a row: a burst's start, a note."""

    first: int
    text: str
    length: int = 0


@dataclass(frozen=True, slots=True)
class Block:
    """Raw counts, time first: `counts` has shape (rows, channels); `first` is the row of counts[0]."""

    first: int
    counts: npt.NDArray[Any]

    @property
    def stop(self) -> int:
        """The row after the last one."""
        return self.first + len(self.counts)


@dataclass(frozen=True, slots=True)
class Ended:
    """A source has no more samples; `fault` is empty when that was meant to happen."""

    fault: str = ""


#: What a source hands over: samples, the news that samples are missing, a mark, or its end.
Item = Block | Gap | Mark | Ended

SAMPLE_TYPES = tuple(np.dtype(name) for name in ("<i2", "<i4", "<f4", "<f8"))
