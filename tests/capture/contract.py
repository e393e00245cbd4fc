"""What every source must keep to, whatever it is. A new source gets the whole suite by one line in SOURCES.

Run as a program, with a source's name, it checks a source that needs a loopback sound card, which it brings along:
libraries for sound cards find their devices once, so such a source has a process of its own.
"""

from __future__ import annotations

import json
import os
import sys
import tempfile
import time
import traceback
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import h5py
import numpy as np

from capture import (
    LIBRARY_VAN_FOUND,
    Asked,
    Block,
    Ended,
    Gap,
    Item,
    Mark,
    Recording,
    RecordingThread,
    RecordingWriter,
    ReplaySource,
    SimulatedVehicleSource,
    SoundCardSource,
    Source,
    StandardInputSettings,
    StandardInputSource,
    make_sources,
    verify_recording,
)
from tests.capture.making import SAMPLE_TYPES, describe, info, put, ramp, random_counts
from tests.support import LinePrinter, NullSink, PtyPort
from tests.support._scpi_server import Digitizer, ScpiServer
from tests.support._visa_servers import HislipServer, Vxi11Server


@dataclass(frozen=True)
class Candidate:
    """A kind of source: `make` gives a fresh one, with a folder for whatever files it needs."""

    make: Callable[[Path], Source]
    #: makes a running source fail; None for one that cannot
    fail: Callable[[Path], None] | None = None
    #: rows in all, for a source that ends by itself
    rows: int | None = None
    #: it plays through a loopback sound card
    sounds: bool = False


def _recording(folder: Path) -> Path:
    """1.4 s with two gaps, one of them long, and marks; compressed, so that damage is noticed."""
    path = folder / "played.h5"
    if not path.exists():
        noise: list[Item] = [
            Block(0, random_counts(500, 2, "<i2")),
            Gap(500, 31, "lost"),
            ramp(531, 69),
            Mark(560, "burst", 9),
        ]
        with RecordingWriter(path, info(), "<i2", compress=True) as writer:
            for item in [*noise, Gap(600, 400, "pulled"), Block(1000, random_counts(400, 2, "<i2", 8))]:
                put(writer, item)
    return path


def _damage_recording(folder: Path) -> None:
    path = _recording(folder)
    with h5py.File(path) as file:
        chunk = file["samples"].id.get_chunk_info(0)
    with path.open("r+b") as file:
        file.seek(chunk.byte_offset + 2)
        file.write(bytes(chunk.size - 2))


def _van(*, live: bool) -> Source:
    roles = ("supply", "supply-amp", "signal", "current")
    return SimulatedVehicleSource(LIBRARY_VAN_FOUND, roles, 7919.0, bursts=True, live=live)


def _lossy_van() -> Source:
    losses = (Gap(0, 9, "late"), Gap(1000, 1700, "late"), *(Gap(first, 3, "late") for first in range(3000, 9000, 10)))
    return SimulatedVehicleSource(LIBRARY_VAN_FOUND, ("supply",), 7919.0, live=False, counter=True, losses=losses)


def _pull_the_plug(folder: Path) -> None:
    _SINKS[-1].kill()


_SINKS: list[NullSink] = []
_PLUGGED: list[tuple[PtyPort, LinePrinter]] = []
_PIPES: list[int] = []


def _serial_port(folder: Path) -> Source:
    """A converter that prints 1000 lines a second, counted modulo 256, on a pair of pseudo-terminals."""
    while _PLUGGED:  # that of the check before
        port, printer = _PLUGGED.pop()
        printer.stop()
        port.close()
    port = PtyPort()
    printer = LinePrinter(port.send, lambda i: f"{i % 256};{i % 977 - 300};{i % 13},25\r\n", 1000.0)
    _PLUGGED.append((port, printer.start()))
    asked = Asked(rate_hz=1000.0, channels=2)
    return make_sources([f"serial-port:{port.name}"], asked, {"counter": "0", "counter_modulus": "256"})[0]


def _unplug(folder: Path) -> None:
    port, printer = _PLUGGED[-1]
    printer.stop()
    port.unplug()


def _piped(data: bytes, settings: dict[str, Any]) -> Source:
    """Fits into a pipe's buffer, so nobody needs to write while it is read."""
    while _PIPES:
        os.close(_PIPES.pop())
    near, far = os.pipe()
    os.write(far, data)
    os.close(far)
    _PIPES.append(near)
    known = StandardInputSettings.model_validate({"live": False, **settings})
    return StandardInputSource(known, 1000.0, 2, descriptor=near)


def _piped_raw(folder: Path) -> Source:
    return _piped(random_counts(1400, 2, "<i2").astype(">i2").tobytes(), {"format": "int16", "byte_order": "big"})


def _piped_text(folder: Path) -> Source:
    """Two gaps: 31 lines that are missing, and one that cannot be read."""
    lines = [f"{i}\t{i * i % 31}\t{-i}" for i in range(1400)]
    lines[700] = "700\tsorry"
    del lines[500:531]
    return _piped("".join(f"{line}\n" for line in lines).encode(), {"counter": 0})


