"""A stored calibration of one input of one device, and what it becomes when a recording is made with it."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from datetime import date as Date
from datetime import timedelta
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, field_validator, model_validator

from analysis import COVERAGE_FACTOR, Factor, FloorLevel, HumproofError, InputScale, Meter, zero_of
from capture._model import Calibration, Finite, NotNegative, Positive, RecordedChannel, SourceFacts, Text

VERSION = 1
#: settings that leave the volts as they are
_HARMLESS_SETTINGS = frozenset({"rate", "sample rate", "baud", "bits"})
#: settings that change the volts: where one side says nothing, that is worth a word
_TELLING_SETTINGS = ("gain", "range")
_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,63}")

Digest = Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")]
Unit = Literal["V", "A"]


class CalibrationError(HumproofError, ValueError):
    """A calibration cannot be made, read, written or applied."""


class _Table(BaseModel):
    """A misspelt key is an error, not a silence."""

    model_config = ConfigDict(frozen=True, extra="forbid")


class MeterFacts(_Table):
    """What the known volts were read with; `uncertainty` is relative, as its maker states it."""

    name: Text
    kind: Literal["true-rms", "averaging"]
    uncertainty: Annotated[float, Field(gt=0, lt=1)]
    uncertainty_kind: Literal["limit", "expanded"]
    one_range: bool = True

    @property
    def words(self) -> str:
        """The meter in a few words."""
        kind = "limit" if self.uncertainty_kind == "limit" else f"k = {COVERAGE_FACTOR}"
        return f"{self.name} ({self.kind} meter, {100 * self.uncertainty:.3g} % {kind})"

    def as_analysed(self) -> Meter:
        """The meter in the words of the analysis."""
        return Meter(self.uncertainty, self.uncertainty_kind, self.kind, self.one_range)


class InputFacts(_Table):
    """Which input was calibrated; `source_kind` is empty when nobody said what device made the recordings."""

    source_kind: Text = ""
    name: Text = ""
    host_api: Text = ""
    channel: Annotated[int, Field(ge=0)]
    #: as the device calls it; empty when only a foreign file told
    channel_name: Text = ""
    #: unit of the readings before calibration
    unit: Literal["FS", "V"]
    coupling: Literal["DC", "AC", "unknown"] = "unknown"
    settings: dict[Text, Text] = {}

    @property
    def words(self) -> str:
        """The input in a few words."""
        device = f"{self.source_kind} '{self.name}'" if self.source_kind else "a device that nobody named"
        api = f" ({self.host_api})" if self.host_api else ""
        settings = "".join(f", {key} {value}" for key, value in self.settings.items())
        return f"channel {self.channel_name or self.channel} of {device}{api}{settings}"


class LevelFacts(_Table):
    """One known level: the evidence, what the meter showed, what the input read (uncertainty k = 2)."""

    file: Text
    sha256: Digest
    volts: Finite
    reading: Finite
    reading_uncertainty: NotNegative
    frequency_hz: Positive | None = None


class ProbeFacts(_Table):
    """A divider, probe or clamp that the scale contains; uncertainty relative, k = 2."""

    words: Text
    ratio: Finite
    uncertainty: NotNegative


class FloorFacts(_Table):
    """The shorted input, in the calibration's unit (k = 2), and its zero as the input reads it."""

    date: Date
    file: Text
    sha256: Digest
    rms: NotNegative
    rms_uncertainty: NotNegative
    dc_reading: Finite
    dc_reading_uncertainty: NotNegative
    band_hz: tuple[Positive, Positive]


