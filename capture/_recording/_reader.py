"""Reads a finished recording, and verifies its seal."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any, Self

import h5py
import numpy as np
import numpy.typing as npt

from analysis import Channel, Overview
from capture._errors import RecordingError
from capture._recording._checks import check_layout, check_whole
from capture._recording._damage import damage_told
from capture._recording._layout import (
    READ_ROWS,
    digest_samples,
    open_file,
    read_gaps,
    read_marks,
    scaled,
    seal_of,
)
from capture._recording._pyramid import (
    OVERVIEW_BLOCK,
    blocks_that_fit,
    levels_agree,
    levels_by_portion,
    read_extremes,
    read_level,
)

Floats = npt.NDArray[np.float64]


class Recording:
    """A finished recording, opened for reading; close it or use it in a `with`.

    Parameters
    ----------
    path
        The file.

    Raises
    ------
    RecordingError
        When the file is missing, foreign, damaged, interrupted, or of a newer major version.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self._file = open_file(path, "r")
        self._stamp = _stamp(path)
        try:
            with damage_told(path):
                self._read_facts()
        except BaseException:
            self._file.close()
            raise

    def _read_facts(self) -> None:
        self.info = check_layout(self.path, self._file)
        if not self._file.attrs["complete"]:
            raise RecordingError(
                f"{self.path}: the recording was interrupted; finish it with: humproof recover {self.path}"
            )
        self.frames = int(self._file.attrs["frames"])
        check_whole(self._file, self.frames)
        self.seal = str(self._file.attrs["seal"])
        self.rate_measured_hz = float(self._file.attrs["rate_measured_hz"])
        self.rate_measured_uncertainty_hz = float(self._file.attrs["rate_measured_uncertainty_hz"])
        self.gaps = read_gaps(self._file)
        self.marks = read_marks(self._file)
        self.dtype = self._file["samples"].dtype
        self.overview_blocks = blocks_that_fit(self._file, self.frames)

    @property
    def rate_hz(self) -> float:
        """The nominal rate in Hz, by which every frequency is stated."""
        return self.info.rate_hz

    @property
    def duration_s(self) -> float:
        """Length in seconds at the nominal rate, gaps included."""
        return self.frames / self.rate_hz

    @property
    def channels(self) -> tuple[Channel, ...]:
        """The channels in the words of the analysis."""
        return tuple(channel.as_analysed() for channel in self.info.channels)

    def counts(self, start: int = 0, stop: int | None = None) -> npt.NDArray[Any]:
        """Raw counts of rows `start` to `stop`, shape (rows, channels); missing rows hold filler."""
        with damage_told(self.path, f"rows from {start} on cannot be read: "):
            file = self._opened()
            counts: npt.NDArray[Any] = file["samples"][start : self.frames if stop is None else stop]
        return counts

    def values(self, start: int = 0, stop: int | None = None) -> npt.NDArray[np.float64]:
        """Rows `start` to `stop` in the channels' units, shape (rows, channels); NaN where samples are missing."""
        values = scaled(self.counts(start, stop), self.info)
        for gap in self.gaps:
            rows = slice(max(gap.first - start, 0), max(gap.stop - start, 0))
            values[rows, slice(None) if gap.channel is None else gap.channel] = np.nan
        return values

    def blocks(self, rows: int = READ_ROWS) -> Iterator[npt.NDArray[np.float64]]:
        """All values in order, `rows` at a time: constant memory whatever the length."""
        for start in range(0, self.frames, rows):
            yield self.values(start, min(start + rows, self.frames))

    def overview(self, block: int = OVERVIEW_BLOCK, start: int = 0, stop: int | None = None) -> Overview:
        """Minimum, maximum and mean square per block, in the channels' units, the last partial block included.

        `block` is one of `overview_blocks` (rows per block of each level, the finest first); `start` and `stop` count
        blocks.
        """
        with damage_told(self.path, "its overview cannot be read: "):
            return read_level(self._opened(), block, start, stop)

    def extremes(self, block: int = OVERVIEW_BLOCK, start: int = 0, stop: int | None = None) -> tuple[Floats, Floats]:
        """Minimum and maximum alone, as `overview` has them: all that is drawn."""
        with damage_told(self.path, "its overview cannot be read: "):
            return read_extremes(self._opened(), block, start, stop)

    def let_go(self) -> None:
        """Close the file until samples are asked for again: no handle stays on a stick, what is known stays known."""
        self._file.close()

    def _opened(self) -> h5py.File:
        """The file, opened again where it was let go; another file in its place is refused."""
        if not self._file:
            file = open_file(self.path, "r")
            if _stamp(self.path) != self._stamp:
                file.close()
                raise RecordingError(f"{self.path}: was changed since it was read first; read the job again")
            self._file = file
        return self._file

    def close(self) -> None:
        """Close the file."""
        self._file.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *exit_facts: object) -> None:
        self.close()


def _stamp(path: Path) -> tuple[int, int]:
    facts = path.stat()
    return facts.st_mtime_ns, facts.st_size


def verify_recording(path: Path) -> str:
    """Recompute a recording's seal from its bytes; return it, or raise `RecordingError` when it differs."""
    with Recording(path) as recording:
        with damage_told(path):
            found = seal_of(recording._file, digest_samples(recording._file, recording.frames))
        if found != recording.seal:
            raise RecordingError(f"{path}: the seal does not match: samples or metadata were changed after recording")
        _check_overview(recording)
        return found


def _check_overview(recording: Recording) -> None:
    """The seal leaves the overview out, since it follows from the samples: so it must follow from them."""
    with damage_told(recording.path):
        portions = levels_by_portion(recording._file, recording.info, recording.frames, recording.gaps)
        agree = levels_agree(recording._file, recording.overview_blocks, portions)
    if not agree:
        raise RecordingError(f"{recording.path}: its overview does not show its samples: it was changed")
