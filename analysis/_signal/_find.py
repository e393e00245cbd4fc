"""Where a known test signal lies in recorded samples: correlation in the signal's own band, burst by burst.

Player and recorder have clocks of their own and a player may resample, so a whole signal cannot be laid over a
recording: each burst is found for itself, and what all of them have in common gives start and drift.
"""

from __future__ import annotations

from analysis._errors import AnalysisError
from analysis._signal._fit import fitted
from analysis._signal._kinds import kinds_of
from analysis._signal._match import align, likeness_of
from analysis._signal._peaks import scan
from analysis._signal._place import placed
from analysis._signal._results import FoundSignal, Read, Wanted


def find_signal(
    wanted: Wanted,
    read: Read,
    rows: int,
    rate_hz: float,
    *,
    within: tuple[int, int] | None = None,
    near: float | None = None,
) -> FoundSignal:
    """Find a test signal on whichever channel carries it best.

    Parameters
    ----------
    wanted
        The signal; only its bursts are compared.
    read
        Gives recorded rows; called for pieces of bounded size, in order.
    rows, rate_hz
        Length and sample rate of the recording.
    within
        Rows between which the signal must lie, where that is known.
    near
        Row at which the signal began by the clock: bursts that are alike are then told apart by it.

    Raises
    ------
    AnalysisError
        There is no burst in the signal, the rate does not reach it, or nothing stands clear of the rest.

    Notes
    -----
    Likeness is |<x, t>| / (|x| |t|) of the analytic signals in the band of the burst's energy, the burst's
    surroundings included. For noise its square is Beta(1, n - 1) distributed, n = bandwidth times length, so
    the level that chance reaches is known (as that of coherence is). Polarity and a turned phase do not matter.
    The place comes from the carrier at the peak of the envelope. Where both differ, a filter stands between: a
    first-order high-pass below the tone advances the carrier as much as it delays the envelope, so the middle is
    stated, and half the difference goes into the uncertainty. A delay that a path has is not told apart from a later
    start. Scatter is the Cramer-Rao bound for a known shape, 1 / (w sqrt(n r^2 / (1 - r^2))), w the rms (angular)
    bandwidth about zero for the carrier, about its centre for the envelope.
    """
    if not wanted.spans:
        raise AnalysisError("the test signal has no burst that could be found: it is steady")
    kinds = kinds_of(wanted, rate_hz)
    start, stop = within or (0, rows)
    start, stop = max(start, 0), min(stop, rows)
    peaks = scan(kinds, read, start, stop, rate_hz)
    best = max((align(wanted, kinds, own, rate_hz, (start, stop), near) for own in peaks), key=likeness_of, default=[])
    if not best:
        raise AnalysisError("no channel carries the test signal: nothing stands clear of noise and steady tones")
    channel = best[0].channel
    places = placed(wanted, kinds, best, read, rows, rate_hz)
    if not places:
        raise AnalysisError("no channel carries the test signal: what resembles it is no burst, but goes on and on")
    return fitted(wanted, places, channel, rows, rate_hz)
