"""What is going to be recorded: source, channels, circumstances. Frozen; remembered over a restart. No Qt."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, Field, ValidationError, field_validator

from analysis import ROLES, WrongUseError, find_step, wheel_of
from capture import Asked, ChannelWishes, Conditions, SourceDescription, parse_wishes
from gui._format import si
from gui._words import tr
from job import STATES, Plan, Sounding, State

#: sources whose wiring is remembered, the latest first
MOST_REMEMBERED = 6
MOST_CHANNELS = 64
LONGEST_COUNT_S = 10
#: what Qt calls the keys that foot switches send most
FOOT_KEYS = ("F12", "PgDown", "PgUp", "F11", "F10")
#: as long as the settings allow a text to be
_MOST_TEXT = 10_000

Text = Annotated[str, Field(max_length=2000)]


class _Frozen(BaseModel):
    model_config = ConfigDict(frozen=True, extra="ignore")


class WiredChannel(_Frozen):
    """What one channel is connected to; empty where nobody said."""

    role: Text = ""
    point: Text = ""
    #: volts (or amperes) for one unit of the source
    scale: float | None = None
    coupling: Text = ""
    #: name of a stored calibration
    calibration: Text = ""

    @property
    def whole_role(self) -> str:
        """Role and point as a recording has them."""
        return f"{self.role}@{self.point}" if self.role and self.point else self.role


class Setup(_Frozen):
    """Everything that the strip hands to a recording."""

    #: KIND or KIND:TARGET, as `capture.make_sources` takes it; empty before one was chosen
    source: Text = ""
    settings: dict[str, str] = {}
    rate_hz: Annotated[float, Field(gt=0, allow_inf_nan=False)] | None = None
    channels: Annotated[int, Field(ge=1, le=MOST_CHANNELS)] | None = None
    wired: tuple[WiredChannel, ...] = Field(default=(), max_length=MOST_CHANNELS)
    state: State = "as found"
    step: Text = "baseline"
    facts: Conditions = Conditions()
    #: test signal that this computer plays meanwhile; empty for none
    play: Text = ""
    play_level_db: Annotated[float, Field(le=0, allow_inf_nan=False)] | None = None
    play_through: Text = ""
    stop_below_v: Annotated[float, Field(gt=0, allow_inf_nan=False)] | None = None
    #: None records until it is stopped
    duration_s: Annotated[float, Field(gt=0, le=1e7)] | None = None

    @field_validator("wired")
    @classmethod
    def _no_tail(cls, wired: tuple[WiredChannel, ...]) -> tuple[WiredChannel, ...]:
        """Channels of which nothing is said at the end are left out, so that equal setups are equal."""
        while wired and wired[-1] == WiredChannel():
            wired = wired[:-1]
        return wired

    # ------------------------------------------------------------ changes

    def changed(self, **facts: Any) -> Setup:
        """A copy with some facts replaced; raises `WrongUseError` with the place and the remedy."""
        try:
            return type(self).model_validate({**dict(self), **facts})
        except ValidationError as error:
            first = error.errors()[0]
            name = " ".join(str(part) for part in first["loc"]).replace("_", " ")
            raise WrongUseError(f"{name}: {first['msg']}") from error

    def with_channel(self, index: int, **facts: Any) -> Setup:
        """One channel connected otherwise."""
        wired = list(self.wired) + [WiredChannel()] * max(index + 1 - len(self.wired), 0)
        wired[index] = WiredChannel(**{**dict(wired[index]), **facts})
        return self.changed(wired=tuple(wired))

    def with_conditions(self, **facts: Any) -> Setup:
        """Other circumstances; None takes one away. Raises `WrongUseError` for what can be none."""
        try:
            wheel = facts.get("tacho_wheel")
            if wheel:
                wheel_of(wheel)
            return self.changed(facts=Conditions(**{**dict(self.facts), **facts}))
        except ValidationError as error:
            first = error.errors()[0]
            raise WrongUseError(f"{str(first['loc'][0]).replace('_', ' ')}: {first['msg']}") from error

    def told(self, facts: Mapping[str, str]) -> Setup:
        """What an action asks for: "state", "step", "rpm", "loads", "volume", "gains", "signal", "full level"."""
        new = self
        if facts.get("state") in STATES:
            new = new.changed(state=facts["state"])
        if facts.get("step", "").strip():
            known = find_step(facts["step"])
            new = new.changed(step=known.words if known else facts["step"].strip())
        held: dict[str, Any] = {}
        for name, own in (("rpm", "engine_rpm"), ("full level", "full_level_v")):
            if name in facts:
                held[own] = number_typed(name, facts[name])
        for name, own in (("volume", "volume"), ("gains", "gains"), ("signal", "test_signal")):
            if name in facts:
                held[own] = facts[name].strip() or None
        if "loads" in facts:
            held["loads"] = loads_typed(facts["loads"])
        return new.with_conditions(**held) if held else new

    # ------------------------------------------------------------ what it becomes

    @property
    def is_simulated(self) -> bool:
        """A simulated vehicle follows state, step and conditions."""
        return self.source.partition(":")[0] == "simulated-vehicle"

    @property
    def plays_bursts(self) -> bool:
        """Whether test bursts play: from here, or from the vehicle's own player."""
        return "burst" in f"{self.play} {self.facts.test_signal or ''}".lower()

    @property
    def opening(self) -> tuple[object, ...]:
        """What a source must be opened anew for when it changes."""
        held = (self.state, self.step, self.facts, self.play) if self.is_simulated else ()
        return (self.source, tuple(self.settings.items()), self.rate_hz, self.channels, self.wired, *held)

    def asked(self) -> Asked:
        """What the source is asked for."""
        roles = [one.whole_role for one in self.wired]
        return Asked(
            self.rate_hz,
            self.channels,
            tuple(roles) if self.is_simulated and roles and all(roles) else (),
            self.state,
            self.conditions_of_source(),
            self.step,
        )

    def conditions_of_source(self) -> Conditions:
        """A simulated vehicle hears what is played here."""
        if self.play and self.facts.test_signal is None:
            return self.facts.model_copy(update={"test_signal": self.play})
        return self.facts

    def wishes(self, says: SourceDescription | int) -> ChannelWishes:
        """What is said of the channels that the source has; raises `HumproofError`."""
        count = says if isinstance(says, int) else len(says.channels)
        own = list(enumerate(self.wired[:count]))
        return parse_wishes(
            [f"{index}={one.whole_role}" for index, one in own if one.role],
            [f"{index}={one.scale!r}" for index, one in own if one.scale is not None],
            [f"{index}={one.coupling}" for index, one in own if one.coupling],
            None,
            [f"{index}={one.calibration}" for index, one in own if one.calibration and one.scale is None],
        )

    def plan(self) -> Plan:
        """What stands in the recording."""
        return Plan(self.state, self.step, self.facts, self.duration_s)

    def sounding(self) -> Sounding:
        """What plays along."""
        return Sounding(
            self.play or None, self.play_level_db, None, self.play_through, self.stop_below_v if self.play else None
        )

    # ------------------------------------------------------------ in words

    def chips(self) -> tuple[tuple[str, str], ...]:
        """What will be written, each with the field of the panel where it is changed."""
        held = self.facts
        speed = tr("rpm not stated")
        if held.engine_rpm is not None:
            speed = tr("engine off") if held.engine_rpm == 0 else f"{held.engine_rpm:,.0f} rpm"
        loads = tr("loads not stated") if held.loads is None else ", ".join(held.loads) or tr("no loads")
        signal = held.test_signal or (self.play if self.play else tr("signal not stated"))
        length = tr("until stopped") if self.duration_s is None else f"{self.duration_s:g} s"
        return (
            ("state", tr(self.state)),
            ("step", self.step),
            ("rpm", speed),
            ("loads", loads),
            ("volume", tr("volume {volume}", volume=held.volume) if held.volume else tr("volume not stated")),
            ("signal", signal),
            ("length", length),
        )


