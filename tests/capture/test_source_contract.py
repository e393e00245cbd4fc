"""Every source keeps to the one contract: see contract.py, where a new source is entered by one line."""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from capture import Block, Ended, Gap, Item
from tests.capture.contract import CONTRACT, SOURCES, Candidate, ends_with_a_sentence_when_it_fails, leaves_no_row_out
from tests.capture.making import FakeSource, ramp
from tests.support import ROOT

Check = Callable[[Candidate, Path], None]
QUIET = [name for name, candidate in SOURCES.items() if not candidate.sounds]
SOUNDING = [name for name, candidate in SOURCES.items() if candidate.sounds]


@pytest.mark.parametrize("check", CONTRACT, ids=lambda check: check.__name__)
@pytest.mark.parametrize("name", QUIET)
def test_contract(name: str, check: Check, tmp_path: Path) -> None:
    check(SOURCES[name], tmp_path)


@pytest.fixture(scope="module", params=SOUNDING)
def verdicts(request: pytest.FixtureRequest) -> dict[str, str]:
    """What a process of its own found wrong, by check."""
    for program in ("pulseaudio", "pactl"):
        if shutil.which(program) is None:
            pytest.skip(f"{program} is not installed")
    command = [sys.executable, "-m", "tests.capture.contract", request.param]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, timeout=120, check=False)
    assert done.returncode == 0, done.stderr
    assert "Traceback" not in done.stderr, done.stderr
    found: dict[str, str] = json.loads(done.stdout)
    return found


@pytest.mark.parametrize("check", CONTRACT, ids=lambda check: check.__name__)
def test_contract_of_a_sound_card(verdicts: dict[str, str], check: Check) -> None:
    assert not verdicts[check.__name__], verdicts[check.__name__]


# ---------------------------------------------------------------- the contract itself can fail


class _Reusing(FakeSource):
    """Hands the same array over again and again."""

    def wait(self, timeout_s: float) -> Item | None:
        item = super().wait(timeout_s)
        if isinstance(item, Block):
            _SHARED[:] = item.counts
            return Block(item.first, _SHARED)
        return item


_SHARED = ramp(0, 100).counts
_STEADY = [ramp(100 * turn, 100) for turn in range(40)]


@pytest.mark.parametrize(
    "broken,check",
    [
        (lambda: FakeSource([ramp(0, 100), ramp(101, 2000)]), leaves_no_row_out),
        (lambda: FakeSource([ramp(0, 100), Gap(90, 20, "lost"), ramp(110, 2000)]), leaves_no_row_out),
        (lambda: _Reusing(_STEADY), CONTRACT[3]),
        (lambda: FakeSource(_STEADY, dtype="<i4"), CONTRACT[1]),
        (lambda: FakeSource(_STEADY, count=3), CONTRACT[1]),
        (lambda: FakeSource([ramp(7, 100), *_STEADY]), CONTRACT[6]),
        (lambda: FakeSource([*_STEADY, Ended(), ramp(0, 5)]), CONTRACT[9]),
        (lambda: FakeSource([ramp(0, 100), Ended("")]), ends_with_a_sentence_when_it_fails),
    ],
)
def test_a_source_that_breaks_the_contract_is_noticed(broken: Any, check: Check, tmp_path: Path) -> None:
    candidate = Candidate(lambda folder: broken(), fail=lambda folder: None, rows=4000)
    with pytest.raises(AssertionError):
        check(candidate, tmp_path)
