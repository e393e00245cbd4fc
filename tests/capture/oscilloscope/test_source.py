"""An oscilloscope over real connections: volts, scale, dead time, settings, an exchange played back."""

from __future__ import annotations

import re
import time
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis import WrongUseError
from capture import (
    KINDS,
    Asked,
    Block,
    Ended,
    Gap,
    Item,
    OscilloscopeSettings,
    OscilloscopeSource,
    RecordingThread,
    ReplayedWire,
    SourceDescription,
    SourceError,
    make_sources,
)
from capture._oscilloscope._exchange import escaped, unescaped
from capture._oscilloscope._link import list_addresses
from tests.capture.making import describe
from tests.capture.oscilloscope.test_driver import GUIDE, SHIPPED
from tests.support._scpi_server import Digitizer, ScpiServer, true_volts
from tests.support._visa_servers import HislipServer, Vxi11Server

RATE, POINTS = 8000.0, 401
#: the last table of the guide's example
EXAMPLE = re.findall(r"```toml\n(.*?)```", GUIDE, re.DOTALL)[-1]


def source(server: ScpiServer, channels: int = 2, rate: float | None = RATE, **settings: Any) -> OscilloscopeSource:
    known: dict[str, Any] = {"range": "20,0.2", "points": POINTS, "timeout_s": 2.0, **settings}
    return OscilloscopeSource(server.address, OscilloscopeSettings.model_validate(known), channels, rate)


def all_items(one: OscilloscopeSource) -> tuple[SourceDescription, list[Item]]:
    """What it says, and everything until its end, without signs of life."""
    says = one.prepare()
    one.start()
    items: list[Item] = []
    deadline = time.monotonic() + 20
    while not items or not isinstance(items[-1], Ended):
        assert time.monotonic() < deadline, "it did not end"
        item = one.wait(0.2)
        items += [item] if item is not None and not (isinstance(item, Gap) and item.length == 0) else []
    one.stop()
    return says, items


def volts(says: SourceDescription, block: Item) -> npt.NDArray[np.float64]:
    assert isinstance(block, Block)
    return block.counts * [one.scale for one in says.channels] + [one.offset for one in says.channels]


def truth(coupling: str = "DC") -> npt.NDArray[np.float64]:
    times = np.arange(POINTS) / RATE
    return np.array([[true_volts(channel, float(t), coupling) for channel in (1, 2)] for t in times])


def driver(tmp_path: Path, text: str, *changes: tuple[str, str]) -> str:
    for old, new in changes:
        assert old in text, old
        text = text.replace(old, new)
    path = tmp_path / "mine.toml"
    path.write_text(text, encoding="utf-8")
    return str(path)


@pytest.mark.parametrize("kind", [ScpiServer, HislipServer, Vxi11Server])
@pytest.mark.parametrize("order", ["big", "little"])
def test_volts_of_single_precision(kind: type[ScpiServer], order: str, tmp_path: Path) -> None:
    changes = (("BORDer NORMal", "BORDer SWAPped"), ('"big"', '"little"')) if order == "little" else ()
    with kind(Digitizer(takes_time=False)) as server:
        says, items = all_items(source(server, driver=driver(tmp_path, SHIPPED, *changes)))
    assert items[1:] == [Ended("")]
    np.testing.assert_allclose(volts(says, items[0]), truth(), rtol=1e-7)
    assert says.dtype == np.dtype("<f4")
    assert [(one.unit, one.coupling, one.limits_counts) for one in says.channels] == [
        ("V", "DC", (-20.0, 20.0)),
        ("V", "DC", (-0.2, 0.2)),
    ]
    assert says.facts.settings["range"] == "20 V, 0.2 V"
    assert says.facts.name == "HUMPROOF,TEST DIGITIZER,0,1"
    assert says.rate_hz == RATE
    assert not says.warnings


@pytest.mark.parametrize("order", ["big", "little"])
@pytest.mark.parametrize("sample", ["int8", "uint8", "int16", "uint16", "int32"])
def test_volts_of_whole_numbers(sample: str, order: str, tmp_path: Path) -> None:
    """The guide's example and its kin: each sample within half a step of the true volts, on two ranges."""
    scpi = sample.upper().replace("INT", "INT,")
    text = driver(
        tmp_path,
        EXAMPLE,
        ("DATA INT,16", f"DATA {scpi}"),
        ("SWAPped", "NORMal" if order == "big" else "SWAPped"),
        ('"little"', f'"{order}"'),
        ('sample = "int16"', f'sample = "{sample}"'),
    )
    with ScpiServer(Digitizer(takes_time=False)) as server:
        says, items = all_items(source(server, driver=text))
        steps = [server.digitizer.scale(channel)[0] for channel in (1, 2)]
    assert [one.scale for one in says.channels] == pytest.approx(steps, rel=1e-9)
    assert [one.step_counts for one in says.channels] == [1.0, 1.0]
    assert says.dtype == np.dtype({"uint16": "<i4", "int32": "<i4"}.get(sample, "<i2"))
    wrong = np.abs(volts(says, items[0]) - truth())
    assert (wrong.max(axis=0) <= np.array(steps) * 0.5000001 + 1e-9).all()
    assert len(np.unique(items[0].counts[:, 0])) > 2  # type: ignore[union-attr]


