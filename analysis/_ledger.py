"""The noise ledger: a channel's noise power split by aggressor, so that the entries add up to the total."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
import scipy  # its parts load at first use: they would double the start-up

from analysis._aggressors import (
    MOST_MAINS_MULTIPLE,
    NamedLine,
    NamedTrain,
    Scene,
    aggressor_of,
    exact_rate,
    looked_power,
    scene_of,
    teeth_of,
)
from analysis._channel import Channel
from analysis._errors import AnalysisError
from analysis._impulses import Impulses
from analysis._lines import find_lines, noise_floor
from analysis._picture import AGGRESSORS, Aggressor
from analysis._results import Analysis, CoherencePoint, Line
from analysis._roles import bands_for, is_noise, ripple_band
from analysis._spectrum import Spectra

Floats = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]

#: variance of a sum of bins over that of independent ones: the Hann window ties neighbours (1 + 2 (4/9 + 1/36))
_TIES = 1.944
#: a bin that noise exceeds once in a million bins holds more than hiss
_BIN_ALARM = 1e-6
#: relative k = 2 uncertainty of the floor that is filled in below lines
_FILL = 0.1
#: a pulse train's power lies in a part of the band: so much more has a line of it there than if it filled the band
_CROWDED = 3.0
#: scaling by less than this is rounding and not worth a word
_WORTH_SAYING = 1e-3
#: coherence is taken for whole from this share of what noise beside the line would leave of it
_WHOLE = 0.9


@dataclass(frozen=True, slots=True)
class LedgerEntry:
    """What one aggressor has in a channel's noise; uncertainty k = 2."""

    aggressor: Aggressor
    #: in the channel's unit; the squares of all entries sum to that of the total
    rms: float
    uncertainty: float
    #: of the total power, 0 to 1
    share: float


@dataclass(frozen=True, slots=True)
class Ledger:
    """The noise of one channel from 20 Hz to 20 kHz, as far as the rate reaches, split by aggressor."""

    channel: str
    unit: str
    total_rms: float
    #: k = 2; None when a single segment cannot tell it
    total_uncertainty: float | None
    #: only those that are there, in the order of AGGRESSORS; "unexplained" always
    entries: tuple[LedgerEntry, ...]
    lines: tuple[NamedLine, ...]
    trains: tuple[NamedTrain, ...]
    #: hiss, the instrument's own included
    hiss_rms: float
    #: share of the power that lies in bursts, 0 to 1
    gated: float
    #: what was done to the entries, and what the recording cannot tell
    notes: tuple[str, ...]

    def rms_of(self, aggressor: Aggressor) -> float:
        """An aggressor's rms, 0 where it has no entry."""
        return next((entry.rms for entry in self.entries if entry.aggressor == aggressor), 0.0)


@dataclass(slots=True)
class _Powers:
    """Power and squared k = 2 uncertainty by aggressor, gathered bit by bit."""

    power: dict[Aggressor, float] = field(default_factory=lambda: dict.fromkeys(AGGRESSORS, 0.0))
    spread: dict[Aggressor, float] = field(default_factory=lambda: dict.fromkeys(AGGRESSORS, 0.0))

    def add(self, aggressor: Aggressor, power: float, uncertainty: float) -> None:
        self.power[aggressor] += power
        self.spread[aggressor] += uncertainty**2


@dataclass(frozen=True, slots=True)
class _Bins:
    """One channel's spectrum as powers in the band: every bin's share, the floor below it, and where lines stand."""

    frequency_hz: Floats
    power: Floats
    floor: Floats
    #: bins that lines reach into, and those that stand out of the hiss besides
    lined: Flags
    taken: Flags
    effective_averages: float

    @property
    def total(self) -> float:
        return float(self.power.sum())

    @property
    def hiss(self) -> tuple[float, float]:
        """Power between the lines, with the floor filled in below them, and its k = 2 uncertainty."""
        between = np.where(self.taken, self.floor, self.power)
        filled = float(self.floor[self.taken].sum())
        own = 2 * math.sqrt(_TIES / max(self.effective_averages, 1.0)) * float(np.sqrt(np.sum(self.floor**2)))
        return float(between.sum()), math.hypot(own, _FILL * filled)


