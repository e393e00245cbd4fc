"""Damaged and hostile files: each is refused in one line that names it, and nothing in it is run or followed."""

from __future__ import annotations

import json
import math
import os
import pickle
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import h5py
import numpy as np
import pytest

import capture._recording._layout as file_room
from capture import (
    Gap,
    Mark,
    Recording,
    RecordingError,
    RecordingWriter,
    file_sha256,
    recover_recording,
    verify_recording,
)
from tests.capture.making import info, put, ramp, write
from tests.support import ROOT, run_humproof

Change = Callable[[h5py.File], None]
TEXT = h5py.string_dtype()
GAP = np.dtype([("first", "<i8"), ("length", "<i8"), ("channel", "<i4"), ("cause", TEXT)])
#: rows that a file claims and does not hold: 10^12 would take years to read and fill any memory
VAST = 10**12


def _good(path: Path) -> Path:
    return write(path, [ramp(0, 3000), Gap(3000, 500, "lost"), Mark(5, "burst 50 Hz", 9), ramp(3500, 100)])


def _unfinished(path: Path) -> Path:
    writer = RecordingWriter(path, info(), "<i2")
    for item in (ramp(0, 3000), Gap(3000, 500, "lost"), Mark(5, "burst 50 Hz", 9), ramp(3500, 100)):
        put(writer, item)
    writer.flush()
    writer.abandon()
    return path


def _read_all(path: Path) -> None:
    with Recording(path) as recording:
        for _ in recording.blocks(1000):
            pass
        recording.overview()


def _assert_refused(ask: Callable[[Path], Any], path: Path) -> str:
    with pytest.raises(RecordingError) as caught:
        ask(path)
    text = str(caught.value)
    assert text.startswith(f"{path}: "), text
    assert text.isprintable(), text  # so it is one line, and no terminal obeys it
    assert len(text) < 600, text
    return text


# ---------------------------------------------------------------- what stands in the file cannot be


def _set(**attributes: Any) -> Change:
    return lambda file: file.attrs.update(attributes)


def _without(name: str) -> Change:
    return lambda file: file.attrs.__delitem__(name)


def _instead(name: str, **made: Any) -> Change:
    def change(file: h5py.File) -> None:
        del file[name]
        file.create_dataset(name, **made)

    return change


def _dropped(name: str) -> Change:
    return lambda file: file.__delitem__(name)


def _metadata(**facts: str) -> Change:
    """Facts as they are to stand in the JSON text."""

    def change(file: h5py.File) -> None:
        known = {key: json.dumps(value) for key, value in json.loads(file["metadata"][()]).items()}
        text = ",".join(f'"{key}":{value}' for key, value in (known | facts).items())
        _instead("metadata", data="{" + text + "}", dtype=TEXT)(file)

    return change


def _row(name: str, row: tuple[Any, ...]) -> Change:
    def change(file: h5py.File) -> None:
        file[name].resize(len(file[name]) + 1, axis=0)
        file[name][-1] = row

    return change


def _grown(shape: tuple[int, ...], dtype: Any, **more: Any) -> dict[str, Any]:
    return {"shape": shape, "dtype": dtype, "maxshape": (None, *shape[1:]), **more}


def _with_frames(frames: int, change: Change) -> Change:
    def both(file: h5py.File) -> None:
        change(file)
        file.attrs["frames"] = frames

    return both


