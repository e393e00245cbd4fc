"""What each burst took from battery, positive side and ground side, all channels on one clock."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import numpy.typing as npt

from analysis._channel import Channel
from analysis._lines import coverage
from analysis._roles import falls_under_load
from analysis._supply import BEFORE_S, MEAN_S, RECOVERY_S, Burst

Floats = npt.NDArray[np.float64]

#: "wiring" is positive and ground side together, where nothing tells them apart
Where = Literal["battery", "positive", "ground", "wiring"]
How = Literal["measured", "by difference"]
_ROLE_OF: dict[Where, str] = {"battery": "supply", "positive": "drop-positive", "ground": "drop-ground"}
#: roles that stand at an amplifier's point; the first one found gives the split its channel
_AT_AMPLIFIER = ("supply-amp", "drop-positive", "drop-ground")


@dataclass(frozen=True, slots=True)
class Tap:
    """One tap point during one burst, in the channel's unit; uncertainties k = 2, None when they cannot be told."""

    channel: str
    #: mean of up to half a second before the burst, and over the burst's last half
    before: float
    loaded: float
    #: of `loaded` itself: scale, zero, step and scatter
    loaded_uncertainty: float | None
    #: lowest 10 ms mean of a supply, highest of a drop or a current
    extreme: float
    #: 10 ms mean, 100 ms after the burst
    recovered: float
    #: what the burst changed, from before to loaded; positive where a supply fell, or a drop or a current rose
    change: float
    #: of `change`, in which a constant zero cancels
    change_uncertainty: float | None


@dataclass(frozen=True, slots=True)
class Part:
    """A share in what the amplifier's terminals lost, V; uncertainty k = 2."""

    where: Where
    volts: float
    uncertainty: float | None
    how: How


@dataclass(frozen=True, slots=True)
class Remainder:
    """Loss at the amplifier less the battery's own and both measured drops, V; k = 2."""

    volts: float
    uncertainty: float | None

    @property
    def within(self) -> bool | None:
        """Whether it is no larger than its uncertainty; None when that cannot be told."""
        return None if self.uncertainty is None else abs(self.volts) <= self.uncertainty


@dataclass(frozen=True, slots=True)
class BurstSplit:
    """One burst at one amplifier: its tap points, and the parts of the loss. What was not recorded is None."""

    point: str
    start_s: float
    end_s: float
    battery: Tap | None
    amplifier: Tap | None
    positive: Tap | None
    ground: Tap | None
    current: Tap | None
    parts: tuple[Part, ...]
    remainder: Remainder | None

    def part(self, where: Where) -> Part | None:
        """The part of that name, or None."""
        return next((part for part in self.parts if part.where == where), None)


@dataclass(frozen=True, slots=True)
class SupplySplit:
    """All bursts at one amplifier, and the means of their parts."""

    #: as in the role "supply-amp@rear-amp"; empty when none was said
    point: str
    #: the channel to which the figures belong
    channel: str
    bursts: tuple[BurstSplit, ...]
    parts: tuple[Part, ...]
    remainder: Remainder | None


@dataclass(frozen=True, slots=True)
class _Share:
    """A change or a sum of changes, V: k = 2 uncertainties by scatter (None: not known) and of the instrument."""

    volts: float
    noise: float | None
    system: float
    how: How = "measured"

    def less(self, *others: _Share) -> _Share:
        noise = _joined([self.noise, *(other.noise for other in others)])
        system = math.hypot(self.system, *(other.system for other in others))
        return _Share(self.volts - sum(other.volts for other in others), noise, system, "by difference")

    @property
    def uncertainty(self) -> float | None:
        return _joined([self.noise, self.system])


@dataclass(frozen=True, slots=True)
class _Reading:
    span_s: tuple[float, float]
    tap: Tap
    share: _Share


