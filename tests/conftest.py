"""Fixtures for all tests. Nothing here imports Qt or opens a device in this process."""

import os
import shutil
from collections.abc import Iterator
from pathlib import Path

import hypothesis
import pytest

from tests.support import ROOT, NullSink, VirtualScreen

if not (os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY")):
    os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")

# Time says nothing on a shared machine; in CI the same examples run every time.
hypothesis.settings.register_profile("default", deadline=None)
hypothesis.settings.register_profile("ci", deadline=None, derandomize=True, print_blob=True)
hypothesis.settings.load_profile("ci" if os.environ.get("CI") else "default")


@pytest.fixture(scope="session", autouse=True)
def _own_kept_studies(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """What a run keeps of recordings begins empty, and that of the person who runs it stays untouched."""
    with pytest.MonkeyPatch.context() as patch:
        patch.delenv("HUMPROOF_NO_KEPT_STUDIES", raising=False)
        patch.setenv("HUMPROOF_KEPT_STUDIES", str(tmp_path_factory.mktemp("kept-studies")))
        yield


@pytest.fixture(autouse=True)
def _own_settings(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> None:
    """Settings are fresh for every test, and those of the person who runs it stay untouched."""
    home = tmp_path_factory.mktemp("settings")
    for name in ("XDG_CONFIG_HOME", "XDG_DATA_HOME", "XDG_STATE_HOME"):
        monkeypatch.setenv(name, str(home / name.lower()))


@pytest.fixture(scope="session")
def recordings() -> Path:
    """Recordings made by others: the folder HUMPROOF_RECORDINGS, else ../shared/recordings."""
    folder = Path(os.environ.get("HUMPROOF_RECORDINGS") or ROOT.parent / "shared" / "recordings")
    if not folder.is_dir():
        pytest.skip("no folder of recordings: neither HUMPROOF_RECORDINGS nor ../shared/recordings")
    return folder


@pytest.fixture(scope="session")
def null_sink() -> Iterator[NullSink]:
    """A loopback sound card that all tests share: leave it running."""
    yield from _null_sink()


@pytest.fixture
def doomed_null_sink() -> Iterator[NullSink]:
    """A loopback sound card for one test, which may kill it."""
    yield from _null_sink()


@pytest.fixture(scope="session")
def xvfb() -> Iterator[VirtualScreen]:
    """A screen for subprocesses that need a real window."""
    _need("Xvfb")
    with VirtualScreen() as screen:
        yield screen


def _null_sink() -> Iterator[NullSink]:
    _need("pulseaudio", "pactl", "paplay")
    with NullSink() as sink:
        yield sink


def _need(*programs: str) -> None:
    """Skip where a program is not installed; one that is installed and does not start is a failure."""
    for program in programs:
        if shutil.which(program) is None:
            pytest.skip(f"{program} is not installed")
