"""The samples in an answer: whole and floating-point numbers of either byte order, and lists in plain text."""

from __future__ import annotations

from typing import Any, Literal

import numpy as np
import numpy.typing as npt

from capture._oscilloscope._faults import BadAnswerError, quoted

SampleName = Literal["int8", "uint8", "int16", "uint16", "int32", "float32", "float64", "ascii"]
ByteOrder = Literal["big", "little"]
#: what stands in the recording: the narrowest of its types that keeps every value as it came
_KEPT = {
    "int8": "<i2",
    "uint8": "<i2",
    "int16": "<i2",
    "uint16": "<i4",
    "int32": "<i4",
    "float32": "<f4",
    "float64": "<f8",
    "ascii": "<f8",
}
#: SCPI-1999 writes infinity as 9.9E37 and "not a number" as 9.91E37 (volume 1, 7.2.1, from memory)
_SCPI_INFINITY = 9.9e37


def kept_type(sample: SampleName) -> np.dtype[Any]:
    """The sample type of the recording."""
    return np.dtype(_KEPT[sample])


def sample_bytes(sample: SampleName) -> int:
    """Bytes of one sample in a block."""
    return np.dtype(sample).itemsize


def from_block(data: bytes, sample: SampleName, order: ByteOrder) -> npt.NDArray[Any]:
    """Samples of a block, unscaled, in the type that the recording keeps: shape (rows,)."""
    kind = np.dtype(sample).newbyteorder(">" if order == "big" else "<")
    if len(data) % kind.itemsize:
        raise BadAnswerError(f"{len(data)} bytes are no whole number of {sample} samples of {kind.itemsize} bytes")
    return believable(np.frombuffer(data, kind).astype(kept_type(sample)))


def from_text(text: str) -> npt.NDArray[Any]:
    """Samples of a comma list."""
    parts = text.split(",")
    try:
        return believable(np.array(parts, dtype=kept_type("ascii")))
    except ValueError:
        index = next(index for index, part in enumerate(parts) if not _is_number(part))
        shown = quoted(parts[index].encode("latin-1", "replace"))
        raise BadAnswerError(f"value {index + 1} of {len(parts)} in the list of samples is {shown}") from None


def believable(samples: npt.NDArray[Any]) -> npt.NDArray[Any]:
    """The same samples; raises `BadAnswerError` where one stands for over-range or for nothing."""
    if samples.dtype.kind != "f":
        return samples
    # The slack takes in what single precision makes of 9.9E37.
    wrong = ~(np.abs(samples) < _SCPI_INFINITY * (1 - 1e-6))
    if wrong.any():
        first = samples[wrong][0]
        raise BadAnswerError(
            f"{int(wrong.sum())} of {len(samples)} samples are no voltage (the first is {first:.4g}): "
            "over range? choose a larger one"
        )
    return samples


def _is_number(part: str) -> bool:
    try:
        float(part)
    except ValueError:
        return False
    return True