def split_supply(
    channels: Sequence[Channel], values: Floats, step_s: float, bursts: Sequence[tuple[str, Burst]]
) -> tuple[SupplySplit, ...]:
    """Split what every burst took, for each amplifier whose supply path was recorded at two points or more.

    Parameters
    ----------
    channels
        All of the recording; only DC-coupled ones in V count (and currents in A).
    values
        The trace, shape (steps, channels), NaN where missing.
    step_s
        Time between two rows of the trace.
    bursts
        Channel name and burst, as `measure_burst` told them: the same windows for all channels.

    Notes
    -----
    The parts are differences of means over the same moments, so they add up whatever the ripple: loss at the
    amplifier = battery's own + positive side + ground side. (The lowest 10 ms means do not add up: every channel has
    its own at another moment.) Where three of the four were recorded, the fourth is what is left; where all four
    were, the remainder shows how well they agree. Uncertainties are joined in quadrature (JCGM 100, 5.1.2) as if
    every channel had its own calibration; where they share one, that would partly cancel.
    """
    splits = []
    for point in _points(channels):
        places = {role: tap_at(channels, role, point) for role in ("supply", *_AT_AMPLIFIER, "current")}
        readings = {
            role: _readings(channels[at], values[:, at], step_s, bursts)
            for role, at in places.items()
            if at is not None
        }
        owners = [channels[at].name for at in map(places.get, _AT_AMPLIFIER) if at is not None]
        if owners:  # none where two channels have the same role: nobody knows which one to take
            splits.append(_split(point, owners[0], readings))
    return tuple(split for split in splits if split is not None)


def _points(channels: Sequence[Channel]) -> list[str]:
    """Every point at which an amplifier was recorded; where none was, those of the drops."""
    fit = [one for one in channels if one.carries_dc and one.unit == "V"]
    amplifiers = {_point(one) for one in fit if one.role_kind == "supply-amp"}
    return sorted(amplifiers or {_point(one) for one in fit if one.role_kind in _AT_AMPLIFIER})


def _point(channel: Channel) -> str:
    return channel.role.partition("@")[2]


def tap_at(channels: Sequence[Channel], kind: str, point: str) -> int | None:
    """Index of the DC-coupled channel of a kind at a point, else of the only one without a point, else None.

    The battery is common to all amplifiers: its point does not matter if there is one only.
    """
    unit = "A" if kind == "current" else "V"
    own = [at for at, one in enumerate(channels) if one.role_kind == kind and one.carries_dc and one.unit == unit]
    here = [at for at in own if _point(channels[at]) == point]
    general = own if kind == "supply" else [at for at in own if not _point(channels[at])]
    return next((found[0] for found in (here, general) if len(found) == 1), None)


def _readings(channel: Channel, values: Floats, step_s: float, bursts: Sequence[tuple[str, Burst]]) -> list[_Reading]:
    found, rest_from = [], 0.0
    for burst in (burst for name, burst in bursts if name == channel.name):
        found.append(_reading(channel, values, step_s, burst, rest_from))
        rest_from = burst.end_s + 2 * RECOVERY_S
    return found


def _reading(channel: Channel, values: Floats, step_s: float, burst: Burst, rest_from_s: float) -> _Reading:
    change = (burst.before - burst.loaded) * (1 if falls_under_load(channel) else -1)
    half = (burst.start_s + burst.end_s) / 2
    before = _scatter(values, step_s, max(rest_from_s, burst.start_s - BEFORE_S), burst.start_s - MEAN_S)
    loaded = _scatter(values, step_s, half, burst.end_s - step_s)
    scale = channel.scale_uncertainty or 0.0
    # Two readings of a value that the converter rounds to its step (uniform), k = 2.
    system = math.hypot(scale * change, channel.resolution * math.sqrt(2 / 3))
    share = _Share(change, _joined([before, loaded]), system)
    tap = Tap(
        channel=channel.name,
        before=burst.before,
        loaded=burst.loaded,
        loaded_uncertainty=_joined(
            [loaded, scale * burst.loaded, channel.offset_uncertainty, channel.resolution / math.sqrt(3)]
        ),
        extreme=burst.extreme,
        recovered=burst.recovered,
        change=change,
        change_uncertainty=share.uncertainty,
    )
    return _Reading((burst.start_s, burst.end_s), tap, share)


