"""Speed of the live view at 2 x 192 kHz: python -m pytest benchmarks/test_live.py

Aim: what one frame takes, worked out and drawn, is less than a third of the time between two (11 of 33 ms); the
recorder's thread loses less than a hundredth of a block's own 50 ms to it.
"""

from __future__ import annotations

import os
from typing import Any

import numpy as np
import pytest

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")

from analysis import Channel
from gui._live_feed import Feed
from gui._live_lines import name_lines
from gui._live_page import LivePage
from gui._live_worker import Circumstances, LiveWorker
from gui._palette import LIGHT
from gui._recorder_levels import LevelMeter

RATE_HZ = 192_000.0
CHANNELS = (Channel("battery", role="supply", unit="V", coupling="DC"), Channel("input", role="signal", unit="V"))
TIME_S = np.arange(int(2 * RATE_HZ)) / RATE_HZ
ROWS = np.column_stack(
    [
        13.2 + 0.02 * np.sin(2 * np.pi * 2250.3 * TIME_S),
        1e-3 * np.sin(2 * np.pi * 2250.3 * TIME_S) + 1e-5 * np.random.default_rng(1).normal(size=len(TIME_S)),
    ]
)
BLOCK, FRAME = 9600, 6400


@pytest.fixture
def worker() -> LiveWorker:
    """Not started: each step is called by hand."""
    made = LiveWorker(Feed(RATE_HZ, CHANNELS), Circumstances)
    made._take([ROWS])
    return made


def test_time_of_a_block_in_the_recorders_thread(benchmark: Any) -> None:
    feed, levels = Feed(RATE_HZ, CHANNELS), LevelMeter(CHANNELS)
    feed.wanted = True

    def hear() -> None:
        levels.take(ROWS[:BLOCK])
        feed.put(ROWS[:BLOCK])

    benchmark(hear)


def test_time_of_a_frame(benchmark: Any, worker: LiveWorker) -> None:
    def frame() -> None:
        worker._take([ROWS[:FRAME]])
        worker._frame()

    benchmark(frame)


def test_time_of_drawing(benchmark: Any, worker: LiveWorker, qtbot: Any) -> None:
    page = LivePage(LIGHT)
    qtbot.addWidget(page)
    page.resize(1366, 560)
    page.show()
    page.worker, page._chosen = worker, 1
    worker.named = name_lines(ROWS, RATE_HZ, CHANNELS, 1500.0, None, bursts=False)
    frame = worker._frame()

    def draw() -> None:
        page._draw(frame)
        for canvas in (page.wave, page.spectrum, page.orders):
            canvas.repaint()

    benchmark(draw)
    page.worker = None


def test_time_of_naming_lines(benchmark: Any) -> None:
    benchmark(lambda: name_lines(ROWS, RATE_HZ, CHANNELS, 1500.0, None, bursts=False))
