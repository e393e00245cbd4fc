"""A test signal along a recording: played through a real loopback, stopped by the supply, found where it lies."""

from __future__ import annotations

import json
import re
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest
from scipy import signal as filters
from scipy.interpolate import CubicSpline

import capture
from analysis import WrongUseError
from capture import (
    LIBRARY_VAN_FOUND,
    Block,
    Ended,
    Gap,
    Mark,
    RecordedChannel,
    Recording,
    RecordingOutcome,
    RecordingThread,
    SimulatedVehicleSource,
    Source,
    SourceError,
    Stimulus,
    export_test_signal,
    make_test_signal,
    true_values,
    verify_recording,
)
from capture._stimulus import _Watch
from job import study_json, study_recording
from tests.capture.making import FakeSource, describe, info
from tests.support import ROOT, NullSink

Floats = npt.NDArray[np.float64]
#: the sink's rate, and half a step of 32-bit samples
RATE_HZ, STEP = 96_000, 2.0**-31
BURST = "burst 50 Hz 0.3 s"


# ---------------------------------------------------------------- through a loopback sound card


@pytest.fixture(scope="module")
def played(null_sink: NullSink, tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    return _along(null_sink, tmp_path_factory.mktemp("played"), "bursts")


def _along(sink: NullSink, folder: Path, case: str) -> dict[str, Any]:
    """In a process of its own, since PortAudio reads the environment once; anew when the machine was too busy."""
    for attempt in range(4):
        here = folder / str(attempt)
        here.mkdir()
        command = [sys.executable, "-m", "tests.capture.play_along", str(here), case]
        done = subprocess.run(command, cwd=ROOT, env=sink.environment, capture_output=True, text=True, timeout=60)
        assert done.returncode == 0, done.stderr
        told = {"folder": here, **json.loads((here / "told.json").read_text())}
        if not any("ran dry" in warning for warning in told["warnings"]):
            return told
    pytest.fail("the machine is too busy to play without holes")


def _first_rows(recorded: Floats, sound: Floats, firsts: Any, length: int) -> list[int]:
    """The truth: rows from which on the recorded samples are, bit for bit, those of a burst."""
    found = []
    for first in firsts:
        burst = sound[first : first + length].astype(np.float32).astype(float)
        # The first sample of a burst is 0; the hundredth is not, and differs from its neighbours.
        near = np.flatnonzero(np.abs(recorded[: len(recorded) - length] - burst[100]) <= 2 * STEP) - 100
        fits = [row for row in near if row >= 0 and np.abs(recorded[row : row + length] - burst).max() <= 2 * STEP]
        found += [row for row in fits if row not in found][: 1 if len(fits) == 1 else len(fits)]
    return found


def test_marks_fall_on_the_played_bursts_to_the_sample(played: dict[str, Any]) -> None:
    path = played["folder"] / "bursts.h5"
    verify_recording(path)
    assert (played["fault"], played["warnings"], played["done"]) == ("", [], True)
    sound, firsts = np.load(played["folder"] / "played.npy"), np.load(played["folder"] / "firsts.npy")
    with Recording(path) as recording:
        values, marks = recording.values(), [mark for mark in recording.marks if mark.text.startswith("burst")]
        notes = [mark.text for mark in recording.marks if not mark.text.startswith("burst")]
    length = round(0.3 * RATE_HZ)
    truth = _first_rows(values[:, 0], sound, firsts, length)
    assert len(truth) == len(firsts) == 2
    print("off by", [mark.first - row for mark, row in zip(marks, truth, strict=True)], "samples")
    assert [mark.text for mark in marks] == [BURST, BURST]
    assert [mark.length for mark in marks] == [length, length]
    # Within one sample period, as asked; both clocks are one here, so it is the very sample.
    assert [mark.first for mark in marks] == truth
    assert any(re.fullmatch(r"test signal started: bursts-50hz, -20 dB re full scale", note) for note in notes)
    assert any(note.startswith("test signal bursts-50hz found on input 1: 2 of 2 bursts") for note in notes)


def test_sag_windows_are_the_played_bursts(played: dict[str, Any]) -> None:
    path = played["folder"] / "bursts.h5"
    told = study_json(study_recording(path))
    with Recording(path) as recording:
        sound, firsts = np.load(played["folder"] / "played.npy"), np.load(played["folder"] / "firsts.npy")
        truth = _first_rows(recording.values()[:, 0], sound, firsts, round(0.3 * RATE_HZ))
    windows = [burst for burst in told["bursts"] if burst["channel"] == "input 2"]
    assert [window["start_s"] for window in windows] == pytest.approx([row / RATE_HZ for row in truth], abs=1 / RATE_HZ)
    assert [w["end_s"] - w["start_s"] for w in windows] == pytest.approx([0.3, 0.3], abs=1 / RATE_HZ)


def _fade_s(recorded: Floats, sound: Floats) -> tuple[float, float]:
    """How long the sound was as it was made before it faded, and how long it faded, s."""
    began = int(np.argmax(np.abs(recorded) > 1e-6))
    ended = len(recorded) - int(np.argmax(np.abs(recorded[::-1]) > 1e-6))
    heard = recorded[began:ended]
    # The ramp of the player and the one of the signal lie over each other for the first 20 ms.
    start = round(0.02 * RATE_HZ)
    piece = heard[start : start + 2000]
    shifts = range(start - 1000, start + 1000)
    shift = min(shifts, key=lambda each: float(np.abs(sound[each : each + 2000] - piece).max())) - start
    as_made = sound[shift + start : shift + len(heard)]
    off = np.abs(heard[start:] - as_made) > 1e-6
    faded = int(np.argmax(off))
    return (start + faded) / RATE_HZ, (len(off) - faded) / RATE_HZ


def test_a_low_supply_stops_the_signal_by_itself_and_without_a_click(null_sink: NullSink, tmp_path: Path) -> None:
    told = _along(null_sink, tmp_path, "low_supply")
    assert (told["fault"], told["done"]) == ("", True)
    with Recording(told["folder"] / "van.h5") as recording:
        marks = {mark.text: mark for mark in recording.marks}
        volts = recording.values()[:, 0]
    (text,) = [text for text in marks if "stopped" in text]
    found = re.fullmatch(r"test signal stopped: supply at (\d+\.\d+) V, below 12 V", text)
    assert found
    assert float(found[1]) < 12
    # The truth by the model: rest above the limit, loaded below; the first burst begins at 1 s.
    values = true_values(LIBRARY_VAN_FOUND, 48_000.0, 1.0)["supply-amp"]
    assert values["dc"] > 12 > values["dc"] - values["sag"]
    means = np.convolve(volts, np.full(480, 1 / 480), "valid")
    assert marks[text].first == int(np.argmax(means < 12)) + 479
    assert 1.0 < marks[text].first / 48_000 < 1.03
    with Recording(told["folder"] / "heard.h5") as recording:
        heard = recording.values()[:, 0]
    sound = np.load(told["folder"] / "played.npy")
    whole_s, fade_s = _fade_s(heard, sound)
    print(f"heard for {whole_s:.3f} s, faded in {1e3 * fade_s:.1f} ms")
    assert 0.5 < whole_s < 2.0
    assert 0.005 < fade_s <= 0.020
    # No step is larger than the tone's own.
    assert np.abs(np.diff(heard)).max() <= 1.001 * np.abs(np.diff(sound)).max()


def test_it_can_be_stopped_from_several_threads(null_sink: NullSink, tmp_path: Path) -> None:
    told = _along(null_sink, tmp_path, "by_hand")
    assert (told["fault"], told["done"]) == ("", True)
    assert told["news"] == ["test signal started: tone, -20 dB re full scale", "test signal stopped by hand"]
    with Recording(told["folder"] / "heard.h5") as recording:
        heard, marks = recording.values()[:, 0], recording.marks
    assert not np.any(heard[-RATE_HZ // 10 :])
    assert [mark.text for mark in marks if mark.length] == ["test signal tone, placed by the clock within 0.1 s"]
    whole_s, fade_s = _fade_s(heard, np.load(told["folder"] / "played.npy"))
    assert 0.3 < whole_s < 1.4
    assert fade_s <= 0.020
    began = int(np.argmax(np.abs(heard) > 1e-6))
    (placed,) = [mark for mark in marks if mark.length]
    print(f"placed by the clock {1e3 * (placed.first - began) / RATE_HZ:+.1f} ms off")
    assert abs(placed.first - began) < 0.1 * RATE_HZ


# ---------------------------------------------------------------- played by something else


def _heard(path: Path, begin_s: float, drift: float, rate_hz: float, seconds: float) -> Floats:
    """What a player whose clock is off sends out, between its samples by band-limited interpolation."""
    samples, played_hz = capture.load_stimulus(path).samples, capture.load_stimulus(path).rate_hz
    fine = filters.resample_poly(samples, 8, 1)
    time_s = (np.arange(round(seconds * rate_hz)) / rate_hz - begin_s) / (1 + drift)
    return np.nan_to_num(CubicSpline(np.arange(len(fine)) / (8 * played_hz), fine, extrapolate=False)(time_s))


def _record(source: Source, path: Path, stimulus: Any, seconds: float | None = None) -> RecordingOutcome:
    recorder = RecordingThread(source, path, describe, seconds, companion=stimulus)
    recorder.start()
    return recorder.outcome()


def _source(values: Floats, rate_hz: float, gap: tuple[int, int] | None = None) -> FakeSource:
    """Two channels of samples in floating point: noise, and the given one."""
    other = 1e-3 * np.random.default_rng(1).standard_normal(len(values))
    table = np.stack([other, values], 1) * [1 / 0.37, 1 / 0.74] + [1.5 / 0.37, -0.75 / 0.74]
    items: list[Any] = [Block(row, table[row : row + 4800]) for row in range(0, len(table), 4800)]
    if gap is not None:
        first, length = (each // 4800 for each in gap)
        items[first : first + length] = [Gap(first * 4800, length * 4800, "pulled")]
    return FakeSource([*items, Ended()], 2, rate_hz, "<f8")


@pytest.mark.parametrize("noise_db", (-40.0, 0.0))
@pytest.mark.parametrize("name", ("bursts-50hz", "bursts-1khz"))
def test_an_exported_file_is_found_by_correlation(name: str, noise_db: float, tmp_path: Path) -> None:
    """44.1 kHz in 48 kHz, a clock 200 ppm off, white noise against the burst's rms, a high-pass, polarity inverted."""
    made = make_test_signal(name, rate_hz=44_100, level_db=-20, duration_s=4.6)
    export_test_signal(made, tmp_path / "a.wav")
    begin_s, drift = 0.777, 200e-6
    clean = _heard(tmp_path / "a.wav", begin_s, drift, 48_000.0, 6.0)
    clean = -filters.sosfilt(filters.butter(1, 5.0, "highpass", fs=48_000.0, output="sos"), clean)
    rms = 0.1 / np.sqrt(2) * 10 ** (noise_db / 20)
    noisy = clean + rms * np.random.default_rng(5).standard_normal(len(clean))
    stimulus = Stimulus.played_elsewhere(tmp_path / "a.wav")
    outcome = _record(_source(noisy, 48_000.0), tmp_path / "a.h5", stimulus)
    assert (outcome.fault, outcome.warnings) == ("", ())
    verify_recording(tmp_path / "a.h5")
    with Recording(tmp_path / "a.h5") as recording:
        marks = [mark for mark in recording.marks if mark.text.startswith("burst")]
        (note,) = [mark.text for mark in recording.marks if mark.text.startswith("test signal")]
    truth = [begin_s + burst.first / 44_100 * (1 + drift) for burst in made.bursts]
    off = np.array([mark.first / 48_000 for mark in marks]) - truth
    print(f"{name}, noise {noise_db:g} dB: worst {1e3 * np.abs(off).max():.4f} ms; {note}")
    assert np.abs(off).max() < 1e-3
    assert [mark.text for mark in marks] == [burst.text for burst in made.bursts]
    assert "found on input 1" in note
    assert note.endswith("polarity inverted")


def test_a_gap_costs_no_other_burst(tmp_path: Path) -> None:
    made = make_test_signal("bursts-1khz", rate_hz=48_000, duration_s=4)
    values = np.concatenate([np.zeros(48_000), made.samples, np.zeros(9600)])
    # A tenth of a second from 2.5 s on: the burst at 2.5 s is gone.
    outcome = _record(_source(values, 48_000.0, (120_000, 4800)), tmp_path / "a.h5", Stimulus.played_elsewhere(made))
    assert outcome.gaps == 1
    with Recording(tmp_path / "a.h5") as recording:
        marks = [mark for mark in recording.marks if mark.text.startswith("burst")]
    assert [mark.first for mark in marks] == [48_000 + burst.first for burst in made.bursts]
    assert [mark.text for mark in marks if "placed" in mark.text] == [
        "burst 1000 Hz 0.02 s, placed by the other bursts within 0.1 µs"
    ]


def test_where_it_was_not_played_no_burst_is_marked(tmp_path: Path) -> None:
    for name, told in (("bursts-50hz", "was not found: no channel carries"), ("tone", "is steady: its place cannot")):
        stimulus = Stimulus.played_elsewhere(make_test_signal(name))
        outcome = _record(
            _source(np.random.default_rng(2).standard_normal(96_000), 48_000.0), tmp_path / name, stimulus
        )
        (warning,) = outcome.warnings
        assert warning.startswith(f"test signal {name} {told}")
        with Recording(tmp_path / name) as recording:
            assert not [mark for mark in recording.marks if mark.length or mark.text.startswith("burst")]


# ---------------------------------------------------------------- a player that makes no sound


class _Quiet:
    """Plays nowhere: as if all had been handed to the driver at once."""

    def __init__(self, samples: int) -> None:
        self.played, self.stumbles, self.began = 0, 0, None
        self.delay_s, self.calls, self._samples = 0.1, list[str](), samples

    def prepare(self) -> None:
        self.calls.append("prepare")

    def start(self) -> None:
        self.calls.append("start")
        self.began, self.played = time.monotonic(), self._samples  # type: ignore[assignment]

    def stop(self) -> None:
        self.calls.append("stop")

    close = stop

    @property
    def done(self) -> bool:
        return "stop" in self.calls


def _one_burst(first_s: float, rate_hz: float = 48_000.0) -> capture.TestSignal:
    """A burst at a time of one's own."""
    made = make_test_signal("bursts-50hz", duration_s=1.3, rate_hz=rate_hz)
    burst = made.bursts[0]
    cut = burst.first - round(first_s * rate_hz)
    return capture.TestSignal(
        "own", rate_hz, made.samples[cut:], (burst._replace(first=burst.first - cut),), made.level_db, ""
    )


def test_without_the_tone_the_supplys_own_fall_places_a_burst(tmp_path: Path) -> None:
    """The van's own burst begins at 0.4 s of its recording; the clock knows that to a tenth of a second."""
    model = LIBRARY_VAN_FOUND.__class__(first_burst_s=0.4)
    van = SimulatedVehicleSource(model, ("supply", "supply-amp"), 8000.0, bursts=True)
    made = _one_burst(0.36)
    outcome = _record(van, tmp_path / "a.h5", Stimulus(made, _Quiet(len(made.samples))), 1.2)  # type: ignore[arg-type]
    with Recording(tmp_path / "a.h5") as recording:
        (mark,) = [mark for mark in recording.marks if mark.length and "placed" in mark.text]
    assert mark.text == f"{BURST}, placed by the supply's own fall within 0.01 s"
    assert mark.first / 8000 == pytest.approx(0.4, abs=0.01)
    assert mark.length == 2400
    (warning,) = outcome.warnings
    assert warning.endswith("its bursts were placed by the supply's own fall (1 of 1)")


def test_without_tone_and_supply_the_clock_places_a_burst(tmp_path: Path) -> None:
    made = _one_burst(0.1)
    quiet = _Quiet(len(made.samples))
    van = SimulatedVehicleSource(LIBRARY_VAN_FOUND, ("signal",), 8000.0)
    outcome = _record(van, tmp_path / "a.h5", Stimulus(made, quiet), 0.7)  # type: ignore[arg-type]
    with Recording(tmp_path / "a.h5") as recording:
        started = next(mark for mark in recording.marks if mark.text.startswith("test signal started"))
        (mark,) = [mark for mark in recording.marks if mark.length and "clock" in mark.text]
    assert mark.text == f"by the clock within 0.1 s: {BURST}"
    assert (mark.first - started.first) / 8000 == pytest.approx(0.1, abs=0.1)
    assert quiet.calls[:2] == ["prepare", "start"]
    assert outcome.warnings[0].endswith("its bursts were placed by the clock")


def test_a_supply_that_is_low_from_the_start_lets_nothing_sound(tmp_path: Path) -> None:
    van = SimulatedVehicleSource(LIBRARY_VAN_FOUND, ("supply",), 8000.0, live=False)
    quiet = _Quiet(10)
    _record(van, tmp_path / "a.h5", Stimulus(_one_burst(0.1), quiet, 14.5), 0.5)  # type: ignore[arg-type]
    with Recording(tmp_path / "a.h5") as recording:
        (mark,) = recording.marks
    assert re.fullmatch(r"test signal not started: supply at 1\d\.\d+ V, below 14.5 V", mark.text)
    assert "start" not in quiet.calls


@pytest.mark.parametrize("channel", ({"unit": "FS"}, {"coupling": "AC"}, {"role": "signal"}))
def test_watching_a_supply_that_is_not_recorded_is_refused_before_there_is_a_file(
    channel: dict[str, Any], tmp_path: Path
) -> None:
    facts = {"name": "a", "unit": "V", "coupling": "DC", "role": "supply-amp@rear"} | channel
    quiet = _Quiet(10)
    stimulus = Stimulus(_one_burst(0.1), quiet, 11.0)  # type: ignore[arg-type]
    recorder = RecordingThread(
        FakeSource([Ended()]), tmp_path / "a.h5", lambda says: info(channels=(RecordedChannel(**facts),)), 1.0,
        companion=stimulus,
    )  # fmt: skip
    recorder.start()
    with pytest.raises(WrongUseError, match="stop below 11 V: no DC-coupled channel in volts with a supply role"):
        recorder.outcome()
    assert list(tmp_path.iterdir()) == []
    assert "start" not in quiet.calls
    for volts in (0.0, -1.0, float("nan")):
        with pytest.raises(WrongUseError, match="give volts above 0"):
            Stimulus.played_here(_one_burst(0.1), stop_below_v=volts)


@pytest.mark.parametrize("size", (1, 7, 10, 400, 3000))
def test_the_watched_mean_is_the_same_for_all_sizes_of_blocks(size: int) -> None:
    """At 1000 a second a mean has ten samples: from 12.5 to 11 V it is below 11.5 V with the seventh low one."""
    volts = np.full((3000, 2), 12.5)
    volts[1500:, 1] = 11.0
    watch, found = _Watch(11.5, [0, 1], 1000.0), None
    for first in range(0, len(volts), size):
        found = found or watch.take(first, volts[first : first + size])
    assert found is not None
    assert found[0] == 1506
    assert 11 <= found[1] < 11.5


def test_a_mean_over_missing_samples_stops_nothing() -> None:
    volts = np.full((3000, 1), 0.0)
    volts[::9] = np.nan
    assert _Watch(11.5, [0], 1000.0).take(0, volts) is None
    # Nor are rows that do not follow each other averaged together.
    apart = _Watch(11.5, [0], 1000.0)
    assert apart.take(0, np.zeros((9, 1))) is None
    assert apart.take(100, np.zeros((9, 1))) is None
    assert apart.take(109, np.zeros((1, 1))) == (109, 0.0)


# ---------------------------------------------------------------- what must never cost the recording


class _Failing:
    """Everything goes wrong, from a given hook on."""

    warnings = ("it was a bad day",)

    def __init__(self, hook: str) -> None:
        self._hook = hook

    def _may(self, hook: str) -> None:
        if hook == self._hook:
            raise SourceError(f"{hook} failed")

    def prepare(self, facts: Any) -> None:
        self._may("prepare")

    def take(self, first: int, values: Floats) -> list[Mark]:
        self._may("take")
        return []

    def stop(self) -> None:
        self._may("stop")

    def marks(self, read: Any, rows: int) -> list[Mark]:
        self._may("marks")
        return []


@pytest.mark.parametrize("hook", ("take", "stop", "marks"))
def test_a_test_signal_that_fails_does_not_cost_the_seal(hook: str, tmp_path: Path) -> None:
    outcome = _record(_source(np.zeros(9600), 48_000.0), tmp_path / "a.h5", _Failing(hook))
    assert outcome.sealed
    told = outcome.fault if hook == "take" else outcome.warnings[-1]
    assert f"{hook} failed" in told
    verify_recording(tmp_path / "a.h5")


def test_a_test_signal_that_cannot_be_prepared_leaves_no_file(tmp_path: Path) -> None:
    recorder = RecordingThread(
        _source(np.zeros(9600), 48_000.0), tmp_path / "a.h5", describe, companion=_Failing("prepare")
    )
    recorder.start()
    with pytest.raises(SourceError, match="prepare failed"):
        recorder.outcome()
    assert list(tmp_path.iterdir()) == []
