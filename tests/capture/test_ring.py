"""The ring between a device's callback and the recorder: every row comes out once, in order, or as part of a gap."""

from __future__ import annotations

import threading
import time
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from capture import Block, Gap
from capture._ring import Ring

SLOW = "the computer was too slow to take the samples"

_PUT = st.tuples(st.just("put"), st.integers(0, 9))
_LOSE = st.tuples(st.sampled_from(["lost", "pulled"]), st.integers(1, 5))
_TAKE = st.tuples(st.just("take"), st.integers(1, 6))
_STEPS = st.lists(st.one_of(_PUT, _PUT, _LOSE, _TAKE, _TAKE), max_size=60)


def _rows(first: int, count: int) -> Any:
    """Rows that tell their number; the second channel tells it backwards."""
    numbers = np.arange(first, first + count, dtype="<i4")
    return np.stack([numbers, -numbers], axis=1)


class _Model:
    """What must come out: one entry for every row ever offered, its number or the cause of its loss."""

    def __init__(self, capacity: int) -> None:
        self.capacity, self.offered, self.expected = capacity, 0, list[int | str]()
        self.waiting = 0

    def put(self, ring: Ring, count: int) -> None:
        rows = _rows(self.offered, count)
        ring.put(rows)
        fits = self.waiting + count <= self.capacity
        self.expected += range(self.offered, self.offered + count) if fits else [SLOW] * count
        self.waiting += count if fits else 0
        self.offered += count
        rows[:] = -99  # the driver uses its buffer again

    def lose(self, ring: Ring, count: int, cause: str) -> None:
        ring.lose(count, cause)
        self.expected += [cause] * count
        self.offered += count

    def taken(self, item: Block | Gap | None) -> None:
        if isinstance(item, Block):
            self.waiting -= len(item.counts)


def _told(item: Block | Gap) -> list[int | str]:
    if isinstance(item, Gap):
        return [item.cause] * item.length
    assert item.counts[:, 0].tolist() == (-item.counts[:, 1]).tolist()
    return [int(count) for count in item.counts[:, 0]]


@given(st.integers(1, 12), _STEPS)
def test_no_row_is_lost_without_account(capacity: int, steps: list[tuple[str, int]]) -> None:
    ring, model, items = Ring(capacity, 2, "<i4"), _Model(capacity), list[Block | Gap]()
    for step, count in [*steps, *[("take", 5)] * (len(steps) * 10)]:
        if step == "put":
            model.put(ring, count)
        elif step == "take":
            item = ring.take(count)
            model.taken(item)
            items += [item] if item is not None else []
            assert not isinstance(item, Block) or 1 <= len(item.counts) <= count
        else:
            model.lose(ring, count, step)
    assert ring.take(1) is None
    assert [told for item in items for told in _told(item)] == model.expected
    _assert_contiguous(items)


def _assert_contiguous(items: list[Block | Gap]) -> None:
    """Each item begins where the one before ended: so a gap's place is exact."""
    place = 0
    for item in items:
        assert item.first == place, items
        place = item.stop


def test_a_loss_lies_exactly_where_it_happened() -> None:
    ring = Ring(100, 2, "<i4")
    ring.lose(2, "before the first row")
    ring.put(_rows(2, 5))
    ring.lose(3, "lost")
    ring.lose(4, "lost")
    ring.lose(1, "pulled")
    ring.put(_rows(15, 1))
    items = [ring.take(50) for _ in range(5)]
    assert [item for item in items if isinstance(item, Gap)] == [
        Gap(0, 2, "before the first row"),
        Gap(7, 7, "lost"),
        Gap(14, 1, "pulled"),
    ]
    blocks = [(item.first, item.counts[:, 0].tolist()) for item in items if isinstance(item, Block)]
    assert blocks == [(2, [2, 3, 4, 5, 6]), (15, [15])]


def test_a_block_that_was_taken_does_not_change() -> None:
    ring = Ring(4, 2, "<i4")
    kept = []
    for turn in range(3):
        ring.put(_rows(4 * turn, 4))
        kept.append(ring.take(4))
    told = [item.counts[:, 0].tolist() for item in kept if isinstance(item, Block)]
    assert told == [[0, 1, 2, 3], [4, 5, 6, 7], [8, 9, 10, 11]]


@pytest.mark.parametrize("dtype", ["<i2", "<i4", "<f4"])
def test_the_sample_type_is_kept(dtype: str) -> None:
    ring = Ring(8, 3, dtype)
    ring.put(np.full((8, 3), 3, dtype))
    item = ring.take(8)
    assert isinstance(item, Block)
    assert (item.counts.dtype, item.counts.shape) == (np.dtype(dtype), (8, 3))


def test_a_hasty_writer_and_a_slow_reader_in_two_threads() -> None:
    ring, offered, items = Ring(700, 2, "<i4"), 60_000, list[Block | Gap]()
    finished = threading.Event()

    def write() -> None:
        generator, place = np.random.default_rng(5), 0
        while place < offered:
            count = int(generator.integers(1, 200))
            (ring.lose(count, "lost") if generator.random() < 0.05 else ring.put(_rows(place, count)))
            place += count
            if generator.random() < 0.2:
                time.sleep(0)
        finished.set()

    writer = threading.Thread(target=write)
    writer.start()
    while True:
        over = finished.is_set()
        item = ring.take(97)
        if item is not None:
            items.append(item)
        elif over:
            break
    writer.join()
    _assert_contiguous(items)
    assert items[-1].stop >= offered
    for item in items:
        if isinstance(item, Block):
            assert item.counts[:, 0].tolist() == list(range(item.first, item.stop))
    causes = {item.cause for item in items if isinstance(item, Gap)}
    assert "lost" in causes
    assert causes <= {"lost", SLOW}
