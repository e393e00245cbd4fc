"""A converter on a serial port, played by a pair of pseudo-terminals: real bytes through the real library."""

from __future__ import annotations

import errno
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from analysis import WrongUseError
from capture import (
    KINDS,
    Asked,
    Block,
    Ended,
    Gap,
    Item,
    Mark,
    Recording,
    RecordingThread,
    SerialPortSource,
    SerialSettings,
    SourceError,
    make_sources,
    verify_recording,
)
from tests.capture.making import describe
from tests.support import LinePrinter, PtyPort

serial = pytest.importorskip("serial")

RATE_HZ = 1000.0


@pytest.fixture
def port() -> Iterator[PtyPort]:
    port = PtyPort()
    yield port
    port.close()


@contextmanager
def _printing(
    port: PtyPort, line: Callable[[int], str], rate_hz: float = RATE_HZ, burst_s: float = 0.005
) -> Iterator[LinePrinter]:
    with LinePrinter(port.send, line, rate_hz, burst_s) as printer:
        yield printer


def _source(
    port: PtyPort,
    rate_hz: float | None = RATE_HZ,
    channels: int | None = None,
    patience_s: float = 0.25,
    **settings: object,
) -> SerialPortSource:
    return SerialPortSource(port.name, SerialSettings.model_validate(settings), rate_hz, channels, patience_s)


def _items(source: SerialPortSource, rows: int) -> list[Item]:
    """What comes until so many rows are there, or the end."""
    items, place, deadline = list[Item](), 0, time.monotonic() + 20
    while place < rows and not (items and isinstance(items[-1], Ended)):
        assert time.monotonic() < deadline
        item = source.wait(0.1)
        items += [] if item is None else [item]
        place = item.stop if isinstance(item, Block | Gap) else place
    return items


def _refused(source: SerialPortSource) -> str:
    with pytest.raises(SourceError) as caught:
        source.prepare()
    assert str(caught.value).isprintable()
    return str(caught.value)


# ---------------------------------------------------------------- rows


def test_lost_lines_are_gaps_of_exactly_their_rows_in_the_sealed_file(port: PtyPort, tmp_path: Path) -> None:
    random = np.random.default_rng(4)
    lost = {row for start in random.integers(700, 3000, 40).tolist() for row in range(start, start + start % 7 + 1)}
    nonsense = {811, 812, 1900} - lost

    def line(row: int) -> str:
        if row in lost:
            return ""
        return "-- noise --\r\n" if row in nonsense else f"{row % 256}\t{row}\t{row % 8},5\r\n"

    path = tmp_path / "taken.h5"
    with _printing(port, line, 3000.0):
        source = _source(port, 3000.0, counter=0, counter_modulus=256, unit="V")
        recorder = RecordingThread(source, path, describe, 0.9)
        recorder.start()
        outcome = recorder.outcome()
    assert not outcome.fault
    verify_recording(path)
    with Recording(path) as recording:
        counts = recording.counts(0, outcome.rows)
        gaps, marks = recording.gaps, recording.marks
        assert [channel.unit for channel in recording.info.channels] == ["V", "V"]
        assert recording.info.source.settings["baud"] == "115200"
    first = int(counts[0, 0])
    missing = {first + row for gap in gaps for row in range(gap.first, gap.stop)}
    assert missing == {row for row in lost | nonsense if first <= row < first + outcome.rows}
    assert outcome.missing_rows == len(missing)
    there = [row for row in range(outcome.rows) if first + row not in missing]
    assert counts[there, 0].tolist() == [first + row for row in there]
    assert counts[there, 1].tolist() == [(first + row) % 8 + 0.5 for row in there]
    assert any("-- noise --" in mark.text for mark in marks)


def test_row_0_is_printed_after_the_start_and_the_cut_line_before_it_is_not_heard_of(port: PtyPort) -> None:
    with _printing(port, lambda row: f"{row},{10**6 + row}\n"):
        source = _source(port, counter=0)
        source.prepare()
        time.sleep(0.15)  # what is printed meanwhile is nobody's
        source.start()
        items = _items(source, 50)
        source.stop()
    (first, *_) = items
    assert isinstance(first, Block)
    assert first.first == 0
    assert first.counts[0, 0] >= 10**6 + 150
    assert not any(isinstance(item, Gap | Mark) for item in items)