_TWO_CHANNELS = '[{{"name":"a",{0}}},{{"name":"b"}}]'
IMPOSSIBLE: dict[str, Change] = {
    "no format": _without("format"),
    "another format": _set(format="somebody-else's"),
    "format is a table": _set(format=[1, 2]),
    "no version": _without("format_version"),
    "version of two lines": _set(format_version="2\n\x1b[31m3"),
    "no frames": _without("frames"),
    "frames NaN": _set(frames=math.nan),
    "frames infinite": _set(frames=math.inf),
    "frames a word": _set(frames="many"),
    "frames a table": _set(frames=[3600, 3600]),
    "frames negative": _set(frames=-1),
    "frames too many": _set(frames=3601),
    "frames vast": _set(frames=2**62),
    "no word of its end": _without("complete"),
    "its end is a table": _set(complete=[True, False]),
    "no seal": _without("seal"),
    "the seal is a number": _set(seal=12),
    "no measured rate": _without("rate_measured_hz"),
    "measured rate a word": _set(rate_measured_hz="fast"),
    "measured rate a table": _set(rate_measured_uncertainty_hz=[1.0, 2.0]),
    "no samples": _dropped("samples"),
    "samples are a group": lambda file: (_dropped("samples")(file), file.create_group("samples"))[0],
    "half-precision samples": _instead("samples", **_grown((3600, 2), "<f2", chunks=(256, 2))),
    "big-endian samples": _instead("samples", **_grown((3600, 2), ">i2", chunks=(256, 2))),
    "text samples": _instead("samples", **_grown((3600, 2), TEXT, chunks=(256, 2))),
    "compound samples": _instead("samples", **_grown((3600, 2), [("a", "<i2")], chunks=(256, 2))),
    "one channel too few": _instead("samples", **_grown((3600, 1), "<i2", chunks=(256, 1))),
    "samples without channels": _instead("samples", **_grown((3600,), "<i2", chunks=(256,))),
    "samples of three dimensions": _instead("samples", **_grown((3600, 2, 1), "<i2", chunks=(256, 2, 1))),
    "one sample": _instead("samples", data=np.int16(3)),
    "no sample space": _instead("samples", data=h5py.Empty("<i2")),
    "samples in one piece": _instead("samples", data=np.zeros((3600, 2), "<i2")),
    "samples that were never stored": _instead("samples", **_grown((3600, 2), "<i2", chunks=(256, 2))),
    "years of silence": _with_frames(VAST, _instead("samples", **_grown((VAST, 2), "<i2", chunks=(65536, 2)))),
    "chunks that fill the memory": _instead("samples", **_grown((3600, 2), "<i2", chunks=(2**28, 2))),
    "no metadata": _dropped("metadata"),
    "metadata are garbage": _instead("metadata", data="}{\n\x07", dtype=TEXT),
    "metadata are empty": _instead("metadata", data="", dtype=TEXT),
    "metadata are nothing": _instead("metadata", data=h5py.Empty(TEXT)),
    "metadata are a list": _instead("metadata", data="[1]", dtype=TEXT),
    "metadata are a number": _instead("metadata", data=7.0),
    "metadata are a table": _instead("metadata", data=np.array(["{}", "{}"], object), dtype=TEXT),
    "metadata are not UTF-8": _instead("metadata", data=b'{"software":"\xff\xfe"}', dtype=TEXT),
    "metadata nest deeply": _instead("metadata", data='{"a":' + "[" * 10**6, dtype=TEXT),
    "metadata are huge": _instead("metadata", data='{"software":"' + "x" * 10**7 + '"}', dtype=TEXT),
    "metadata claim 2 GB": _instead("metadata", shape=(), dtype="S2000000000"),
    "metadata claim 1 TB": _instead("metadata", shape=(VAST,), dtype="u1", chunks=(1024,)),
    "rate NaN": _metadata(rate_hz="NaN"),
    "rate infinite": _metadata(rate_hz="Infinity"),
    "rate too large": _metadata(rate_hz="1e999"),
    "rate zero": _metadata(rate_hz="0"),
    "rate negative": _metadata(rate_hz="-48000"),
    "rate a list": _metadata(rate_hz="[1000]"),
    "start in no year": _metadata(start_utc='"99999-13-41"'),
    "no channels": _metadata(channels="[]"),
    "channels of one name": _metadata(channels='[{"name":"a"},{"name":"a"}]'),
    "three channels named, two there": _metadata(channels='[{"name":"a"},{"name":"b"},{"name":"c"}]'),
    "scale NaN": _metadata(channels=_TWO_CHANNELS.format('"scale":NaN')),
    "scale zero": _metadata(channels=_TWO_CHANNELS.format('"scale":0')),
    "offset infinite": _metadata(channels=_TWO_CHANNELS.format('"offset":-Infinity')),
    "role of two lines": _metadata(channels=_TWO_CHANNELS.format('"role":"sup\\nply\\u001b[2J"')),
    "unit unknown": _metadata(channels=_TWO_CHANNELS.format('"unit":"furlong"')),
    "simulated maybe": _metadata(simulated='"maybe"'),
    "a name of a megabyte": _metadata(channels=_TWO_CHANNELS.format(f'"role":"{"y" * 10**6}"')),
    "no gaps": _dropped("gaps"),
    "gaps are numbers": _instead("gaps", data=np.zeros(3)),
    "gaps' causes are numbers": _instead("gaps", **_grown((3,), [*GAP.descr[:3], ("cause", "<i4")])),
    "gaps' places are fractions": _instead(
        "gaps", **_grown((3,), [("first", "<f8"), *GAP.descr[1:3], ("cause", TEXT)])
    ),
    "gaps claim 2 TB": _instead("gaps", **_grown((VAST,), GAP, chunks=(1024,))),
    "gap before the start": _row("gaps", (-3, 10, -1, "x")),
    "gap of negative length": _row("gaps", (3, -10, -1, "x")),
    "gap of a channel that is not there": _row("gaps", (3, 10, 2, "x")),
    "gap over a gap": _row("gaps", (3499, 10, -1, "x")),
    "no marks": _dropped("marks"),
    "marks are numbers": _instead("marks", data=np.zeros(3)),
    "marks of another shape": _instead("marks", **_grown((3,), [("first", "<i8"), ("text", TEXT)])),
    "mark before the start": _row("marks", (-1, 5, "burst")),
    "mark of negative length": _row("marks", (1, -5, "burst")),
    "no overview": _dropped("overview"),
    "no minimum": _dropped("overview/minimum"),
    "overview of other channels": _instead("overview/minimum", **_grown((15, 3), "<f8", chunks=(64, 3))),
    "overview of words": _instead("overview/maximum", **_grown((15, 2), TEXT, chunks=(64, 2))),
    "overview of complex numbers": _instead("overview/mean_square", **_grown((15, 2), "<c16", chunks=(64, 2))),
    "a coarser level missing": _dropped("overview_coarser/2048"),
    "a coarser level of other channels": _instead("overview_coarser/2048", **_grown((2, 2), "<f8", chunks=(64, 2))),
    "a coarser level of words": _instead("overview_coarser/16384", **_grown((1, 6), TEXT, chunks=(64, 6))),
    "a coarser level that cannot grow": _instead("overview_coarser/16384", data=np.zeros((1, 6))),
    "a coarser level in vast chunks": _instead("overview_coarser/16384", **_grown((1, 6), "<f8", chunks=(1 << 20, 6))),
    "coarser levels of many versions": lambda file: file["overview_coarser"].attrs.update(version=[1, 1]),
}
#: what only a finished file must not say, for `recover` puts it right or does not need it
UNFINISHED: dict[str, Change] = {
    "fewer frames than rows": _set(frames=100),
    "gap over the end": _row("gaps", (3599, 2, -1, "x")),
    "gap far behind the end": _row("gaps", (2**62, 2**61, -1, "x")),
    "a channel's gap over the end": _row("gaps", (3599, 2, 1, "x")),
    "overview too short": lambda file: file["overview/minimum"].resize(14, axis=0),
    "overview claims 16 TB": _instead("overview/minimum", **_grown((VAST, 2), "<f8", chunks=(1024, 2))),
}


