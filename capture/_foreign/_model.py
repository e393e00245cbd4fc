"""What every importer hands over: samples of a foreign file, block by block, with what is known of them."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from capture._model import Block, Gap


@dataclass(frozen=True, slots=True)
class ForeignChannel:
    """A column or track of a foreign file, before anybody said what it was connected to."""

    name: str
    #: "V", "A" or "FS"; prefixes such as m are already taken into `scale`
    unit: str = "FS"
    #: value = counts * scale + offset, in `unit`
    scale: float = 1.0
    offset: float = 0.0
    #: lowest and highest count possible; None when unknown (text files, floats)
    limits_counts: tuple[float, float] | None = None
    #: one converter step in counts; 0 when unknown
    step_counts: float = 0.0


@dataclass(frozen=True, slots=True)
class ForeignFile:
    """An opened foreign file: `items()` may be called again and starts from the beginning each time."""

    path: Path
    #: "wav", "flac", "text" ...
    kind: str
    rate_hz: float
    channels: tuple[ForeignChannel, ...]
    #: sample type on disk: one of int16, int32, float32, float64, little-endian
    dtype: np.dtype[np.generic]
    #: yields Block (counts of `dtype`, rows in order) and Gap (missing rows; those of one channel follow
    #: the block that holds a NaN there); the rows of an all-channel Gap are not in any block
    items: Callable[[], Iterator[Block | Gap]]
    #: rows in all, missing ones included; None when unknown before reading to the end
    frames: int | None = None
    #: sentences the user must see: what was assumed, left out or looked odd
    warnings: tuple[str, ...] = field(default=())
