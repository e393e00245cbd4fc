"""What is listened to: what the file holds times one gain, before against after; no Qt, and no sound card but one."""

import json
import subprocess
import sys
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from capture import Recording, SamplePlayer, SourceError
from gui._listening import LEAST_DB, LIMIT, MOST_DB, START_DB, Piece, Stretches, read_stretches
from gui._listening_controller import ListenController
from gui._load import Library
from gui._noise_choices import noise_takes
from gui._noise_shelf import Shelf
from job import Job
from tests.gui import _jobs, _noise_jobs
from tests.gui._askers import AtOnce, ByHand, Notes
from tests.support import ROOT, NullSink

FADE = 0.02


@pytest.fixture(scope="module")
def pair(tmp_path_factory: pytest.TempPathFactory) -> Job:
    """As found, as left (ten times weaker), and a step. Read only."""
    job = _noise_jobs.take(_jobs.empty_job(tmp_path_factory.mktemp("pair") / "job"), seconds=3.0)
    job = _noise_jobs.take(job, "as left", line_v=_noise_jobs.LINE_V / 10, seconds=2.5, seed=2)
    return _noise_jobs.take(job, step="source muted", line_v=0.0, seconds=2.0, seed=3)


def _quiet(fraction: float, doing: str) -> None:
    """Nobody waits."""


def _values(job: Job, index: int, start: int, stop: int) -> Any:
    with Recording(job.path(job.facts.recordings[index])) as recording:
        return recording.values(start, stop)[:, 1]


def _pieces(job: Job, start_s: float = 0.5, length_s: float = 1.0) -> tuple[Piece, ...]:
    return tuple(Piece(job.path(entry), 1, start_s, length_s) for entry in job.facts.recordings[:2])


# ---------------------------------------------------------------- stretches and their gain


def test_a_stretch_is_what_the_file_holds_without_its_dc(pair):
    found = read_stretches(_pieces(pair), _quiet)
    for index, sound in enumerate(found.sounds):
        own = _values(pair, index, 4_000, 12_000)
        np.testing.assert_allclose(sound, own - own.mean(), rtol=0, atol=1e-15)
    assert (found.rate_hz, found.unit, found.notes) == (8_000.0, "V", ())


def test_one_gain_holds_for_both_and_the_loudest_reaches_the_level(pair):
    found = read_stretches(_pieces(pair), _quiet)
    gain = found.gain(-30.0)
    loudest = max(np.abs(sound).max() for sound in found.sounds)
    assert 20 * np.log10(gain * loudest) == pytest.approx(-30.0)
    assert found.gain(MOST_DB) == found.gain(MOST_DB + 40)
    assert 10 ** (MOST_DB / 20) <= LIMIT + 0.002
    assert f"{20 * np.log10(gain):.1f} dB" in found.gain_words(-30.0)
    assert found.gain_words(-30.0).startswith("One gain for both")


def test_gaps_are_silent_and_said(tmp_path):
    empty, values = _jobs.empty_job(tmp_path / "job"), _jobs.volts(1, sag=1, whine=1e-3)
    job = _jobs.add(empty, "as found", values, _jobs.info(), gap_at=9_000)
    found = read_stretches((Piece(job.path(job.facts.recordings[0]), 2, 1.0, 1.0),), _quiet)
    assert not found.sounds[0][1_000:1_500].any()
    assert found.sounds[0][:900].any()
    assert found.notes == ("gaps are silent",)


def test_silence_has_a_gain_too(pair):
    assert np.isfinite(Stretches((np.zeros(8),), 8_000.0, "V", 1.0).gain(START_DB))


# ---------------------------------------------------------------- the player, driven as a driver does