@pytest.mark.parametrize("change", [*IMPOSSIBLE.values(), *UNFINISHED.values()], ids=[*IMPOSSIBLE, *UNFINISHED])
def test_an_impossible_recording_is_refused_in_one_line(change: Change, tmp_path: Path) -> None:
    path = _good(tmp_path / "a.h5")
    with h5py.File(path, "r+") as file:
        change(file)
    for ask in (_read_all, verify_recording):
        _assert_refused(ask, path)


@pytest.mark.parametrize("change", IMPOSSIBLE.values(), ids=IMPOSSIBLE.keys())
def test_an_impossible_recording_is_not_recovered_and_stays_as_it_is(change: Change, tmp_path: Path) -> None:
    path = _unfinished(tmp_path / "a.h5")
    with h5py.File(path, "r+") as file:
        change(file)
    before = file_sha256(path)
    _assert_refused(recover_recording, path)
    assert file_sha256(path) == before


# ---------------------------------------------------------------- what lies outside the file is not looked at


def _external_storage(file: h5py.File) -> None:
    secret = Path(file.filename).with_name("secret")
    secret.write_bytes(bytes(3600 * 4))
    del file["samples"]
    file.create_dataset("samples", (3600, 2), "<i2", external=[(str(secret), 0, h5py.h5f.UNLIMITED)])


