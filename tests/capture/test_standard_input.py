"""Samples through a real pipe: every format, every cut, nothing lost, and an end that says what was cut off."""

from __future__ import annotations

import json
import os
import struct
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest
import soundfile

from analysis import WrongUseError
from capture import (
    Asked,
    Block,
    Ended,
    Gap,
    Item,
    Recording,
    RecordingThread,
    SourceError,
    StandardInputSettings,
    StandardInputSource,
    make_sources,
    verify_recording,
)
from capture import _byte_reader as byte_reader
from tests.capture.making import describe
from tests.support import ROOT

#: how `struct` writes one sample
CODES = {"int16": "h", "int32": "i", "float32": "f", "float64": "d"}


class Pipe:
    """`near` is read; `write` fills it from a thread in portions, and closes it at the end if asked."""

    def __init__(self) -> None:
        self.near, self._far = os.pipe()
        self._threads: list[threading.Thread] = []

    def write(self, data: bytes, portions: list[int] | None = None, *, close: bool = True) -> None:
        thread = threading.Thread(target=self._write, args=(data, portions or [len(data)], close), daemon=True)
        self._threads.append(thread)
        thread.start()

    def _write(self, data: bytes, portions: list[int], close: bool) -> None:
        place, turn = 0, 0
        with suppress(BrokenPipeError):
            while place < len(data):
                place += os.write(self._far, data[place : place + portions[turn % len(portions)]])
                turn += 1
        if close:
            self.end()

    def end(self) -> None:
        far, self._far = self._far, -1
        if far >= 0:
            os.close(far)

    def close(self) -> None:
        os.close(self.near)
        for thread in self._threads:
            thread.join()
        self.end()


@pytest.fixture
def pipe() -> Iterator[Pipe]:
    pipe = Pipe()
    yield pipe
    pipe.close()


def _source(
    pipe: Pipe, rate_hz: float | None = 1000.0, channels: int | None = None, patience_s: float = 5.0, **settings: Any
) -> StandardInputSource:
    return StandardInputSource(StandardInputSettings.model_validate(settings), rate_hz, channels, pipe.near, patience_s)


def _items(source: StandardInputSource) -> list[Item]:
    """Everything to the end."""
    items, deadline = list[Item](), time.monotonic() + 20
    while not items or not isinstance(items[-1], Ended):
        assert time.monotonic() < deadline
        item = source.wait(0.1)
        items += [] if item is None else [item]
    return items


def _all(source: StandardInputSource) -> tuple[npt.NDArray[Any], Ended]:
    source.prepare()
    source.start()
    *items, end = _items(source)
    source.stop()
    assert isinstance(end, Ended)
    blocks = [item for item in items if isinstance(item, Block)]
    assert [block.first for block in blocks] == [0, *(block.stop for block in blocks[:-1])]
    return np.concatenate([block.counts for block in blocks]), end


def _refused(source: StandardInputSource) -> str:
    with pytest.raises(SourceError) as caught:
        source.prepare()
    source.stop()
    assert str(caught.value).isprintable()
    return str(caught.value)


# ---------------------------------------------------------------- raw samples


@pytest.mark.parametrize("order", ["little", "big"])
@pytest.mark.parametrize("kind", ["int16", "int32", "float32", "float64"])
def test_raw_samples_come_as_struct_wrote_them(pipe: Pipe, kind: str, order: str) -> None:
    random = np.random.default_rng(5)
    values = (random.standard_normal(3 * 701) * 9000).tolist()
    values = [round(value) for value in values] if kind.startswith("int") else values
    data = struct.pack(f"{'<' if order == 'little' else '>'}{len(values)}{CODES[kind]}", *values)
    pipe.write(data, [1, 7, 4096, 3])
    rows, end = _all(_source(pipe, 1000.0, 3, format=kind, byte_order=order))
    assert end == Ended("")
    expected = np.array(values).astype({"float32": "f4"}.get(kind, "f8"))
    np.testing.assert_array_equal(rows, expected.reshape(-1, 3))


@pytest.mark.parametrize("order,endian", [("little", "LITTLE"), ("big", "BIG")])
def test_24_bits_are_those_that_libsndfile_writes(pipe: Pipe, order: str, endian: str, tmp_path: Path) -> None:
    counts = np.random.default_rng(6).integers(-(2**23), 2**23, (500, 2), np.int32)
    counts[:4] = [[-(2**23), 2**23 - 1], [-1, 1], [0, -256], [255, 65_536]]
    path = tmp_path / "made.raw"
    soundfile.write(path, counts << 8, 48_000, subtype="PCM_24", endian=endian, format="RAW")
    pipe.write(path.read_bytes(), [1000, 1, 333])
    source = _source(pipe, 48_000.0, 2, format="int24", byte_order=order)
    rows, _ = _all(source)
    np.testing.assert_array_equal(rows, counts)
    (channel, _) = source.prepare().channels
    assert channel.scale * 2**23 == 1
    assert channel.limits_counts == (-(2**23), 2**23 - 1)