def ledgers(analysis: Analysis, engine_rpm: float | None = None, floor: Analysis | None = None) -> tuple[Ledger, ...]:
    """The ledger of every channel whose noise is read and that carries one."""
    return tuple(
        ledger_of(analysis, channel.name, engine_rpm=engine_rpm, floor=floor)
        for channel in analysis.channels
        if is_noise(channel) and analysis.figure(channel.name, "noise_rms") is not None
    )


def ledger_of(
    analysis: Analysis, channel: str, *, engine_rpm: float | None = None, floor: Analysis | None = None
) -> Ledger:
    """Split the noise power of one channel by aggressor.

    Parameters
    ----------
    analysis
        Of the recording; its lines, spectra, coherence and impulses are used.
    channel
        Name of a channel whose noise is read.
    engine_rpm
        0 with the engine off; None: as the analysis has it.
    floor
        Analysis of the instrument alone (inputs shorted at the clips); its channel of the same name, else of the same
        role, is taken off in power.

    Raises
    ------
    AnalysisError
        No such channel, or no noise figure for it.

    Notes
    -----
    The power of every line is its least-squares or lobe power, hiss that of the bins between lines (the running floor
    below lines), impulses what time shows beyond their own lines. What is left is "unexplained"; where the parts
    exceed the total they are scaled to it, which is said in `notes`.
    """
    index = _index(analysis, channel)
    spectra, one = analysis.spectra, analysis.channels[index]
    total = analysis.figure(channel, "noise_rms")
    if spectra is None or total is None:
        raise AnalysisError(f"channel {channel}: no ledger without a noise figure: record a second or more")
    engine_rpm = analysis.engine_rpm if engine_rpm is None else engine_rpm
    # Test bursts are bursts too, but nobody's noise.
    told = () if analysis.bursts_play else analysis.impulses
    impulses = next((found for found in told if found.channel == channel), None)
    scene = scene_of(analysis, channel, engine_rpm, impulses)
    named = tuple(aggressor_of(line, scene) for line in scene.lines)
    looked = looked_power(analysis, channel, impulses) if impulses else 0.0
    bins = _bins(analysis.rate_hz, spectra, index)
    powers, notes = _Powers(), list[str]()
    own = _own_noise(analysis, floor, index) if floor is not None else None
    _add_lines(powers, named, one, bins, _coherent_shares(analysis, index, named), own)
    _add_crossings(powers, named, scene, bins)
    hiss, hiss_spread = bins.hiss
    hiss -= _add_weak_members(powers, scene, bins)
    stray = max(bins.total - hiss - sum(powers.power.values()), 0.0)
    pulses = _add_impulses(powers, scene, impulses, looked, stray) if impulses else (0.0, 0.0)
    between = max(hiss - pulses[0], 0.0), math.hypot(hiss_spread, pulses[1])
    _add_hiss(powers, between, own, notes)
    notes += _silences(scene, impulses)
    entries = _settled(powers, total.value**2, one, notes)
    share = impulses.share * looked / bins.total if impulses and bins.total else 0.0
    return Ledger(
        channel=channel,
        unit=one.unit,
        total_rms=total.value,
        total_uncertainty=total.uncertainty,
        entries=entries,
        lines=named,
        trains=scene.trains,
        hiss_rms=math.sqrt(between[0]),
        gated=min(share, 1.0),
        notes=tuple(notes),
    )


def _index(analysis: Analysis, channel: str) -> int:
    names = [one.name for one in analysis.channels]
    if channel not in names:
        raise AnalysisError(f"there is no channel {channel}: there are {', '.join(names)}")
    return names.index(channel)


def _bins(rate_hz: float, spectra: Spectra, index: int) -> _Bins:
    segment = 2 * (len(spectra.frequency_hz) - 1)
    scale = bands_for(rate_hz, segment)[""] / spectra.noise_bandwidth_bins
    floor = noise_floor(spectra, index)
    lined = np.zeros(len(floor), bool)
    for line in find_lines(spectra, index):
        lined[line.first : line.last + 1] = True
    taken = lined | scipy.ndimage.binary_dilation(spectra.power[index] > _border(spectra) * floor, iterations=2)
    power = scale * spectra.power[index]
    return _Bins(spectra.frequency_hz, power, scale * floor, lined, taken, spectra.effective_averages)


def _border(spectra: Spectra) -> float:
    """Power over floor that noise exceeds in one of a million bins (gamma distribution of averaged powers)."""
    return float(scipy.special.gammainccinv(spectra.effective_averages, _BIN_ALARM) / spectra.effective_averages)