def _driven(player: SamplePlayer, count: int, block: int = 256) -> Any:
    heard = []
    for _ in range(count // block):
        rows = np.empty((block, 2), np.float32)
        player._give(rows, block, None, None)
        np.testing.assert_array_equal(rows[:, 0], rows[:, 1])
        heard.append(rows[:, 0].copy())
    return np.concatenate(heard)


RATE = 8_000.0


def _sounds(count: int = 4_096) -> tuple[Any, Any]:
    rng = np.random.default_rng(4)
    return rng.standard_normal(count) * 1e-3, rng.standard_normal(count) * 1e-3


def test_what_leaves_is_the_sample_times_the_gain():
    before, after = _sounds()
    heard = _driven(SamplePlayer((before, after), RATE, 20.0), 3_840)
    start = round(FADE * RATE)
    np.testing.assert_allclose(heard[start:], 20.0 * before[start:3_840], atol=1e-8)
    # From silence, without a jump.
    assert abs(heard[0]) < 0.02 * abs(20.0 * before).max()


def test_the_other_one_goes_on_at_the_same_place_without_a_pause():
    before, after = _sounds()
    player = SamplePlayer((before, after), RATE, 20.0)
    first = _driven(player, 1_024)
    player.choose(1)
    second = _driven(player, 1_024)
    fade = round(FADE * RATE)
    np.testing.assert_allclose(second[fade:], 20.0 * after[1_024 + fade : 2_048], atol=1e-8)
    # In between it is a mixture of both, weight by weight.
    weight = np.clip(np.arange(1, fade + 1) / (0.015 * RATE), 0, 1)
    mixed = (1 - weight) * before[1_024 : 1_024 + fade] + weight * after[1_024 : 1_024 + fade]
    np.testing.assert_allclose(second[:fade], 20.0 * mixed, atol=1e-8)
    assert first.any()


def test_a_loop_begins_again_at_its_first_sample():
    before, after = _sounds(2_048)
    heard = _driven(SamplePlayer((before, after), RATE, 20.0), 3 * 2_048)
    seam = round(0.005 * RATE) + 1
    np.testing.assert_allclose(heard[2_048 + seam : 4_096 - seam], 20.0 * before[seam:-seam], atol=1e-8)
    np.testing.assert_allclose(heard[2_048:4_096], heard[4_096:], atol=1e-8)


def test_without_a_loop_it_ends_with_the_last_sample_in_silence():
    before, after = _sounds(1_000)
    player = SamplePlayer((before, after), RATE, 20.0)
    player.loop = False
    heard = _driven(player, 2_048)
    assert heard[990:1_000].any()
    assert not heard[1_000:].any()


def test_stop_fades_out():
    player = SamplePlayer(_sounds(), RATE, 20.0)
    _driven(player, 512)
    player.stop()
    heard = _driven(player, 512)
    assert heard[:40].any()
    assert not heard[round(FADE * RATE) :].any()


def test_nothing_is_louder_than_the_limit_whatever_the_gain():
    player = SamplePlayer(_sounds(), RATE, 20.0, limit=0.25)
    player.set_gain(1e6)
    heard = _driven(player, 2_048)
    assert np.abs(heard).max() == pytest.approx(0.25)


def test_a_new_gain_comes_within_a_fade():
    before, after = _sounds()
    player = SamplePlayer((before, after), RATE, 20.0)
    _driven(player, 512)
    player.set_gain(40.0)
    heard = _driven(player, 512)
    fade = round(FADE * RATE)
    np.testing.assert_allclose(heard[fade:], 40.0 * before[512 + fade : 1_024], atol=1e-8)


def test_stretches_of_different_lengths_are_refused():
    with pytest.raises(SourceError, match="of one length"):
        SamplePlayer((np.zeros(3), np.zeros(4)), RATE, 1.0)


# ---------------------------------------------------------------- through a sound card


def test_the_null_sink_hears_what_the_file_holds_times_the_gain(null_sink: NullSink, tmp_path: Path):
    """Recorded by the sound server's own recorder: float32 at the sink's rate comes through bit for bit."""
    command = [sys.executable, "-m", "tests.gui.listen_driver", str(tmp_path)]
    with (tmp_path / "heard.raw").open("wb") as heard:
        parec = ["parec", "--device=null.monitor", "--format=float32le", "--rate=96000", "--channels=2", "--raw"]
        recorder = subprocess.Popen(parec, env=null_sink.environment, stdout=heard)
        try:
            null_sink.wait_until_recorded()
            done = subprocess.run(
                command, cwd=ROOT, env=null_sink.environment, capture_output=True, text=True, timeout=60
            )
        finally:
            recorder.terminate()
            recorder.wait()
    assert done.returncode == 0, done.stderr
    told = json.loads((tmp_path / "told.json").read_text())
    rows = np.fromfile(tmp_path / "heard.raw", np.float32)
    rows = rows[: len(rows) // 2 * 2].reshape(-1, 2)
    np.testing.assert_array_equal(rows[:, 0], rows[:, 1])
    for index in (0, 1):
        with Recording(tmp_path / f"{index}.h5") as recording:
            values = recording.values(*told["rows"])[:, 0]
        wanted = (values - values.mean()) * told["gain"]
        # In one piece of its loop, away from its seam, it is heard as it is.
        piece = wanted[4_000:9_000].astype(np.float32)
        starts = np.flatnonzero(np.abs(rows[: len(rows) - 5_000, 0] - piece[0]) < 2e-7)
        errors = [np.abs(rows[start : start + 5_000, 0] - piece).max() for start in starts]
        assert min(errors, default=1.0) < 3e-7, f"stretch {index} was not heard"


# ---------------------------------------------------------------- the controller


class FakePlayer:
    """Notes what is asked of it."""

    def __init__(self, stretches: Stretches, gain: float) -> None:
        self.stretches, self.gain, self.asked = stretches, gain, list[Any]()
        self.loop, self.rate_hz, self.done, self.place_s = True, stretches.rate_hz, False, 0.25

    def __getattr__(self, name: str) -> Any:
        return lambda *facts: self.asked.append((name, *facts))


class Desk:
    def __init__(self, job: Job, asker: Any = None, make: Any = None) -> None:
        self.view, self.asker, self.players = Notes(), asker or AtOnce(), list[FakePlayer]()
        self.controller = ListenController(
            self.view, self.asker, AtOnce(), Shelf(Library()), make or (lambda *facts: self._made(*facts))
        )
        opened = _noise_jobs.opened(job)
        self.controller.put(opened, noise_takes(opened))
        self.controller.entered()

    def _made(self, stretches: Stretches, gain: float) -> FakePlayer:
        self.players.append(FakePlayer(stretches, gain))
        return self.players[-1]

    @property
    def shown(self) -> Any:
        return self.view.last("show_listening")


def test_before_is_set_against_the_same_step_as_left(pair):
    shown = Desk(pair).shown
    assert shown.befores[shown.before].label.startswith("as found: baseline")
    assert shown.afters[shown.after].label.startswith("as left: baseline")
    assert shown.taps[shown.tap] == "amplifier input"
    assert (shown.start_s, shown.length_s, shown.duration_s) == (0.0, 2.5, 2.5)
    assert (shown.level_db, shown.playing) == (START_DB, False)


def test_it_starts_low_and_both_have_the_same_gain(pair):
    desk = Desk(pair)
    desk.controller.play_or_stop()
    player = desk.players[0]
    assert 20 * np.log10(player.gain * player.stretches.peak) == pytest.approx(START_DB)
    assert len(player.stretches.sounds) == 2
    assert desk.shown.playing
    assert "One gain for both" in desk.shown.told
    desk.controller.toggle()
    assert player.asked[-1] == ("choose", 1)
    assert desk.shown.hearing == 1
    desk.controller.set_level(99.0)
    assert desk.shown.level_db == MOST_DB
    assert player.asked[-1] == ("set_gain", player.stretches.gain(MOST_DB))
    desk.controller.set_level(-999.0)
    assert desk.shown.level_db == LEAST_DB


def test_another_stretch_or_recording_is_silent_first(pair):
    desk = Desk(pair)
    changes = (
        lambda c: c.set_stretch(0.5, 1.0),
        lambda c: c.set_after(0),
        lambda c: c.set_before(1),
        lambda c: c.set_tap(1),
    )
    for change in changes:
        desk.controller.play()
        change(desk.controller)
        assert ("close",) in desk.players[-1].asked
        assert not desk.shown.playing


def test_a_stretch_stays_within_what_both_have(pair):
    desk = Desk(pair)
    desk.controller.set_stretch(2.2, 9.0)
    assert (desk.shown.start_s, desk.shown.length_s) == (0.0, 2.5)
    desk.controller.set_stretch(2.4, 0.5)
    assert (desk.shown.start_s, desk.shown.length_s) == (2.0, 0.5)
    desk.controller.set_after(0)
    assert desk.shown.duration_s == 3.0


def test_a_device_that_opens_too_late_is_closed_again(pair):
    desk = Desk(pair, ByHand())
    desk.controller.play()
    work = desk.asker.asked[0][0]
    desk.controller.stop()
    work(_quiet)
    assert desk.players[0].asked == [("prepare",), ("close",)]
    assert not desk.controller.playing


def test_no_sound_card_is_one_sentence(pair):
    def refuse(stretches: Stretches, gain: float) -> Any:
        raise SourceError("sound-card: no device that can play is connected; plug one in and try again")

    desk = Desk(pair, make=refuse)
    desk.controller.play()
    assert desk.shown.trouble
    assert not desk.shown.playing
    assert desk.shown.told.startswith("No sound: sound-card: no device")


def test_the_end_is_seen_by_polling(pair):
    desk = Desk(pair)
    desk.controller.play()
    desk.controller.poll()
    assert desk.view.last("show_place") == 0.25
    desk.players[0].done = True
    desk.controller.poll()
    assert not desk.shown.playing
    assert desk.view.last("show_place") is None


def test_a_rate_that_the_card_does_not_know_is_said(pair):
    def other(stretches: Stretches, gain: float) -> Any:
        made = FakePlayer(stretches, gain)
        made.rate_hz = 48_000.0
        return made

    desk = Desk(pair, make=other)
    desk.controller.play()
    assert "resampled to 48,000 Hz" in desk.shown.told


def test_an_unknown_rate_is_resampled_by_the_player(monkeypatch):
    """A sine stays the sine that it is, at the rate of the card."""
    error = type("PortAudioError", (Exception,), {})

    def refuse(**facts: Any) -> None:
        raise error("invalid sample rate")

    library = SimpleNamespace(PortAudioError=error, check_output_settings=refuse)
    time = np.arange(8_000) / 8_000
    player = SamplePlayer((np.sin(2 * np.pi * 440 * time),), 8_000.0, 1.0)
    player._fit_rate(library, 0, 2, 44_100.0)
    assert player.rate_hz == 44_100.0
    own = player._sounds[0][4_000:-4_000]
    truth = np.sin(2 * np.pi * 440 * (4_000 + np.arange(len(own))) / 44_100)
    assert np.abs(own - truth).max() < 5e-3
