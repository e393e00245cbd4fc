"""Recorders killed at fifty random moments: what was recorded up to a second before each kill is there."""

from __future__ import annotations

import json
import signal
from pathlib import Path

import pytest

from capture import Mark, Recording
from cli import main
from tests.capture.victims import RATE_HZ, RECOVERED, Victim, all_at_once, check_survivor, moment, record_and_kill

pytestmark = [
    pytest.mark.endurance,
    pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="this system has no kill signal"),
]

KILLS = 50


def test_fifty_killed_recorders_lose_at_most_a_second_each(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    victims = all_at_once(lambda seed: record_and_kill(tmp_path / f"job-{seed}", seed, moment(seed)), range(KILLS))
    lost = [victim.lived_s - _recovered_rows(victim, capsys) / RATE_HZ for victim in victims]
    lived = [victim.lived_s for victim in victims]
    print(f"{len(lost)} killed after {min(lived):.2f} to {max(lived):.2f} s, lost {min(lost):.2f} to {max(lost):.2f} s")
    assert len(lost) == KILLS
    # What was recorded and not recovered, the recorder's own start included.
    assert max(lost) < 1.0, sorted(lost)
    # The kills fell at many moments between two flushes, else the worst case was not met.
    assert max(lost) - min(lost) > 0.2


def _recovered_rows(victim: Victim, capsys: pytest.CaptureFixture[str]) -> int:
    """Recover by the command, in this process; what comes out is the simulated vehicle's own samples, sealed."""
    capsys.readouterr()
    assert main(["recover", str(victim.path), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    rows = check_survivor(victim.path, victim.seed)
    assert (told["samples"], told["entered_into_job"]) == (rows, True)
    with Recording(victim.path) as recording:
        assert recording.marks[-1] == Mark(rows, RECOVERED)
    return rows
