"""10,000 random actions on a window: no exception, no fault, nothing left behind. HUMPROOF_SEED=n repeats a run."""

from pathlib import Path

import pytest
from pytestqt.qtbot import QtBot

from tests.gui import _jobs
from tests.gui._monkey import play

pytestmark = [pytest.mark.endurance, pytest.mark.timeout(1800)]

ACTIONS = 10_000


def test_the_window_survives_10_000_random_actions(
    qtbot: QtBot, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    makers = (_jobs.whole_job, _jobs.faulty_job, _jobs.empty_job)
    jobs = [make(tmp_path / make.__name__).folder for make in makers]
    play(qtbot, tmp_path, jobs, ACTIONS, monkeypatch)