def test_bytes_that_make_no_row_are_told(pipe: Pipe) -> None:
    pipe.write(bytes(4 * 10 + 3))
    rows, end = _all(_source(pipe, 1000.0, 2, format="int16"))
    assert len(rows) == 10
    assert "3 bytes are left over" in end.fault
    assert "2 x int16 has 4" in end.fault


def test_infinite_samples_count_as_missing_ones(pipe: Pipe) -> None:
    pipe.write(struct.pack("<4f", 1.5, float("inf"), float("nan"), -float("inf")))
    rows, _ = _all(_source(pipe, 1000.0, 1, format="float32"))
    np.testing.assert_array_equal(rows[:, 0], [1.5, np.nan, np.nan, np.nan])


def test_a_slow_recorder_loses_nothing_and_holds_the_reader_up(pipe: Pipe, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(byte_reader.ByteReader.__init__, "__defaults__", (50_000,))
    count = 400_000
    pipe.write(np.arange(count, dtype="<i4").tobytes())
    source = _source(pipe, 1_000_000.0, 1, format="int32")
    source.prepare()
    source.start()
    time.sleep(0.1)
    # What may wait, the pipe itself, and one portion on its way between the two.
    assert source._reader is not None
    assert len(source._reader._bytes) <= 50_000 + (1 << 16)
    *items, _ = _items(source)
    source.stop()
    rows = np.concatenate([item.counts for item in items if isinstance(item, Block)])
    np.testing.assert_array_equal(rows[:, 0], np.arange(count))


@pytest.mark.parametrize("settings", [{"format": "int32"}, {"format": "text", "separator": "blank"}])
def test_a_stopped_source_goes_on_where_it_was(pipe: Pipe, settings: dict[str, str]) -> None:
    counts = np.arange(5000, dtype="<i4")
    text = "".join(f"{count}\n" for count in counts.tolist()).encode()
    pipe.write(counts.tobytes() if settings["format"] == "int32" else text, [997])
    source, seen = _source(pipe, 1000.0, 1, **settings), list[int]()
    for turn in range(4):
        source.prepare()
        source.start()
        place = 0
        while turn == 3 or place < 700:
            item = source.wait(0.1)
            if isinstance(item, Ended):
                break
            if isinstance(item, Block):
                assert item.first == place
                place = item.stop
                seen += item.counts[:, 0].astype(int).tolist()
        source.stop()
    assert seen == counts.tolist()


def test_stop_does_not_wait_for_a_silent_reader(pipe: Pipe) -> None:
    pipe.write(b"12", close=False)
    source = _source(pipe, 1000.0, 1, format="int16")
    source.prepare()
    source.start()
    assert isinstance(source.wait(0.1), Block)
    assert source.wait(0.05) is None
    began = time.monotonic()
    source.stop()
    assert time.monotonic() - began < 0.4
    assert source._reader is not None
    assert source._reader._thread is not None
    assert not source._reader._thread.is_alive()


# ---------------------------------------------------------------- lines of numbers


def test_lines_with_a_heading_timestamps_and_a_counter(pipe: Pipe) -> None:
    lost = {100, 101, 250}
    lines = [f"{row % 256};{row / 250:.3f};{row % 9},5" for row in range(500) if row not in lost]
    pipe.write("\n".join(["# made by READER", "n;t;volts", *lines, ""]).encode(), [61])
    source = _source(pipe, None, counter=0, counter_modulus=256, time=1)
    says = source.prepare()
    source.start()
    *items, end = _items(source)
    source.stop()
    assert end == Ended("")
    assert says.rate_hz == pytest.approx(250, abs=0.1)
    assert "# made by READER" in says.facts.note
    assert [(item.first, item.length) for item in items if isinstance(item, Gap)] == [(100, 2), (250, 1)]
    rows = {
        item.first + i: value
        for item in items
        if isinstance(item, Block)
        for i, value in enumerate(item.counts[:, 0].tolist())
    }
    assert rows == {row: row % 9 + 0.5 for row in range(500) if row not in lost}


def test_a_line_that_was_cut_off_is_left_out_and_told(pipe: Pipe) -> None:
    pipe.write(b"1 2\n3 4\n5 6")
    rows, end = _all(_source(pipe))
    assert rows.tolist() == [[1, 2], [3, 4]]
    assert "'5 6'" in end.fault


def test_unreadable_lines_are_gaps_and_their_sum_stands_in_the_recording(pipe: Pipe, tmp_path: Path) -> None:
    lines = [f"{row}" if row % 100 != 57 else "ERR" for row in range(1000)]
    pipe.write("\n".join([*lines, ""]).encode())
    path = tmp_path / "taken.h5"
    recorder = RecordingThread(_source(pipe, live=False), path, describe)
    recorder.start()
    outcome = recorder.outcome()
    assert (outcome.rows, outcome.missing_rows, outcome.fault) == (1000, 10, "")
    verify_recording(path)
    with Recording(path) as recording:
        assert [gap.first for gap in recording.gaps] == list(range(57, 1000, 100))
        assert recording.marks[-1].text == "10 lines could not be read, the first: 'ERR'"


# ---------------------------------------------------------------- what can go wrong


@pytest.mark.parametrize(
    "rate_hz,channels,settings,words",
    [
        (None, 2, {"format": "int16"}, "give --rate"),
        (48_000.0, None, {"format": "int16"}, "give --channels"),
        (None, None, {}, "time=COLUMN"),
        (10.0, 1, {"format": "int16", "counter": "0"}, "counter=...: is for lines"),
        (10.0, 1, {"format": "int12"}, "format=int12"),
    ],
)
def test_what_raw_samples_do_not_tell_must_be_given(
    rate_hz: float | None, channels: int | None, settings: dict[str, str], words: str
) -> None:
    with pytest.raises(WrongUseError, match=words):
        make_sources(["standard-input"], Asked(rate_hz, channels), settings)


def test_a_terminal_is_refused_with_an_example() -> None:
    far, near = os.openpty()
    try:
        told = _refused(StandardInputSource(None, 10.0, descriptor=near))
    finally:
        os.close(near)
        os.close(far)
    assert "nothing is piped in" in told
    assert "READER | humproof record JOB --source standard-input" in told


def test_a_closed_standard_input_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sys.stdin", None)
    assert "there is none" in _refused(StandardInputSource(None, 10.0))


@pytest.mark.parametrize("settings,channels", [({}, None), ({"format": "int16"}, 2)])
def test_a_reader_that_says_nothing(pipe: Pipe, settings: dict[str, str], channels: int | None) -> None:
    told = _refused(_source(pipe, 10.0, channels, patience_s=0.1, **settings))
    assert "nothing came within 0.1 s" in told
    pipe.end()
    assert "ended before" in _refused(_source(pipe, 10.0, channels, **settings))


def test_text_that_is_no_numbers(pipe: Pipe) -> None:
    pipe.write(b"usage: reader [-h]\nno such instrument\n")
    told = _refused(_source(pipe))
    assert "none of 2 lines is a row of numbers, the first is 'usage: reader [-h]'" in told
    assert "format=int16" in told


def test_a_pipe_that_cannot_be_read_ends_with_its_reason(tmp_path: Path) -> None:
    # A file that is open for writing only stands for a descriptor that fails.
    descriptor = os.open(tmp_path / "out", os.O_WRONLY | os.O_CREAT)
    try:
        told = _refused(StandardInputSource(StandardInputSettings(format="int16"), 10.0, 1, descriptor))
    finally:
        os.close(descriptor)
    assert "Bad file descriptor" in told


# ---------------------------------------------------------------- as a person uses it


def test_a_command_records_what_another_pipes_in(tmp_path: Path) -> None:
    reader = (
        "import sys, time, struct\n"
        "for start in range(0, 24000, 480):\n"
        "    rows = range(start, start + 480)\n"
        "    sys.stdout.buffer.write(b''.join(struct.pack('<hh', i % 30011, -i % 29) for i in rows))\n"
        "    sys.stdout.buffer.flush()\n"
        "    time.sleep(0.001)\n"
    )
    job = tmp_path / "job"
    options = ["--source", "standard-input", "--rate", "48000", "--channels", "2", "--setting", "format=int16"]
    options += ["--channel", "0=signal", "--scale", "0=2.5", "--json"]
    entry = [sys.executable, "-c", "import sys; from cli import main; sys.exit(main())", "record", str(job)]
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    with subprocess.Popen([sys.executable, "-c", reader], stdout=subprocess.PIPE) as source:
        done = subprocess.run(
            [*entry, *options], stdin=source.stdout, env=environment, capture_output=True, text=True, timeout=60
        )
    assert done.returncode == 0, done.stderr
    told = json.loads(done.stdout)
    assert (told["samples"], told["gaps"], told["fault"]) == (24_000, 0, None)
    verify_recording(Path(told["file"]))
    with Recording(Path(told["file"])) as recording:
        rows = np.arange(24_000)
        np.testing.assert_array_equal(recording.counts(0, 24_000), np.stack([rows % 30_011, -rows % 29], axis=1))
        assert recording.info.channels[0].unit == "V"
        assert recording.info.channels[0].scale == pytest.approx(2.5 / 32_768)
