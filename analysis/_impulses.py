"""Impulses and gated noise seen in time: how much of the power lies in bursts, and how often they come.

Steady lines are taken out of the samples first (ignition ticks drown in a whine), then the power is read in cells of
about a quarter of a millisecond. Cells that stand out of the quiet ones are bursts; their rhythm is the line family
of the cells' own spectrum.
"""

from __future__ import annotations

import functools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import scipy  # its parts load at first use: they would double the start-up

from analysis._carry import Carry
from analysis._channel import Channel
from analysis._lines import CLOCK_UNCERTAINTY, Candidate, coverage, find_lines
from analysis._roles import bands_for, is_noise
from analysis._spectrum import Spectra, SpectraAccumulator
from analysis._windows import window

Floats = npt.NDArray[np.float64]
Singles = npt.NDArray[np.float32]
Flags = npt.NDArray[np.bool_]

#: a frame of a second-generation phone: 26 frames in 120 ms, as published for that net; in the trade "217 Hz buzz"
FRAME_HZ = 26 / 0.120
#: wished length of a cell, and of the chunks that are looked at one by one
CELL_S, SHORTEST_CHUNK_S, LONGEST_CHUNK_S = 0.25e-3, 1.0, 4.0
#: as many chunks a shorter recording is cut into; at most so many are kept, spread over a longer one
CHUNKS, MOST_CHUNKS = 8, 48
#: no statement from less than this, and at lower rates than this
LEAST_S, LEAST_RATE_HZ = 1.0, 3000.0
#: a train comes at least and at most so often; faster ones are lines, slower ones need an hour
SLOWEST_HZ, FASTEST_HZ = 3.0, 500.0
#: chance that a cell of noise is taken for a burst
_CELL_ALARM = 1e-5
#: fewest lines of a family of lines that may be a pulse train, and the fewest bins between two of them
_LEAST_TEETH, _LEAST_SPACING = 5, 8
#: lines of a pulse train are of neighbouring heights; one that towers above the next three
#: either way by this power ratio is its own
_TOWERS = 4.0
#: a burst of less than this share of the looked-at power is not stated: the quiet level is not known better
LEAST_SHARE = 0.004
#: stretches of a chunk whose phases are compared
_PARTS = 4
#: cells left out beside a burst, where there are cells enough
_FEET = 6
_SHAPES = np.geomspace(0.3, 300, 400)


@dataclass(frozen=True, slots=True)
class PulseTrain:
    """Bursts that come in a rhythm; uncertainties k = 2."""

    rate_hz: float
    rate_uncertainty_hz: float
    #: share of the looked-at power (lines taken out) that lies in these bursts
    share: float
    #: standard deviation of the distance of two bursts over the mean distance; None when they do not stand out singly
    jitter: float | None
    #: share of the time in which a burst lasts
    duty: float


@dataclass(frozen=True, slots=True)
class Impulses:
    """What one channel shows in time; powers are those of the samples without the lines in `left_out_hz`."""

    channel: str
    #: share of the looked-at power that lies in bursts, 0 to 1, with its k = 2 uncertainty
    share: float
    uncertainty: float
    #: strongest first
    trains: tuple[PulseTrain, ...]
    #: share in bursts that no train explains
    irregular: float
    #: seconds that were looked at
    looked_s: float
    #: lowest and highest frequency of every line that was taken out
    left_out_hz: tuple[tuple[float, float], ...]
    #: why nothing is stated; empty otherwise
    refused: str = ""


@dataclass(frozen=True, slots=True)
class Cells:
    """Mean power per cell, shape (chunks, cells); `joined` tells which chunks follow the one before at once."""

    step_s: float
    powers: Singles
    joined: tuple[bool, ...]


