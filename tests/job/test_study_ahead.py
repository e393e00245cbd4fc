"""Recordings studied several at once: the same results, the same words, and no process that stays."""

from __future__ import annotations

import io
import os
import shutil
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from capture import Conditions, RecordedChannel, RecordingInfo, RecordingWriter, SourceFacts
from job import (
    Job,
    _kept_studies,
    _study_ahead,
    add_recording,
    damage_of,
    new_recording_path,
    open_or_create_job,
    study_ahead,
    study_json,
    study_kept,
    study_recording,
)
from report import ReportError, compose_report

RATE_HZ, FRAMES, RECORDINGS = 4000.0, 3000, 4


def _info(step: int) -> RecordingInfo:
    return RecordingInfo(
        start_utc=datetime(2026, 3, 2, 9, step, tzinfo=UTC),
        rate_hz=RATE_HZ,
        channels=tuple(RecordedChannel(name=role, role=role, unit="V", coupling="DC") for role in ("signal", "supply")),
        source=SourceFacts(kind="test", name="seeded numbers"),
        software="tests",
        simulated=False,
        isolation_step=f"step {step}",
        conditions=Conditions(engine_rpm=1500.0),
    )


def _write(path: Path, step: int) -> None:
    random, turns = np.random.default_rng(step), 2 * np.pi * 413.37 * np.arange(FRAMES) / RATE_HZ
    whine = 0.01 * np.sin(turns) + random.normal(0, 1e-4, FRAMES)
    with RecordingWriter(path, _info(step), "<f8") as writer:
        writer.write(np.column_stack([whine, 13.8 + random.normal(0, 0.01, FRAMES)]))


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A job of five short recordings."""
    job = open_or_create_job(tmp_path_factory.mktemp("made") / "job")
    for step in range(RECORDINGS):
        path = new_recording_path(job, "as found", f"step {step}")
        _write(path, step)
        job = add_recording(job, path, "as found")
    return job.folder


@pytest.fixture
def job(made: Path, tmp_path: Path) -> Job:
    """The same in a folder that may be spoilt."""
    return open_or_create_job(Path(shutil.copytree(made, tmp_path / "job")))


@pytest.fixture(autouse=True)
def kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Nothing is kept, two processors, and even short recordings count as worth it."""
    if not _kept_studies.code_digest():
        pytest.skip("the code was edited after it was loaded: nothing is kept")
    monkeypatch.setenv("HUMPROOF_KEPT_STUDIES", str(tmp_path / "kept"))
    monkeypatch.setattr(_study_ahead, "LEAST_SAVED_S", -100.0)
    monkeypatch.setattr(_study_ahead, "_processors", lambda: 2)
    return tmp_path / "kept"


@pytest.fixture
def started(monkeypatch: pytest.MonkeyPatch) -> Iterator[list[subprocess.Popen[str]]]:
    """Every worker's process; at the end none is there, and no thread."""
    processes: list[subprocess.Popen[str]] = []

    class Watched(_study_ahead._Worker):
        def __init__(self, *facts: Any) -> None:
            super().__init__(*facts)
            processes.append(self._process)

    threads = threading.active_count()
    monkeypatch.setattr(_study_ahead, "_Worker", Watched)
    yield processes
    assert threading.active_count() == threads
    for process in processes:
        assert process.returncode is not None
        if os.name == "posix":
            with pytest.raises(ProcessLookupError):
                os.kill(process.pid, 0)


def _none(*facts: Any) -> Any:
    pytest.fail("not wanted")


def _leaves(value: Any, place: str = "") -> Iterator[tuple[str, Any]]:
    parts = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list | tuple) else None
    if parts is None:
        yield place, value
    else:
        for name, part in parts:
            yield from _leaves(part, f"{place}/{name}")


def _rounded(value: Any) -> Iterator[tuple[str, float]]:
    """Sums may differ in the last bit with the number of threads that add them up."""
    return ((place, leaf) for place, leaf in _leaves(value) if isinstance(leaf, float))


def _exact(value: Any) -> Iterator[tuple[str, Any]]:
    return ((place, leaf) for place, leaf in _leaves(value) if not isinstance(leaf, float))


# ---------------------------------------------------------------- what comes back


def test_the_same_is_found_several_at_once(
    job: Job, started: list[subprocess.Popen[str]], monkeypatch: pytest.MonkeyPatch
) -> None:
    told: list[float] = []
    assert study_ahead(job, told.append, seals=True)
    assert len(started) == 2
    assert told[0] == 0
    assert told == sorted(told)
    assert told[-1] == pytest.approx(1.0)
    for name in ("study_recording", "damaged_recordings"):
        monkeypatch.setattr(_kept_studies, name, _none)
    for entry in job.facts.recordings:
        assert damage_of(job, entry) == []
        ahead, alone = (study_json(study(job.path(entry))) for study in (study_kept, study_recording))
        assert dict(_rounded(ahead)) == pytest.approx(dict(_rounded(alone)), rel=1e-9, abs=1e-13, nan_ok=True)
        assert dict(_exact(ahead)) == dict(_exact(alone))
    # All is kept: nobody is asked again.
    assert not study_ahead(job, _none, seals=True)
    assert len(started) == 2


