"""A hundred seeded tamperings: all found, each called by its name, none told that is not so."""

from __future__ import annotations

from pathlib import Path

import pytest

from report import check_bundle, check_report
from tests.report.sealed_jobs import sealed_job
from tests.report.tampering import check_named, copied, tampered

pytestmark = pytest.mark.endurance


def test_hundred_tamperings(tmp_path: Path) -> None:
    """Half a minute; between them the untouched one passes."""
    job, other = sealed_job(tmp_path), sealed_job(tmp_path, "B-4", seed=9)
    for seed in range(1000, 1100):
        place = tmp_path / str(seed)
        place.mkdir()
        check_named(*tampered(seed, job, other, place))
        if seed % 10 == 0:
            (place / "untouched").mkdir()
            own = copied(job, place / "untouched")
            assert check_report(own.pdf, key=own.public).problems == ()
            assert check_bundle(own.bundle, own.public).problems == ()