def _oscilloscope(captures: int, kind: type[ScpiServer] = ScpiServer) -> Source:
    """Two channels of a digitizer on a socket of this machine."""
    while _SCOPES:  # that of the check before
        _SCOPES.pop().close()
    # Only the one that is asked again and again takes the time that an instrument needs.
    _SCOPES.append(kind(Digitizer(takes_time=captures != 1 and kind is ScpiServer)))
    points = "8000" if captures else "2000"
    settings = {"points": points, "captures": str(captures), "range": "20,0.2", "timeout_s": "1"}
    asked = Asked(rate_hz=10_000.0, channels=2)
    return make_sources([f"oscilloscope:{_SCOPES[-1].address}"], asked, settings)[0]


def _switch_off(folder: Path) -> None:
    _SCOPES[-1].close()


_SCOPES: list[ScpiServer] = []

SOURCES: dict[str, Candidate] = {
    "replay": Candidate(lambda folder: ReplaySource(_recording(folder)), _damage_recording, rows=1400),
    "replay at once": Candidate(lambda folder: ReplaySource(_recording(folder), live=False), _damage_recording, 1400),
    "simulated vehicle": Candidate(lambda folder: _van(live=True)),
    "simulated vehicle at once": Candidate(lambda folder: _van(live=False)),
    "simulated vehicle with losses": Candidate(lambda folder: _lossy_van()),
    "serial port": Candidate(_serial_port, _unplug),
    "standard input raw": Candidate(_piped_raw, rows=1400),
    "standard input text": Candidate(_piped_text, rows=1400),
    "oscilloscope": Candidate(lambda folder: _oscilloscope(0), _switch_off),
    "oscilloscope one capture": Candidate(lambda folder: _oscilloscope(1), _switch_off, rows=8000),
    "oscilloscope HiSLIP": Candidate(lambda folder: _oscilloscope(0, HislipServer), _switch_off),
    "oscilloscope VXI-11": Candidate(lambda folder: _oscilloscope(0, Vxi11Server), _switch_off),
    "sound card": Candidate(lambda folder: SoundCardSource("", 2, 48_000.0), _pull_the_plug, sounds=True),
}


# ---------------------------------------------------------------- the contract


@contextmanager
def _running(source: Source) -> Iterator[Source]:
    source.prepare()
    source.start()
    try:
        yield source
    finally:
        source.stop()


def _items(source: Source, seconds: float) -> list[Block | Gap | Mark | Ended]:
    """What comes until a row of that time is there, or the end."""
    limit, items = seconds * source_rate(source), list[Block | Gap | Mark | Ended]()
    deadline = time.monotonic() + seconds + 10
    while not items or not (isinstance(items[-1], Ended) or _last_row(items) >= limit):
        assert time.monotonic() < deadline, "nothing came in time"
        item = source.wait(0.2)
        items += [] if item is None else [item]
    return items


def source_rate(source: Source) -> float:
    """Rate of a source that runs: told once, before the start."""
    return _RATES[id(source)]


_RATES: dict[int, float] = {}


def _last_row(items: list[Block | Gap | Mark | Ended]) -> int:
    return max((item.stop for item in items if isinstance(item, Block | Gap)), default=0)


def _made(candidate: Candidate, folder: Path) -> Source:
    source = candidate.make(folder)
    _RATES[id(source)] = source.prepare().rate_hz
    source.stop()
    return source


def says_what_will_come(candidate: Candidate, folder: Path) -> None:
    source = candidate.make(folder)
    says = source.prepare()
    source.stop()
    assert says.rate_hz > 0
    assert says.dtype.str in SAMPLE_TYPES
    assert says.facts.kind
    assert says.facts.name
    known = describe(says)  # refuses what cannot stand in a recording, such as two channels of one name
    assert len(known.channels) == len(says.channels) >= 1


def gives_what_it_said(candidate: Candidate, folder: Path) -> None:
    source = _made(candidate, folder)
    says = source.prepare()
    with _running(source):
        blocks = [item for item in _items(source, 0.5) if isinstance(item, Block)]
    for block in blocks:
        assert block.counts.shape == (len(block.counts), len(says.channels)), block.counts.shape
        assert len(block.counts) >= 1
        assert block.counts.dtype == says.dtype, block.counts.dtype
    assert blocks


def leaves_no_row_out(candidate: Candidate, folder: Path) -> None:
    source = _made(candidate, folder)
    with _running(source):
        items = _items(source, 1.6)
    place = 0
    for item in items:
        if isinstance(item, Block) or (isinstance(item, Gap) and item.channel is None):
            assert item.first == place, (item.first, place)
            place = item.stop
        elif isinstance(item, Mark):
            assert 0 <= item.first <= place, "a mark stands ahead of its row"
    if candidate.rows is not None:
        assert place == candidate.rows
        assert items[-1] == Ended("")


def changes_no_block_that_was_handed_over(candidate: Candidate, folder: Path) -> None:
    source = _made(candidate, folder)
    with _running(source):
        kept = [(item, item.counts.copy()) for item in _items(source, 0.7) if isinstance(item, Block)]
        _items(source, 0.9) if candidate.rows is None else None
    for index, (block, copy) in enumerate(kept):
        np.testing.assert_array_equal(block.counts, copy)
        assert not any(np.shares_memory(block.counts, other.counts) for other, _ in kept[:index])
        block.counts[:] = 0  # it belongs to whoever took it


