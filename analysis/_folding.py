"""Lines above half the sample rate fold down into the spectrum; a second sample rate gives them away.

Symbols: a tone at f, sampled at fs, shows at |f - fs round(f / fs)|; what shows at f1 may be n fs + f1 or n fs - f1.
A true line stays where it is when the rate changes, a folded one moves.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from analysis._channel import Channel
from analysis._errors import AnalysisError
from analysis._lines import CLOCK_UNCERTAINTY
from analysis._results import Analysis, Line

Verdict = Literal["true", "folded", "ambiguous", "not told"]

#: converters of amplifiers, lamps and chargers switch at 20 to 500 kHz (common practice)
TOP_HZ = 500_000.0
#: rates nearer than this share of each other hardly move a folded line
_LEAST_APART = 1e-3


@dataclass(frozen=True, slots=True)
class Origin:
    """A frequency that explains a line of one recording and a line of the other."""

    frequency_hz: float
    #: k = 2
    uncertainty_hz: float
    #: where it shows in the other recording, by that recording's own line
    partner_hz: float
    #: whether it is what the line's own recording shows, not folded there
    as_shown: bool


@dataclass(frozen=True, slots=True)
class FoldedLine:
    """A line of one of two recordings, and what the other says about it."""

    channel: str
    #: which recording it stands in
    recording: Literal["first", "second"]
    frequency_hz: float
    rms: float
    unit: str
    #: "ambiguous": it may be as shown or folded; "not told": the other recording has no line that would go with it
    verdict: Verdict
    #: every true frequency up to the top that explains it, the lowest first
    origins: tuple[Origin, ...]


@dataclass(frozen=True, slots=True)
class Folding:
    """What two sample rates tell about the lines of the channels that both recordings have."""

    first_rate_hz: float
    second_rate_hz: float
    #: no true frequency above this was thought of
    top_hz: float
    lines: tuple[FoldedLine, ...]
    warnings: tuple[str, ...]

    def with_verdict(self, verdict: Verdict) -> tuple[FoldedLine, ...]:
        """The lines of that verdict."""
        return tuple(line for line in self.lines if line.verdict == verdict)


def shown_hz(frequency_hz: float, rate_hz: float) -> float:
    """Where a tone shows when sampled: |f - fs round(f / fs)|, 0 to half the rate."""
    return abs(frequency_hz - rate_hz * round(frequency_hz / rate_hz))


def possible_hz(shown: float, rate_hz: float, top_hz: float) -> tuple[float, ...]:
    """Every frequency up to `top_hz` that shows at `shown` when sampled at `rate_hz`, the lowest first."""
    most = math.floor(top_hz / rate_hz) + 1
    either = {abs(n * rate_hz + sign * shown) for n in range(most + 1) for sign in (-1, 1)}
    return tuple(sorted(each for each in either if each <= top_hz))


def unfold(
    first: Analysis,
    second: Analysis,
    top_hz: float = TOP_HZ,
    rate_uncertainty: float = CLOCK_UNCERTAINTY,
    drift: float = 0.0,
) -> Folding:
    """Tell true lines from folded ones by two recordings of the same noise at different sample rates.

    Parameters
    ----------
    first, second
        The two analyses; channels are paired by role, those without one by name.
    top_hz
        The highest true frequency that is thought of.
    rate_uncertainty
        Relative k = 2 uncertainty of the sample rates: a tone folded n times carries n rates' worth of it.
    drift
        Relative k = 2 change of the noise's own frequency that may have happened between the two recordings.

    Raises
    ------
    AnalysisError
        The sample rates are the same, or no channel is connected to the same point in both.

    Notes
    -----
    Lines that fit within their uncertainties are paired; equal frequencies first, since chance pairs are rarer there.
    A line that only one recording shows may have stopped, or its converter's filter took it off: "not told".
    """
    _check_rates(first.rate_hz, second.rate_hz)
    partners = list(_partners(first, second))
    if not partners:
        raise AnalysisError("no channel is connected to the same point in both recordings: give them the same roles")
    search = _Search(first.rate_hz, second.rate_hz, top_hz, rate_uncertainty, drift)
    lines: list[FoldedLine] = []
    for one, other in partners:
        own = [line for line in first.lines if line.channel == one.name]
        theirs = [line for line in second.lines if line.channel == other.name]
        lines += search.told(own, theirs)
    return Folding(first.rate_hz, second.rate_hz, top_hz, tuple(lines), tuple(_warnings(lines, top_hz)))


def _check_rates(first_hz: float, second_hz: float) -> None:
    if abs(first_hz - second_hz) < _LEAST_APART * max(first_hz, second_hz):
        other = 44_100 if abs(first_hz - 44_100) > 1000 else 48_000
        raise AnalysisError(
            f"both recordings were made at {first_hz:g} samples a second, where a folded line stays put: "
            f"record one of them at another rate, for example {other}"
        )


def _partners(first: Analysis, second: Analysis) -> Iterator[tuple[Channel, Channel]]:
    theirs = {channel.role or f"named {channel.name}": channel for channel in second.channels}
    for channel in first.channels:
        partner = theirs.get(channel.role or f"named {channel.name}")
        if partner is not None:
            yield channel, partner


@dataclass(frozen=True, slots=True)
class _Search:
    first_rate_hz: float
    second_rate_hz: float
    top_hz: float
    rate_uncertainty: float
    drift: float

    def told(self, own: list[Line], theirs: list[Line]) -> list[FoldedLine]:
        """Both recordings' lines of one tap point, each with its verdict."""
        still = {
            (i, j) for i, one in enumerate(own) for j, other in enumerate(theirs) if self._origin_at_rest(one, other)
        }
        pairs = [
            (i, j, origin)
            for i, one in enumerate(own)
            for j, other in enumerate(theirs)
            if (i, j) in still or not ({i} & {a for a, _ in still} or {j} & {b for _, b in still})
            for origin in self._shared(one, other)
        ]
        sides: list[FoldedLine] = []
        for i, one in enumerate(own):
            found = [self._seen(origin, one, theirs[b]) for a, b, origin in pairs if a == i]
            sides.append(_line(one, "first", found))
        for j, other in enumerate(theirs):
            found = [self._seen(origin, other, own[a]) for a, b, origin in pairs if b == j]
            sides.append(_line(other, "second", found))
        return sides

    def _origin_at_rest(self, one: Line, other: Line) -> bool:
        """Whether both recordings show a line at the same place."""
        apart = abs(one.frequency_hz - other.frequency_hz)
        return apart <= math.hypot(self._spread(one, one.frequency_hz), self._spread(other, other.frequency_hz))

    def _shared(self, one: Line, other: Line) -> Iterator[tuple[float, float]]:
        """Frequencies, with their uncertainties, that show as the one line and as the other."""
        theirs = possible_hz(other.frequency_hz, self.second_rate_hz, self.top_hz)
        for mine in possible_hz(one.frequency_hz, self.first_rate_hz, self.top_hz):
            spread = self._spread(one, mine)
            for yours in theirs:
                weight = self._spread(other, yours)
                if abs(mine - yours) <= math.hypot(spread, weight):
                    yield _weighted(mine, spread, yours, weight)

    def _spread(self, line: Line, frequency_hz: float) -> float:
        """k = 2 uncertainty of a true frequency: the line's own, the rate's, and as far as it moved by itself."""
        moved = (line.highest_hz - line.lowest_hz) / 2 if line.wandered else 0.0
        return math.hypot(
            line.frequency_uncertainty_hz, self.rate_uncertainty * frequency_hz, self.drift * frequency_hz, moved
        )

    def _seen(self, origin: tuple[float, float], line: Line, partner: Line) -> Origin:
        frequency, uncertainty = origin
        near = abs(frequency - line.frequency_hz) <= self._spread(line, frequency) + uncertainty
        return Origin(frequency, uncertainty, partner.frequency_hz, near)


