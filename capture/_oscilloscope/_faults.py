"""What can go wrong between an instrument and us: each is a `SourceError`, told apart by what may follow."""

from __future__ import annotations

from capture._errors import SourceError


class BadAnswerError(SourceError):
    """The instrument answered something that cannot be believed; its connection has to be made anew."""


class LateError(BadAnswerError, TimeoutError):
    """The instrument did not answer in time."""


class LostError(SourceError):
    """The connection is gone."""


class CancelledError(SourceError):
    """Somebody asked to stop while an answer was waited for."""


def quoted(data: bytes, most: int = 40) -> str:
    """The first bytes as a person can read and send them on: everything that is not plain text as `\\xNN`."""
    text = repr(data[:most])[1:]
    return f"{text} ..." if len(data) > most else text
