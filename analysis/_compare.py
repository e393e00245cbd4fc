"""Before against after: refused where the circumstances differ, else change, uncertainty and verdict."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from analysis._channel import Channel
from analysis._results import Analysis, Figure

Verdict = Literal["improved", "worse", "no change shown", "below the instrument's floor", "not comparable"]

LOWER_IS_BETTER = (
    "noise_rms_a",
    "noise_rms",
    "sag",
    "ripple_rms",
    "ripple_peak_to_peak",
    "source_resistance",
    "undervoltage_time",
)
HIGHER_IS_BETTER = ("snr_a", "snr")
#: engine speeds further apart than this share are not the same (trade practice)
RPM_TOLERANCE = 0.02


@dataclass(frozen=True, slots=True)
class Circumstances:
    """What has to be the same on both sides; None means that nobody wrote it down."""

    #: digest of the samples' file: a file compared with itself needs no circumstances
    digest: str
    simulated: bool
    isolation_step: str
    engine_rpm: float | None = None
    loads: tuple[str, ...] | None = None
    volume: str | None = None
    gains: str | None = None
    test_signal: str | None = None
    #: where the recording input's own gain stood: without a calibration its counts mean something else at another
    input_gain: str | None = None


@dataclass(frozen=True, slots=True)
class Side:
    """One side of a comparison."""

    analysis: Analysis
    circumstances: Circumstances


@dataclass(frozen=True, slots=True)
class Change:
    """One figure before and after, in `unit`; `uncertainty` is that of the change, k = 2, None when unknown."""

    channel: str
    quantity: str
    unit: str
    before: float
    after: float
    before_uncertainty: float | None
    after_uncertainty: float | None
    change: float
    #: in dB: of the ratio for volts, of the difference for ratios; None when a value is not positive
    change_db: float | None
    uncertainty: float | None
    verdict: Verdict


@dataclass(frozen=True, slots=True)
class Comparison:
    """Every change, the clearest first, and why nothing may be claimed when `mismatches` is not empty."""

    mismatches: tuple[str, ...]
    changes: tuple[Change, ...]
    verdict: str

    @property
    def comparable(self) -> bool:
        """True when the circumstances were shown to be the same."""
        return not self.mismatches


def compare(before: Side, after: Side, floor: Side | None = None) -> Comparison:
    """Set two recordings of the same tap points against each other.

    Parameters
    ----------
    before, after
        The two sides.
    floor
        A recording of the instrument alone (inputs shorted at the clips, same ranges): noise that is no larger
        than this is "below the instrument's floor".
    """
    mismatches = tuple(_mismatches(before, after))
    changes = tuple(_changes(before, after, floor, comparable=not mismatches))
    return Comparison(
        mismatches,
        tuple(sorted(changes, key=_clearness)),
        _verdict(mismatches, changes, same=_same_file(before, after)),
    )


def _mismatches(before: Side, after: Side) -> Iterator[str]:
    if _same_file(before, after):
        return
    yield from _circumstance_mismatches(before.circumstances, after.circumstances)
    if before.analysis.rate_hz != after.analysis.rate_hz:
        yield f"sample rates differ: {before.analysis.rate_hz:g} and {after.analysis.rate_hz:g} a second"
    partners = list(_partners(before.analysis, after.analysis))
    if not partners:
        yield "no channel is connected to the same point on both sides: give the channels the same roles"
    for first, second in partners:
        yield from _channel_mismatches(first, second)
    if any(channel.unit == "FS" for pair in partners for channel in pair):
        yield from _input_gain_mismatch(before.circumstances.input_gain, after.circumstances.input_gain)
    yield from _lonely(before.analysis, after.analysis, partners)


def _same_file(before: Side, after: Side) -> bool:
    return bool(before.circumstances.digest) and before.circumstances.digest == after.circumstances.digest


def _circumstance_mismatches(before: Circumstances, after: Circumstances) -> Iterator[str]:
    if before.simulated != after.simulated:
        yield "one side is simulated, the other is real"
    if before.isolation_step != after.isolation_step:
        yield f"isolation steps differ: '{before.isolation_step}' and '{after.isolation_step}'"
    yield from _rpm_mismatch(before.engine_rpm, after.engine_rpm)
    for name, key in (
        ("electrical loads", "loads"),
        ("volume", "volume"),
        ("gains", "gains"),
        ("test signal", "test_signal"),
    ):
        yield from _text_mismatch(name, getattr(before, key), getattr(after, key))


def _rpm_mismatch(before: float | None, after: float | None) -> Iterator[str]:
    if before is None or after is None:
        yield from _unknown("engine speed", before, after)
    elif abs(after - before) > RPM_TOLERANCE * max(before, after):
        yield f"engine speeds differ by more than {RPM_TOLERANCE:.0%}: {before:g} and {after:g} rpm"


def _input_gain_mismatch(before: str | None, after: str | None) -> Iterator[str]:
    """Calibrated inputs carry their gain in their scale, and an input that has no knob states none."""
    if before is not None or after is not None:
        yield from _text_mismatch("gain of the recording input", before, after)


def _text_mismatch(name: str, before: object, after: object) -> Iterator[str]:
    if before is None or after is None:
        yield from _unknown(name, before, after)
    elif _words(before) != _words(after):
        yield f"{name} not the same: {_shown(before)} before, {_shown(after)} after"


def _unknown(name: str, before: object, after: object) -> Iterator[str]:
    where = "on either side" if before is None and after is None else "before" if before is None else "after"
    yield f"{name} not stated {where}: that it was the same cannot be shown"


def _words(value: object) -> object:
    """Order and capitals of a list of loads do not matter."""
    if isinstance(value, tuple):
        return sorted(str(part).strip().lower() for part in value)
    return str(value).strip().lower()


def _shown(value: object) -> str:
    return ", ".join(value) or "none" if isinstance(value, tuple) else f"'{value}'"


def _partners(before: Analysis, after: Analysis) -> Iterator[tuple[Channel, Channel]]:
    """Channels with the same role and point; without a role, or with one that others share, with the same name."""
    shared = {
        channel.role
        for side in (before, after)
        for channel in side.channels
        if [own.role for own in side.channels].count(channel.role) > 1
    }
    for first in before.channels:
        for second in after.channels:
            by_name = not first.role or first.role in shared
            if first.role == second.role and (first.name == second.name or not by_name):
                yield first, second


def _lonely(before: Analysis, after: Analysis, partners: list[tuple[Channel, Channel]]) -> Iterator[str]:
    paired = {channel.name for first, _ in partners for channel in (first,)}
    for channel in before.channels:
        if channel.name not in paired and partners:
            yield f"{_named(channel)} is missing after: the tap point is not the same"
    paired = {second.name for _, second in partners}
    for channel in after.channels:
        if channel.name not in paired and partners:
            yield f"{_named(channel)} is missing before: the tap point is not the same"


def _named(channel: Channel) -> str:
    return f"channel {channel.name} ({channel.role or 'no role'})"


def _channel_mismatches(first: Channel, second: Channel) -> Iterator[str]:
    where = f"channel {first.name}"
    if first.unit != second.unit:
        yield f"{where}: units differ: {first.unit} and {second.unit}; calibrate both"
    if first.coupling != second.coupling:
        yield f"{where}: couplings differ: {first.coupling} and {second.coupling}"
    if not _same_range(first, second):
        yield f"{where}: ranges differ: {_range(first)} and {_range(second)}"


def _same_range(first: Channel, second: Channel) -> bool:
    """Within 1 %: a channel that was calibrated anew still has its old range."""
    if first.limits is None or second.limits is None:
        return first.limits == second.limits
    width = first.limits[1] - first.limits[0]
    return all(abs(new - old) <= 0.01 * width for old, new in zip(first.limits, second.limits, strict=True))


def _range(channel: Channel) -> str:
    low, high = channel.limits or (math.nan, math.nan)
    return f"{low:.4g} to {high:.4g} {channel.unit}" if channel.limits else "unknown"


def _changes(before: Side, after: Side, floor: Side | None, *, comparable: bool) -> Iterator[Change]:
    for first, second in _partners(before.analysis, after.analysis):
        for quantity in (*LOWER_IS_BETTER, *HIGHER_IS_BETTER):
            old = before.analysis.figure(first.name, quantity)
            new = after.analysis.figure(second.name, quantity)
            if old and new and (old.unit, old.reference, old.window_s) == (new.unit, new.reference, new.window_s):
                own = _floor_figure(floor, before, first, quantity)
                yield _change(old, new, own, comparable=comparable, same=_same_file(before, after))


def _floor_figure(floor: Side | None, before: Side, channel: Channel, quantity: str) -> Figure | None:
    """The instrument's own figure at the same tap point, rate and range; only noise has one."""
    if floor is None or not quantity.startswith("noise") or floor.analysis.rate_hz != before.analysis.rate_hz:
        return None
    partners = _partners(before.analysis, floor.analysis)
    twins = (own for first, own in partners if first is channel)
    alike = (own for own in twins if own.unit == channel.unit and _same_range(own, channel))
    return next((floor.analysis.figure(own.name, quantity) for own in alike), None)


