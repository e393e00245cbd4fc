"""Two stretches to listen to, before and after, at one gain: what is heard is the change, not a volume knob."""

from __future__ import annotations

import math
import os
import re
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from analysis import NOISE_ROLES, Channel
from capture import Recording
from job import Job, Study
from report._errors import ReportError
from report._sheets import Contents, Sheet, channel_named, clearest_changes, twin
from report._words import place

Floats = npt.NDArray[np.float64]

SHORTEST_S, LONGEST_S = 5.0, 15.0
#: of the louder clip, re full scale
PEAK_DB = -3.0
#: DC and what is slower than this cannot be heard but would take the room that sound needs
HIGH_PASS_HZ = 10.0
#: what every player knows; other rates are changed to the last one
_LOWEST_HZ, _HIGHEST_HZ, _USUAL_HZ = 8_000, 96_000, 48_000
_FADE_S = 0.02
_BITS = 16
_FORMATS = ("WAV", "FLAC")
_COMMENT = (
    "{side} work, {place}, {seconds:.1f} s of {file}. {gain}. Below {high_pass:g} Hz, DC included, taken out. {dither}"
)
_DITHER = "16 bit with triangular dither of one step either way."


@dataclass(frozen=True, slots=True)
class Clip:
    """One side, ready to be written."""

    side: str
    #: shape (n,), full scale is 1
    samples: Floats
    rate_hz: int
    title: str
    comment: str
    stem: str


@dataclass(frozen=True, slots=True)
class ClipPair:
    """Before and after at one gain."""

    before: Clip
    after: Clip
    #: full scale per unit of the channel, in dB
    gain_db: int
    unit: str

    def write(self, folder: Path) -> tuple[Path, ...]:
        """WAV and FLAC of both into a folder, which is made if need be; all of them or none.

        Raises
        ------
        ReportError
            When they cannot be written, or would replace what is no such clip; then nothing is.
        """
        _check_places(folder, (self.before, self.after))
        try:
            folder.mkdir(exist_ok=True)
            return _write_all(folder, (self.before, self.after))
        except OSError as error:
            raise ReportError(f"{folder}: the clips cannot be written: {error.strerror or error}") from error


def clips(job: Job, contents: Contents) -> ClipPair:
    """The pair of recordings whose noise changed most clearly, or else the first one with noise on both sides.

    Raises
    ------
    ReportError
        Where there is no comparable pair with noise, or it is too short.
    """
    sheet, channel = _chosen(job, contents)
    sides = [_stretch(study, twin(study, channel)) for _, study in sheet.sides]
    rate = _playable(max(own for _, own in sides))
    sounds = [_at_rate(values, own, rate) for values, own in sides]
    length = min(min(map(len, sounds)), round(LONGEST_S * rate))
    ready = [_faded(sound[:length], rate) for sound in sounds]
    gain_db = _gain_db(max(float(np.abs(sound).max()) for sound in ready), channel)
    made = [
        _clip(name, study, channel, sound * 10 ** (gain_db / 20), rate, gain_db)
        for (name, study), sound in zip(sheet.sides, ready, strict=True)
    ]
    return ClipPair(made[0], made[1], gain_db, channel.unit)


# ---------------------------------------------------------------- which


def _chosen(job: Job, contents: Contents) -> tuple[Sheet, Channel]:
    if not contents.comparisons:
        raise ReportError(f"{job.folder}: has no pair of recordings as found and as left, so there is nothing to hear")
    comparable = [sheet for sheet in contents.comparisons if sheet.comparison and sheet.comparison.comparable]
    if not comparable:
        raise ReportError(
            f"{job.folder}: no pair of recordings is comparable, so clips at one gain mislead; the report says why"
        )
    found = next(_candidates(contents, comparable), None)
    if found is None:
        raise ReportError(
            f"{job.folder}: no pair has a channel with noise (signal, speaker or ground-offset) on both sides, so "
            "there is nothing to hear; give the channel its role when recording"
        )
    return found


