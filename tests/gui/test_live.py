"""The live view: what is handed over, what is worked out, what is drawn, and that nothing is left running."""

from __future__ import annotations

import json
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from pytestqt.qtbot import QtBot

from analysis import Channel
from capture import COUNTER_MODULUS, LIBRARY_VAN_FOUND, Block, Recording, SimulatedVehicleSource, verify_recording
from gui._live_canvas import Decades, LogScale, thinned
from gui._live_feed import MOST_WAITING_S, Feed, LastRows
from gui._live_lines import name_lines, order_text
from gui._live_worker import Circumstances, LiveFrame, LiveWorker
from gui._load import open_views
from gui._qt import Qt
from gui._recorder_setup import Setup, WiredChannel
from gui._settings import SettingsFile
from gui._window import Window
from job import open_job
from tests.gui import _jobs
from tests.support import ROOT

RATE_HZ = 8000.0
ONE = (Channel("input", role="signal", unit="V"),)
TWO = (Channel("battery", role="supply", unit="V", coupling="DC"), Channel("input", role="signal", unit="V"))


def until(condition: object, seconds: float = 10.0) -> None:
    end = time.monotonic() + seconds
    while not condition():  # type: ignore[operator]
        assert time.monotonic() < end, "it never happened"
        time.sleep(0.005)


@pytest.fixture
def worker() -> Iterator[LiveWorker]:
    made = LiveWorker(Feed(RATE_HZ, ONE), Circumstances)
    made.start()
    yield made
    made.stop()


def _fed(worker: LiveWorker, rows: np.ndarray) -> LiveFrame:
    """The first frame in which all of these rows are."""
    target = (worker.frame.seconds if worker.frame else 0.0) + len(rows) / RATE_HZ
    for first in range(0, len(rows), 8000):
        worker.feed.put(rows[first : first + 8000])
        until(lambda: not worker.feed._waiting)
    until(lambda: worker.frame is not None and worker.frame.seconds >= target - 1e-9)
    assert worker.frame is not None
    return worker.frame


# ---------------------------------------------------------------- from the recorder to the view


def test_a_view_that_does_not_look_keeps_nobody_waiting_and_no_memory() -> None:
    feed = Feed(RATE_HZ, ONE)
    feed.put(np.zeros((100, 1)))
    assert feed.take() == []
    feed.wanted = True
    blocks = [np.full((1000, 1), float(number)) for number in range(40)]
    for block in blocks:
        feed.put(block)
    first, *kept = feed.take()
    # The newest stay, as many as fit; the rest is counted, and nothing is joined where it was.
    assert first is None
    assert sum(len(rows) for rows in kept if rows is not None) == MOST_WAITING_S * RATE_HZ
    assert kept[-1] is blocks[-1]
    assert feed.dropped_rows == 40_000 - MOST_WAITING_S * RATE_HZ
    feed.put(blocks[0])
    assert feed.take() == [blocks[0]]


def test_nothing_is_lost_between_two_threads() -> None:
    feed = Feed(1e6, ONE)
    feed.wanted = True
    writer = threading.Thread(target=lambda: [feed.put(np.full((7, 1), float(n))) for n in range(5000)])
    writer.start()
    got: list[float] = []
    while writer.is_alive() or feed._waiting:
        got += [float(rows[0, 0]) for rows in feed.take() if rows is not None]
    writer.join()
    assert got == [float(n) for n in range(5000)]
    assert feed.dropped_rows == 0


def test_the_last_rows_are_the_last_rows() -> None:
    kept, rows = LastRows(50, 2), np.random.default_rng(1).normal(size=(333, 2))
    done = 0
    for size in (1, 7, 42, 50, 49, 120, 64):
        kept.add(rows[done : done + size])
        done += size
        for count in (1, 13, 50, 99):
            expected = rows[max(done - min(count, 50), 0) : done].T
            np.testing.assert_array_equal(kept.last(count), expected[:, -min(count, 50, done) :])


# ---------------------------------------------------------------- frames


