"""A typical value, for what nobody measured."""

from __future__ import annotations

from typing import NamedTuple


class Typical(NamedTuple):
    """A value with its relative tolerance (k = 2) and where it comes from."""

    value: float
    tolerance: float
    source: str


#: what rests on no source that could be named
COMMON_PRACTICE = "common practice, editable"
