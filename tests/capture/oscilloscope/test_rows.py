"""Where captures stand in a recording: by the computer's clock, each from the first one."""

from __future__ import annotations

import re

import numpy as np
import pytest

from capture import Block, Gap
from capture._oscilloscope._capture import Capture
from capture._oscilloscope._runner import _Rows

RATE = 1000.0


def _capture(began_s: float, uncertain_s: float = 0.0, rows: int = 100) -> Capture:
    return Capture(np.zeros((rows, 2), "<i2"), began_s, uncertain_s)


def test_places_do_not_add_up_errors() -> None:
    """Every capture begins 0.1234 s after the one before, 123.4 rows: rounding must not build up."""
    rows, zero = _Rows(RATE), 70.0
    for number in range(50):
        items = rows.items(_capture(zero + 0.1234 * number), "")
        block = items[-1]
        assert isinstance(block, Block)
        assert block.first == round(123.4 * number)


def test_the_gap_states_both_uncertainties() -> None:
    """Half a millisecond is half a row; 2 ms and 7 ms are those of the two triggers."""
    rows = _Rows(RATE)
    rows.items(_capture(5.0, 0.002), "")
    gap = rows.items(_capture(5.25, 0.007), "it was late")[0]
    assert isinstance(gap, Gap)
    assert (gap.first, gap.length) == (100, 150)
    found = re.search(r"uncertain by (\S+) s; it was late$", gap.cause)
    assert found
    assert float(found[1]) == pytest.approx(0.0095)


def test_captures_never_join_or_overlap() -> None:
    rows = _Rows(RATE)
    rows.items(_capture(5.0), "")
    gap, block = rows.items(_capture(5.05), "")
    assert isinstance(gap, Gap)
    assert isinstance(block, Block)
    assert (gap.first, gap.length, block.first) == (100, 1, 101)
