"""What a kind of source is to those who choose one: its name, its settings, how it is found and made."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from pydantic import BaseModel, ConfigDict

from capture._model import Conditions
from capture._source import Source


@dataclass(frozen=True, slots=True)
class Asked:
    """What any source may be asked for; None, or nothing, where it was left open."""

    rate_hz: float | None = None
    channels: int | None = None
    #: what the channels are connected to, in their order; a source that has no say in it ignores them
    roles: tuple[str, ...] = ()
    #: "as found", "as left" or "instrument floor"
    state: str = "as found"
    conditions: Conditions = field(default_factory=Conditions)
    #: the isolation step, as it will stand in the recording; only simulated vehicles heed it
    step: str = "baseline"


@dataclass(frozen=True, slots=True)
class Found:
    """A device that is connected now."""

    #: what stands behind the kind's name and a colon to choose it
    target: str
    channels: int | None = None
    rate_hz: float | None = None
    note: str = ""


class Settings(BaseModel):
    """What one kind of source can be told beside rate and channels; each field's description is its help."""

    model_config = ConfigDict(frozen=True, extra="forbid")


@dataclass(frozen=True, slots=True)
class SourceKind:
    """One kind of source.

    `make` takes the target, what was asked, and an instance of `settings`; it opens nothing, and raises
    `WrongUseError` for a target that can never be one. `find` lists what is connected, and raises `SourceError`
    when that cannot be told.
    """

    name: str
    #: what it records from, in a few words
    what: str
    make: Callable[[str, Asked, Any], Source]
    #: what the target is, such as FILE; empty when nothing is to be named
    target: str = ""
    #: False where an empty target means the default device
    needs_target: bool = False
    settings: type[Settings] = Settings
    find: Callable[[], list[Found]] = list
    simulated: bool = False