def test_the_waveform_is_lowest_and_highest_of_every_column(worker: LiveWorker) -> None:
    rows = np.random.default_rng(2).normal(size=(8123, 1))
    worker.columns, worker.span_s = 97, 0.5
    frame = _fed(worker, rows)
    until(lambda: worker.frame.low.shape == (1, 96))
    frame = worker.frame
    width = frame.rows_per_column
    assert width == -(-4000 // 97)
    cells = rows[len(rows) - 96 * width :, 0].reshape(96, width)
    np.testing.assert_array_equal(frame.low[0], cells.min(axis=1))
    np.testing.assert_array_equal(frame.high[0], cells.max(axis=1))


def test_before_there_are_enough_samples_the_front_is_empty(worker: LiveWorker) -> None:
    worker.columns, worker.span_s = 50, 0.1
    frame = _fed(worker, np.ones((120, 1)))
    assert frame.rows_per_column == 16
    assert np.isnan(frame.low[0, :42]).all()
    assert (frame.low[0, 43:] == 1).all()
    assert frame.spectrum is None


def test_the_spectrum_reads_a_tones_rms_and_forgets_it(worker: LiveWorker) -> None:
    """A sine of 0.3 V rms on a bin reads 0.3 V rms there (Parseval); four seconds later nothing of it is left."""
    resolution = RATE_HZ / 1024
    time_s = np.arange(5 * 8000) / RATE_HZ
    tone = 0.3 * np.sqrt(2) * np.sin(2 * np.pi * 100 * resolution * time_s)
    found = _fed(worker, tone[:, None]).spectrum
    assert found is not None
    assert found.resolution_hz == pytest.approx(resolution)
    assert found.amplitude[0, 100] == pytest.approx(0.3, rel=1e-3)
    assert found.averages > 15
    found = _fed(worker, np.zeros((5 * 8000, 1))).spectrum
    assert found is not None
    assert found.amplitude[0, 100] < 1e-12


def test_samples_that_do_not_continue_begin_anew(worker: LiveWorker) -> None:
    _fed(worker, np.ones((4000, 1)))
    worker.feed.begin_anew()
    until(lambda: worker.frame.seconds == 0)
    assert worker.frame.spectrum is None
    # A tone that goes on elsewhere in its period would smear over all bins, were the two joined.
    tone = np.sin(2 * np.pi * 1000 * np.arange(16_000) / RATE_HZ)[:, None]
    worker.feed.put(tone[:8000])
    worker.feed.begin_anew()
    found = _fed(worker, tone[3:8003]).spectrum
    assert found is not None
    assert found.amplitude[0, 300] < 1e-9


# ---------------------------------------------------------------- names


def _van(seconds: float, roles: tuple[str, ...], rate_hz: float = 48_000.0) -> tuple[np.ndarray, tuple[Channel, ...]]:
    source = SimulatedVehicleSource(LIBRARY_VAN_FOUND, roles, rate_hz, live=False)
    channels = source.prepare().channels
    source.start()
    rows: list[np.ndarray] = []
    while sum(map(len, rows)) < seconds * rate_hz:
        item = source.wait(1)
        assert isinstance(item, Block)
        rows.append(item.counts * [channel.scale for channel in channels])
    return np.concatenate(rows), tuple(channel.as_analysed() for channel in channels)


def test_the_loudest_lines_are_named_as_they_are_made() -> None:
    """Against the model in closed form: ripple of six pulses, its order, and its rms at the amplifier's input."""
    rows, channels = _van(2.0, ("supply", "signal"))
    named = name_lines(rows, 48_000.0, channels, 1500.0, None, bursts=False)
    model = LIBRARY_VAN_FOUND
    order = 6 * model.pole_pairs * model.pulley_ratio
    first = named.lines[0]
    harmonic, peak = model.ripple_harmonics(24_000)[0]
    assert harmonic == 6
    assert (first.maker, first.tap) == (f"alternator, order {order:g}", "amplifier input")
    assert first.frequency_hz == pytest.approx(6 * model.electrical_hz, rel=3e-4)
    assert first.rms == pytest.approx(model.ripple_pickup * abs(peak) / np.sqrt(2), rel=0.01)
    assert named.rpm_words == "1,500 rpm as typed"
    # What is heard comes first, each by its level; the supply's own lines after it.
    heard = [line.rms for line in named.lines if line.tap == "amplifier input"]
    assert heard == sorted(heard, reverse=True)
    assert named.lines[-1].tap == "battery"


def test_without_an_engine_speed_no_order_is_told() -> None:
    rows, channels = _van(2.0, ("supply", "signal"))
    named = name_lines(rows, 48_000.0, channels, None, None, bursts=False)
    assert named.rpm is None
    assert "not stated" in named.rpm_words
    assert not any("order" in line.maker for line in named.lines)


def test_while_bursts_play_nothing_is_tied_to_a_maker() -> None:
    rows, channels = _van(2.0, ("supply", "signal"))
    named = name_lines(rows, 48_000.0, channels, 1500.0, None, bursts=True)
    assert {line.maker.partition(",")[0] for line in named.lines} == {"unexplained"}


def test_a_tacho_tells_the_speed() -> None:
    """36 pulses a turn at 1234 rpm: 740.4 Hz (K = f * 60 / teeth)."""
    rate = 48_000.0
    time_s = np.arange(int(2 * rate)) / rate
    pulses = 5.0 * (np.sin(2 * np.pi * 36 * 1234 / 60 * time_s) > 0)
    channels = (Channel("pickup", role="tacho", unit="V", coupling="DC"), ONE[0])
    noise = np.random.default_rng(4).normal(0, 1e-3, len(time_s))
    named = name_lines(np.column_stack([pulses, noise]), rate, channels, None, "36", bursts=False)
    assert named.rpm == pytest.approx(1234, rel=1e-3)
    assert named.rpm_words == "1,234 rpm by the tacho"


def test_noise_alone_has_no_lines() -> None:
    rows = np.random.default_rng(5).normal(size=(16_000, 2))
    assert name_lines(rows, RATE_HZ, TWO, 1500.0, None, bursts=False).lines == ()


def test_missing_samples_are_said() -> None:
    rows = np.full((16_000, 2), np.nan)
    named = name_lines(rows, RATE_HZ, TWO, 1500.0, None, bursts=False)
    assert named.lines == ()
    assert "without a gap" in named.trouble


@pytest.mark.parametrize(("order", "text"), [(36.0, "36"), (36.03, "36"), (36.4, "36.4"), (0.5, "0.5"), (90.0, "90")])
def test_orders_as_they_are_written(order: float, text: str) -> None:
    assert order_text(order) == text


# ---------------------------------------------------------------- drawing


def test_thinning_keeps_the_highest_of_every_pixel_column() -> None:
    rng = np.random.default_rng(6)
    values, places = rng.random(5000), np.sort(rng.uniform(-20, 320, 5000))
    x, highest, most = thinned(values, places, 300)
    for column in range(300):
        own = values[np.floor(places) == column]
        at = np.flatnonzero(x == column + 0.5)
        assert len(at) == bool(len(own))
        if len(own):
            assert highest[at[0]] == own.max()
    assert most == max(np.sum(np.floor(places) == column) for column in range(300))


def test_decades_are_evenly_spread_and_zero_lies_outside() -> None:
    scale = LogScale(1.0, 4.0, 300)
    np.testing.assert_allclose(scale(np.array([10.0, 100.0, 1000.0, 10_000.0])), [0, 100, 200, 300])
    assert scale(np.array(0.0)) < 0
    up = LogScale(-6.0, 0.0, 600, upward=True)
    np.testing.assert_allclose(up(np.array([1.0, 1e-6])), [0, 600])


def test_an_axis_widens_at_once_and_narrows_later() -> None:
    axis = Decades(patience=10)
    small = [np.array([1e-3, 2e-3])]
    assert axis.take(small) == (-3.0, -1.0)
    assert axis.take([np.array([1e-3, 5.0])]) == (-3.0, 1.0)
    ends = [axis.take(small) for _ in range(25)]
    assert ends[0] == (-3.0, 1.0)
    assert ends[-1] == (-3.0, -1.0)


# ---------------------------------------------------------------- the page


@pytest.fixture
def window(qtbot: QtBot, tmp_path: Path) -> Iterator[Window]:
    made = Window(SettingsFile(tmp_path / "window.json"))
    made.resize(1366, 768)
    made.show()
    made.visit.put(open_views(_jobs.empty_job(tmp_path / "job").folder))
    made.show_sheets()
    yield made
    made.close()
    made.deleteLater()


def test_the_page_works_only_while_it_is_seen(qtbot: QtBot, window: Window) -> None:
    live = window.strip.live
    window.act("live")
    assert live.nothing.isVisible()
    wired = (WiredChannel(role="supply"), WiredChannel(role="signal"))
    setup = Setup(source="simulated-vehicle", rate_hz=48_000.0, wired=wired).with_conditions(engine_rpm=1500.0)
    window.strip.controller.change(setup)
    qtbot.waitUntil(lambda: live.frames > 5 and bool(live.lines.texts()), timeout=20_000)
    assert live.simulated.isVisible()
    assert live.lines.texts()[0].startswith("alternator, order 90, ")
    assert live.spectrum.axes.title == "Spectrum   ② amplifier input (behind it ①)"
    assert "thinned: highest of " in live.spectrum.note
    assert "1,500 rpm as typed" in live.orders.note
    assert any(flag.text == "alternator, order 90" for flag in live.orders.flags)
    _check_flag(window)
    window.act("live-hold")
    drawn = live.frames
    qtbot.wait(120)
    assert live.frames == drawn
    window.act("live-hold")
    window.act("live-channel")
    qtbot.waitUntil(lambda: "battery" in live.spectrum.axes.title, timeout=5000)
    window.act("live-span")
    qtbot.waitUntil(lambda: live.worker.frame.span_s == pytest.approx(0.2, rel=0.01), timeout=5000)
    qtbot.keyClick(live, Qt.Key.Key_Escape)
    assert not live.isVisible()
    assert live.worker is None
    assert not [thread.name for thread in threading.enumerate() if thread.name.startswith("live view")]
    # To another sheet by its own key it goes away as well.
    window.act("live")
    window.act("go-compare")
    assert not live.isVisible()


def _check_flag(window: Window) -> None:
    """The order axis has decades: order 90 lies where its logarithm says."""
    live = window.strip.live
    flag = next(flag for flag in live.orders.flags if flag.text == "alternator, order 90")
    highest = 20_000 * 60 / 1500
    share = np.log10(90 / 0.5) / np.log10(highest / 0.5)
    assert flag.x == pytest.approx(share * live.orders.plot.width(), abs=1.0)


def test_a_replaced_source_is_shown_anew(qtbot: QtBot, window: Window) -> None:
    live, control = window.strip.live, window.strip.controller
    window.act("live")
    setup = Setup(source="simulated-vehicle", rate_hz=8000.0, wired=(WiredChannel(role="supply"),))
    control.change(setup)
    qtbot.waitUntil(lambda: live.frames > 2, timeout=20_000)
    control.change(setup.changed(wired=(WiredChannel(role="supply"), WiredChannel(role="current"))))
    qtbot.waitUntil(lambda: live.channel.count() == 2 and live.worker is not None, timeout=20_000)
    assert [live.channel.itemText(index) for index in range(2)] == ["battery", "supply current"]
    control.rest()
    assert live.nothing.isVisible()


@pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="this system does not tell what a process used")
def test_three_seconds_of_two_channels_at_192_khz(tmp_path: Path) -> None:
    """The endurance test in small: every row is there, and the pictures move (how fast, on a machine at rest)."""
    folder = _jobs.empty_job(tmp_path / "job").folder
    command = [sys.executable, "-m", "tests.gui.live_driver", str(folder), str(tmp_path / "window.json"), "3"]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False, timeout=120)
    assert done.returncode == 0, done.stderr
    told = json.loads(done.stdout.splitlines()[-1])
    assert told["frames_a_second"] > 5
    assert "alternator, order 90" in told["lines"]
    path = folder / open_job(folder).facts.recordings[0].file
    verify_recording(path)
    with Recording(path) as recording:
        assert recording.gaps == []
        assert recording.frames >= 2.9 * 192_000
        counted = recording.counts()[:, -1]
    np.testing.assert_array_equal(counted, np.arange(len(counted)) % COUNTER_MODULUS)