def _candidates(contents: Contents, comparable: list[Sheet]) -> Iterator[tuple[Sheet, Channel]]:
    """The clearest first; a channel must have a noise figure on both sides, in one unit."""
    clearest = [sheet for sheet, _ in clearest_changes(contents, len(comparable))]
    for sheet in {id(sheet): sheet for sheet in (*clearest, *comparable)}.values():
        changes = sheet.comparison.changes if sheet.comparison else ()
        names = dict.fromkeys(change.channel for change in changes if change.quantity.startswith("noise"))
        for name in names:
            channel = channel_named(sheet.first, name)
            if channel.role_kind in NOISE_ROLES:
                yield sheet, channel


# ---------------------------------------------------------------- samples


def _stretch(study: Study, channel: Channel | None) -> tuple[Floats, float]:
    """The longest stretch without a missing sample, `LONGEST_S` at most, without what is too slow to be heard."""
    assert channel is not None, "a comparison has the channel on both sides"
    with Recording(study.path) as recording:
        rate = recording.rate_hz
        index = study.analysis.channels.index(channel)
        start, stop = _unbroken(recording, index, round(LONGEST_S * rate))
        if stop - start < SHORTEST_S * rate:
            raise ReportError(
                f"{study.path}: has no {SHORTEST_S:g} s without a gap, too short to be listened to; record it longer"
            )
        values = recording.values(start, stop)[:, index]
    return _without_dc(np.asarray(values, np.float64), rate), rate


def _unbroken(recording: Recording, channel: int, wanted: int) -> tuple[int, int]:
    """First row of it and the one after its last, from the table of gaps."""
    gaps = sorted((gap.first, gap.stop) for gap in recording.gaps if gap.channel in (None, channel))
    spans, start = [], 0
    for first, stop in (*gaps, (recording.frames, recording.frames)):
        spans.append((start, min(first, start + wanted)))
        start = max(start, stop)
    return max(spans, key=lambda span: span[1] - span[0])


def _without_dc(values: Floats, rate_hz: float) -> Floats:
    from scipy import signal

    if rate_hz <= 4 * HIGH_PASS_HZ:
        return np.asarray(values - values.mean())
    sections = signal.butter(2, HIGH_PASS_HZ, "highpass", fs=rate_hz, output="sos")
    # Both ways, so that nothing is shifted in time; the mean first, lest the ends ring with it.
    return np.asarray(signal.sosfiltfilt(sections, values - values.mean()))


def _at_rate(values: Floats, own_hz: float, wanted_hz: int) -> Floats:
    if abs(own_hz - wanted_hz) <= 1e-3 * wanted_hz:
        return values
    from scipy import signal

    ratio = Fraction(wanted_hz / own_hz).limit_denominator(1000)
    return np.asarray(signal.resample_poly(values, ratio.numerator, ratio.denominator))


def _playable(rate_hz: float) -> int:
    """A whole rate that players know; within a thousandth nobody hears the pitch change."""
    return round(rate_hz) if _LOWEST_HZ <= round(rate_hz) <= _HIGHEST_HZ else _USUAL_HZ


def _faded(values: Floats, rate_hz: int) -> Floats:
    """Without a click at the ends."""
    away = np.minimum(np.arange(len(values)), np.arange(len(values))[::-1])
    return np.asarray(values * np.minimum(away / (_FADE_S * rate_hz), 1.0))


def _gain_db(peak: float, channel: Channel) -> int:
    """Whole dB re full scale per unit that bring the louder side's peak, dither included, to `PEAK_DB` at most."""
    if peak <= 0 or not math.isfinite(peak):
        raise ReportError(f"channel {channel.name}: both sides are nothing but zeros, so there is nothing to hear")
    room = 10 ** (PEAK_DB / 20) - 2 / 2 ** (_BITS - 1)
    return math.floor(20 * math.log10(room / peak))


# ---------------------------------------------------------------- files