class Memory(_Frozen):
    """What the strip remembers: the setup of each source, the latest first, of which job, and how it is handled."""

    setups: tuple[Setup, ...] = Field(default=(), max_length=MOST_REMEMBERED)
    #: the folder of the job that they were used in last
    job: Text = ""
    count_s: int = Field(default=3, ge=0, le=LONGEST_COUNT_S)
    foot_key: Text = FOOT_KEYS[0]

    def last(self, job: str) -> Setup:
        """What was set up last, as far as it holds for this job."""
        return self._for(self.setups[0], job) if self.setups else Setup()

    def of(self, source: str, job: str) -> Setup:
        """The setup of a source, as it was when it was used last, as far as it holds for this job."""
        found = next((setup for setup in self.setups if setup.source == source), Setup(source=source))
        return self._for(found, job)

    def _for(self, setup: Setup, job: str) -> Setup:
        """Of another vehicle only the wiring is kept and the shop's own habit: what was true there is not here."""
        if job == self.job:
            return setup
        facts = Conditions(laptop_supply=setup.facts.laptop_supply)
        return setup.model_copy(update={"state": "as found", "step": "baseline", "play": "", "facts": facts})

    def with_setup(self, setup: Setup, job: str) -> Memory:
        """With this one as the latest."""
        if not setup.source:
            return self
        others = [self._for(other, job) for other in self.setups if other.source != setup.source]
        return self.model_copy(update={"setups": (setup, *others)[:MOST_REMEMBERED], "job": job})

    def text(self) -> str:
        """As it is kept in the settings; the oldest setups go where there is no room."""
        kept = self
        while len(found := kept.model_dump_json(exclude_defaults=True)) > _MOST_TEXT and kept.setups:
            kept = kept.model_copy(update={"setups": kept.setups[:-1]})
        return found if len(found) <= _MOST_TEXT else ""


