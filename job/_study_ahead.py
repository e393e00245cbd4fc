"""Several recordings studied at once, each processor one, where a first report would have to wait for all of them.

What the workers find comes back through the folder of kept studies, so only paths and short answers go to and fro. A
worker is never needed: what did not come back is studied, and complained about, by whoever asks for it.

Workers are plain processes, not those of multiprocessing: that would run the caller's own script again in each, let
Ctrl-C print a traceback for each, and end a worker only when it is through with its recording. A worker ends when its
standard input does, so none outlives this process, whatever kills it.

Each reckons with one thread: more would only wait for each other, a fourth of the time. So its sums may differ from
those of this process in the last bit, as they do between computers of different processors.
"""

from __future__ import annotations

import json
import os
import queue
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from analysis import HumproofError
from capture import Recording
from job._job import Job, open_job
from job._kept_studies import code_digest, damage_of, keeps, seal_is_kept, study_is_kept, study_kept
from job._model import Entry
from job._study import Progress

#: fewer recordings to study are not worth the effort
FEWEST = 4
MOST_WORKERS = 8
#: expected to be saved, in s; less is not worth the effort
LEAST_SAVED_S = 2.0
#: seen on a machine of 2025: until a worker has loaded all that it works with; to check the seal of, and to study,
#: one sample of one channel
_START_S, _CHECK_S, _STUDY_S = 2.0, 0.08e-6, 0.32e-6
#: longest silence of this process, shortest of a worker, in s
_SILENCE_S, _WORKER_SILENCE_S = 0.25, 0.2
_DONE, _STOP = "done", "stop"
#: of whichever library multiplies numpy's matrices
_THREADS = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS", "VECLIB_MAXIMUM_THREADS")
#: the first line tells where modules are found: in the very places where this process finds them
_ENTRY = "import json, sys; sys.path[:] = json.loads(sys.stdin.readline()); from job._study_ahead import work; work()"


@dataclass(frozen=True, slots=True, eq=False)
class _Task:
    """To recompute one recording's seal, or to study it."""

    entry: Entry
    seal: bool
    #: what it is expected to take
    cost_s: float


_News = tuple[_Task, float] | str | None


def study_ahead(job: Job, progress: Progress = lambda fraction: None, *, seals: bool = False) -> bool:
    """Study what is not kept yet of a job's recordings, several at once; False, at once, where that is not worth it.

    Afterwards `study_kept` finds them. Nothing is done where nothing is kept, or where there is one processor only.

    Parameters
    ----------
    job
        Its recordings are told by the digests in its job.toml.
    progress
        Called several times a second with the fraction done, 0 to 1; may raise to stop the work, which stops at once.
    seals
        Recompute their seals first, so that `damage_of` finds them kept, too. At the first that does not hold, or at
        a recording that cannot be studied, the work ends: to say so is for whoever asks for that recording.
    """
    tasks = _tasks(job, seals)
    count = min(_processors(), MOST_WORKERS, sum(not task.seal for task in tasks))
    if count < 2 or not _worth_it(tasks, count):
        return False
    progress(0.0)
    return _done_by(count, job.folder, tasks, progress)


def _tasks(job: Job, seals: bool) -> list[_Task]:
    """The seals first, for they tell soonest what is wrong; then the longest first, so that none is waited for last."""
    if not _can():
        return []
    entries = {entry.sha256: entry for entry in job.facts.recordings}
    unknown = [entry for sha256, entry in entries.items() if not study_is_kept(sha256)]
    unsealed = [entry for sha256, entry in entries.items() if seals and not seal_is_kept(sha256)]
    if len(unknown) < FEWEST or not keeps():
        return []
    try:
        size = {entry: _samples(job.path(entry)) for entry in (*unknown, *unsealed)}
    except (HumproofError, OSError):
        return []
    checks = [_Task(entry, True, _CHECK_S * size[entry]) for entry in unsealed]
    return [*checks, *sorted((_Task(e, False, _STUDY_S * size[e]) for e in unknown), key=lambda task: -task.cost_s)]


def _can() -> bool:
    """Whether a Python can be started: a program that was frozen into one file would start itself."""
    return bool(sys.executable) and not getattr(sys, "frozen", False) and _processors() > 1


