"""Two clips at one gain: levels, lengths, labels, dither; refused where there is nothing to be heard."""

from __future__ import annotations

import math
import re
import shutil
import subprocess
from pathlib import Path

import numpy as np
import pytest
import soundfile

from capture import RecordedChannel
from job import Job
from report import ComposedReport, ReportError, compose_report, make_files, write_clips
from report._clips import clips
from tests.test_report import CALIBRATION, CONDITIONS, NOISE_RATE, Floats, new_job, record, whine

SECONDS, LEVEL_V, LEFT_V = 6.0, 3.1e-3, 4.7e-5
OFFSET_V, SLOW_V = 1.3, 0.02


def _sound(level_v: float, seed: int, seconds: float = SECONDS) -> Floats:
    """The whine of the other tests on a DC-coupled input: with an offset, and swaying slowly."""
    values = whine(level_v, 2e-5, seed, seconds)
    return values + OFFSET_V + SLOW_V * np.sin(2 * np.pi * 0.4 * np.arange(len(values)) / NOISE_RATE)


def noisy_job(
    folder: Path, lengths: tuple[float, float] = (SECONDS, SECONDS + 1), role: str = "signal@rear seat"
) -> Job:
    """A pair whose noise is known."""
    job = new_job(folder)
    channel = RecordedChannel(name="in", role=role, unit="V", coupling="DC", calibration=CALIBRATION)
    job = record(job, "as found", {role: _sound(LEVEL_V, 1, lengths[0])}, inputs=(channel,))
    return record(job, "as left", {role: _sound(LEFT_V, 2, lengths[1])}, inputs=(channel,))


@pytest.fixture(scope="module")
def report(tmp_path_factory: pytest.TempPathFactory) -> ComposedReport:
    """Its report."""
    return compose_report(noisy_job(tmp_path_factory.mktemp("clips") / "van").folder)


