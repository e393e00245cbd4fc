"""Several sources recorded together: their channels are numbered on, and what is said of one goes to its source."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence
from typing import Any

from analysis import WrongUseError
from capture._channels import Channels, ChannelWishes


def split_wishes(wishes: ChannelWishes, sources: Sequence[Channels]) -> tuple[ChannelWishes, ...]:
    """One `ChannelWishes` for each source; numbers count on from source to source, names hold where they stand.

    Raises
    ------
    WrongUseError
        A number or name that no source has, or a name that several have.
    """
    if len(sources) == 1:
        return (wishes,)
    tables = {
        field.name: getattr(wishes, field.name)
        for field in dataclasses.fields(wishes)
        if isinstance(getattr(wishes, field.name), Mapping)
    }
    shares: list[dict[str, Any]] = [{name: {} for name in tables} for _ in sources]
    for name, table in tables.items():
        for key, value in table.items():
            source, own = _place(key, sources)
            shares[source][name][own] = value
    return tuple(dataclasses.replace(wishes, **share) for share in shares)


def _place(key: str, sources: Sequence[Channels]) -> tuple[int, str]:
    """Which source a key means, and the key as that source alone would have it."""
    named = [index for index, channels in enumerate(sources) if any(channel.name == key for channel in channels)]
    if len(named) == 1:
        return named[0], key
    if len(named) > 1:
        raise WrongUseError(f"channel '{key}': more than one source has it; name it by number: {_numbers(sources)}")
    if key.isdecimal():
        rest = int(key)
        for index, channels in enumerate(sources):
            if rest < len(channels):
                return index, str(rest)
            rest -= len(channels)
    raise WrongUseError(f"channel '{key}': there is none; there are {_numbers(sources)}")


def _numbers(sources: Sequence[Channels]) -> str:
    names = [channel.name for channels in sources for channel in channels]
    return ", ".join(f"{number} ({name})" for number, name in enumerate(names))