class StoredCalibration(_Table):
    """value = reading * scale + offset, in `unit`; uncertainties k = 2, without what temperature does to the input."""

    format: Literal["humproof-calibration"]
    version: int
    name: Text
    date: Date
    valid_until: Date
    method: Text
    temperature_c: Finite | None = None
    simulated: bool = False
    unit: Unit = "V"
    scale: Finite
    #: relative
    scale_uncertainty: NotNegative
    offset: Finite
    offset_uncertainty: NotNegative
    #: False: nobody measured the zero; the uncertainty is then the largest DC seen, which need not be the zero's
    offset_known: bool
    notes: tuple[Text, ...] = ()
    #: relative standard uncertainties that the scale's is made of
    uncertainty_parts: dict[Text, NotNegative] = {}
    meter: MeterFacts
    input: InputFacts
    probe: ProbeFacts | None = None
    floor: FloorFacts | None = None
    levels: tuple[LevelFacts, ...] = Field(min_length=1)

    @field_validator("name")
    @classmethod
    def _name_is_plain(cls, name: str) -> str:
        return checked_name(name)

    @field_validator("version")
    @classmethod
    def _version_is_known(cls, version: int) -> int:
        if version != VERSION:
            raise ValueError(f"version {version} is not known; this humproof reads {VERSION}: update it")
        return version

    @field_validator("scale")
    @classmethod
    def _scale_is_usable(cls, scale: float) -> float:
        if scale == 0:
            raise ValueError("a scale of 0 would turn every sample into the same value")
        return scale

    @model_validator(mode="after")
    def _dates_are_in_order(self) -> StoredCalibration:
        if self.valid_until < self.date:
            raise ValueError(f"valid_until {self.valid_until} lies before date {self.date}")
        return self

    def changed(self, **facts: object) -> StoredCalibration:
        """A copy with some facts replaced, validated again."""
        kept = {key: getattr(self, key) for key in type(self).model_fields}
        return StoredCalibration.model_validate(kept | facts)


def checked_name(name: str) -> str:
    """A name that is safe as a file's; raises `ValueError`."""
    if not _NAME.fullmatch(name):
        raise ValueError(f"name '{name}': use letters, digits, '.', '_' and '-', such as line-in-left")
    return name


def calibration_of(
    name: str,
    made: InputScale,
    meter: MeterFacts,
    wired: InputFacts,
    levels: Sequence[LevelFacts],
    *,
    on: Date,
    method: str,
    valid_days: int = 365,
    factor: Factor | None = None,
    unit: Unit = "V",
    temperature_c: float | None = None,
    simulated: bool = False,
) -> StoredCalibration:
    """What is kept of a calibration; `made` is that of the input itself, `factor` the divider before it."""
    whole = made.through(factor) if factor else made
    return StoredCalibration(
        format="humproof-calibration",
        version=VERSION,
        name=name,
        date=on,
        valid_until=on + timedelta(days=valid_days),
        method=method,
        temperature_c=temperature_c,
        simulated=simulated,
        unit=unit,
        scale=whole.scale,
        scale_uncertainty=whole.scale_uncertainty,
        offset=whole.offset,
        offset_uncertainty=whole.offset_uncertainty,
        offset_known=whole.offset_known,
        notes=whole.notes,
        uncertainty_parts=dict(whole.parts),
        meter=meter,
        input=wired,
        probe=_probe(factor),
        levels=tuple(levels),
    )


def _probe(factor: Factor | None) -> ProbeFacts | None:
    if factor is None:
        return None
    return ProbeFacts(words=factor.words, ratio=factor.ratio, uncertainty=COVERAGE_FACTOR * factor.uncertainty)


def with_floor(
    stored: StoredCalibration, floor: FloorLevel, file: str, sha256: str, on: Date
) -> tuple[StoredCalibration, list[str]]:
    """The calibration with a floor of its shorted input, and what is odd about it.

    `floor` is in the input's own unit. A zero that nobody had measured is taken from it; one that is known stays.
    A floor that is higher than the stored one does not replace it.
    """
    size = abs(stored.scale)
    facts = FloorFacts(
        date=on,
        file=file,
        sha256=sha256,
        rms=floor.rms * size,
        rms_uncertainty=floor.rms_uncertainty * size,
        dc_reading=floor.dc,
        dc_reading_uncertainty=floor.dc_uncertainty,
        band_hz=floor.band_hz,
    )
    warnings = _floor_rise(stored, facts)
    kept = stored if warnings else stored.changed(floor=facts)
    if stored.offset_known:
        warnings += _zero_moved(stored, facts)
        return kept, warnings
    offset, spread = zero_of(floor, stored.scale, stored.scale_uncertainty)
    return kept.changed(offset=offset, offset_uncertainty=spread, offset_known=True), warnings


