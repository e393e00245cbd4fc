"""Fixtures of the long tests."""

from pathlib import Path

import pytest

from tests.endurance.disks import small_disk


@pytest.fixture
def mountable(tmp_path: Path) -> None:
    """Skips where this user may not mount anything."""
    try:
        with small_disk(tmp_path / "trial", 1 << 20):
            return
    except RuntimeError as error:
        pytest.skip(f"no small disk can be mounted: {error}")