def _clip(side: str, study: Study, channel: Channel, samples: Floats, rate_hz: int, gain_db: int) -> Clip:
    simulated = "SIMULATED. " if study.info.simulated else ""
    gain = f"One gain for both clips: {gain_db:+d} dB re full scale per {_unit(channel)}"
    comment = simulated + _COMMENT.format(
        side=side.capitalize(),
        place=place(channel),
        seconds=len(samples) / rate_hz,
        file=study.path.name,
        gain=gain,
        high_pass=HIGH_PASS_HZ,
        dither=_DITHER,
    )
    title = f"{simulated}{side.capitalize()} {place(channel)}, gain {gain_db:+d} dB"
    slug = re.sub(r"[^a-z0-9]+", "-", (channel.role or channel.name).lower()).strip("-")[:40] or "channel"
    stem = f"{side}-{slug}-gain{gain_db:+d}dB{'-SIMULATED' if simulated else ''}"
    seed = int(study.sha256[:16], 16)
    return Clip(side, _dithered(samples, seed), rate_hz, _plain(title), _plain(comment), stem)


def _unit(channel: Channel) -> str:
    return "unit of the uncalibrated input" if channel.unit == "FS" else channel.unit


def _plain(text: str) -> str:
    """One line without control characters, for the tags of a sound file."""
    return " ".join("".join(char if char.isprintable() else " " for char in text).split())


def _dithered(samples: Floats, seed: int) -> Floats:
    """On the steps of 16 bit, with triangular dither (sum of two even ones, one step either way); always the same."""
    step = 1 / 2 ** (_BITS - 1)
    random = np.random.default_rng(seed)
    noise = random.random(len(samples)) - random.random(len(samples))
    return np.asarray(np.round(samples / step + noise) * step)


def _targets(folder: Path, sides: tuple[Clip, ...]) -> list[tuple[Clip, Path, str]]:
    return [(clip, folder / f"{clip.stem}.{kind.lower()}", kind) for clip in sides for kind in _FORMATS]


def _check_places(folder: Path, sides: tuple[Clip, ...]) -> None:
    """What is no clip of ours is left alone."""
    for _, target, _ in _targets(folder, sides):
        if target.exists() and not _is_clip(target):
            raise ReportError(f"{target}: exists and is no clip of humproof's; it is left alone, choose another folder")


def _is_clip(path: Path) -> bool:
    import soundfile

    try:
        with soundfile.SoundFile(path) as file:
            return str(file.comment).endswith(_DITHER)
    except (OSError, soundfile.SoundFileError):
        return False


def _write_all(folder: Path, sides: tuple[Clip, ...]) -> tuple[Path, ...]:
    """Beside their places first; put in place once all are whole."""
    targets = _targets(folder, sides)
    parts = [target.with_name(f".{target.name}.{os.getpid()}.part") for _, target, _ in targets]
    try:
        for (clip, _, kind), part in zip(targets, parts, strict=True):
            _write(part, clip, kind)
        for (_, target, _), part in zip(targets, parts, strict=True):
            os.replace(part, target)
    finally:
        for part in parts:
            with suppress(OSError):
                part.unlink(missing_ok=True)
    return tuple(target for _, target, _ in targets)


def _write(path: Path, clip: Clip, kind: str) -> None:
    import soundfile

    facts: dict[str, Any] = {"samplerate": clip.rate_hz, "channels": 1, "subtype": "PCM_16", "format": kind}
    # The samples lie on the file's own steps: written as whole numbers, nothing rounds them again.
    counts = np.round(clip.samples * 2 ** (_BITS - 1)).astype(np.int16)
    try:
        with soundfile.SoundFile(path, "w", **facts) as file:
            file.title, file.comment = clip.title, clip.comment
            file.write(counts)
    except soundfile.SoundFileError as error:
        raise ReportError(f"{path.parent}: the clips cannot be written: {' '.join(str(error).split())}") from error
