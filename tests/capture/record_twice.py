"""Record the default sound card twice at the same time. Usage: FIRST.h5 SECOND.h5 RATE_HZ DURATION_S.

A process of its own, since libraries for sound cards find their devices once. Prints, as JSON, each one's fault and
the offset by the computer's clock with its uncertainty.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path

from capture import RecordingInfo, RecordTogether, SoundCardSource, SourceDescription, Track, coarse_offset
from tests.capture.making import describe


def _as_signal(says: SourceDescription) -> RecordingInfo:
    first, *rest = says.channels
    return describe(says).changed(channels=(first.model_copy(update={"role": "signal"}), *rest))


def main(first: str, second: str, rate_hz: str, duration_s: str) -> None:
    """Record both to their ends."""
    tracks = [Track(SoundCardSource("", 2, float(rate_hz)), Path(path), _as_signal) for path in (first, second)]
    together = RecordTogether(tuple(tracks), float(duration_s))
    together.start()
    outcomes = together.outcomes()
    print(json.dumps({"faults": [outcome.fault for outcome in outcomes], "coarse": coarse_offset(*outcomes)}))


if __name__ == "__main__":
    main(*sys.argv[1:])