def _virtual(file: h5py.File) -> None:
    other = _good(Path(file.filename).with_name("other.h5"))
    layout = h5py.VirtualLayout((3600, 2), "<i2", maxshape=(None, 2))
    layout[:] = h5py.VirtualSource(other, "samples", (3600, 2))
    del file["samples"]
    file.create_virtual_dataset("samples", layout)


def _external_link(name: str) -> Change:
    def change(file: h5py.File) -> None:
        other = _good(Path(file.filename).with_name("other.h5"))
        del file[name]
        file[name] = h5py.ExternalLink(str(other), f"/{name}")

    return change


def _soft_link(target: str) -> Change:
    def change(file: h5py.File) -> None:
        file.move("samples", "elsewhere")
        file["samples"] = h5py.SoftLink(target)

    return change


OUTSIDE: dict[str, Change] = {
    "samples in another file": _external_storage,
    "samples of another recording": _virtual,
    "link to another file's samples": _external_link("samples"),
    "link to another file's metadata": _external_link("metadata"),
    "link to another file's gaps": _external_link("gaps"),
    "link to another file's overview": _external_link("overview"),
    "link to another file's coarser levels": _external_link("overview_coarser"),
    "link to a coarser level of another file": _external_link("overview_coarser/2048"),
    "link to another name": _soft_link("/elsewhere"),
    "link that leads to itself": _soft_link("/samples"),
    "link that leads nowhere": _soft_link("/nowhere"),
}


@pytest.mark.parametrize("change", OUTSIDE.values(), ids=OUTSIDE.keys())
def test_a_file_that_leads_elsewhere_is_not_followed(change: Change, tmp_path: Path) -> None:
    path = _good(tmp_path / "a.h5")
    with h5py.File(path, "r+") as file:
        change(file)
    for ask in (_read_all, verify_recording, recover_recording):
        assert "does not lie in the file itself; such files are not read" in _assert_refused(ask, path)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no named pipes")
def test_a_link_is_not_even_opened(tmp_path: Path) -> None:
    # Whoever opens a pipe that nobody writes to waits for ever.
    os.mkfifo(tmp_path / "pipe")
    for name, told in (("overview", "overview/minimum"), ("overview_coarser", "overview_coarser")):
        path = _good(tmp_path / f"{name}.h5")
        with h5py.File(path, "r+") as file:
            del file[name]
            file[name] = h5py.ExternalLink(str(tmp_path / "pipe"), f"/{name}")
        done = run_humproof("verify", path, timeout_s=60)
        assert done.returncode == 1
        assert f"'{told}' does not lie in the file itself" in done.stdout + done.stderr


class _Bomb:
    """Unpickling it makes a file: the sign that something was run."""

    def __init__(self, sign: Path) -> None:
        self._sign = sign

    def __reduce__(self) -> tuple[Any, ...]:
        return Path.touch, (self._sign,)


def test_nothing_is_ever_unpickled(tmp_path: Path) -> None:
    sign = tmp_path / "exploded"
    bomb = pickle.dumps(_Bomb(sign))
    path = _unfinished(tmp_path / "a.h5")
    with h5py.File(path, "r+") as file:
        file.attrs["__pickle__"] = np.void(bomb)
        file["metadata"].attrs["python"] = np.void(bomb)
        file.create_dataset("object", data=np.void(bomb))
        file["gaps"].attrs["cause"] = np.frombuffer(bomb, "u1")
    recover_recording(path)
    verify_recording(path)
    _read_all(path)
    with h5py.File(path, "r+") as file:
        file.attrs["seal"] = np.void(bomb)
        _instead("metadata", data=np.void(bomb))(file)
    _assert_refused(_read_all, path)
    assert not sign.exists()
    pickle.loads(bomb)
    assert sign.exists(), "the bomb is no bomb: this test would prove nothing"