def test_a_damaged_recording_gives_the_same_line(
    job: Job, kept: Path, started: list[subprocess.Popen[str]], monkeypatch: pytest.MonkeyPatch
) -> None:
    first, *_, last = job.facts.recordings
    _flip(job.path(last))
    assert _study_ahead._answer(job, first, True, lambda part: None) == "done"
    assert _study_ahead._answer(job, last, True, lambda part: None) == "stop"
    monkeypatch.setattr(_study_ahead, "_ENTRY", "import time; print('stop', flush=True); time.sleep(60)")
    with pytest.raises(ReportError) as ahead:
        compose_report(job.folder)
    assert len(started) == 2
    monkeypatch.setenv("HUMPROOF_NO_KEPT_STUDIES", "1")
    with pytest.raises(ReportError) as alone:
        compose_report(job.folder)
    assert str(ahead.value) == str(alone.value)
    assert last.file in str(alone.value)


def _flip(path: Path) -> None:
    data = bytearray(path.read_bytes())
    data[len(data) // 2] ^= 4
    path.write_bytes(data)


def test_a_recording_that_cannot_be_studied_or_kept_ends_the_work(job: Job, kept: Path) -> None:
    first, second, *_ = job.facts.recordings
    job.path(first).write_bytes(b"no recording")
    assert _study_ahead._answer(job, first, False, lambda part: None) == "stop"
    kept.write_text("in the way")
    assert _study_ahead._answer(job, second, False, lambda part: None) == "stop"


# ---------------------------------------------------------------- a worker is never needed


@pytest.mark.parametrize("code", ("import os; os._exit(3)", "print('what?')", "import json, no_such_module"))
def test_workers_that_die_are_no_fault(
    job: Job, code: str, kept: Path, started: list[subprocess.Popen[str]], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(_study_ahead, "_ENTRY", code)
    assert study_ahead(job, seals=True)
    assert len(started) == 2
    assert not list(kept.glob("*.study"))
    study_kept(job.path(job.facts.recordings[0]))


def test_workers_that_cannot_be_started_are_no_fault(job: Job, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "executable", str(job.folder / "no-python"))
    assert not study_ahead(job)


def test_who_says_that_it_is_no_use_ends_the_work(
    job: Job, started: list[subprocess.Popen[str]], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(_study_ahead, "_ENTRY", "import time; print('stop', flush=True); time.sleep(60)")
    began = time.monotonic()
    assert study_ahead(job)
    assert time.monotonic() - began < 20


@pytest.mark.parametrize("error", (RuntimeError, KeyboardInterrupt))
def test_who_stops_waiting_leaves_no_process(
    job: Job, error: type[BaseException], started: list[subprocess.Popen[str]], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Workers that would be busy for a minute; told often all the while."""
    monkeypatch.setattr(_study_ahead, "_ENTRY", "import time; time.sleep(60)")
    moments: list[float] = []

    def stopping(fraction: float) -> None:
        moments.append(time.monotonic())
        if len(moments) == 4:
            raise error

    with pytest.raises(error):
        study_ahead(job, stopping)
    assert len(started) == 2
    assert np.diff(moments).max() < 1.0
    assert time.monotonic() - moments[-1] < 5


def test_a_worker_ends_when_nobody_can_ask_any_more(monkeypatch: pytest.MonkeyPatch) -> None:
    """Whatever kills a process closes its pipes."""
    ended, tasks = list[int](), _study_ahead.queue.SimpleQueue[str]()
    monkeypatch.setattr(sys, "stdin", io.StringIO("one\ntwo\n"))
    monkeypatch.setattr(_study_ahead.os, "_exit", ended.append)
    _study_ahead._listen(tasks)
    assert tasks.qsize() == 2
    assert ended == [0]


# ---------------------------------------------------------------- where it is not worth it


def _few(patch: pytest.MonkeyPatch, kept: Path) -> None:
    patch.setattr(_study_ahead, "FEWEST", RECORDINGS + 1)


def _short(patch: pytest.MonkeyPatch, kept: Path) -> None:
    patch.setattr(_study_ahead, "LEAST_SAVED_S", 0.0)


def _one_processor(patch: pytest.MonkeyPatch, kept: Path) -> None:
    patch.setattr(_study_ahead, "_processors", lambda: 1)


def _frozen(patch: pytest.MonkeyPatch, kept: Path) -> None:
    patch.setattr(sys, "frozen", True, raising=False)


def _turned_off(patch: pytest.MonkeyPatch, kept: Path) -> None:
    patch.setenv("HUMPROOF_NO_KEPT_STUDIES", "1")


def _no_folder(patch: pytest.MonkeyPatch, kept: Path) -> None:
    kept.write_text("in the way")


@pytest.mark.parametrize("why", (_few, _short, _one_processor, _frozen, _turned_off, _no_folder))
def test_nothing_is_started_where_it_would_not_help(
    job: Job, kept: Path, why: Callable[[pytest.MonkeyPatch, Path], None], monkeypatch: pytest.MonkeyPatch
) -> None:
    why(monkeypatch, kept)
    monkeypatch.setattr(_study_ahead, "_Worker", _none)
    assert not study_ahead(job, _none, seals=True)


def test_a_missing_recording_is_left_to_who_asks_for_it(job: Job, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(_study_ahead, "_Worker", _none)
    job.path(job.facts.recordings[1]).unlink()
    assert not study_ahead(job, _none, seals=True)
    with pytest.raises(ReportError, match="is missing"):
        compose_report(job.folder)


def test_it_pays_from_a_few_seconds_on() -> None:
    """Forty recordings of 13 s, two channels at 48 kHz, on two processors; ten of them do not pay."""
    entry = Job  # any thing will do
    tasks = [_study_ahead._Task(entry, False, _study_ahead._STUDY_S * 2 * 48_000 * 13) for _ in range(40)]  # type: ignore[arg-type]
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(_study_ahead, "LEAST_SAVED_S", 2.0)
        assert _study_ahead._worth_it(tasks, 2)
        assert not _study_ahead._worth_it(tasks[:10], 2)