def test_volts_of_a_list_in_plain_text(tmp_path: Path) -> None:
    text = driver(tmp_path, SHIPPED, ("DATA REAL,32", "DATA ASCii"), ('sample = "float32"', 'sample = "ascii"'))
    with ScpiServer(Digitizer(takes_time=False)) as server:
        says, items = all_items(source(server, driver=text))
    np.testing.assert_allclose(volts(says, items[0]), truth(), rtol=1e-8)


@pytest.mark.parametrize("kind", [ScpiServer, HislipServer])
def test_blocks_of_indefinite_length(kind: type[ScpiServer]) -> None:
    """On a plain socket the number of points ends them, with newlines among the bytes."""
    with kind(Digitizer(takes_time=False, indefinite=True)) as server:
        says, items = all_items(source(server, captures=2))
    assert [type(item) for item in items] == [Block, Gap, Block, Ended]
    np.testing.assert_allclose(volts(says, items[2]), truth(), rtol=1e-7)


def test_a_large_block_is_cut_and_whole() -> None:
    points = 150_001
    with ScpiServer(Digitizer(takes_time=False)) as server:
        says, items = all_items(source(server, 1, 1e6, points=points, range="20"))
    blocks = [item for item in items if isinstance(item, Block)]
    assert [block.first for block in blocks] == [0, 65_536, 131_072]
    assert blocks[-1].stop == points
    last = np.concatenate([volts(says, block) for block in blocks])[-1, 0]
    assert last == pytest.approx(true_volts(1, (points - 1) / 1e6), rel=1e-6)


def test_probe_without_the_instruments_knowledge() -> None:
    """10:1 in front of channel 1: the instrument counts volts at its input, the recording those at the tip."""
    with ScpiServer(Digitizer(takes_time=False)) as server:
        says, items = all_items(source(server, range="200,0.2", probe="10,1"))
        assert "SENSe1:VOLTage:RANGe:UPPer 20" in server.digitizer.said
    np.testing.assert_allclose(volts(says, items[0]), truth() * [10.0, 1.0], rtol=1e-6)
    assert says.facts.settings["range"] == "200 V, 0.2 V"
    assert says.facts.settings["probe"] == "10, 1"
    assert says.channels[0].limits_counts == (-20.0, 20.0)


def test_a_probe_factor_set_on_the_instrument_is_refused(tmp_path: Path) -> None:
    with (
        ScpiServer(Digitizer(probe=10.0)) as server,
        pytest.raises(SourceError, match=r"channel 1: the instrument itself counts with a probe factor of 10, not 1"),
    ):
        source(server, driver=driver(tmp_path, EXAMPLE)).prepare()


def test_coupling_as_set() -> None:
    with ScpiServer(Digitizer(takes_time=False)) as server:
        says, items = all_items(source(server, coupling="AC"))
    assert [one.coupling for one in says.channels] == ["AC", "AC"]
    np.testing.assert_allclose(volts(says, items[0]), truth("AC"), rtol=1e-5, atol=1e-6)


def test_what_the_instrument_takes_instead_is_a_warning() -> None:
    with ScpiServer() as server:
        says = source(server, range="3,0.2", rate=None).prepare()
    assert says.rate_hz == pytest.approx(10_000.0)
    assert says.warnings == ("channel 1: a range of 3 V was asked for; the instrument has 5 V",)


def test_dead_time_is_a_gap_of_its_length() -> None:
    """Rows and gaps follow each other, and are no longer than the whole took."""
    with ScpiServer() as server:
        one = source(server, captures=3)
        began = time.monotonic()
        says, items = all_items(one)
        took = time.monotonic() - began
    assert "repeated captures" in says.warnings[-1]
    assert [type(item) for item in items] == [Block, Gap, Block, Gap, Block, Ended]
    place = 0
    for item in items[:-1]:
        assert isinstance(item, Block | Gap)
        assert item.first == place
        place = item.stop
    gaps = [item for item in items if isinstance(item, Gap)]
    assert all("dead time between two captures" in gap.cause for gap in gaps)
    assert 3 * POINTS < place < took * RATE


def test_dead_time_against_a_known_pause() -> None:
    """The instrument answers that a capture is over; fetching then takes as long as the test says."""
    with ScpiServer() as server:
        real = server.digitizer.fetch
        moments: list[float] = []

        def slow(number: int) -> Any:
            moments.append(time.monotonic())
            reply = real(number)
            reply.delay_s = 0.2
            return reply

        server.digitizer.fetch = slow  # type: ignore[method-assign]
        _, items = all_items(source(server, 1, range="20", captures=2))
    gap = items[1]
    assert isinstance(gap, Gap)
    due = moments[1] - moments[0] - POINTS / RATE
    found = re.search(r"uncertain by (\S+) s", gap.cause)
    assert found
    assert 0.2 < due < 1.0
    assert gap.length / RATE == pytest.approx(due, abs=float(found[1]) + 0.02)