def _weighted(one: float, one_spread: float, other: float, other_spread: float) -> tuple[float, float]:
    """Mean weighted by the inverse variances, and its uncertainty, at least that of the rates they share."""
    if one_spread == 0 or other_spread == 0:
        return (one, one_spread) if one_spread <= other_spread else (other, other_spread)
    share = other_spread**2 / (one_spread**2 + other_spread**2)
    # Both rates may come from one crystal: the mean is then no better than the better of the two.
    return share * one + (1 - share) * other, min(one_spread, other_spread)


def _line(line: Line, recording: Literal["first", "second"], origins: list[Origin]) -> FoldedLine:
    return FoldedLine(
        channel=line.channel,
        recording=recording,
        frequency_hz=line.frequency_hz,
        rms=line.rms,
        unit=line.unit,
        verdict=_verdict(origins),
        origins=tuple(sorted(origins, key=lambda origin: origin.frequency_hz)),
    )


def _verdict(origins: list[Origin]) -> Verdict:
    kinds = {origin.as_shown for origin in origins}
    if len(kinds) == 2:
        return "ambiguous"
    return "not told" if not kinds else "true" if kinds == {True} else "folded"


def _warnings(lines: list[FoldedLine], top_hz: float) -> Iterator[str]:
    for line in lines:
        where = f"channel {line.channel}: the line at {line.frequency_hz:.6g} Hz of the {line.recording} recording"
        several = ", ".join(f"{origin.frequency_hz:.6g}" for origin in line.origins)
        if line.verdict == "ambiguous":
            yield f"{where} may be true or folded (from {several} Hz): record at a third sample rate"
        elif line.verdict == "folded" and len(line.origins) > 1:
            yield f"{where} is folded, from one of {several} Hz: record at a third sample rate"
    alone = sum(line.verdict == "not told" for line in lines)
    if alone:
        yield (
            f"{alone} line{'s' * (alone > 1)} of one recording have no partner in the other up to {top_hz:g} Hz: "
            "they stopped, moved, or were filtered off; record both in the same state"
        )
