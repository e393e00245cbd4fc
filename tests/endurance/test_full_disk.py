"""Disks that fill up while a recorder writes: what was recorded up to a second before is there, and it is told."""

from __future__ import annotations

import json
import subprocess
import sys
from contextlib import ExitStack, suppress
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from capture import Mark, Recording, RecordingError, RecordingWriter, recover_recording, verify_recording
from cli import main
from tests.capture.making import info
from tests.capture.victims import RATE_HZ, RECOVERED, all_at_once, check_survivor, options
from tests.endurance.disks import grow, small_disk
from tests.support import ROOT, run_humproof

pytestmark = [pytest.mark.endurance, pytest.mark.usefixtures("mountable")]

DISKS = 30
#: The command with another reserve: with its own it stops before the disk is full.
_RECKLESS = """
import sys
import capture._recorder
from cli import main
capture._recorder.RESERVE_BYTES = 0
sys.exit(main(sys.argv[1:]))
"""


def test_thirty_full_disks_cost_at_most_a_second_each(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with ExitStack() as disks:
        folders = [disks.enter_context(small_disk(tmp_path / f"disk-{seed}", _size(seed))) for seed in range(DISKS)]
        told = all_at_once(lambda seed: _record_recklessly(folders[seed] / "job", seed), range(DISKS))
        lost = [
            _lost_s(folder, one, seed, capsys) for seed, (folder, one) in enumerate(zip(folders, told, strict=True))
        ]
    recorded = [one["samples"] / RATE_HZ for one in told]
    print(
        f"{DISKS} were full after {min(recorded):.2f} to {max(recorded):.2f} s, lost {min(lost):.2f} to {max(lost):.2f}"
    )
    assert max(lost) < 1.0, sorted(lost)
    assert max(recorded) - min(recorded) > 1.0, "they filled at the same moment"


def _size(seed: int) -> int:
    """Bytes: an empty job takes 0.3 MB, a second of samples 0.13 MB."""
    return int(np.random.default_rng(seed).integers(380_000, 700_000))


def _lost_s(disk: Path, told: dict[str, Any], seed: int, capsys: pytest.CaptureFixture[str]) -> float:
    """What was lost when the disk was full; the file is recovered by the command, in this process."""
    path = Path(told["file"])
    expected = "cannot be saved to disk: No space left on device; what was flushed is safe; "
    assert told["fault"] == f"{path}: {expected}finish the file with: humproof recover {path}"
    _recover_while_full(path, capsys)
    grow(disk, 2_000_000)
    assert main(["recover", str(path), "--json"]) == 0
    capsys.readouterr()
    rows = check_survivor(path, seed)
    with Recording(path) as recording:
        assert recording.marks[-1] == Mark(rows, RECOVERED)
    return float(told["samples"] - rows) / RATE_HZ


def _recover_while_full(path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """It says what is to be done first, and leaves the file as it is."""
    content = path.read_bytes()
    capsys.readouterr()
    assert main(["recover", str(path)]) == 1
    errors = capsys.readouterr().err
    assert errors == f"humproof: {path}: the disk is full; make room first, then recover it\n"
    assert path.read_bytes() == content


def _record_recklessly(job: Path, seed: int) -> dict[str, Any]:
    command = [sys.executable, "-c", _RECKLESS, "record", str(job), *options(seed), "--json"]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, timeout=60, check=False)
    assert done.returncode == 1, done
    (fault,) = done.stderr.splitlines()
    told: dict[str, Any] = json.loads(done.stdout)
    assert fault == f"humproof: {told['file']}: ended early: {told['fault']}"
    return told


@pytest.mark.parametrize("channels, rows, marked, missing", [(4, 8_000, 2, 5), (8, 700, 11, 30)])
def test_a_disk_that_fills_at_any_page_leaves_a_file_that_recovers(
    channels: int, rows: int, marked: int, missing: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The first block of each of the overview's levels, the first mark and the first gap among what does not fit."""
    monkeypatch.setattr("capture._recording._writer.FLUSH_INTERVAL_S", 0.0)
    with small_disk(tmp_path / "disk", 1 << 20) as disk:
        path = disk / "a.h5"
        for pages in range(70, 130):
            grow(disk, pages * 4_096)
            with suppress(RecordingError), RecordingWriter(path, info(channels), "<i2") as writer:
                for turn in range(10_000):
                    if turn == marked:
                        writer.mark("burst 50 Hz", 5, 9)
                    if turn == missing:
                        writer.gap(5, "lost")
                    writer.write(np.full((rows, channels), turn, "<i2"))
            grow(disk, 3_000_000)
            recover_recording(path)
            verify_recording(path)
            path.unlink()


def test_a_nearly_full_disk_ends_the_recording_sealed(tmp_path: Path) -> None:
    """By the recorder's own reserve of 50 MB, at six moments."""
    rows = all_at_once(lambda seed: _nearly_fill(tmp_path / f"disk-{seed}", seed), range(6))
    print(f"stopped after {min(rows) / RATE_HZ:.2f} to {max(rows) / RATE_HZ:.2f} s")


def _nearly_fill(disk: Path, seed: int) -> int:
    with small_disk(disk, 50_000_000 + int(np.random.default_rng(seed).integers(400_000, 600_000))):
        done = run_humproof("record", disk / "job", *options(seed), "--json")
        told = json.loads(done.stdout)
        assert done.returncode == 1
        assert told["fault"] == (
            "the disk is nearly full: stopped early to close the file well; make room, then record on"
        )
        run_humproof("verify", disk / "job", check=True)
        assert check_survivor(Path(told["file"]), seed) == told["samples"] > 0
    return int(told["samples"])


def test_a_disk_without_the_reserve_is_refused_in_one_line(tmp_path: Path) -> None:
    with small_disk(tmp_path / "disk", 49_000_000) as disk:
        done = run_humproof("record", disk / "job", *options(1))
        assert done.returncode == 1
        assert done.stderr.splitlines()[-1] == (
            f"humproof: {disk / 'job' / 'recordings'}: the disk is nearly full: make room before you record"
        )
        assert "Traceback" not in done.stderr
        assert list(disk.rglob("*.h5")) == []