def _scatter(values: Floats, step_s: float, start_s: float, end_s: float) -> float | None:
    """k = 2 uncertainty of a mean, from 10 ms means that do not overlap, about a line: giving way is no noise."""
    rows = values[max(round(start_s / step_s), 0) : max(round(end_s / step_s), 0)]
    width = max(1, round(MEAN_S / step_s))
    means = rows[: len(rows) // width * width].reshape(-1, width).mean(axis=1)
    means = means[~np.isnan(means)]
    if len(means) < 3:
        return None
    place = np.arange(len(means)) - (len(means) - 1) / 2
    left = means - means.mean() - place * float(place @ means) / float(place @ place)
    spread = math.sqrt(float(left @ left) / (len(means) - 2))
    return coverage(len(means) - 1) * spread / math.sqrt(len(means))


def _joined(parts: Iterable[float | None]) -> float | None:
    """Quadrature; None when a part cannot be told."""
    parts = list(parts)
    known = [part for part in parts if part is not None]
    return math.hypot(*known) if len(known) == len(parts) else None


def _split(point: str, owner: str, readings: dict[str, list[_Reading]]) -> SupplySplit | None:
    rows = [dict(zip(readings, row, strict=True)) for row in zip(*readings.values(), strict=True)]
    told = [_shares({role: one.share for role, one in row.items()}) for row in rows]
    whole = [at for at, shares in enumerate(told) if all(math.isfinite(share.volts) for share in shares.values())]
    if not whole or len(told[0]) < 2:
        return None
    bursts = tuple(_burst_split(point, rows[at], told[at]) for at in whole)
    means = {where: _mean([told[at][where] for at in whole]) for where in told[0]}
    return SupplySplit(point, owner, bursts, _parts(means), _remainder(means))


def _shares(changes: dict[str, _Share]) -> dict[str, _Share]:
    """By what the loss went to; under "remainder" what is left of it where every part was measured."""
    shares: dict[str, _Share] = {w: changes[role] for w, role in _ROLE_OF.items() if role in changes}
    loss = changes.get("supply-amp")
    missing = [where for where in _ROLE_OF if where not in shares]
    if loss is None:
        return shares
    left = loss.less(*shares.values())
    if not missing:
        return shares | {"remainder": left}
    if len(missing) == 1:
        return shares | {missing[0]: left}
    return shares | {"wiring": left} if missing == ["positive", "ground"] else shares


def _mean(shares: list[_Share]) -> _Share:
    """Of all bursts: scatter by Student's t and not less than noise leaves; the instrument errs in all alike."""
    count, volts = len(shares), np.array([share.volts for share in shares])
    scatter = float(coverage(count) * volts.std(ddof=1) / math.sqrt(count)) if count > 1 else 0.0
    noise = _joined(share.noise for share in shares)
    told = max(scatter, noise / count) if noise is not None else scatter if count > 1 else None
    system = max(share.system for share in shares)
    return replace(shares[0], volts=float(volts.mean()), noise=told, system=system)


def _burst_split(point: str, row: dict[str, _Reading], shares: dict[str, _Share]) -> BurstSplit:
    start, end = next(iter(row.values())).span_s
    taps = {role: reading.tap for role, reading in row.items()}
    return BurstSplit(
        point=point,
        start_s=start,
        end_s=end,
        battery=taps.get("supply"),
        amplifier=taps.get("supply-amp"),
        positive=taps.get("drop-positive"),
        ground=taps.get("drop-ground"),
        current=taps.get("current"),
        parts=_parts(shares),
        remainder=_remainder(shares),
    )


def _parts(shares: dict[str, _Share]) -> tuple[Part, ...]:
    order: tuple[Where, ...] = ("battery", "positive", "ground", "wiring")
    return tuple(
        Part(where, shares[where].volts, shares[where].uncertainty, shares[where].how)
        for where in order
        if where in shares
    )


def _remainder(shares: dict[str, _Share]) -> Remainder | None:
    left = shares.get("remainder")
    return None if left is None else Remainder(left.volts, left.uncertainty)