def _line_power(line: Line, channel: Channel) -> tuple[float, float]:
    """A line's power and its k = 2 uncertainty, without the scale's part, which all entries share."""
    scale = (channel.scale_uncertainty or 0.0) * line.rms
    own = math.sqrt(max(line.uncertainty**2 - scale**2, 0.0))
    return line.rms**2, 2 * line.rms * own + own**2


def _add_lines(
    powers: _Powers,
    named: tuple[NamedLine, ...],
    channel: Channel,
    bins: _Bins,
    coherent: list[float],
    own: _OwnNoise | None,
) -> None:
    for one, part in zip(named, coherent, strict=True):
        power, spread = (_in_band(one.line, bins) * value for value in _line_power(one.line, channel))
        instrument = min(own.line_power(one.line), power) if own else 0.0
        powers.add("instrument floor", instrument, 0.0)
        power -= instrument
        powers.add(one.aggressor, part * power, part * spread)
        powers.add("unexplained", (1 - part) * power, (1 - part) * spread)


def _add_weak_members(powers: _Powers, scene: Scene, bins: _Bins) -> float:
    """Members of a known family that are no lines of their own, read at their places; what of it hiss had held."""
    families: list[tuple[Aggressor, float, int]] = [("mains", base, MOST_MAINS_MULTIPLE) for base, _ in scene.mains]
    if scene.ripple is not None:
        families.append(("alternator", scene.ripple.frequency_hz, MOST_MAINS_MULTIPLE))
    found = 0.0
    for name, base, most in families:
        if not powers.power[name]:
            continue
        low, high, spread = _at_multiples(bins, base, most, _teeth_bins(scene, bins))
        powers.add(name, max(low, 0.0) + high, spread)
        found += max(low, 0.0)
    return found


def _teeth_bins(scene: Scene, bins: _Bins) -> Flags:
    """Bins in which a pulse train's lines lie, as far as they can be counted."""
    found, step = np.zeros(len(bins.frequency_hz), bool), float(bins.frequency_hz[1])
    for train in scene.trains:
        rate, spread = exact_rate(train.train, scene.lines, scene.resolution_hz)
        number = np.round(bins.frequency_hz / rate)
        found |= np.abs(bins.frequency_hz - number * rate) <= np.minimum(2.5 * step + number * spread, rate / 4)
    return found


def _at_multiples(bins: _Bins, base_hz: float, most: int, others: Flags) -> tuple[float, float, float]:
    """Power above the floor at the multiples of a frequency at which no line was found: that within the hiss, that
    standing out of it, and the k = 2 scatter of the floor there."""
    step = float(bins.frequency_hz[1])
    last = min(most, int((bins.frequency_hz[-1] - 3 * step) / base_hz))
    middles = np.round(np.arange(1, last + 1) * base_hz / step).astype(int)
    about = middles[middles > 2, None] + np.arange(-2, 3)
    about = about[~bins.lined[about].any(axis=1) & (bins.power[about] > 0).all(axis=1)]
    crossed = others[about].any(axis=1)
    free = about[~crossed]
    out = bins.taken[free].any(axis=1)
    more = np.sum(bins.power[free] - bins.floor[free], axis=1)
    scatter = 2 * math.sqrt(_TIES * float(np.sum(bins.floor[free] ** 2)) / max(bins.effective_averages, 1.0))
    # Where a tooth of a pulse train stands too, nobody knows whose it is.
    scatter += max(float(np.sum(bins.power[about[crossed]] - bins.floor[about[crossed]])), 0.0)
    return float(more[~out].sum()), float(np.maximum(more[out], 0.0).sum()), scatter


def _add_crossings(powers: _Powers, named: tuple[NamedLine, ...], scene: Scene, bins: _Bins) -> None:
    """A line that stands on a tooth of a pulse train: how the two add depends on their phases, which nobody knows."""
    for train in scene.trains:
        rate, spread = exact_rate(train.train, scene.lines, scene.resolution_hz)
        tooth = _CROWDED * train.rms**2 * rate / float(bins.frequency_hz[-1])
        for one in named:
            number = round(one.line.frequency_hz / rate)
            near = abs(one.line.frequency_hz - number * rate) <= number * spread + 4 * scene.resolution_hz
            if near and number and one.line.frequency_hz not in scene.teeth:
                powers.add(one.aggressor, 0.0, 2 * one.line.rms * math.sqrt(tooth))
                powers.add(train.aggressor, 0.0, 2 * one.line.rms * math.sqrt(tooth))