def memory_of(text: str) -> Memory:
    """What was kept; a text that is none begins anew."""
    try:
        return Memory.model_validate_json(text) if text else Memory()
    except (ValidationError, ValueError, RecursionError):
        return Memory()


def number_typed(name: str, text: str) -> float | None:
    """A number as a person types it, with thousands set apart or not; None for nothing. Raises `WrongUseError`."""
    plain = text.strip().replace("\u202f", "").replace("\u00a0", "").replace(" ", "").replace("−", "-")
    # "1,800" is a thousand and eight hundred; "13,8" is a decimal comma.
    head, comma, tail = plain.rpartition(",")
    plain = f"{head}{tail}" if comma and len(tail) == 3 and "." not in head else plain.replace(",", ".")
    if not plain:
        return None
    try:
        value = float(plain)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise WrongUseError(tr("{name}: '{typed}' is no number: write for example 1800 or 13.8", name=name, typed=text))
    return value


def loads_typed(text: str) -> tuple[str, ...] | None:
    """ "headlamps, blower"; "none" says that none is on, nothing that nobody said."""
    parts = tuple(part.strip() for part in text.split(",") if part.strip())
    if not parts:
        return None
    return () if len(parts) == 1 and parts[0].lower() in ("none", tr("none")) else parts


def role_choices() -> tuple[str, ...]:
    """The roles that a channel can have, first that it has none."""
    return ("", *ROLES)


def scale_words(channel: Any) -> str:
    """How well a channel's volts are known."""
    if channel.unit == "FS":
        return tr("shares of full scale: neither scale nor calibration")
    made = channel.calibration
    if made is None:
        return tr("scale without an uncertainty")
    name = f"{made.name}: " if made.name else ""
    return f"{name}± {100 * made.scale_uncertainty:.2g} % (k = 2), {made.method}"


def level_words(value: float, unit: str) -> str:
    """A level beside its bar: three figures, with its unit."""
    return tr("no samples") if math.isnan(value) else si(value, unit, 3)
