"""What differs between instruments: the keys of a driver description (documented in capture/driver-description.md)."""

from __future__ import annotations

import string
from collections.abc import Iterable
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field, model_validator

from capture._errors import SourceError
from capture._oscilloscope._samples import ByteOrder, SampleName

#: what may stand in braces in a command
PLACEHOLDERS = (
    "channel",
    "range",
    "span",
    "per_division",
    "offset",
    "coupling",
    "probe",
    "rate",
    "interval",
    "duration",
    "points",
)


def _known_placeholders(command: str) -> str:
    try:
        parts = [part for part in string.Formatter().parse(command) if part[1] is not None]
    except ValueError as error:
        raise ValueError(f"'{command}': braces stand in pairs around a name ({error})") from error
    for _, name, form, conversion in parts:
        if name not in PLACEHOLDERS or form or conversion:
            known = ", ".join(f"{{{word}}}" for word in PLACEHOLDERS)
            raise ValueError(f"'{{{name}{form and ':' + form}}}' is not known in a command; known are {known}")
    if "\n" in command or "\r" in command:
        raise ValueError("a command is one line")
    return command


def _listed(value: Any) -> Any:
    return [value] if isinstance(value, str) else value


def _as_term(value: Any) -> Any:
    return {"value": value} if isinstance(value, int | float) and not isinstance(value, bool) else value


Command = Annotated[str, Field(min_length=1, max_length=1000), AfterValidator(_known_placeholders)]
#: one command, or several in their order
Commands = Annotated[tuple[Command, ...], BeforeValidator(_listed)]
Finite = Annotated[float, Field(allow_inf_nan=False)]
Positive = Annotated[float, Field(gt=0, allow_inf_nan=False)]


class Part(BaseModel):
    """A table of the description; a key it does not know is an error."""

    model_config = ConfigDict(frozen=True, extra="forbid")


class Number(Part):
    """A number that stands here, or that the instrument tells."""

    value: Finite | None = None
    #: asked for; without it the table's own query is
    query: Command | None = None
    #: its place in the answer, a comma list: 1 is the first
    field: Annotated[int, Field(ge=1)] | None = None
    #: it is this number for each volt of {range}
    per_range: Finite | None = None
    #: what the instrument tells, times this
    times: Finite = 1.0

    @model_validator(mode="after")
    def _one_way(self) -> Number:
        told = self.query is not None or self.field is not None
        if sum((self.value is not None, self.per_range is not None, told)) != 1:
            raise ValueError("give one of: a number, { query = ... }, { field = ... }, { per_range = ... }")
        return self


Term = Annotated[Number, BeforeValidator(_as_term)]
NUMBER_KEYS = tuple(Number.model_fields)


class Limits(Part):
    """What the instrument can do; nothing said, nothing refused."""

    channels: Annotated[int, Field(ge=1)] | None = None
    #: the values that {range} may have, V
    ranges: tuple[Positive, ...] = ()
    #: samples a second
    rates: tuple[Positive, ...] = ()
    most_points: Annotated[int, Field(ge=1)] | None = None
    couplings: tuple[Literal["DC", "AC"], ...] = ("DC", "AC")
    #: how many divisions the whole span has, for {per_division}
    divisions: Positive | None = None


class CommandSet(Part):
    """What is sent; an empty list where an instrument has no such command."""

    identify: Command = "*IDN?"
    reset: Commands = ("*RST", "*CLS")
    probe: Commands = ()
    channel_on: Commands
    coupling: Commands = ()
    range: Commands
    offset: Commands = ()
    rate: Commands = ()
    points: Commands = ()
    format: Commands = ()
    arm: Commands
    trigger: Commands = ()
    abort: Commands = ()
    fetch: Command
    error: Command = "SYSTem:ERRor?"


class ReadBack(Part):
    """What the instrument says that it does, after it was set up."""

    rate: Term | None = None
    interval: Term | None = None
    points: Term | None = None
    range: Term | None = None
    coupling: Command | None = None
    probe: Term | None = None


class Completion(Part):
    """How the end of a capture is seen."""

    way: Literal["answer", "poll"] = "answer"
    query: Command = "*OPC?"
    #: poll: asked until (answer and mask) is not 0, or the answer is this text
    mask: Annotated[int, Field(ge=1)] | None = None
    text: str | None = None
    every_s: Annotated[float, Field(ge=0.001, le=1)] = 0.05

    @model_validator(mode="after")
    def _poll_knows_its_end(self) -> Completion:
        if self.way == "poll" and (self.mask is None) == (self.text is None):
            raise ValueError('for way = "poll" give either mask or text, which tells the end')
        return self


class Data(Part):
    """How samples are written."""

    sample: SampleName
    byte_order: ByteOrder = "big"
    #: counts that the converter can give at the most; both or none
    lowest: Finite | None = None
    highest: Finite | None = None
    #: one step of the converter in counts; for whole numbers 1 if not said
    step: Annotated[float, Field(ge=0, allow_inf_nan=False)] | None = None
    #: samples that are volts: the range that was read back is where the converter ends
    range_is_limit: bool = False

    @model_validator(mode="after")
    def _both_ends(self) -> Data:
        low, high = self.lowest, self.highest
        if (low is None) != (high is None) or (low is not None and high is not None and low >= high):
            raise ValueError("give both lowest and highest, the lower one first, or neither")
        return self


class Scaling(Part):
    """volts = (count - reference) * increment + origin."""

    query: Command | None = None
    increment: Term = Number(value=1.0)
    reference: Term = Number(value=0.0)
    origin: Term = Number(value=0.0)

    @model_validator(mode="after")
    def _fields_are_asked_for(self) -> Scaling:
        terms = (self.increment, self.reference, self.origin)
        if self.query is None and any(term.field is not None and term.query is None for term in terms):
            raise ValueError("a field needs a query: the table's own, or one beside the field")
        return self


class Driver(Part):
    """A whole driver description."""

    format: Literal["humproof-driver"]
    version: Literal[1]
    name: Annotated[str, Field(min_length=1, max_length=200)]
    limits: Limits = Limits()
    commands: CommandSet
    read_back: ReadBack = ReadBack()
    completion: Completion = Completion()
    data: Data
    scaling: Scaling = Scaling()

    @model_validator(mode="after")
    def _rate_can_be_known(self) -> Driver:
        told = self.read_back.rate or self.read_back.interval
        if not told and not self.commands.rate:
            raise ValueError("read_back.rate or read_back.interval is needed where commands.rate is not there")
        if any("{per_division}" in command for command in self.commands.range) and self.limits.divisions is None:
            raise ValueError("{per_division} in commands.range needs limits.divisions")
        return self


def fill(commands: Iterable[str], values: dict[str, object]) -> list[str]:
    """Commands with what stands for their names in braces; a command whose value is not there is left out."""
    return [command.format(**values) for command in commands if _names(command) <= values.keys()]


def filled(query: str, values: dict[str, object]) -> str:
    """A question with its values; raises `SourceError` where one is not known at this moment."""
    unknown = sorted(_names(query) - values.keys())
    if unknown:
        raise SourceError(f"'{query}' of the driver description: {{{unknown[0]}}} is not known when it is asked")
    return query.format(**values)


def _names(command: str) -> set[str]:
    return {name for _, name, _, _ in string.Formatter().parse(command) if name is not None}