# ---------------------------------------------------------------- files of other kinds, and halves of files


def _text(path: Path) -> None:
    path.write_text("time,volts\n0,12.6\n")


def _of_others(path: Path) -> None:
    with h5py.File(path, "w") as file:
        file.create_dataset("samples", data=np.zeros((100, 2), "<i2"))
        file.attrs["format"] = "something else"


FOREIGN: dict[str, Callable[[Path], object]] = {
    "missing": lambda path: None,
    "empty": Path.touch,
    "a folder": Path.mkdir,
    "text": _text,
    "an image": lambda path: path.write_bytes(b"\x89PNG\r\n\x1a\n" + bytes(500)),
    "only HDF5's first bytes": lambda path: path.write_bytes(b"\x89HDF\r\n\x1a\n"),
    "HDF5's first bytes and zeros": lambda path: path.write_bytes(b"\x89HDF\r\n\x1a\n" + bytes(4096)),
    "HDF5's first bytes and ones": lambda path: path.write_bytes(b"\x89HDF\r\n\x1a\n" + b"\xff" * 4096),
    "HDF5 without anything": lambda path: h5py.File(path, "w").close(),
    "HDF5 of others": _of_others,
}
if hasattr(os, "mkfifo"):
    FOREIGN["a pipe that nobody writes to"] = os.mkfifo


@pytest.mark.parametrize("make", FOREIGN.values(), ids=FOREIGN.keys())
def test_a_file_of_another_kind_is_refused_in_one_line(make: Callable[[Path], object], tmp_path: Path) -> None:
    path = tmp_path / "renamed.h5"
    make(path)
    before = path.read_bytes() if path.is_file() else None
    for ask in (_read_all, verify_recording, recover_recording):
        _assert_refused(ask, path)
    assert before == (path.read_bytes() if path.is_file() else None)


@pytest.mark.parametrize("part", ["sealed", "unfinished"])
def test_a_truncated_file_is_refused_and_stays_as_it_is(part: str, tmp_path: Path) -> None:
    content = (_good if part == "sealed" else _unfinished)(tmp_path / "whole.h5").read_bytes()
    path, generator = tmp_path / "a.h5", np.random.default_rng(3)
    lengths = {1, 7, 8, 9, 47, 48, 95, 96, 97, len(content) - 1, *generator.integers(0, len(content), 40).tolist()}
    for length in sorted(lengths):
        path.write_bytes(content[:length])
        _assert_refused(_read_all, path)
        _assert_refused(verify_recording, path)
        if part == "sealed":
            _assert_refused(recover_recording, path)
            assert path.read_bytes() == content[:length], length


def test_a_truncated_unfinished_file_never_recovers_to_other_samples(tmp_path: Path) -> None:
    content = _unfinished(tmp_path / "whole.h5").read_bytes()
    recover_recording(tmp_path / "whole.h5")
    whole = _samples(tmp_path / "whole.h5")
    path, outcomes = tmp_path / "a.h5", []
    for length in range(len(content) - 1, 0, -1997):
        path.write_bytes(content[:length])
        recovered = _recovers(path)
        outcomes.append(recovered)
        if recovered:
            assert _samples(path) == whole, length
        else:
            assert path.read_bytes() == content[:length], length
    assert not all(outcomes)


def _samples(path: Path) -> bytes:
    with Recording(path) as recording:
        return recording.counts().tobytes()


def _recovers(path: Path) -> bool:
    try:
        recover_recording(path)
    except RecordingError:
        return False
    return True