class ImpulseAccumulator:
    """Feeds on rows, takes the lines out of one channel and keeps the power of its cells, in bounded memory.

    Parameters
    ----------
    rate_hz, frames
        Of the rows to come.
    column
        The channel looked at.
    segment
        Rows per half-overlapping Hann segment, an even number.
    keep
        Which bins stay, shape (segment // 2 + 1,).

    Notes
    -----
    Hann segments at half overlap sum to a constant, so a segment whose line bins are set to zero gives the samples
    back without the lines. Chunks in which a sample is missing are left out.
    """

    def __init__(self, rate_hz: float, frames: int, column: int, segment: int, keep: Flags) -> None:
        self._rate_hz, self._column, self._segment, self._hop = rate_hz, column, segment, segment // 2
        self.keep, self._weights = keep, (window("hann", segment).weights / 2).astype(np.float32)
        self._cell = min(2 ** max(round(np.log2(rate_hz * CELL_S)), 0), self._hop)
        hops = max(frames // self._hop - 2, 0)
        wished_s = min(max(frames / rate_hz / CHUNKS, SHORTEST_CHUNK_S), LONGEST_CHUNK_S)
        self._per_chunk = max(min(round(wished_s * rate_hz / self._hop), hops), 1)
        self._stride = max(self._per_chunk, hops // MOST_CHUNKS) if hops > MOST_CHUNKS * self._per_chunk else 0
        self._carry = Carry(1, segment)
        self._piece = -1
        self._half: Singles | None = None
        self._open: list[Singles] = []
        self._chunks: list[Singles] = []
        self._starts: list[int] = []

    def update(self, rows: Floats) -> None:
        """Take rows of shape (n, channels)."""
        for piece in self._carry.pieces(rows[:, self._column : self._column + 1], self._hop):
            self._piece += 1
            if self._wanted():
                self._add(piece[:, 0])

    def _wanted(self) -> bool:
        """Inside a chunk, or in the hop before it, whose second half its first needs."""
        return not self._stride or self._piece % self._stride <= self._per_chunk

    def _add(self, samples: Floats) -> None:
        bins = scipy.fft.rfft((samples - samples.mean()).astype(np.float32) * self._weights)
        if np.isnan(bins[0]):
            self._half, self._open = None, []
            return
        bins[~self.keep] = 0
        cleaned = scipy.fft.irfft(bins, self._segment)
        first = not self._stride or self._piece % self._stride > 0
        if self._half is not None and first:
            self._open.append(self._cells(self._half + cleaned[: self._hop]))
        else:
            self._open = []
        self._half = cleaned[self._hop :]
        if len(self._open) == self._per_chunk:
            self._chunks.append(np.concatenate(self._open))
            self._starts.append(self._piece)
            self._open = []

    def _cells(self, samples: Singles) -> Singles:
        shaped = samples.reshape(-1, self._cell)
        return np.asarray(np.einsum("cn,cn->c", shaped, shaped) / self._cell, np.float32)

    def result(self) -> Cells:
        """Every whole chunk so far."""
        width = self._per_chunk * (self._hop // self._cell)
        powers = np.array(self._chunks, np.float32).reshape(len(self._chunks), width)
        joined = [False] + [b - a == self._per_chunk for a, b in zip(self._starts, self._starts[1:], strict=False)]
        return Cells(self._cell / self._rate_hz, powers, tuple(joined[: len(powers)]))


class ImpulseWatch:
    """Looks for impulses on every channel whose noise is read: feed it rows, take an `Impulses` for each.

    `lines` are the candidates of every channel in `spectra`; those that are no pulse train's own are taken out.
    """

    def __init__(
        self,
        channels: Sequence[Channel],
        rate_hz: float,
        frames: int,
        spectra: Spectra,
        lines: Sequence[Sequence[Candidate]],
        engine_rpm: float | None = None,
    ) -> None:
        segment = 2 * (len(spectra.frequency_hz) - 1)
        band = bands_for(rate_hz, segment).get("")
        rates = [n * engine_rpm / 120 for n in range(1, 13)] if engine_rpm else []
        self._own: list[tuple[str, ImpulseAccumulator]] = []
        for index, channel in enumerate(channels):
            if band is not None and is_noise(channel):
                keep = kept_bins(spectra, index, lines[index], band, rates)
                self._own.append((channel.name, ImpulseAccumulator(rate_hz, frames, index, segment, keep)))
        self._frequency_hz, self._inside = spectra.frequency_hz, band

    def update(self, rows: Floats) -> None:
        """Take rows of shape (n, channels)."""
        for _, accumulator in self._own:
            accumulator.update(rows)

    def result(self) -> tuple[Impulses, ...]:
        """What each channel shows."""
        return tuple(find_impulses(name, one.result(), self._left_out(one.keep)) for name, one in self._own)

    def _left_out(self, keep: Flags) -> tuple[tuple[float, float], ...]:
        """The stretches of the band that were taken out, Hz."""
        out = ~keep & (self._inside > 0) if self._inside is not None else ~keep
        edges = np.diff(np.concatenate([[0], out.astype(np.int8), [0]]))
        first, last = np.flatnonzero(edges == 1), np.flatnonzero(edges == -1) - 1
        return tuple(zip(self._frequency_hz[first].tolist(), self._frequency_hz[last].tolist(), strict=True))


def kept_bins(
    spectra: Spectra, channel: int, lines: Sequence[Candidate], band: Floats, rates_hz: Sequence[float] = ()
) -> Flags:
    """Bins of a spectrum that stay: those in `band`, without the lines that are no teeth of a pulse train's comb.

    `rates_hz` are rates at which pulses are looked for beside those that the lines' own distances propose.
    """
    keep = band > 0
    peaks = np.array([line.peak for line in lines], int)
    teeth = _teeth(peaks.astype(float), spectra.power[channel, peaks], spectra.resolution_hz, rates_hz)
    for line, is_tooth in zip(lines, teeth, strict=True):
        if not is_tooth:
            # One bin more each way: what a Hann window leaves there is -31 dB and less.
            keep[max(line.first - 1, 0) : line.last + 2] = False
    return np.asarray(keep)


def _teeth(peaks: Floats, powers: Floats, resolution_hz: float, rates_hz: Sequence[float]) -> Flags:
    """Which lines are multiples of a common low frequency: at least five, and far more than chance would make."""
    found = np.zeros(len(peaks), bool)
    apart = np.diff(np.sort(peaks))
    wished = np.array([FRAME_HZ, *rates_hz]) / resolution_hz
    for spacing in [*wished.tolist(), *np.unique(apart).tolist()]:
        if not _LEAST_SPACING <= spacing <= FASTEST_HZ / resolution_hz or len(peaks) < _LEAST_TEETH:
            continue
        spacing = _refined(peaks, spacing)
        fits = _fits(peaks, spacing)
        by_chance = float(np.sum(2 * _off(peaks / spacing, spacing))) / spacing
        many = fits.sum() >= max(_LEAST_TEETH, 3 * by_chance + 3)
        if many and _neighbours(peaks[fits], spacing) and not near_mains(spacing * resolution_hz, 0.003):
            own = np.flatnonzero(fits)[np.argsort(peaks[fits])]
            found[own[~towers(powers[own])]] = True
    return found


def towers(powers: Floats) -> Flags:
    """Which of the lines of a comb, in order of frequency, are too strong to be its own: chance put them there."""
    wide = np.concatenate([np.zeros(3), powers, np.zeros(3)])
    # The second highest beside it: two strangers may stand near each other.
    beside = [np.sort(np.delete(wide[index : index + 7], 3))[-2] for index in range(len(powers))]
    return np.asarray((powers > _TOWERS * np.array(beside)) & (len(powers) >= 3))


def _neighbours(peaks: Floats, spacing: float) -> bool:
    """Whether most are next or next but one: multiples of 2250 Hz are multiples of 50 Hz, but no 50 Hz train."""
    apart = np.diff(np.unique(np.round(peaks / spacing)))
    return bool(len(apart) > 0 and np.median(apart) <= 2)


def near_mains(rate_hz: float, relative: float) -> bool:
    """Whether a rate is that of a mains or of its rectified wave."""
    return any(abs(rate_hz - mains) <= relative * mains for mains in (50, 60, 100, 120))


def _fits(peaks: Floats, spacing: float) -> Flags:
    number = np.round(peaks / spacing)
    return np.asarray((np.abs(peaks - number * spacing) <= _off(number, spacing)) & (number >= 1))


def _refined(peaks: Floats, spacing: float) -> float:
    """Least-squares spacing, its reach growing as it is known better: from some line on, then from 0 Hz on."""
    start = _best_start(peaks, spacing)
    for origin, reach in [(start, 2), (start, 4), (start, 8), (start, 16), (start, 64), (0.0, 1000), (0.0, 1000)]:
        away = peaks - origin
        number = np.round(away / spacing)
        near = (number != 0) & (np.abs(number) <= reach) & (np.abs(away - number * spacing) <= _off(number, spacing))
        if near.any():
            spacing = float((number[near] @ away[near]) / (number[near] @ number[near]))
    return spacing


def _off(number: Floats, spacing: float) -> Floats:
    """How many bins a tooth may lie beside its place: uneven pulses smear the high ones."""
    return np.asarray(np.minimum(1.5 + 0.02 * np.abs(number), spacing / 8))


def _best_start(peaks: Floats, spacing: float) -> float:
    """The line that has most neighbours at one and two spacings."""
    away = np.abs(peaks[:, None] - peaks[None, :])
    near = sum((np.abs(away - number * spacing) <= number).sum(axis=0) for number in (1, 2))
    return float(peaks[int(np.argmax(near))])


def find_impulses(channel: str, cells: Cells, left_out_hz: tuple[tuple[float, float], ...] = ()) -> Impulses:
    """Share of the power that lies in bursts and the rhythm of the bursts; refused when too short or too slow."""
    looked = cells.powers.size * cells.step_s
    # At lower rates a cell is one sample and already too long.
    if cells.step_s > 1 / LEAST_RATE_HZ or looked < LEAST_S:
        why = f"impulses need {LEAST_S:g} s without a gap at {LEAST_RATE_HZ:g} samples a second or more"
        return Impulses(channel, 0.0, 0.0, (), 0.0, looked, left_out_hz, why)
    chunks = [_Chunk.of(powers) for powers in cells.powers]
    mean = float(np.mean([chunk.mean for chunk in chunks]))
    if mean <= 0:
        return Impulses(channel, 0.0, 0.0, (), 0.0, looked, left_out_hz)
    raw = np.array([chunk.excess for chunk in chunks]) / mean
    rhythms = _rhythms(cells, chunks)
    folds = [_Fold.of(cells, chunks, rhythm, mean) for rhythm in rhythms]
    folds = [fold for fold in folds if fold.shares.mean() >= LEAST_SHARE]
    seen = raw if _stands_out(chunks, cells) else np.zeros(len(raw))
    folded = np.sum([fold.shares for fold in folds], axis=0) if folds else np.zeros(len(raw))
    best = np.maximum(seen, folded) if seen.mean() > folded.mean() else folded
    total = float(best.mean())
    if total < LEAST_SHARE:
        return Impulses(channel, 0.0, LEAST_SHARE, (), 0.0, looked, left_out_hz)
    irregular = _irregular(folds, total, seen)
    trains = _trains(folds, total - irregular)
    scatter = coverage(len(best)) * float(best.std(ddof=1)) / np.sqrt(len(best)) if len(best) > 1 else 0.3 * total
    # The quiet level is read from cells under a border, in which the feet of bursts remain; more so in folded cells.
    feet = 0.07 if seen.mean() > 0.5 * total else 0.25
    unsure = float(np.hypot(scatter, np.hypot(LEAST_SHARE, feet * total)))
    return Impulses(channel, min(total, 1.0), unsure, trains, irregular, looked, left_out_hz)


@dataclass(frozen=True, slots=True)
class _Chunk:
    """One chunk's cells, which of them are bursts, and its quiet level."""

    powers: Floats
    bursts: Flags
    quiet: float
    #: degrees of freedom of a quiet cell over two
    shape: float
    border: float

    @classmethod
    def of(cls, single: Singles) -> _Chunk:
        powers = single.astype(float)
        quiet_cells = np.ones(len(powers), bool)
        for _ in range(4):
            shape, level = _gamma(powers[quiet_cells])
            border = level * float(scipy.special.gammainccinv(shape, _CELL_ALARM)) / shape
            bursts = powers > border
            quiet_cells = _quiet(bursts)
            if quiet_cells.sum() < 0.2 * len(powers):
                break
        quiet = float(powers[quiet_cells].mean()) if quiet_cells.any() else level
        return cls(powers, bursts, quiet, shape, border)

    @property
    def mean(self) -> float:
        return float(self.powers.mean())

    @property
    def excess(self) -> float:
        return max(self.mean - self.quiet, 0.0)


def _quiet(bursts: Flags) -> Flags:
    """Cells away from bursts, whose feet reach beyond the border: as far away as half of all cells allow."""
    for reach in (_FEET, _FEET // 2, 1):
        quiet = ~scipy.ndimage.binary_dilation(bursts, iterations=reach) if bursts.any() else ~bursts
        if quiet.mean() > 0.5:
            break
    return np.asarray(quiet)


def _gamma(powers: Floats) -> tuple[float, float]:
    """Shape and mean of a gamma distribution from its lower quartile and median, which bursts hardly move."""
    low, middle = np.quantile(powers, [0.25, 0.5])
    if middle <= 0:
        return 0.5, float(powers.mean()) or 1e-300
    shape = float(np.interp(low / middle, _quartiles(), _SHAPES))
    return shape, float(middle * shape / scipy.special.gammaincinv(shape, 0.5))


@functools.cache
def _quartiles() -> Floats:
    """The lower quartile in units of the median, for each of `_SHAPES`."""
    return np.asarray(scipy.special.gammaincinv(_SHAPES, 0.25) / scipy.special.gammaincinv(_SHAPES, 0.5))


def _stands_out(chunks: list[_Chunk], cells: Cells) -> bool:
    """Whether more cells than noise makes stand out."""
    found = sum(int(chunk.bursts.sum()) for chunk in chunks)
    return found >= 10 + 20 * _CELL_ALARM * cells.powers.size


@dataclass(frozen=True, slots=True)
class _Rhythm:
    rate_hz: float
    uncertainty_hz: float
    #: the rate in each chunk
    rates_hz: Floats


def _rhythms(cells: Cells, chunks: list[_Chunk]) -> list[_Rhythm]:
    """At most two rates whose multiples the cells' spectrum shows."""
    # Digital silence has no level to refer to, and nothing in it keeps a rhythm.
    envelope = [
        np.minimum(chunk.powers, chunk.border) / chunk.quiet if chunk.quiet > 0 else np.zeros(len(chunk.powers))
        for chunk in chunks
    ]
    segment = 2 ** int(np.log2(max(min(4096, cells.powers.shape[1]), 64)))
    accumulator = SpectraAccumulator(1 / cells.step_s, 1, segment)
    for rows, joined in zip(envelope, cells.joined, strict=True):
        accumulator.update(rows[:, None] if joined else np.concatenate([[np.nan], rows])[:, None])
    try:
        spectra = accumulator.result()
    except ValueError:
        return []
    lines, found, strongest = _peaks_hz(spectra), list[_Rhythm](), 0.0
    while len(found) < 2:
        rate = _common_rate(lines, spectra.resolution_hz)
        if rate is None:
            break
        number = np.round(lines[:, 0] / rate)
        near = np.abs(lines[:, 0] - number * rate) <= np.maximum(2, number / 3) * spectra.resolution_hz
        own = lines[near]
        if found and (_related(rate, found[0].rate_hz) or len(own) < 3 or own[0, 1] < 0.1 * strongest):
            break
        strongest = float(lines[0, 1])
        found.append(_tracked(cells, envelope, rate, own, spectra.resolution_hz))
        lines = lines[~near]
    return found


def _related(one: float, other: float) -> bool:
    """Whether one rate is a multiple of the other: frames of which every 26th is empty have both."""
    ratio = max(one, other) / min(one, other)
    return bool(abs(ratio - round(ratio)) < 0.02)


def _peaks_hz(spectra: Spectra) -> Floats:
    """Frequency and power of the lines of the cells' spectrum, shape (lines, 2), the strongest first."""
    power, rows = spectra.power[0], []
    for line in find_lines(spectra, 0):
        left, middle, right = np.log(power[line.peak - 1 : line.peak + 2])
        shift = 0.5 * (left - right) / (left - 2 * middle + right)
        rows.append(((line.peak + shift) * spectra.resolution_hz, power[line.peak]))
    return np.array(rows).reshape(-1, 2)


def _common_rate(lines: Floats, resolution_hz: float) -> float | None:
    """The highest rate that nearly all of the lines are multiples of."""
    best, best_score = None, 0.0
    for frequency in lines[:8, 0].tolist():
        for part in (1, 2, 3):
            rate = frequency / part
            if not SLOWEST_HZ <= rate <= FASTEST_HZ or rate < 6 * resolution_hz:
                continue
            number = np.round(lines[:, 0] / rate)
            fits = (np.abs(lines[:, 0] - number * rate) <= np.maximum(1, number / 4) * resolution_hz) & (number > 0)
            filled = fits.sum() / max(number[fits].max(initial=1), 1)
            score = float(lines[fits, 1].sum() * min(filled, 1.0) ** 0.5) if fits.sum() >= 2 or len(lines) == 1 else 0.0
            if score > 1.05 * best_score:
                best, best_score = rate, score
    return best


def _tracked(cells: Cells, envelope: list[Floats], rate: float, lines: Floats, resolution_hz: float) -> _Rhythm:
    """The rate in each chunk from the advance of the phase of its strongest multiple, quarter by quarter."""
    strongest = lines[np.argmax(lines[:, 1]), 0]
    number = max(round(strongest / rate), 1)
    part = len(envelope[0]) // _PARTS
    part_s = part * cells.step_s
    places = np.arange(_PARTS * part) * cells.step_s
    turning = np.exp(-2j * np.pi * strongest * places)
    rates = []
    for rows in envelope:
        phasors = ((rows[: len(turning)] - rows.mean()) * turning).reshape(_PARTS, part).sum(axis=1)
        advance = np.angle(np.sum(phasors[1:] * np.conj(phasors[:-1])))
        rates.append((strongest + advance / (2 * np.pi * part_s)) / number)
    told = np.array(rates)
    spread = coverage(len(told)) * told.std(ddof=1) / np.sqrt(len(told)) if len(told) > 1 else resolution_hz / number
    mean = float(told.mean())
    return _Rhythm(mean, float(np.hypot(spread, CLOCK_UNCERTAINTY * mean)), told)


@dataclass(frozen=True, slots=True)
class _Fold:
    """A train's bursts laid over each other, chunk by chunk."""

    rhythm: _Rhythm
    #: share of the looked-at power in each chunk
    shares: Floats
    duty: float
    jitter: float | None
    #: share of the standing-out power that keeps the rhythm
    in_step: float

    @classmethod
    def of(cls, cells: Cells, chunks: list[_Chunk], rhythm: _Rhythm, mean: float) -> _Fold:
        shares, duties, kept = [], [], []
        for chunk, rate in zip(chunks, rhythm.rates_hz, strict=True):
            phase = np.mod(np.arange(len(chunk.powers)) * cells.step_s * rate, 1.0)
            share, duty, step = _folded(chunk, phase, max(min(round(1 / (rate * cells.step_s)), 64), 8))
            shares.append(share / mean)
            duties.append(duty)
            kept.append(step)
        jitter = _jitter(chunks, cells.step_s, 1 / rhythm.rate_hz)
        stand_out = float(np.mean([chunk.bursts.mean() for chunk in chunks]))
        duty = stand_out if _stands_out(chunks, cells) else float(np.median(duties))
        return cls(rhythm, np.array(shares), duty, jitter, float(np.mean(kept)))


def _folded(chunk: _Chunk, phase: Floats, parts: int) -> tuple[float, float, float]:
    """Excess power over the quiet part of the period, share of the period in excess, share of bursts in step."""
    place = np.minimum((phase * parts).astype(int), parts - 1)
    count = np.bincount(place, minlength=parts)
    profile = np.bincount(place, chunk.powers, parts) / np.maximum(count, 1)
    scatter = 1 / np.sqrt(chunk.shape * count.mean())
    quiet = float(np.quantile(profile, 0.25))
    for _ in range(8):
        quiet = float(profile[profile <= quiet * (1 + 2 * scatter)].mean())
    # Cut off at two standard deviations a normal distribution's mean settles 0.063 of them too low.
    quiet /= 1 - 0.063 * scatter
    loud = profile > quiet * (1 + 3 * scatter)
    excess = float(np.sum((profile - quiet) * count) / count.sum()) if loud.any() else 0.0
    duty = float(loud.mean())
    around = scipy.ndimage.binary_dilation(np.tile(loud, 3), iterations=max(parts // 16, 1))[parts : 2 * parts]
    above = np.where(chunk.bursts, chunk.powers - chunk.quiet, 0.0)
    inside = float(above[around[place]].sum()) / float(above.sum()) if above.any() else 1.0
    width = float(around.mean())
    return max(excess, 0.0), duty, max(inside - width, 0.0) / (1 - width) if width < 1 else 1.0


def _jitter(chunks: list[_Chunk], step_s: float, period_s: float) -> float | None:
    """Relative scatter of the distance of neighbouring bursts, less what reading it in cells adds."""
    apart = np.concatenate([np.diff(_burst_times(chunk, period_s / step_s)) for chunk in chunks]) * step_s / period_s
    apart = apart[np.abs(apart - 1) < 0.4]
    if len(apart) < 20:
        return None
    # The middle of a burst is read about twice as finely as its two ends would be (uniform: step^2 / 12 each).
    read = (step_s / period_s) ** 2 / 24
    return float(np.sqrt(max(apart.var(ddof=1) - read, 0.0)))


def _burst_times(chunk: _Chunk, period: float) -> Floats:
    """Middle of each burst in cells; cells less than a third of a period apart are one burst."""
    loud = np.flatnonzero(chunk.bursts)
    if not len(loud):
        return np.empty(0)
    groups = np.concatenate([[0], np.cumsum(np.diff(loud) > period / 3)])
    weight = np.minimum(chunk.powers[loud], 100 * chunk.quiet)
    return np.asarray(np.bincount(groups, weight * loud) / np.bincount(groups, weight))


def _irregular(folds: list[_Fold], total: float, seen: Floats) -> float:
    """What of the bursts keeps to no rhythm: everything without a rhythm, else what is plainly out of step."""
    if not folds:
        return total
    out_of_step = max(1 - sum(fold.in_step for fold in folds), 0.0)
    # A fifth may be tails that reach out of the loud part of the period, and the rhythm's own unrest.
    jitter = max((fold.jitter or 0.0) for fold in folds)
    return float(out_of_step * seen.mean()) if out_of_step > 0.2 and jitter < 0.05 else 0.0


def _trains(folds: list[_Fold], power: float) -> tuple[PulseTrain, ...]:
    """The bursts' power dealt out to the trains as their folded powers are."""
    parts = np.array([fold.shares.mean() for fold in folds])
    if not len(parts):
        return ()
    parts = parts / parts.sum() if parts.sum() > 0 else np.full(len(parts), 1 / len(parts))
    trains = [
        PulseTrain(fold.rhythm.rate_hz, fold.rhythm.uncertainty_hz, float(part * power), fold.jitter, fold.duty)
        for fold, part in zip(folds, parts, strict=True)
    ]
    return tuple(sorted(trains, key=lambda train: -train.share))
