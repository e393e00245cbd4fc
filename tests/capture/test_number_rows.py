"""Rows from lines: what a counter or timestamps say is missing is missing, to the row, and nothing else."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from capture import Block, Gap, Item, Mark
from capture._number_lines import LineShape
from capture._number_rows import MOST_NOTES, UNREADABLE, CounterSteps, RowPlacer, Steps, TimeSteps

#: column 0 counts or tells the time, column 1 is the true row
SHAPE = LineShape(",", 2, (1,), counter=0)
TIMED = LineShape(",", 2, (1,))
MOST_MISSING = 100_000
few = settings(max_examples=40)


def _placed(lines: list[str], shape: LineShape, steps: Steps | None, cuts: list[int] | None = None) -> list[Item]:
    """What comes of lines that arrive in batches."""
    placer = RowPlacer(shape, steps, np.dtype("<f8"), MOST_MISSING, 1000)
    ends = [*sorted(cuts or []), len(lines)]
    items = [item for start, stop in zip([0, *ends], ends, strict=False) for item in placer.place(lines[start:stop])]
    return [*items, *placer.place([], last=True)]


def _missing(items: list[Item]) -> list[int]:
    """Every missing row; blocks and gaps must follow each other without a hole."""
    place, missing = 0, list[int]()
    for item in items:
        if isinstance(item, Mark):
            assert item.first <= place
        elif isinstance(item, Block | Gap):
            assert item.first == place
            assert item.stop > place
            place = item.stop
            missing += range(item.first, item.stop) if isinstance(item, Gap) else []
    return missing


def _rows(items: list[Item]) -> list[tuple[int, float]]:
    """Row number and value of everything delivered."""
    return [
        (item.first + i, value)
        for item in items
        if isinstance(item, Block)
        for i, value in enumerate(item.counts[:, 0].tolist())
    ]


def _marks(items: list[Item]) -> list[str]:
    return [item.text for item in items if isinstance(item, Mark)]


@pytest.mark.parametrize("modulus", [None, 256, 1000, 65_536])
@pytest.mark.parametrize("seed", range(6))
def test_lost_lines_leave_gaps_of_exactly_their_rows(modulus: int | None, seed: int) -> None:
    random = np.random.default_rng(seed)
    total, lost = 3000, set[int]()
    for start in random.integers(1, total - 200, 25).tolist():
        lost |= set(range(start, start + int(random.integers(1, 40))))
    first = int(random.integers(0, modulus or 10**9))
    kept = [row for row in range(total) if row not in lost]
    lines = [f"{(first + row) % modulus if modulus else first + row},{row}" for row in kept]
    items = _placed(lines, SHAPE, CounterSteps(0, modulus), random.integers(0, len(lines), 30).tolist())
    assert _missing(items) == sorted(lost)
    assert _rows(items) == [(row, row) for row in kept]
    assert not _marks(items)


@few
@given(st.lists(st.integers(0, 199), max_size=40), st.lists(st.integers(0, 200), max_size=8))
def test_unreadable_lines_are_missing_rows_where_nothing_counts(bad: list[int], cuts: list[int]) -> None:
    lines = ["?" if row in bad else f"0,{row}" for row in range(200)]
    items = _placed(lines, TIMED, None, cuts)
    assert _missing(items) == sorted(set(bad))
    assert _rows(items) == [(row, row) for row in range(200) if row not in bad]
    assert all(item.cause == UNREADABLE for item in items if isinstance(item, Gap))


@few
@given(
    st.sets(st.integers(1, 198), max_size=30), st.sets(st.integers(1, 198), max_size=30), st.lists(st.integers(0, 200))
)
def test_with_a_counter_each_missing_row_has_its_own_cause(lost: set[int], bad: set[int], cuts: list[int]) -> None:
    lines = [f"x{row}" if row in bad else f"{row + 7},{row}" for row in range(200) if row not in lost]
    items = _placed(lines, SHAPE, CounterSteps(0, None), [cut for cut in cuts if cut <= len(lines)])
    assert _missing(items) == sorted(lost | bad)
    unreadable = sum(item.length for item in items if isinstance(item, Gap) and item.cause == UNREADABLE)
    assert unreadable == len(bad - lost)


@few
@given(st.lists(st.integers(0, 400), max_size=30), st.integers(0, 2**32 - 1))
def test_batches_make_no_difference(cuts: list[int], seed: int) -> None:
    random = np.random.default_rng(seed)
    counts = np.cumsum(random.choice([1, 1, 1, 1, 1, 1, 2, 9, 0, -5], 400)) + 50
    lines = ["?" if random.random() < 0.05 else f"{count},{row}" for row, count in enumerate(counts.tolist())]
    whole = _placed(lines, SHAPE, CounterSteps(0, None))
    parts = _placed(lines, SHAPE, CounterSteps(0, None), cuts)
    assert _rows(parts) == _rows(whole)
    assert _missing(parts) == _missing(whole)


@pytest.mark.parametrize("wrong", ["99915", "0", "3", "12", "13", "1e15", "-40"])
@pytest.mark.parametrize("cut", [10, 11, 12])
def test_one_wrong_count_between_two_right_ones_makes_no_gap_but_itself(wrong: str, cut: int) -> None:
    lines = [f"{row},{row}" for row in range(20)]
    lines[11] = f"{wrong},11"
    items = _placed(lines, SHAPE, CounterSteps(0, None), [cut])
    assert _missing(items) == [11]
    assert _rows(items) == [(row, row) for row in range(20) if row != 11]


@pytest.mark.parametrize("modulus", [None, 65_536])
def test_a_counter_that_starts_again_is_noted_and_takes_no_row_away(modulus: int | None) -> None:
    counts = [1000, 1001, 1002, 0, 1, 2, 5, 6]
    items = _placed([f"{count},{i}" for i, count in enumerate(counts)], SHAPE, CounterSteps(0, modulus))
    assert _missing(items) == [6, 7]
    assert _rows(items) == [(0, 0), (1, 1), (2, 2), (3, 3), (4, 4), (5, 5), (8, 6), (9, 7)]
    (text,) = _marks(items)
    assert "1002 to 0" in text
    assert next(item.first for item in items if isinstance(item, Mark)) == 3


def test_a_jump_too_far_to_be_believed_fills_no_disk() -> None:
    counts = [1, 2, 3, 10**12, 10**12 + 1, 10**12 + 2]
    items = _placed([f"{count},{i}" for i, count in enumerate(counts)], SHAPE, CounterSteps(0, None))
    assert not _missing(items)
    assert len(_rows(items)) == 6
    assert "how many, is not known" in _marks(items)[0]


@pytest.mark.parametrize("lost,told", [(126, True), (127, True), (128, False), (200, False)])
def test_half_a_modulus_is_as_far_as_can_be_told(lost: int, told: bool) -> None:
    counts = [250, 251, *((252 + lost + i) % 256 for i in range(3))]
    items = _placed([f"{count},{i}" for i, count in enumerate(counts)], SHAPE, CounterSteps(0, 256))
    assert len(_missing(items)) == (lost if told else 0)
    assert bool(_marks(items)) != told


def test_a_wild_counter_does_not_fill_the_file_with_notes() -> None:
    items = _placed([f"{-3 * row},{row}" for row in range(1000)], SHAPE, CounterSteps(0, None))
    assert len(_marks(items)) == MOST_NOTES + 1
    assert len(_rows(items)) == 1000


@pytest.mark.parametrize("seed", range(5))
def test_timestamps_tell_lost_lines_though_they_sway(seed: int) -> None:
    random = np.random.default_rng(seed)
    kept = [row for row in range(2000) if random.random() > 0.03 or row in (0, 1999)]
    stamps = np.array(kept) * 10 + random.uniform(-2, 2, len(kept))  # ms at 100 Hz, off by up to a fifth of a row
    lines = [f"{stamp:.3f},{row}" for stamp, row in zip(stamps, kept, strict=True)]
    items = _placed(lines, TIMED, TimeSteps(0, 100.0, 1e-3, 0.05), random.integers(0, len(lines), 9).tolist())
    assert _rows(items) == [(row, row) for row in kept]


def test_timestamps_coarser_than_a_row_invent_no_gap() -> None:
    # 3000 lines a second with whole milliseconds: steps of 0, 0 and 3 rows, which differ from 1 by up to 2.
    rows = [row for row in range(900) if not 450 <= row < 510]
    items = _placed([f"{row // 3},{row}" for row in rows], TIMED, TimeSteps(0, 3000.0, 1e-3, 2 * 2.0))
    (gap,) = (item for item in items if isinstance(item, Gap))
    assert gap.first == 450
    assert abs(gap.length - 60) <= 3
    assert not _marks(items)


def test_timestamps_that_wrap_are_noted() -> None:
    lines = [f"{(4_294_960 + 2 * row) % 4_294_967},{row}" for row in range(9)]
    items = _placed(lines, TIMED, TimeSteps(0, 500.0, 1e-3, 0.0))
    assert len(_rows(items)) == 9
    assert "timestamps went from 4294966 to 1" in _marks(items)[0]


def test_the_first_unreadable_line_is_quoted_at_once_and_their_sum_at_the_end() -> None:
    lines = ["0,0", "boom\x07", *(f"0,{row}" for row in range(100)), "bang", "0,1"]
    items = _placed(lines, TIMED, None, [5])
    first, last = _marks(items)
    assert first == r"1 line could not be read, the first: 'boom\x07'"
    assert last.startswith("2 lines could not be read")
    assert items.index(next(item for item in items if isinstance(item, Mark))) < len(items) - 2
