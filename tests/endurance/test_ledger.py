"""A hundred mixtures of known powers: every entry of the ledger reaches the truth in ninety of them or more."""

from __future__ import annotations

import pytest

from tests.analysis.mixtures import coverage_of

pytestmark = pytest.mark.endurance


def test_hundred_mixtures() -> None:
    """Closed-form powers; "unexplained" is truly nothing. About a minute."""
    coverage = coverage_of(range(300, 400))
    assert min(coverage.values()) >= 0.9, coverage