_FUZZ = """
import sys
from pathlib import Path
import numpy as np
from capture import Recording, RecordingError, verify_recording

def told(path):
    with Recording(path) as r:
        return r.info, r.counts().tobytes(), r.gaps, r.marks, r.rate_measured_uncertainty_hz, len(r.overview())

good, seed = Path(sys.argv[1]), int(sys.argv[2])
content, original, generator = good.read_bytes(), told(good), np.random.default_rng(seed)
path, kinds = good.with_name(f"fuzzed-{seed}.h5"), [0, 0]
for _ in range(120):
    damaged = bytearray(content)
    for place in generator.integers(0, len(content) - 8, generator.integers(1, 4)).tolist():
        if generator.random() < 0.5:
            damaged[place] ^= 1 << int(generator.integers(8))
        else:
            damaged[place : place + 8] = generator.choice([b"\\xff" * 8, bytes(8), generator.bytes(8)])
    path.write_bytes(damaged)
    try:
        verify_recording(path)
        assert told(path) == original, "another content passed as sealed"
        kinds[0] += 1
    except RecordingError as error:
        assert str(error).startswith(f"{path}: ") and str(error).isprintable(), error
        kinds[1] += 1
print(*kinds)
"""


def test_random_damage_is_refused_or_does_no_harm(tmp_path: Path) -> None:
    writer = RecordingWriter(tmp_path / "good.h5", info(), "<i2")
    for item in (ramp(0, 3000), Gap(3000, 500, "lost"), Mark(5, "burst 50 Hz", 9), ramp(3500, 100)):
        put(writer, item)
    writer.close(1000.5, 0.25)
    # In a process of its own: a library that crashes on a damaged file would take the tests with it.
    for seed in (1, 2):
        command = [sys.executable, "-c", _FUZZ, str(tmp_path / "good.h5"), str(seed)]
        done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, timeout=120, check=False)
        assert done.returncode == 0, done.stderr
        assert not done.stderr
        harmless, refused = map(int, done.stdout.split())
        assert refused > 20, "the damage hardly ever hit anything"
        assert harmless > 20, "nothing passes: the test would not see a reader that refuses everything"


# ---------------------------------------------------------------- a disk that is full

_RECORD_ON_A_SMALL_DISK = """
import resource, sys, time
from pathlib import Path
import numpy as np
import capture._recording._writer, capture._recorder
from capture import *
from tests.capture.making import describe

limit, path = int(sys.argv[1]), Path(sys.argv[2])
resource.setrlimit(resource.RLIMIT_FSIZE, (limit, limit))
capture._recording._writer.FLUSH_INTERVAL_S = 0.0
source = SimulatedVehicleSource(LIBRARY_VAN_FOUND, rate_hz=48_000, live=False)
recorder = RecordingThread(source, path, describe, 30)
recorder.start()
outcome = recorder.outcome()
print(outcome.sealed, outcome.rows)
print(outcome.fault)
"""


def _on_a_small_disk(limit: int, path: Path) -> subprocess.CompletedProcess[str]:
    pytest.importorskip("resource", reason="this system has no limit of a file's size")
    command = [sys.executable, "-c", _RECORD_ON_A_SMALL_DISK, str(limit), str(path)]
    return subprocess.run(command, cwd=ROOT, capture_output=True, text=True, timeout=120, check=False)


@pytest.mark.parametrize("limit", [300_000, 1_000_003, 2_500_000])
def test_a_disk_that_takes_no_more_costs_only_what_was_not_flushed(limit: int, tmp_path: Path) -> None:
    path = tmp_path / "a.h5"
    done = _on_a_small_disk(limit, path)
    assert done.returncode == 0, done.stderr
    assert not done.stderr
    verdict, fault = done.stdout.splitlines()
    sealed, rows = verdict.split()
    assert sealed == "False"
    assert "cannot be saved to disk: File too large" in fault
    assert f"finish the file with: humproof recover {path}" in fault
    safe = recover_recording(path)
    verify_recording(path)
    # Every block was flushed: only the one that did not fit is lost. 6 bytes a row, the rest is the overview.
    assert int(rows) - 4800 <= safe <= int(rows)
    assert safe * 6 > 0.6 * limit - file_room.LAYOUT_BYTES


@pytest.mark.parametrize("limit", [0, 100, 3000, 100_000])
def test_a_disk_without_room_for_a_start_leaves_no_file(limit: int, tmp_path: Path) -> None:
    done = _on_a_small_disk(limit, tmp_path / "a.h5")
    assert done.stderr.splitlines()[-1].endswith("a.h5: cannot be created: File too large")
    assert list(tmp_path.iterdir()) == []
