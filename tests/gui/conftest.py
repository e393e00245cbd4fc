"""Jobs to look at, and a window that must leave nothing behind."""

import shutil
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.gui import _jobs
from tests.gui._report_desk import Desk, make_quick


@pytest.fixture(scope="session")
def whole_job(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """As found, as left and floor, comparable. Read only."""
    return _jobs.whole_job(tmp_path_factory.mktemp("whole") / "job").folder


@pytest.fixture(scope="session")
def simulated_job(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The same, marked as simulated. Read only."""
    return _jobs.whole_job(tmp_path_factory.mktemp("simulated") / "job", simulated=True).folder


@pytest.fixture(scope="session")
def found_job(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """As found only. Read only."""
    return _jobs.found_only(tmp_path_factory.mktemp("found") / "job").folder


@pytest.fixture(scope="session")
def faulty_job(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Gaps, clipping, conditions that differ, one recording cut short. Read only."""
    return _jobs.faulty_job(tmp_path_factory.mktemp("faulty") / "job").folder


@pytest.fixture(scope="session")
def empty_job(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """No recordings. Read only."""
    return _jobs.empty_job(tmp_path_factory.mktemp("empty") / "job").folder


@pytest.fixture
def copied(whole_job: Path, tmp_path: Path) -> Path:
    """A copy of the whole job, to be written into."""
    return Path(shutil.copytree(whole_job, tmp_path / "copied"))


@pytest.fixture
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    """Reports of one dot, composed at once."""
    make_quick(monkeypatch)


@pytest.fixture
def desk(tmp_path: Path) -> Desk:
    """A report controller without Qt."""
    return Desk(tmp_path)


@pytest.fixture(autouse=True)
def _no_thread_left() -> Iterator[None]:
    """Whatever a test starts has ended when it ends."""
    before = set(threading.enumerate())
    yield
    left = [thread.name for thread in threading.enumerate() if thread not in before]
    assert not left, f"threads left behind: {left}"
