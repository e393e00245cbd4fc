"""What goes wrong with an instrument ends, or is a gap, in plain words."""

from __future__ import annotations

import time
from typing import Any

import numpy as np
import pytest

from capture import Block, Ended, Gap, Mark, SourceError
from tests.capture.oscilloscope.test_source import all_items, source, truth, volts
from tests.support._scpi_server import Digitizer, Reply, ScpiServer
from tests.support._visa_servers import HislipServer, Vxi11Server

#: what is said of each fault
FAULTS = {
    "late": "'*OPC?': nothing came for 0.",
    "short": "a block came short: 802 of 1604 bytes, then nothing came for 0.3 s",
    "garbage": "no block came, which begins with '#', but '\\x00\\xffnot a block",
    "error": 'the instrument says -211,"Trigger ignored;the input relay is open"',
    "miscounted": "the block's header says 1600 bytes where 1604 were due",
    "few": "the block's header says 1600 bytes where 1604 were due",
    "more": "the block's header says 1604 bytes, and behind them came 'more'",
    "over": "1 of 401 samples are no voltage (the first is 9.9e+37): over range? choose a larger one",
}


def _server(*faults: str, kind: type[ScpiServer] = ScpiServer, **facts: Any) -> ScpiServer:
    server = kind(Digitizer(takes_time=False, late_s=0.6, **facts))
    server.digitizer.faults.extend(faults)
    return server


@pytest.mark.parametrize("fault", FAULTS)
def test_a_single_capture_that_fails_ends_with_a_sentence(fault: str) -> None:
    with _server(fault) as server:
        _, items = all_items(source(server, timeout_s=0.3))
    (end,) = items
    assert isinstance(end, Ended)
    assert FAULTS[fault] in end.fault
    assert end.fault.startswith(f"oscilloscope {server.address}: ")
    assert end.fault.isprintable()


@pytest.mark.parametrize("fault", FAULTS)
def test_a_bad_capture_among_good_ones_is_a_gap(fault: str) -> None:
    with _server() as server:
        items = _fails_at_the_second(source(server, captures=3, timeout_s=0.3), server, fault)
    assert [type(item) for item in items] == [Block, Gap, Block, Ended]
    gap = items[1]
    assert isinstance(gap, Gap)
    assert FAULTS[fault] in gap.cause
    assert items[-1] == Ended("")
    assert isinstance(items[2], Block)
    np.testing.assert_allclose(items[2].counts, truth(), rtol=1e-6)


def _fails_at_the_second(one: Any, server: ScpiServer, fault: str) -> list[Any]:
    """All items: the first capture is good, the fault waits for the second."""
    real = server.digitizer.initiate
    count = iter(range(100))

    def initiate() -> None:
        if next(count) == 1:
            server.digitizer.faults.append(fault)
        real()

    server.digitizer.initiate = initiate  # type: ignore[method-assign]
    return all_items(one)[1]


def test_a_bad_first_capture_is_a_mark() -> None:
    with _server("garbage") as server:
        _, items = all_items(source(server, captures=2))
    assert [type(item) for item in items] == [Mark, Block, Ended]
    assert isinstance(items[0], Mark)
    assert "no block came" in items[0].text


@pytest.mark.parametrize("fault", ["garbage", "error", "few"])
def test_three_in_a_row_end_it(fault: str) -> None:
    with _server(fault, again=True) as server:
        _, items = all_items(source(server, captures=0))
    (end,) = items
    assert isinstance(end, Ended)
    assert end.fault.endswith("(the 3rd bad capture in a row)")
    assert FAULTS[fault] in end.fault


@pytest.mark.parametrize("kind", [ScpiServer, HislipServer])
def test_a_connection_that_is_lost_ends_it_behind_what_was_complete(kind: type[ScpiServer]) -> None:
    with _server(kind=kind) as server:
        items = _fails_at_the_second(source(server, captures=0), server, "hang up")
    assert [type(item) for item in items] == [Block, Ended]
    end = items[1]
    assert "is it still switched on and plugged in?" in end.fault
    if kind is ScpiServer:
        assert "'FETCh? (@1)': a block came short: 534 of 1604 bytes, then it closed the connection" in end.fault


@pytest.mark.parametrize("kind", [HislipServer, Vxi11Server])
@pytest.mark.parametrize("fault", ["garbage", "few", "miscounted", "more"])
def test_faults_over_visa(kind: type[ScpiServer], fault: str) -> None:
    with _server(fault, kind=kind) as server:
        _, items = all_items(source(server))
    (end,) = items
    assert isinstance(end, Ended)
    assert FAULTS[fault] in end.fault


def test_a_slow_dribble_of_bytes_is_whole() -> None:
    with _server("dribble") as server:
        says, items = all_items(source(server))
    np.testing.assert_allclose(volts(says, items[0]), truth(), rtol=1e-6)


def test_an_instrument_that_does_not_answer() -> None:
    """It takes the connection and says nothing: the time that was waited, and what may be done."""
    with ScpiServer() as server:
        server.digitizer.answer = lambda line: None  # type: ignore[method-assign]
        began = time.monotonic()
        with pytest.raises(SourceError) as caught:
            source(server, timeout_s=0.3).prepare()
    assert str(caught.value) == (
        f"oscilloscope {server.address}: '*IDN?': nothing came for 0.3 s: raise timeout_s when it needs longer"
    )
    assert time.monotonic() - began < 2


def test_nobody_at_the_address() -> None:
    with ScpiServer() as server:
        pass
    with pytest.raises(SourceError, match=r"cannot be connected to: .+; is it switched on"):
        source(server).prepare()


@pytest.mark.parametrize("kind", [ScpiServer, HislipServer])
def test_a_refused_command_in_the_instruments_own_words(kind: type[ScpiServer]) -> None:
    with kind() as server, pytest.raises(SourceError) as caught:
        source(server, rate=3e6).prepare()
    assert "it refused 'SENSe:SWEep:TINTerval 3.333333333e-07' and says -222,\"Data out of range" in str(caught.value)


def test_a_question_it_does_not_know_is_told_by_its_error_queue() -> None:
    with ScpiServer() as server:
        real = server.digitizer.answer
        server.digitizer.answer = lambda line: real(line.replace("POINts?", "PIONTS?"))  # type: ignore[method-assign]
        with pytest.raises(SourceError, match=r"nothing came for 0\.3 s; it says -113,\"Undefined header"):
            source(server, timeout_s=0.3).prepare()


def test_settings_that_changed_behind_the_back_end_it() -> None:
    """Counts would mean other volts: somebody turned the knob while the connection was made anew."""
    with _server() as server:
        one = source(server, captures=0)
        real = server.digitizer.fetch

        def fetch(number: int) -> Reply:
            server.digitizer.inputs[1].range = 5
            return Reply(b"nonsense\n") if number == 2 else real(number)

        server.digitizer.fetch = fetch  # type: ignore[method-assign]
        _, items = all_items(one)
    assert isinstance(items[-1], Ended)
    assert "its settings are no longer what they were" in items[-1].fault


def test_stopping_does_not_wait_for_an_answer() -> None:
    with _server("late") as server:
        server.digitizer.late_s = 5
        one = source(server, timeout_s=10)
        one.prepare()
        one.start()
        time.sleep(0.05)
        began = time.monotonic()
        one.stop()
        assert time.monotonic() - began < 0.5
        assert one.wait(0.1) == Ended()
