"""The exact place of each burst, by its carrier and its envelope, and its uncertainty."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import scipy

from analysis._signal._kinds import Kind
from analysis._signal._match import Match
from analysis._signal._peaks import padded
from analysis._signal._results import CLEAR, Floats, FoundBurst, Read, Wanted


@dataclass(frozen=True, slots=True)
class _Place:
    """One burst looked at closely, in rows of the recording."""

    number: int
    kind: int
    carrier: float
    envelope: float
    #: standard uncertainties of both
    carrier_u: float
    envelope_u: float
    likeness: float
    inverted: bool
    #: the envelope tells which swing of the carrier is the right one
    sure: bool


def placed(
    wanted: Wanted, kinds: Sequence[Kind], matches: list[Match], read: Read, rows: int, rate_hz: float
) -> list[FoundBurst]:
    places = [
        place for match in matches if (place := _place(kinds[match.kind], match, read, rows, rate_hz)) is not None
    ]
    return [_burst(wanted, place, *_turned(place, places), rate_hz) for place in places]


def _place(kind: Kind, match: Match, read: Read, rows: int, rate_hz: float) -> _Place | None:
    """Carrier and envelope at full rate; None when the likeness does not drop beside the peak."""
    reach = math.ceil(0.75 * kind.length)
    first = round(match.first - kind.before) - reach
    local = padded(read, first, first + len(kind.shape) + 2 * reach, 0, rows)[:, match.channel]
    size = scipy.fft.next_fast_len(len(local) + len(kind.shape))
    bins = kind.bins(rate_hz, size)
    shape, there = (scipy.fft.rfft(each, size)[bins] for each in (kind.shape, local))
    curve = _analytic(there * shape.conj(), bins, size)[: 2 * reach + 1]
    height = np.abs(curve)
    around = slice(reach - math.ceil(kind.length / 4), reach + math.ceil(kind.length / 4) + 1)
    peak = around.start + int(np.argmax(height[around]))
    half = round(kind.length / 2)
    if max(height[peak - half], height[peak + half]) > CLEAR * height[peak]:
        return None
    energy = float(np.sum(np.abs(_analytic(there, bins, size)[peak : peak + len(kind.shape)]) ** 2))
    own = float(np.sum(np.abs(shape) ** 2)) / size
    likeness = min(float(height[peak]) / math.sqrt(own * energy), 1.0)
    return _read_off(kind, match, curve, peak, first + kind.before, likeness, rate_hz)


def _analytic(spectrum: npt.NDArray[np.complex128], bins: slice, size: int) -> npt.NDArray[np.complex128]:
    """The band's part of a signal, without its negative frequencies."""
    whole = np.zeros(size, complex)
    whole[bins] = 2 * spectrum
    return np.asarray(scipy.fft.ifft(whole))


def _read_off(
    kind: Kind,
    match: Match,
    curve: npt.NDArray[np.complex128],
    peak: int,
    origin: float,
    likeness: float,
    rate_hz: float,
) -> _Place:
    centre, spread = kind.centre_hz, kind.spread_hz
    clear = math.sqrt(2 * kind.freedom(rate_hz) * likeness**2 / max(1 - likeness**2, 1e-12))
    envelope_u = rate_hz / (2 * math.pi * spread * clear)
    carrier_u = rate_hz / (2 * math.pi * math.hypot(centre, spread) * clear)
    inverted = bool(curve[peak].real < 0)
    swing = -curve.real if inverted else curve.real
    quarter = max(math.ceil(rate_hz / centre / 4), 1)
    low = max(peak - quarter, 0)
    top = low + int(np.argmax(swing[low : peak + quarter + 1]))
    return _Place(
        number=match.number,
        kind=match.kind,
        carrier=origin + _summit(swing, top),
        envelope=origin + _summit(np.abs(curve), peak),
        carrier_u=carrier_u,
        envelope_u=envelope_u,
        likeness=likeness,
        inverted=inverted,
        sure=2 * envelope_u < rate_hz / centre / 8,
    )


def _summit(curve: Floats, top: int) -> float:
    """Place of a peak between samples, by the parabola through three of them."""
    if not 0 < top < len(curve) - 1:
        return float(top)
    left, mid, right = curve[top - 1 : top + 2]
    bend = left - 2 * mid + right
    return float(top + 0.5 * (left - right) / bend) if bend < 0 else float(top)


def _turned(place: _Place, places: list[_Place]) -> tuple[float, float]:
    """By how much a filter on the way turned carrier against envelope, rows, from all bursts of the kind; its u."""
    alike = [each for each in places if each.kind == place.kind and each.sure]
    if not alike:
        return 0.0, 0.0
    weights = np.array([1 / (each.envelope_u**2 + 1e-18) for each in alike])
    apart = np.array([each.carrier - each.envelope for each in alike])
    return float(np.sum(weights * apart) / weights.sum()), float(1 / math.sqrt(weights.sum()))


def _burst(wanted: Wanted, place: _Place, apart: float, apart_u: float, rate_hz: float) -> FoundBurst:
    length = wanted.spans[place.number][1] * rate_hz / wanted.rate_hz
    if place.sure:
        first = place.carrier - apart / 2
        uncertainty = math.sqrt((2 * place.carrier_u) ** 2 + apart_u**2 + (apart / 2) ** 2)
    else:
        first, uncertainty = place.envelope, 2 * place.envelope_u
    return FoundBurst(place.number, first, length, uncertainty, place.likeness, place.inverted)