def keeps_the_pace_of_the_clock(candidate: Candidate, folder: Path) -> None:
    source = _made(candidate, folder)
    live = source.prepare().live
    with _running(source):
        began = time.monotonic()
        rows = _last_row(_items(source, 1.2))
        took = time.monotonic() - began
    due = rows / source_rate(source)
    assert took < due + 2.0
    assert not live or took > due - 0.3, f"{due} s of rows came in {took} s"


def may_be_stopped_in_any_state(candidate: Candidate, folder: Path) -> None:
    source = candidate.make(folder)
    source.stop()
    source.stop()
    source.prepare()
    source.stop()
    source.prepare()
    source.prepare()
    source.start()
    source.stop()
    source.stop()


def starts_again_at_the_first_row(candidate: Candidate, folder: Path) -> None:
    source = _made(candidate, folder)
    said = []
    for _ in range(3):
        said.append(source.prepare())
        with _running(source):
            items = _items(source, 0.3)
        assert _first_row(items) == 0
    assert said[0] == said[1] == said[2]


def _first_row(items: list[Block | Gap | Mark | Ended]) -> int:
    return next(item.first for item in items if isinstance(item, Block | Gap))


def gives_nothing_unless_it_runs(candidate: Candidate, folder: Path) -> None:
    source = candidate.make(folder)
    _assert_nothing_comes(source)
    source.prepare()
    _assert_nothing_comes(source)
    source.start()
    source.wait(0.3)
    source.stop()
    _assert_nothing_comes(source)


def _assert_nothing_comes(source: Source) -> None:
    for _ in range(3):
        item = source.wait(0.02)
        assert item is None or isinstance(item, Ended), item


def does_not_wait_longer_than_asked(candidate: Candidate, folder: Path) -> None:
    source = _made(candidate, folder)
    with _running(source):
        for timeout_s in (0.0, 0.01, 0.0, 0.05):
            began = time.monotonic()
            source.wait(timeout_s)
            assert time.monotonic() - began < timeout_s + 0.4


def gives_nothing_after_its_end(candidate: Candidate, folder: Path) -> None:
    if candidate.rows is None:
        return  # it does not end by itself; the failing ones are asked the same below
    source = _made(candidate, folder)
    with _running(source):
        assert isinstance(_items(source, 60)[-1], Ended)
        _assert_nothing_comes(source)


def can_be_recorded(candidate: Candidate, folder: Path) -> None:
    source, path = _made(candidate, folder), folder / "taken.h5"
    path.unlink(missing_ok=True)
    recorder = RecordingThread(source, path, describe, 0.71)
    recorder.start()
    outcome = recorder.outcome()
    assert not outcome.fault, outcome.fault
    assert outcome.rows == round(0.71 * source_rate(source))
    verify_recording(path)
    with Recording(path) as recording:
        assert recording.info.simulated == source.prepare().simulated
        source.stop()


def ends_with_a_sentence_when_it_fails(candidate: Candidate, folder: Path) -> None:
    """The last check: afterwards the source's file or device is broken."""
    source = _made(candidate, folder)
    source.prepare()
    if candidate.fail is None:
        source.stop()
        return
    if not candidate.sounds:
        candidate.fail(folder)
    source.start()
    if candidate.sounds:
        _items(source, 0.3)
        candidate.fail(folder)
    end = _end(source)
    assert end.fault
    assert end.fault.isprintable(), end.fault
    for _ in range(3):
        assert isinstance(source.wait(0.02), Ended)
    source.stop()


def _end(source: Source) -> Ended:
    deadline = time.monotonic() + 15
    while time.monotonic() < deadline:
        item = source.wait(0.1)
        if isinstance(item, Ended):
            return item
    raise AssertionError("it failed, and never said that it ended")


CONTRACT = (
    says_what_will_come,
    gives_what_it_said,
    leaves_no_row_out,
    changes_no_block_that_was_handed_over,
    keeps_the_pace_of_the_clock,
    may_be_stopped_in_any_state,
    starts_again_at_the_first_row,
    gives_nothing_unless_it_runs,
    does_not_wait_longer_than_asked,
    gives_nothing_after_its_end,
    can_be_recorded,
    ends_with_a_sentence_when_it_fails,
)


def _verdict(candidate: Candidate, check: Callable[[Candidate, Path], None], folder: Path) -> str:
    try:
        check(candidate, folder)
    except Exception:
        return traceback.format_exc()
    return ""


def main(name: str) -> None:
    """Print, as JSON, each check's name and what was wrong with the source."""
    with NullSink() as sink, tempfile.TemporaryDirectory() as folder:
        os.environ.update(sink.variables)
        _SINKS.append(sink)
        verdicts = {check.__name__: _verdict(SOURCES[name], check, Path(folder)) for check in CONTRACT}
    print(json.dumps(verdicts))


if __name__ == "__main__":
    main(sys.argv[1])