def _processors() -> int:
    """Those that this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def _samples(path: Path) -> int:
    with Recording(path) as recording:
        return recording.frames * len(recording.channels)


def _worth_it(tasks: list[_Task], count: int) -> bool:
    alone = sum(task.cost_s for task in tasks)
    return alone - (_START_S + alone / count) > LEAST_SAVED_S


def _done_by(count: int, folder: Path, tasks: list[_Task], progress: Progress) -> bool:
    todo, told = queue.SimpleQueue[_Task](), queue.SimpleQueue[_News]()
    for task in tasks:
        todo.put(task)
    workers: list[_Worker] = []
    try:
        # Without memory or processes for all, some will do; those that began are stopped, whatever happens.
        with suppress(OSError):
            for _ in range(count):
                workers.append(_Worker(folder, todo, told))
        _follow(told, len(workers), tasks, progress)
    finally:
        _stop(workers)
    return bool(workers)


def _follow(told: queue.SimpleQueue[_News], working: int, tasks: list[_Task], progress: Progress) -> None:
    """Until every worker has ended, or one says that it is no use."""
    parts = dict.fromkeys(tasks, 0.0)
    whole = sum(task.cost_s for task in tasks)
    while working:
        with suppress(queue.Empty):
            news = told.get(timeout=_SILENCE_S)
            if news == _STOP:
                return
            if isinstance(news, tuple):
                parts[news[0]] = max(parts[news[0]], news[1])
            else:
                working -= 1
        progress(min(1.0, sum(task.cost_s * part for task, part in parts.items()) / whole))


class _Worker:
    """One process, and the thread that hands it one task after another."""

    def __init__(self, folder: Path, todo: queue.SimpleQueue[_Task], told: queue.SimpleQueue[_News]) -> None:
        self._todo, self._told = todo, told
        self._process = subprocess.Popen(
            [sys.executable, "-P", "-c", _ENTRY],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            env={**os.environ, **dict.fromkeys(_THREADS, "1")},
            encoding="ascii",
            bufsize=1,
            # Ctrl-C is for this process alone, and no window opens.
            start_new_session=True,
            creationflags=getattr(subprocess, "CREATE_NO_WINDOW", 0),
        )
        self._thread = threading.Thread(target=self._hand_out, args=(folder,), daemon=True)
        self._thread.start()

    def _hand_out(self, folder: Path) -> None:
        try:
            # Whatever ends a worker closes its pipes.
            with suppress(OSError, ValueError, queue.Empty):
                self._say([place for place in sys.path if isinstance(place, str)])
                self._say({"code": code_digest(), "folder": str(folder.absolute())})
                while self._done(self._todo.get_nowait()):
                    pass
        finally:
            self._told.put(None)

    def _say(self, words: object) -> None:
        assert self._process.stdin is not None
        self._process.stdin.write(f"{json.dumps(words)}\n")

    def _done(self, task: _Task) -> bool:
        """False for a worker that ended before its task did."""
        self._say({"seal": task.seal, "entry": task.entry.model_dump(mode="json")})
        assert self._process.stdout is not None
        for line in map(str.strip, self._process.stdout):
            if line == _STOP:
                self._told.put(_STOP)
                return False
            self._told.put((task, 1.0 if line == _DONE else float(line)))
            if line == _DONE:
                return True
        return False

    def kill(self) -> None:
        """Begin to end it, in the middle of whatever it does."""
        with suppress(OSError):
            self._process.kill()

    def wait(self) -> None:
        """Until nothing of it is left."""
        self._process.wait()
        self._thread.join()
        for pipe in (self._process.stdin, self._process.stdout):
            with suppress(OSError):
                if pipe is not None:
                    pipe.close()


def _stop(workers: list[_Worker]) -> None:
    for worker in workers:
        worker.kill()
    for worker in workers:
        worker.wait()


# ---------------------------------------------------------------- in the worker


def work() -> None:
    """What a worker does: tasks come on standard input, fractions and answers go to standard output."""
    answers, sys.stdout = sys.stdout, sys.stderr

    def tell(text: str) -> None:
        answers.write(f"{text}\n")
        answers.flush()

    head = json.loads(sys.stdin.readline())
    # Of other code nothing would be found.
    if head["code"] != code_digest():
        return
    job = open_job(Path(head["folder"]))
    tasks = queue.SimpleQueue[str]()
    threading.Thread(target=_listen, args=(tasks,), daemon=True).start()
    while True:
        task = json.loads(tasks.get())
        tell(_answer(job, Entry.model_validate(task["entry"]), task["seal"], _now_and_then(tell)))


def _listen(tasks: queue.SimpleQueue[str]) -> None:
    """Whoever asked has gone, or wants nothing more: then nothing is finished."""
    for line in sys.stdin:
        tasks.put(line)
    os._exit(0)


def _answer(job: Job, entry: Entry, seal: bool, progress: Progress) -> str:
    try:
        if seal:
            return _STOP if damage_of(job, entry, progress) else _DONE
        return _DONE if study_is_kept(study_kept(job.path(entry), progress).sha256) else _STOP
    # The one who asks for this recording meets the same, and says it.
    except Exception:
        return _STOP


def _now_and_then(tell: Callable[[str], None]) -> Progress:
    last = time.monotonic()

    def progress(fraction: float) -> None:
        nonlocal last
        if time.monotonic() - last > _WORKER_SILENCE_S:
            last = time.monotonic()
            tell(f"{fraction:.4f}")

    return progress
