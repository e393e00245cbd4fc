"""sox and ffmpeg agree with our peak, rms and dc of WAV files; the files are made by sox or by seeded numpy."""

from __future__ import annotations

import json
import math
import re
import shutil
import subprocess
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
import soundfile

from tests.support import call_humproof

#: dc this small is compared as a share of full scale: of a thousandth of a step no ratio is worth anything
SMALL_DC = 1e-6
LIMIT_DB = 0.01


@dataclass(frozen=True)
class Reading:
    """Peak and rms as shares of full scale, and the mean with its sign."""

    peak: float
    rms: float
    dc: float


def _run(*command: str | Path) -> str:
    """Run a referee, skipping where it is not installed; what it prints on either stream."""
    if shutil.which(str(command[0])) is None:
        pytest.skip(f"{command[0]} is not installed")
    done = subprocess.run(list(map(str, command)), capture_output=True, text=True, timeout=60, check=False)
    assert done.returncode == 0, done.stderr
    return done.stdout + done.stderr


def _number(pattern: str, text: str) -> float:
    found = re.search(pattern, text)
    assert found, f"no {pattern} in:\n{text}"
    return float(found[1])


def _by_sox(path: Path, channel: int) -> Reading:
    """`stat` tells shares of full scale to six places, which is finer than the two of `stats` in dB."""
    stat = _run("sox", path, "-n", "remix", str(channel + 1), "stat")
    ends = [_number(rf"{end} amplitude: +(\S+)", stat) for end in ("Maximum", "Minimum")]
    return Reading(
        peak=max(map(abs, ends)),
        rms=_number(r"RMS +amplitude: +(\S+)", stat),
        dc=_number(r"Mean +amplitude: +(\S+)", stat),
    )


def _by_ffmpeg(path: Path, channel: int) -> Reading:
    astats = _run("ffmpeg", "-hide_banner", "-nostats", "-i", path, "-af", "astats", "-f", "null", "-")
    part = astats.split("Channel: ")[channel + 1].split("Overall")[0]
    return Reading(
        peak=10 ** (_number(r"Peak level dB: (\S+)", part) / 20),
        rms=10 ** (_number(r"RMS level dB: (\S+)", part) / 20),
        dc=_number(r"DC offset: (\S+)", part),
    )


def _by_us(path: Path, channel: int) -> Reading:
    options = ["--channel", f"{channel}=signal", "--coupling", f"{channel}=DC", "--json"]
    told = json.loads(call_humproof("analyse", path, *options, check=True).stdout)
    name = told["recording"]["channels"][channel]["name"]
    values = {f["quantity"]: f["value"] for f in told["figures"] if f["channel"] == name}
    assert {f["unit"] for f in told["figures"] if f["channel"] == name} == {"FS"}
    return Reading(values["peak"], values["rms"], values["dc"])


# ---------------------------------------------------------------- the files


def _sixteen_bit(path: Path) -> None:
    _run("sox", "-R", "-n", "-r", "44100", "-b", "16", "-c", "1", path, "synth", "2.3", "sine", "997", "vol", "0.61")


def _twenty_four_bit(path: Path) -> None:
    """A sweep between pink noise: nothing that repeats."""
    chain = ["synth", "3", "pinknoise", "synth", "3", "sine", "mix", "50-900", "vol", "0.07"]
    _run("sox", "-R", "-n", "-r", "48000", "-b", "24", "-c", "1", path, *chain)


def _float(path: Path) -> None:
    samples = np.random.default_rng(11).laplace(0.003, 0.02, 90_001)
    samples[77_777] = -0.987
    soundfile.write(path, samples.astype(np.float32), 96_000, subtype="FLOAT")


def _two_channels(path: Path) -> None:
    """The channels differ in level and shape, so that a swap would show."""
    chain = ["synth", "1.7", "square", "61.3", "sine", "3150", "remix", "-m", "1v0.3", "2v0.0123"]
    _run("sox", "-R", "-n", "-r", "32000", "-b", "16", "-c", "2", path, *chain)


def _with_offset(path: Path) -> None:
    place = np.arange(50_000) / 22_050
    samples = -0.2137 + 0.31 * np.exp(-((place % 0.1) / 0.01)) + 0.05 * np.sin(2 * np.pi * 123.4 * place)
    soundfile.write(path, samples, 22_050, subtype="PCM_16")


FILES: dict[str, tuple[Callable[[Path], None], int, str]] = {
    "16 bit": (_sixteen_bit, 1, "PCM_16"),
    "24 bit": (_twenty_four_bit, 1, "PCM_24"),
    "32 bit float": (_float, 1, "FLOAT"),
    "two channels": (_two_channels, 2, "PCM_16"),
    "with offset": (_with_offset, 1, "PCM_16"),
}


def _made(kind: str, folder: Path) -> tuple[Path, int]:
    """The file, and how many channels it has; it must be what its name says."""
    make, channels, subtype = FILES[kind]
    path = folder / f"{kind.replace(' ', '-')}.wav"
    make(path)
    facts = soundfile.info(path)
    assert (facts.channels, facts.subtype) == (channels, subtype)
    return path, channels


@pytest.mark.parametrize("referee", [_by_sox, _by_ffmpeg], ids=["sox", "ffmpeg"])
@pytest.mark.parametrize("kind", FILES)
def test_levels_agree(kind: str, referee: Callable[[Path, int], Reading], tmp_path: Path) -> None:
    path, channels = _made(kind, tmp_path)
    for channel in range(channels):
        ours, theirs = _by_us(path, channel), referee(path, channel)
        for quantity in ("peak", "rms"):
            off_db = 20 * math.log10(getattr(ours, quantity) / getattr(theirs, quantity))
            print(f"{kind}, channel {channel}, {quantity}: {off_db:+.6f} dB")
            assert abs(off_db) < LIMIT_DB, (channel, quantity, ours, theirs)
        print(f"{kind}, channel {channel}, dc: {ours.dc:+.7f} against {theirs.dc:+.7f}")
        _assert_same_dc(ours.dc, theirs.dc)


def _assert_same_dc(ours: float, theirs: float) -> None:
    """Within 0.01 dB, sign included; a tiny one within a millionth of full scale."""
    if abs(ours - theirs) <= SMALL_DC:
        return
    assert ours * theirs > 0, (ours, theirs)
    assert abs(20 * math.log10(ours / theirs)) < LIMIT_DB, (ours, theirs)


def test_the_offset_is_large_enough_to_be_judged(tmp_path: Path) -> None:
    """Else the dc comparisons above would all fall under the millionth."""
    path, _ = _made("with offset", tmp_path)
    assert abs(_by_us(path, 0).dc) > 1000 * SMALL_DC


def test_the_channels_differ(tmp_path: Path) -> None:
    """Else a swap of channels would go unseen."""
    path, _ = _made("two channels", tmp_path)
    first, second = _by_us(path, 0), _by_us(path, 1)
    assert first.rms > 10 * second.rms
    assert first.peak > 10 * second.peak