def test_a_capture_may_take_longer_than_the_recorder_bears_silence(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("capture._recorder.SILENCE_S", 0.2)
    with ScpiServer() as server:
        recorder = RecordingThread(
            source(server, 1, rate=100.0, points=130, range="20"), tmp_path / "slow.h5", describe
        )
        recorder.start()
        outcome = recorder.outcome()
    assert not outcome.fault
    assert outcome.rows == 130


def test_stopping_does_not_wait_for_a_slow_capture() -> None:
    with ScpiServer() as server:
        one = source(server, 1, rate=100.0, points=500, range="20")
        one.prepare()
        one.start()
        assert one.wait(0.1) is None
        began = time.monotonic()
        one.stop()
        assert time.monotonic() - began < 0.5


# ---------------------------------------------------------------- an exchange, byte for byte


@pytest.mark.parametrize("kind", [ScpiServer, HislipServer])
def test_an_exchange_is_recorded_and_played_back(kind: type[ScpiServer], tmp_path: Path) -> None:
    said = tmp_path / "said.txt"
    with kind(Digitizer(takes_time=False)) as server:
        says, items = all_items(source(server, exchange=str(said)))
        assert f"# opened {server.address}" in said.read_text().splitlines()
    known = OscilloscopeSettings.model_validate({"range": "20,0.2", "points": POINTS})
    wire = ReplayedWire(said)
    again_says, again = all_items(
        OscilloscopeSource("127.0.0.1:1", known, 2, RATE, lambda address, timeout_s, cancelled: wire)
    )
    assert again_says.channels == says.channels
    assert isinstance(items[0], Block)
    assert isinstance(again[0], Block)
    np.testing.assert_array_equal(again[0].counts, items[0].counts)
    assert again[1] == Ended("")


def test_another_command_than_then_is_named_with_its_line(tmp_path: Path) -> None:
    said = tmp_path / "said.txt"
    with ScpiServer(Digitizer(takes_time=False)) as server:
        all_items(source(server, exchange=str(said)))
    line = next(n for n, text in enumerate(said.read_text().splitlines(), 1) if "UPPer 0.2" in text)
    known = OscilloscopeSettings.model_validate({"range": "20,0.3", "points": POINTS})
    wire = ReplayedWire(said)
    with pytest.raises(AssertionError) as caught:
        OscilloscopeSource("127.0.0.1:1", known, 2, RATE, lambda *_: wire).prepare()
    then = r"then '> SENSe2:VOLTage:RANGe:UPPer 0.2\n', now '> SENSe2:VOLTage:RANGe:UPPer 0.3\n'"
    assert str(caught.value) == f"{said}: line {line}: {then}"


def test_an_exchange_leaves_other_files_alone(tmp_path: Path) -> None:
    said = tmp_path / "said.txt"
    said.write_text("mine")
    with ScpiServer() as server, pytest.raises(SourceError, match=r"said\.txt: exists already"):
        source(server, exchange=str(said)).prepare()
    assert said.read_text() == "mine"


@given(st.binary(max_size=80))
def test_escaped_bytes_come_back(data: bytes) -> None:
    assert escaped(data).isascii()
    assert "\n" not in escaped(data)
    assert unescaped(escaped(data)) == data


# ---------------------------------------------------------------- what people type


@pytest.mark.parametrize("address", ["", "nonsense", "host", "host:0", "host:70000", "TCPIP::host::0::SOCKET", "a b:5"])
def test_no_address(address: str) -> None:
    with pytest.raises(WrongUseError):
        make_sources([f"oscilloscope:{address}"], Asked(), {})


@pytest.mark.parametrize(
    "settings,words",
    [
        ({"range": "1,2,3"}, "3 values for 2 channels"),
        ({"range": "-1"}, "greater than 0"),
        ({"coupling": "GND"}, "'DC' or 'AC'"),
        ({"points": "many"}, "points=many"),
        ({"rnage": "1"}, "--setting rnage"),
    ],
)
def test_settings_that_cannot_be(settings: dict[str, str], words: str) -> None:
    with pytest.raises(WrongUseError, match=words):
        make_sources(["oscilloscope:host:5025"], Asked(channels=2), settings)


def test_limits_are_checked_before_anything_is_sent(tmp_path: Path) -> None:
    text = driver(tmp_path, EXAMPLE)
    with ScpiServer() as server:
        for change, words in (
            ({"channels": 3}, "it has 2 channels, 3 were asked for"),
            ({"range": "7,0.2"}, "no range of 7 V at its input; it has 0.2, 1, 5, 20, 100"),
            ({"points": 2_000_000}, "it takes 1000000 points in one capture"),
        ):
            with pytest.raises(SourceError, match=words):
                source(server, **{"range": "20", "driver": text, **change}).prepare()
        assert server.digitizer.said == []


def test_the_list_of_devices_is_bounded() -> None:
    kind = next(kind for kind in KINDS if kind.name == "oscilloscope")
    began = time.monotonic()
    assert all(address.startswith(("USB", "TCPIP")) for address in list_addresses())
    assert time.monotonic() - began < 6
    assert kind.needs_target