@pytest.fixture(scope="module")
def files(report: ComposedReport, tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """The clips by side and kind."""
    written = write_clips(report, tmp_path_factory.mktemp("heard") / "listen")
    return {f"{path.name.partition('-')[0]}{path.suffix}": path for path in written}


def _gain_db(path: Path) -> int:
    found = re.search(r"gain([+-]\d+)dB", path.name)
    assert found
    return int(found[1])


def test_four_files_named_by_side_place_and_gain(files: dict[str, Path]) -> None:
    assert set(files) == {"before.wav", "before.flac", "after.wav", "after.flac"}
    gains = {_gain_db(path) for path in files.values()}
    assert len(gains) == 1
    assert files["before.wav"].name == f"before-signal-rear-seat-gain{gains.pop():+d}dB.wav"


def test_one_gain_brings_both_from_volts_to_full_scale(files: dict[str, Path]) -> None:
    """The line that was put in, fitted by least squares at its frequency (closed form), stands in both at that gain."""
    gain = 10 ** (_gain_db(files["before.wav"]) / 20)
    for side, level in (("before", LEVEL_V), ("after", LEFT_V)):
        sound, rate = soundfile.read(files[f"{side}.wav"])
        middle = sound[rate // 2 : -rate // 2]
        time = np.arange(len(middle)) / rate
        waves = np.column_stack([np.sin(2 * np.pi * 413.37 * time), np.cos(2 * np.pi * 413.37 * time)])
        rms = float(np.hypot(*np.linalg.lstsq(waves, middle, rcond=None)[0])) / math.sqrt(2)
        # The high pass takes 0.3 ppm at 413 Hz; noise and dither 2e-5 V over 40 000 samples.
        assert rms == pytest.approx(level * gain, rel=2e-2 if side == "after" else 1e-3)


def test_another_program_measures_peak_length_and_dc(files: dict[str, Path]) -> None:
    if shutil.which("sox") is None:
        pytest.skip("sox is not installed")
    peaks = []
    for path in files.values():
        shown = subprocess.run(["sox", str(path), "-n", "stats"], check=True, capture_output=True, text=True).stderr
        told = {line[:12].strip(): line[12:].split()[0] for line in shown.splitlines() if len(line) > 13}
        peaks.append(float(told["Pk lev dB"]))
        # The offset of 1.3 V would be a hundred full scales, the slow sway two.
        assert abs(float(told["DC offset"])) < 3e-3
        assert float(told["Length s"]) == pytest.approx(SECONDS, abs=1e-3)
        assert told["Bit-depth"].endswith("/16")
    # Whole dB: the louder one comes to within one of the limit, and not above.
    assert -4.1 < max(peaks) <= -3.0


def _rms_db(program: str, path: Path) -> float:
    """Re full scale of a sine (ffmpeg) or of the number range (sox): for differences only."""
    if shutil.which(program) is None:
        pytest.skip(f"{program} is not installed")
    measure = ["ffmpeg", "-hide_banner", "-i", path, "-af", "astats=measure_perchannel=none", "-f", "null", "-"]
    command = ["sox", path, "-n", "stats"] if program == "sox" else measure
    told = subprocess.run(command, check=True, capture_output=True, text=True).stderr
    return float(re.findall(r"RMS lev(?:el)? dB:?\s+(-[\d.]+)", told)[0])


@pytest.mark.parametrize("program", ["sox", "ffmpeg"])
@pytest.mark.parametrize("kind", ["wav", "flac"])
def test_what_is_heard_changed_as_the_report_says(
    program: str, kind: str, files: dict[str, Path], report: ComposedReport
) -> None:
    """The change in level that another program measures is that of the noise figure: one gain, and nothing squeezed."""
    assert report.contents is not None
    [sheet] = report.contents.comparisons
    assert sheet.comparison is not None
    [change] = [one for one in sheet.comparison.changes if one.quantity == "noise_rms"]
    before, after = (_rms_db(program, files[f"{side}.{kind}"]) for side in ("before", "after"))
    # Six of six and of seven seconds: the noise's own scatter is 0.02 dB, the printed hundredth 0.01.
    assert after - before == pytest.approx(20 * math.log10(change.after / change.before), abs=0.05)
    assert before - after > 30


def test_wav_and_flac_hold_the_same_samples(files: dict[str, Path]) -> None:
    for side in ("before", "after"):
        wav, flac = (soundfile.read(files[f"{side}.{kind}"], dtype="int16") for kind in ("wav", "flac"))
        assert wav[1] == flac[1] == NOISE_RATE
        assert np.array_equal(wav[0], flac[0])


def test_the_dither_is_triangular_and_one_step_either_way() -> None:
    """Silence with it: values -1, 0, 1 with 1/8, 3/4, 1/8 (the triangle's areas beyond half a step), mean 0."""
    from report._clips import _dithered

    counts = np.round(_dithered(np.zeros(200_000), 1) * 2**15).astype(int)
    shares = [float(np.mean(counts == value)) for value in (-1, 0, 1)]
    assert shares == pytest.approx([0.125, 0.75, 0.125], abs=0.004)
    assert sum(shares) == 1.0
    # A tone of a third of a step, which plain rounding would lose, is still there.
    tone = np.sin(2 * np.pi * 0.0123 * np.arange(200_000)) / 3
    back = _dithered(tone / 2**15, 2) * 2**15
    assert float(np.dot(back, tone) / np.dot(tone, tone)) == pytest.approx(1.0, abs=0.05)


def test_labels_say_what_was_done(files: dict[str, Path]) -> None:
    gain = _gain_db(files["before.wav"])
    for name, path in files.items():
        with soundfile.SoundFile(path) as file:
            title, comment = file.title, file.comment
        side = name.partition(".")[0].capitalize()
        assert title == f"{side} at the amplifier's input (rear seat), gain {gain:+d} dB"
        assert f"One gain for both clips: {gain:+d} dB re full scale per V." in comment
        assert "Below 10 Hz, DC included, taken out." in comment
        assert "dither" in comment


def test_they_are_the_same_every_time(report: ComposedReport, files: dict[str, Path], tmp_path: Path) -> None:
    again = write_clips(report, tmp_path / "again")
    assert {path.read_bytes() for path in again} == {path.read_bytes() for path in files.values()}


def test_simulated_sounds_say_so(tmp_path: Path) -> None:
    job = new_job(tmp_path / "job")
    for state, level in (("as found", 1e-3), ("as left", 1e-4)):
        job = record(job, state, {"speaker": whine(level, 2e-5, 1, 5.5)}, simulated=True)  # type: ignore[arg-type]
    [first, *_] = write_clips(compose_report(job.folder), tmp_path / "listen")
    assert "SIMULATED" in first.name
    with soundfile.SoundFile(first) as file:
        assert file.title.startswith("SIMULATED. ")
        assert file.comment.startswith("SIMULATED. ")


def test_no_longer_than_a_quarter_of_a_minute_and_at_a_rate_that_plays(tmp_path: Path) -> None:
    job = new_job(tmp_path / "job")
    for state, level in (("as found", 1e-3), ("as left", 1e-4)):
        sound = whine(level, 2e-5, 1, 17.0)[::2]
        job = record(job, state, {"signal": sound}, rate=NOISE_RATE / 2)  # type: ignore[arg-type]
    for path in write_clips(compose_report(job.folder), tmp_path / "listen"):
        told = soundfile.info(path)
        assert (told.samplerate, told.frames) == (48_000, 15 * 48_000)


def _refused(report: ComposedReport, words: str) -> None:
    assert report.contents is not None
    with pytest.raises(ReportError) as caught:
        clips(report.job, report.contents)
    assert words in str(caught.value)
    assert "\n" not in str(caught.value)


def test_what_cannot_be_heard_is_refused(tmp_path: Path) -> None:
    one_sided = record(new_job(tmp_path / "one"), "as found", {"signal": whine(1e-3, 2e-5, 1)})
    _refused(compose_report(one_sided.folder), "no pair of recordings as found and as left")
    _refused(compose_report(noisy_job(tmp_path / "short", (SECONDS, 4.0)).folder), "has no 5 s without a gap")
    _refused(compose_report(noisy_job(tmp_path / "role", role="").folder), "no pair has a channel with noise")
    job = record(new_job(tmp_path / "speed"), "as found", {"signal": whine(1e-3, 2e-5, 1, SECONDS)})
    faster = CONDITIONS.model_copy(update={"engine_rpm": 2000.0})
    record(job, "as left", {"signal": whine(1e-4, 2e-5, 2, SECONDS)}, conditions=faster)
    _refused(compose_report(job.folder), "is comparable")


def test_a_refusal_leaves_nothing_behind(tmp_path: Path) -> None:
    job = noisy_job(tmp_path / "job", (4.0, 4.0))
    with pytest.raises(ReportError):
        make_files(job.folder, tmp_path / "a.pdf", csv=tmp_path / "a.csv", clips=tmp_path / "listen")
    (tmp_path / "taken").touch()
    with pytest.raises(ReportError, match="is a file"):
        make_files(job.folder, tmp_path / "a.pdf", clips=tmp_path / "taken")
    assert {path.name for path in tmp_path.iterdir()} == {"job", "taken"}


@pytest.mark.parametrize("foreign", ["a song of somebody", "no sound at all"])
def test_what_is_no_clip_of_ours_is_left_alone(report: ComposedReport, tmp_path: Path, foreign: str) -> None:
    first = write_clips(report, tmp_path / "listen")
    # Our own may be made again.
    assert write_clips(report, tmp_path / "listen") == first
    if foreign == "a song of somebody":
        soundfile.write(first[1], np.zeros(100), 8000)
    else:
        first[1].write_text("kept", encoding="utf-8")
    before = {path: path.read_bytes() for path in first}
    with pytest.raises(ReportError, match="exists and is no clip of humproof's; it is left alone"):
        write_clips(report, tmp_path / "listen")
    assert {path: path.read_bytes() for path in sorted((tmp_path / "listen").iterdir())} == before