def _in_band(line: Line, bins: _Bins) -> float:
    """Share of a line that lies in the band: its bins' power there tells."""
    nearest = int(np.argmin(np.abs(bins.frequency_hz - line.frequency_hz)))
    return float(bool(bins.power[nearest] > 0))


def _coherent_shares(analysis: Analysis, index: int, named: tuple[NamedLine, ...]) -> list[float]:
    """Share of each line that goes with the supply: 1 for lines that are put down to something else.

    Coherence over what the noise beside the line would leave of 1, freed of its bias (1 - c) / (n - 1): the coherent
    output power of the line, as a share of the line's.
    """
    floors: dict[int, Floats] = {}
    points = {
        (point.frequency_hz, point.value): point
        for point in analysis.coherence
        if point.output == analysis.channels[index].name
    }
    shares = []
    for one in named:
        point = points.get((one.line.frequency_hz, one.coherence or 0.0))
        tied = one.aggressor == "alternator" and one.supply_rms is not None
        shares.append(_coherent_share(analysis, index, point, floors) if tied and point else 1.0)
    return shares


def _coherent_share(analysis: Analysis, index: int, point: CoherencePoint, floors: dict[int, Floats]) -> float:
    spectra = analysis.spectra
    if spectra is None or point.averages < 2:
        return 1.0
    bin_ = min(round(point.frequency_hz / spectra.resolution_hz), len(spectra.frequency_hz) - 1)
    possible = 1.0
    for one in (index, _index(analysis, point.input)):
        if one not in floors:
            floors[one] = noise_floor(spectra, one)
        power = float(spectra.power[one, bin_])
        possible *= max(1 - float(floors[one][bin_]) / power, 0.0) if power > 0 else 0.0
    free = max(point.value - (1 - point.value) / (point.averages - 1), 0.0)
    return min(free / (_WHOLE * possible), 1.0) if possible > 0.5 else 1.0


def _add_impulses(
    powers: _Powers, scene: Scene, impulses: Impulses, looked: float, stray: float
) -> tuple[float, float]:
    """Enter what pulses have beyond their own lines; how much of the hiss that was, and its k = 2 uncertainty.

    `stray` is the power that stands out of the hiss without being a line: smeared lines of pulses come first there.
    """
    spread = impulses.uncertainty * looked if impulses.share else 0.0
    taken = 0.0
    for train in scene.trains:
        # Whoever a line is put down to: its power is entered already.
        entered = teeth_of(train, scene.lines, scene.resolution_hz)
        more = train.rms**2 - sum(line.rms**2 for line in entered if _stayed(line, impulses))
        # Less than its uncertainty is no finding: the train's lines hold it all.
        more = more if more > spread else 0.0
        powers.add(train.aggressor, more, spread)
        taken += more
    irregular = impulses.irregular * looked
    if irregular:
        powers.add("unexplained", irregular, spread)
    return max(taken + irregular - stray, 0.0), spread


def _stayed(line: Line, impulses: Impulses) -> bool:
    return not any(low <= line.frequency_hz <= high for low, high in impulses.left_out_hz)


@dataclass(frozen=True, slots=True)
class _OwnNoise:
    """The instrument's own noise: hiss power in the band with its k = 2 uncertainty, and its lines."""

    hiss: float
    uncertainty: float
    lines: tuple[Line, ...]
    resolution_hz: float

    def line_power(self, line: Line) -> float:
        """Power of the instrument's own line at the same frequency."""
        reach = line.frequency_uncertainty_hz + self.resolution_hz
        near = (own for own in self.lines if abs(own.frequency_hz - line.frequency_hz) <= reach)
        return max((own.rms**2 for own in near), default=0.0)