def _change(old: Figure, new: Figure, floor: Figure | None, *, comparable: bool, same: bool) -> Change:
    uncertainty = _joined(old.uncertainty, new.uncertainty)
    change = new.value - old.value
    return Change(
        channel=old.channel,
        quantity=old.quantity,
        unit=old.unit,
        before=old.value,
        after=new.value,
        before_uncertainty=old.uncertainty,
        after_uncertainty=new.uncertainty,
        change=change,
        change_db=_db(old, new),
        uncertainty=uncertainty,
        verdict=_judge(old, new, floor, uncertainty) if comparable and not same else _unjudged(comparable),
    )


def _unjudged(comparable: bool) -> Verdict:
    return "no change shown" if comparable else "not comparable"


def _judge(old: Figure, new: Figure, floor: Figure | None, uncertainty: float | None) -> Verdict:
    if floor and new.value - floor.value <= (_joined(new.uncertainty, floor.uncertainty) or 0.0):
        return "below the instrument's floor"
    change = new.value - old.value
    if uncertainty is None or not abs(change) > uncertainty:  # NaN shows nothing either
        return "no change shown"
    return "improved" if (change > 0) == (old.quantity in HIGHER_IS_BETTER) else "worse"


def _joined(first: float | None, second: float | None) -> float | None:
    """Quadrature; a calibration shared by both sides would partly cancel, so this errs on the wide side."""
    return None if first is None or second is None else math.hypot(first, second)


def _db(old: Figure, new: Figure) -> float | None:
    if old.unit == "dB":
        return new.value - old.value
    return 20 * math.log10(new.value / old.value) if old.value > 0 and new.value > 0 else None


def _clearness(change: Change) -> float:
    """Sort key: how many uncertainties the change is away from none, the clearest first."""
    if change.uncertainty is None or math.isnan(change.uncertainty) or not change.change:
        return 0.0
    return -abs(change.change) / change.uncertainty if change.uncertainty else -math.inf


def _verdict(mismatches: tuple[str, ...], changes: tuple[Change, ...], *, same: bool) -> str:
    if same:
        return "no change shown"
    if mismatches:
        return f"not comparable: {mismatches[0]}" + (f" (and {len(mismatches) - 1} more)" if mismatches[1:] else "")
    if not changes:
        return "nothing to compare: no figure is known on both sides"
    counts = {verdict: sum(change.verdict == verdict for change in changes) for verdict in _ORDER}
    shown = [f"{verdict}: {count}" for verdict, count in counts.items() if count]
    return "no change shown" if counts["no change shown"] == len(changes) else "; ".join(shown)


_ORDER: tuple[Verdict, ...] = ("improved", "below the instrument's floor", "worse", "no change shown")
