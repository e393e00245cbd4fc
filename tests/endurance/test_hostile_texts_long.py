"""Five hundred made-up jobs with hostile texts: every one compiles, and every text stands as typed."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import HealthCheck, Phase, given, settings

from tests.report.hostile import HostileJobs, check, hostile_texts

pytestmark = pytest.mark.endurance


#: a failing text is short as it is, and making it shorter takes minutes
PHASES = (Phase.explicit, Phase.reuse, Phase.generate)


@pytest.fixture(scope="module")
def jobs(tmp_path_factory: pytest.TempPathFactory) -> Iterator[HostileJobs]:
    """A job whose texts can be exchanged."""
    with pytest.MonkeyPatch.context() as patch:
        yield HostileJobs(tmp_path_factory.mktemp("hostile"), patch)


@settings(max_examples=500, deadline=None, suppress_health_check=list(HealthCheck), phases=PHASES)
@given(texts=hostile_texts)
def test_five_hundred_jobs(jobs: HostileJobs, tmp_path: Path, texts: dict[str, str]) -> None:
    check(jobs, texts, tmp_path)
