"""Plays stretches of two recordings through the default sound card, in a process of its own. Usage: FOLDER."""

from __future__ import annotations

import json
import sys
import time
from pathlib import Path

import numpy as np

from capture import RecordingWriter, SamplePlayer
from gui._listening import LIMIT, Piece, read_stretches
from tests.gui import _jobs

RATE_HZ = 96_000.0
START_S, LENGTH_S, LEVEL_DB = 0.1, 0.3, -20.0


def _recording(path: Path, seed: int) -> Path:
    """Noise of which no stretch is like another."""
    channel = _jobs.channel("input", "signal", 1e-6)
    counts = np.random.default_rng(seed).normal(0, 3_000, (round(0.5 * RATE_HZ), 1))
    with RecordingWriter(path, _jobs.info(channels=(channel,), rate_hz=RATE_HZ), "<i2") as writer:
        writer.write(np.clip(np.round(counts), -32_768, 32_767).astype("<i2"))
    return path


def main(folder: Path) -> None:
    """Hear the first one for a turn of its loop and more, then the other one."""
    pieces = tuple(Piece(_recording(folder / f"{n}.h5", n), 0, START_S, LENGTH_S) for n in (0, 1))
    stretches = read_stretches(pieces, lambda fraction, doing: None)
    gain = stretches.gain(LEVEL_DB)
    player = SamplePlayer(stretches.sounds, stretches.rate_hz, gain, limit=LIMIT)
    player.prepare()
    player.start()
    time.sleep(2 * LENGTH_S)
    player.choose(1)
    time.sleep(2 * LENGTH_S)
    player.close()
    first = round(START_S * RATE_HZ)
    told = {"gain": gain, "rows": [first, first + round(LENGTH_S * RATE_HZ)]}
    (folder / "told.json").write_text(json.dumps(told))


if __name__ == "__main__":
    main(Path(sys.argv[1]))
