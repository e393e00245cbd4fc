"""Test signals as WAV files: exported for a vehicle's own player, and any WAV taken as a stimulus."""

from __future__ import annotations

import json
import math
import os
import tempfile
from contextlib import suppress
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import scipy
import soundfile

from analysis import WrongUseError
from capture._errors import ImportRefused, RecordingError
from capture._test_signals import LONGEST_S, SHAPES, SignalBurst, TestSignal, make_test_signal

Floats = npt.NDArray[np.float64]
_TOP = 2**23 - 1
_KEY = "humproof test signal"
#: samples at full scale one after the other that are a flat top
_FLAT_TOP = 4
#: silence this long is left without dither, so that digital zero stays what it is
_SILENT_S = 0.002
#: a tone of 20 Hz is not silent for longer than this
_BREATH_S = 0.030
_SHORTEST_BURST_S, _LONGEST_BURST_S = 0.005, 5.0


def export_test_signal(signal: TestSignal, path: Path) -> None:
    """Write a 24-bit WAV with one channel that knows by its comment what it is; nothing is overwritten.

    Raises
    ------
    WrongUseError
        The name does not end in .wav.
    RecordingError
        The file is there already, or cannot be written; nothing half-written is left.
    """
    if path.suffix.lower() != ".wav":
        raise WrongUseError(f"{path}: a test signal is written as WAV: give a name that ends in .wav")
    if path.exists():
        raise RecordingError(f"{path}: exists already; nothing is overwritten, choose another name")
    try:
        _write(signal, path)
    except (OSError, soundfile.SoundFileError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise RecordingError(f"{path}: cannot be written: {reason}") from error


def _write(signal: TestSignal, path: Path) -> None:
    handle, name = tempfile.mkstemp(suffix=".wav", dir=path.parent)
    os.close(handle)
    try:
        with soundfile.SoundFile(name, "w", round(signal.rate_hz), 1, "PCM_24") as file:
            file.comment = _comment(signal)
            file.write(_twenty_four_bits(signal) << 8)
        # mkstemp keeps a file to its owner; this one is to be handed on.
        Path(name).chmod(0o644)
        Path(name).replace(path)
    except BaseException:
        with suppress(OSError):
            os.unlink(name)
        raise


def _twenty_four_bits(signal: TestSignal) -> npt.NDArray[np.int32]:
    """Rounded with dither of triangular distribution where the signal is not silent."""
    first, second = np.random.default_rng(24).random((2, len(signal.samples)))
    width = max(round(_SILENT_S * signal.rate_hz), 1)
    heard = scipy.ndimage.maximum_filter1d(np.abs(signal.samples), 2 * width + 1) > 0
    counts = np.rint(signal.samples * 2**23 + np.where(heard, first - second, 0))
    return np.clip(counts, -_TOP, _TOP).astype(np.int32)


def _comment(signal: TestSignal) -> str:
    facts: dict[str, Any] = {
        _KEY: signal.name,
        "level_db": signal.level_db if math.isfinite(signal.level_db) else None,
        "rate_hz": signal.rate_hz,
        "duration_s": signal.duration_s,
        "frequency_hz": signal.frequency_hz,
    }
    return json.dumps(facts)


# ---------------------------------------------------------------- reading


def load_stimulus(path: Path) -> TestSignal:
    """Read a WAV as a stimulus: an exported test signal knows its bursts, in any other its envelope shows them.

    Raises
    ------
    ImportRefused
        No sound file, no samples, too long, channels that differ, or samples beyond or flat at full scale.
    """
    samples, rate_hz, comment = _read(path)
    _check_level(path, samples, rate_hz)
    own = _own(comment, len(samples), rate_hz)
    if own is not None:
        return TestSignal(own.name, rate_hz, samples, _scaled(own, rate_hz), own.level_db, own.source, own.frequency_hz)
    peak = float(np.abs(samples).max())
    level_db = 20 * math.log10(peak) if peak else -math.inf
    return TestSignal(
        path.name, rate_hz, samples, bursts_by_envelope(samples, rate_hz), level_db, "a file of one's own"
    )


def _read(path: Path) -> tuple[Floats, float, str]:
    try:
        with path.open("rb") as handle, soundfile.SoundFile(handle) as file:
            rate, comment = float(file.samplerate), str(file.comment)
            if file.frames > LONGEST_S * rate:
                raise ImportRefused(f"{path}: a stimulus is at most {LONGEST_S:g} s long: cut it and export it again")
            samples = file.read(dtype="float64", always_2d=True)
    except soundfile.SoundFileError as error:
        reason = str(getattr(error, "error_string", error)).strip().rstrip(".")
        raise ImportRefused(f"{path}: is no sound file ({reason}): export it again as WAV") from None
    except OSError as error:
        raise ImportRefused(f"{path}: cannot be read: {error.strerror or error}") from None
    if not len(samples):
        raise ImportRefused(f"{path}: holds no samples: export it again")
    if np.any(samples != samples[:, :1]) and not np.isnan(samples).any():
        raise ImportRefused(f"{path}: its channels differ: export it with one channel")
    return np.ascontiguousarray(samples[:, 0]), rate, comment


def _check_level(path: Path, samples: Floats, rate_hz: float) -> None:
    if not np.isfinite(samples).all():
        place = int(np.argmin(np.isfinite(samples))) / rate_hz
        raise ImportRefused(f"{path}: the sample at {place:.3f} s is no number: export it again")
    size = np.abs(samples)
    peak = float(size.max())
    if peak > 1:
        place = int(np.argmax(size)) / rate_hz
        raise ImportRefused(
            f"{path}: is louder than full scale ({peak:.3g} of 1 at {place:.3f} s): lower it and export it again"
        )
    flat = np.convolve(size >= 1 - 2.0**-15, np.ones(_FLAT_TOP), "valid") if len(size) >= _FLAT_TOP else np.zeros(1)
    if flat.max() >= _FLAT_TOP - 0.5:
        place = int(np.argmax(flat)) / rate_hz
        raise ImportRefused(f"{path}: is clipped at full scale at {place:.3f} s: lower it before you export it")


def _own(comment: str, frames: int, rate_hz: float) -> TestSignal | None:
    """The signal that the comment describes, when the file is still as long as that."""
    try:
        facts = json.loads(comment)
        name = facts[_KEY]
        frequency = facts["frequency_hz"] if name in SHAPES and SHAPES[name].frequencies_hz else None
        signal = make_test_signal(
            name,
            rate_hz=facts["rate_hz"],
            level_db=facts["level_db"],
            duration_s=facts["duration_s"],
            frequency_hz=frequency,
        )
    except (ValueError, KeyError, TypeError, WrongUseError):
        return None
    # Another program may have resampled the file and kept its comment.
    return signal if abs(frames / rate_hz - signal.duration_s) < 1e-3 else None


def _scaled(signal: TestSignal, rate_hz: float) -> tuple[SignalBurst, ...]:
    ratio = rate_hz / signal.rate_hz
    return tuple(SignalBurst(round(b.first * ratio), round(b.length * ratio), b.text) for b in signal.bursts)


def bursts_by_envelope(samples: Floats, rate_hz: float) -> tuple[SignalBurst, ...]:
    """Stretches that stand out of what lies between them; none in a signal that goes on and on."""
    size = np.abs(samples)
    hop = max(round(0.005 * rate_hz), 1)
    hops = np.maximum.reduceat(size, np.arange(0, len(size), hop))
    top, rest = float(hops.max()), float(np.percentile(hops, 10))
    if not top or rest > top / 2:
        return ()
    loud = np.flatnonzero(size > max(math.sqrt(rest * top), 0.02 * top))
    ends = np.flatnonzero(np.diff(loud) > _BREATH_S * rate_hz)
    firsts, lasts = loud[np.concatenate([[0], ends + 1])], loud[np.concatenate([ends, [len(loud) - 1]])]
    return tuple(
        SignalBurst(int(first), int(last - first + 1), f"burst {(last - first + 1) / rate_hz:.3g} s")
        for first, last in zip(firsts, lasts, strict=True)
        if _SHORTEST_BURST_S <= (last - first + 1) / rate_hz <= _LONGEST_BURST_S
    )