def _floor_rise(stored: StoredCalibration, now: FloorFacts) -> list[str]:
    then = stored.floor
    if then is None:
        return []
    allowed = (then.rms_uncertainty**2 + now.rms_uncertainty**2) ** 0.5
    if now.rms - then.rms <= allowed:
        return []
    return [
        f"the floor is {now.rms:.3g} {stored.unit} rms, {then.rms:.3g} {stored.unit} on {then.date}: look for another "
        "gain, a lead without its shorting clip, or a charger on the laptop; the lower floor stays stored"
    ]


def _zero_moved(stored: StoredCalibration, now: FloorFacts) -> list[str]:
    zero = now.dc_reading * stored.scale + stored.offset
    spread = (stored.offset_uncertainty**2 + (now.dc_reading_uncertainty * stored.scale) ** 2) ** 0.5
    if abs(zero) <= spread:
        return []
    return [
        f"the shorted input reads {zero:.3g} {stored.unit} where its calibration allows {spread:.2g} {stored.unit}: "
        "its zero has moved; calibrate it again"
    ]


# ---------------------------------------------------------------- into a recording


def calibrated(channel: RecordedChannel, stored: StoredCalibration) -> RecordedChannel:
    """A channel as its device gives it, with the calibration's scale, offset, unit and record.

    Raises
    ------
    CalibrationError
        The channel's readings are in another unit than those that were calibrated, or have a calibration already,
        or its role does not go with the unit.
    """
    if channel.unit != stored.input.unit:
        raise CalibrationError(
            f"calibration '{stored.name}': was made for readings in {stored.input.unit}, channel {channel.name} gives "
            f"{channel.unit}: use a calibration of this input"
        )
    if (channel.role.partition("@")[0] == "current") != (stored.unit == "A"):
        raise CalibrationError(
            f"calibration '{stored.name}': gives {stored.unit}, which does not go with channel {channel.name}'s role "
            f"'{channel.role}'; a clamp's calibration is made with --unit A"
        )
    scaled = channel.model_dump() | {
        "unit": stored.unit,
        "scale": channel.scale * stored.scale,
        "offset": channel.offset * stored.scale + stored.offset,
        "calibration": None,
    }
    ready = RecordedChannel(**scaled)
    return RecordedChannel(**(scaled | {"calibration": calibration_record(stored, _zero_spread(stored, ready))}))


def _zero_spread(stored: StoredCalibration, channel: RecordedChannel) -> float:
    """The zero's uncertainty; where DC passes and nobody measured the zero, it may lie anywhere in the range."""
    if stored.offset_known or channel.coupling != "DC":
        return stored.offset_uncertainty
    limits = channel.as_analysed().limits
    reach = max(map(abs, limits)) if limits else max(abs(level.reading * stored.scale) for level in stored.levels)
    return max(reach, abs(stored.scale) if stored.input.unit == "FS" else 0.0, stored.offset_uncertainty)