def test_a_line_in_pieces_and_lines_in_heaps_are_the_same_to_it(port: PtyPort) -> None:
    source = _source(port, counter=0)
    port_text = "".join(f"{row};{row},5\r\n" for row in range(400)).encode()
    cuts = [0, 3, 4, 5, 700, 701, 2500, 2507, len(port_text)]
    with _printing(port, lambda row: f"{row - 10**6};0,5\n"):
        source.prepare()
    source.start()
    for start, stop in pairwise(cuts):
        port.send(port_text[start:stop])
        time.sleep(0.01)
    rows = [row for item in _items(source, 400) if isinstance(item, Block) for row in item.counts[:, 0].tolist()]
    source.stop()
    assert rows[-400:] == [row + 0.5 for row in range(400)]


def test_a_decimal_in_a_stream_of_whole_numbers_is_kept(port: PtyPort) -> None:
    with _printing(port, lambda row: "12.625\n" if row % 500 == 400 else f"{row % 9}\n", 4000.0):
        source = _source(port)
        assert source.prepare().dtype == np.dtype("<f8")
        source.start()
        rows = np.concatenate([item.counts for item in _items(source, 600) if isinstance(item, Block)])
        source.stop()
    assert 12.625 in rows


def test_with_integers_a_decimal_is_a_missing_row_and_not_cut(port: PtyPort) -> None:
    with _printing(port, lambda row: "12.625\n" if row % 500 == 400 else f"{row % 9}\n", 4000.0):
        source = _source(port, integers=True)
        says = source.prepare()
        source.start()
        items = _items(source, 600)
        source.stop()
    assert says.dtype == np.dtype("<i4")
    assert says.channels[0].step_counts == 1
    assert [item.length for item in items if isinstance(item, Gap)] == [1]
    assert "12.625" in next(item.text for item in items if isinstance(item, Mark))
    assert max(item.counts.max() for item in items if isinstance(item, Block)) == 8


# ---------------------------------------------------------------- the rate


@pytest.mark.parametrize("burst_s", [0.002, 0.12])
def test_the_measured_rate_is_true_within_its_uncertainty(port: PtyPort, burst_s: float) -> None:
    with _printing(port, lambda row: f"{row % 1000}\n", 740.0, burst_s):
        source = _source(port, rate_hz=None, patience_s=0.25 + 4 * burst_s)
        says = source.prepare()
        source.stop()
    (warning,) = says.warnings
    told, uncertainty = (float(word) for word in warning.split("rate of ")[1].split(" lines")[0].split(" +- "))
    assert told == pytest.approx(says.rate_hz, rel=1e-4)
    assert abs(told - 740.0) <= uncertainty
    assert uncertainty < 0.5 * 740.0


@pytest.mark.parametrize("unit,ticks", [("s", 1.0), ("ms", 1e3), ("us", 1e6)])
def test_the_rate_of_timestamps_is_the_converters_own(port: PtyPort, unit: str, ticks: float) -> None:
    # Printed at 1000 lines a second, while its own clock says 800.
    with _printing(port, lambda row: f"{row / 800 * ticks:.4f};{row % 7}\n"):
        source = _source(port, rate_hz=None, time=0, time_unit=unit)
        says = source.prepare()
        source.stop()
    assert says.rate_hz == pytest.approx(800.0, rel=1e-3)
    assert len(says.channels) == 1
    assert "timestamps" in says.warnings[0]


def test_a_wrong_unit_of_timestamps_is_noticed(port: PtyPort) -> None:
    with _printing(port, lambda row: f"{row};{row % 7}\n"):
        assert "time_unit=us" in _refused(_source(port, rate_hz=1000.0, time=0, time_unit="us"))


# ---------------------------------------------------------------- what can go wrong


def test_an_unplugged_port_ends_with_a_plain_sentence_behind_its_last_row(port: PtyPort) -> None:
    with _printing(port, lambda row: "?\n" if row % 50 == 0 else f"{row},0\n") as printer:
        source = _source(port)
        source.prepare()
        source.start()
        before = _items(source, 100)
        printer.stop()
        port.unplug()
        after = _items(source, 10**9)
        source.stop()
    assert isinstance(after[-1], Ended)
    assert port.name in after[-1].fault
    assert "plugged in" in after[-1].fault
    assert "could not be read, the first: '?'" in after[-1].fault
    assert after[-1].fault.isprintable()
    places = [item for item in [*before, *after] if isinstance(item, Block | Gap)]
    assert [item.first for item in places] == [0, *(item.stop for item in places[:-1])]