def _own_noise(analysis: Analysis, floor: Analysis, index: int) -> _OwnNoise:
    """What the floor recording shows, on this recording's bins."""
    own = _floor_channel(floor, analysis.channels[index])
    spectra = analysis.spectra
    if own is None or floor.spectra is None or not floor.spectra.bands or spectra is None:
        raise AnalysisError(
            f"channel {analysis.channels[index].name}: the floor recording has no such channel in the same unit, or "
            "is too short: record it with the same leads, shorted at the clips"
        )
    bins = _bins(floor.rate_hz, floor.spectra, own)
    hiss, spread = bins.hiss
    channel = floor.channels[own]
    return _OwnNoise(
        hiss=hiss * _common_band(analysis, floor, own),
        uncertainty=math.hypot(spread, 2 * (channel.scale_uncertainty or 0.0) * hiss),
        lines=tuple(line for line in floor.lines if line.channel == channel.name),
        resolution_hz=max(spectra.resolution_hz, floor.spectra.resolution_hz),
    )


def _common_band(analysis: Analysis, floor: Analysis, own: int) -> float:
    """Share of the floor recording's hiss that lies in this recording's band, which may be narrower."""
    assert floor.spectra is not None
    level = noise_floor(floor.spectra, own)
    band, here = ripple_band(floor.rate_hz), ripple_band(analysis.rate_hz)
    if band is None or here is None or band[1] <= here[1]:
        return 1.0
    frequency = floor.spectra.frequency_hz
    inside = (frequency >= here[0]) & (frequency <= here[1])
    return float(level[inside].sum() / level[(frequency >= band[0]) & (frequency <= band[1])].sum())


def _floor_channel(floor: Analysis, channel: Channel) -> int | None:
    alike = [i for i, one in enumerate(floor.channels) if one.unit == channel.unit]
    by_name = [i for i in alike if floor.channels[i].name == channel.name]
    by_role = [i for i in alike if channel.role and floor.channels[i].role == channel.role]
    return next(iter(by_name + by_role), None)


def _add_hiss(powers: _Powers, between: tuple[float, float], own: _OwnNoise | None, notes: list[str]) -> None:
    hiss, spread = between
    if own is None:
        powers.add("broadband", hiss, spread)
        return
    floor = min(own.hiss, hiss)
    powers.add("instrument floor", floor, math.hypot(own.uncertainty, own.hiss - floor))
    powers.add("broadband", hiss - floor, math.hypot(spread, own.uncertainty))
    if hiss - own.hiss <= math.hypot(spread, own.uncertainty):
        notes.append("the hiss is not told from the instrument's own floor")


def _silences(scene: Scene, impulses: Impulses | None) -> Iterator[str]:
    """What this recording cannot tell."""
    if scene.engine_rpm is None:
        yield "the engine speed is not stated: nothing is put down to alternator or ignition"
    if not scene.has_supply:
        yield "no supply channel: nothing ties a line to the supply's ripple"
    if scene.bursts_play:
        yield "test bursts play: lines are not put down to anything"
    if impulses and impulses.refused:
        yield f"no statement about impulses: {impulses.refused}"


def _settled(powers: _Powers, total: float, channel: Channel, notes: list[str]) -> tuple[LedgerEntry, ...]:
    """The remainder is unexplained; parts that exceed the total are scaled to it."""
    parts = sum(powers.power.values())
    spread = math.sqrt(sum(powers.spread.values()))
    if parts <= total:
        powers.add("unexplained", total - parts, min(spread, total))
    else:
        shrink = total / parts
        if shrink < 1 - _WORTH_SAYING:
            within = "within" if parts - total <= spread else "which is more than"
            notes.append(
                f"the parts exceed the total by {100 * (parts / total - 1) if total else 0:.2g} %, {within} "
                "their uncertainty, and are scaled to it"
            )
        powers.power = {name: shrink * power for name, power in powers.power.items()}
        powers.spread["unexplained"] += min(spread, total) ** 2
    return tuple(
        _entry(name, powers.power[name], math.sqrt(powers.spread[name]), total, channel)
        for name in AGGRESSORS
        if powers.power[name] > 0 or name == "unexplained"
    )


def _entry(aggressor: Aggressor, power: float, spread: float, total: float, channel: Channel) -> LedgerEntry:
    """Root of a power and the farther of the two ends that its k = 2 uncertainty reaches to."""
    rms = math.sqrt(power)
    ends = rms - math.sqrt(max(power - spread, 0.0)), math.sqrt(power + spread) - rms
    scale = (channel.scale_uncertainty or 0.0) * rms
    return LedgerEntry(aggressor, rms, math.hypot(max(ends), scale), power / total if total > 0 else 0.0)