def calibration_record(stored: StoredCalibration, offset_uncertainty: float) -> Calibration:
    """What every recording made with it keeps of a calibration."""
    wired = stored.input
    return Calibration(
        date=stored.date.isoformat(),
        method=stored.method,
        reference=stored.meter.words,
        temperature_c=stored.temperature_c,
        scale_uncertainty=stored.scale_uncertainty,
        offset_uncertainty=offset_uncertainty,
        offset_known=stored.offset_known,
        name=stored.name,
        valid_until=stored.valid_until.isoformat(),
        probe=stored.probe.words if stored.probe else "",
        source_kind=wired.source_kind,
        source_name=wired.name,
        host_api=wired.host_api,
        device_channel=wired.channel,
        channel_name=wired.channel_name,
        settings=wired.settings,
        floor_rms=stored.floor.rms if stored.floor else None,
        simulated=stored.simulated,
    )


# ---------------------------------------------------------------- does it still hold?


def calibration_warnings(
    calibration: Calibration, facts: SourceFacts, index: int, channel: RecordedChannel, today: Date
) -> list[str]:
    """What speaks against a stored calibration on this channel of this source; nothing for any other kind.

    Parameters
    ----------
    facts
        Of the source as it is now.
    index, channel
        The channel's number on the source, from 0, and the channel itself.
    today
        In UTC.
    """
    if not calibration.name:
        return []
    found = [
        *_expiry(calibration, today),
        *_other_device(calibration, facts),
        *_other_channel(calibration, index, channel),
        *_other_settings(calibration.settings, facts.settings),
    ]
    if calibration.simulated and facts.kind != "simulated-vehicle":
        found.append("was made from simulated recordings: it says nothing of a real input")
    if channel.coupling == "DC" and not calibration.offset_known:
        found.append(f"leaves the zero unknown: no DC value holds; humproof calibrate floor {calibration.name} FILE")
    return [f"channel {channel.name}: calibration '{calibration.name}' {text}" for text in found]


def channel_warnings(channels: Sequence[RecordedChannel], facts: SourceFacts, today: Date) -> list[str]:
    """`calibration_warnings` of all channels of one source."""
    return [
        text
        for index, channel in enumerate(channels)
        if channel.calibration is not None
        for text in calibration_warnings(channel.calibration, facts, index, channel, today)
    ]


def _expiry(calibration: Calibration, today: Date) -> list[str]:
    try:
        over = Date.fromisoformat(calibration.valid_until) < today
    except ValueError:
        return [f"is valid until '{calibration.valid_until}', which is no date"]
    return [f"expired on {calibration.valid_until}: calibrate again"] if over else []


def _other_device(calibration: Calibration, facts: SourceFacts) -> list[str]:
    if not calibration.source_kind:
        return ["does not say which device it was made with: make sure that it is this one"]
    made, now = (calibration.source_kind, calibration.source_name), (facts.kind, facts.name)
    if made != now:
        return [f"was made with {made[0]} '{made[1]}', this is {now[0]} '{now[1]}'"]
    if calibration.host_api != facts.host_api:
        return [f"was made through host API '{calibration.host_api}', this is '{facts.host_api}'"]
    return []


def _other_channel(calibration: Calibration, index: int, channel: RecordedChannel) -> list[str]:
    same = calibration.channel_name == channel.name if calibration.channel_name else calibration.device_channel == index
    if same:
        return []
    made = calibration.channel_name or f"number {calibration.device_channel}"
    return [f"was made for channel {made}, this is {channel.name if calibration.channel_name else f'number {index}'}"]


def _other_settings(made: Mapping[str, str], now: Mapping[str, str]) -> list[str]:
    both = [key for key in made if key in now and key not in _HARMLESS_SETTINGS and made[key] != now[key]]
    changed = [f"was made at {key} '{made[key]}', now it is '{now[key]}'" for key in both]
    one = [key for key in _TELLING_SETTINGS if (key in made) != (key in now)]
    return changed + [_one_sided(key, made, now) for key in one]


def _one_sided(key: str, made: Mapping[str, str], now: Mapping[str, str]) -> str:
    if key in made:
        return f"was made at {key} '{made[key]}', which this recording does not state: see that it stands there"
    return f"does not say at which {key} it was made, now it is '{now[key]}'"