def test_a_port_that_is_not_there_names_those_that_are(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr("capture._serial_port._ports", lambda: [("COM7", "a converter"), ("COM8", "")])
    told = _refused(SerialPortSource(str(tmp_path / "ttyUSB9")))
    assert "there is no such port; connected are: COM7 (a converter), COM8" in told


@pytest.mark.parametrize(
    "error,words",
    [
        (serial.SerialException(errno.EACCES, "could not open port: permission denied"), "may not open it"),
        (serial.SerialException(errno.EBUSY, "could not open port: busy"), "in use by another program"),
        (serial.SerialException("could not open port 'COM3': PermissionError(13, 'Access is denied.')"), "in use"),
        (serial.SerialException("could not open port 'COM3': FileNotFoundError(2, 'cannot find')"), "no such port"),
        (ValueError("Invalid baud rate: 123"), "does not take 115200 baud"),
    ],
)
def test_each_reason_why_a_port_cannot_be_opened_has_its_remedy(
    error: Exception, words: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(*args: object, **options: object) -> None:
        raise error

    monkeypatch.setattr(serial, "Serial", refuse)
    assert words in _refused(SerialPortSource("COM3"))


def test_linux_users_are_told_of_the_group(monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*args: object, **options: object) -> None:
        raise serial.SerialException(errno.EACCES, "denied")

    monkeypatch.setattr(serial, "Serial", refuse)
    monkeypatch.setattr("sys.platform", "linux")
    assert "dialout" in _refused(SerialPortSource("ttyUSB0"))


def test_a_port_that_another_program_has_open(port: PtyPort) -> None:
    with serial.Serial(port.name, exclusive=True):
        assert "in use by another program" in _refused(_source(port))


def test_a_file_is_no_port(tmp_path: Path) -> None:
    path = tmp_path / "notes.txt"
    path.write_text("1,2\n")
    assert "no serial port" in _refused(SerialPortSource(str(path)))


def test_silence_is_told_with_its_time(port: PtyPort) -> None:
    told = _refused(_source(port, rate_hz=25.0))
    assert "nothing came within 0.35 s" in told
    assert "switched on" in told


def test_bytes_without_a_line_end_are_shown(port: PtyPort) -> None:
    with _printing(port, lambda row: "\xfe\x80", 200.0):
        told = _refused(_source(port, baud=9600))
    assert "no line came within" in told
    assert "c3 be c2 80" in told
    assert "baud rate (9600)" in told


def test_nonsense_from_the_start_is_counted_and_quoted(port: PtyPort) -> None:
    with _printing(port, lambda row: f"~{row}\x02\n"):
        told = _refused(_source(port))
    assert "lines is a row of numbers" in told
    assert r"\x02'" in told


def test_a_column_that_does_not_count_is_no_counter(port: PtyPort) -> None:
    with _printing(port, lambda row: f"{row * row % 31},{row}\n"):
        assert "column 0 does not count by one" in _refused(_source(port, counter=0))


@pytest.mark.parametrize(
    "settings,channels,words",
    [
        ({"counter": 3}, None, "no column 3 (counter): lines have 0 to 1"),
        ({"counter": 0, "time": 1}, None, "none is left"),
        ({}, 1, "2 columns for channels, not the 1 asked for"),
    ],
)
def test_columns_that_are_not_there(port: PtyPort, settings: dict[str, int], channels: int | None, words: str) -> None:
    with _printing(port, lambda row: f"{row},{row}\n"):
        assert words in _refused(_source(port, channels=channels, **settings))


def test_a_decimal_comma_in_a_single_column_can_be_said(port: PtyPort) -> None:
    with _printing(port, lambda row: f"{row % 5},25\n"):
        source = _source(port, channels=1, separator="blank")
        (channel,) = source.prepare().channels
        source.start()
        block = next(item for item in _items(source, 20) if isinstance(item, Block))
        source.stop()
    assert set(block.counts[:, 0] % 1) == {0.25}
    assert channel.step_counts == pytest.approx(0.01)


def test_it_is_chosen_by_name_and_lists_what_is_connected(monkeypatch: pytest.MonkeyPatch) -> None:
    (kind,) = (kind for kind in KINDS if kind.name == "serial-port")
    monkeypatch.setattr("capture._serial_port._ports", lambda: [("COM7", "a converter")])
    (found,) = kind.find()
    assert (found.target, found.note) == ("COM7", "a converter")
    assert len(make_sources(["serial-port:COM7"], Asked(), {"baud": "9600", "parity": "even", "integers": "yes"})) == 1
    with pytest.raises(WrongUseError, match="serial-port:PORT"):
        make_sources(["serial-port"], Asked(), {})
