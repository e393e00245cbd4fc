"""Play an array to the default sound card while recording from it. Usage: PLAYED.npy RECORDED.npy RATE_HZ."""

import sys

import numpy as np
import sounddevice


def main(played_path: str, recorded_path: str, rate_hz: str) -> None:
    """Write what came back, as long as what was played, to ``recorded_path``."""
    played = np.load(played_path)
    sounddevice.default.dtype = "float32"
    sounddevice.default.latency = "high"
    recorded = sounddevice.playrec(played, int(rate_hz), channels=played.shape[1], blocking=True)
    np.save(recorded_path, recorded)


if __name__ == "__main__":
    main(*sys.argv[1:])
