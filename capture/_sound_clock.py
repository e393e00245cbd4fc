"""Counts what a sound card lost, from the moments at which its buffers were sampled."""

from __future__ import annotations

_FROM_CARD = "the sound card reported lost samples; their number is from its clock"
_FROM_COMPUTER = "the sound card reported lost samples; their number is from the computer's clock, to about a buffer"
#: the two clocks tell the same loss up to the lateness of callbacks
_AGREE_S = 0.5


class LossCounter:
    """Told of every buffer, it says how many rows are missing before one that reports an overflow.

    The device's clock counts when it goes and agrees with the computer's up to half a second; some host APIs give
    no time of their own (always 0), or one that jumps.
    """

    def __init__(self, rate_hz: float) -> None:
        self._rate_hz = rate_hz
        #: when the last buffer ended by the card's clock, and when it was heard of
        self._ended: tuple[float, float] | None = None

    def buffer(self, count: int, adc_s: float, now_s: float) -> tuple[int, str]:
        """Rows missing before this buffer should it report an overflow, at least 1, and how that is known.

        Parameters
        ----------
        count
            Rows of the buffer.
        adc_s, now_s
            When its first row was sampled by the device's clock, and the moment now by the computer's, in seconds.
        """
        length_s, before = count / self._rate_hz, self._ended
        self._ended = adc_s + length_s, now_s
        if before is None:
            return 1, _FROM_COMPUTER
        by_card_s, by_computer_s = adc_s - before[0], now_s - length_s - before[1]
        card_counts = adc_s > 0 and abs(by_card_s - by_computer_s) < _AGREE_S
        late_s, cause = (by_card_s, _FROM_CARD) if card_counts else (by_computer_s, _FROM_COMPUTER)
        return max(round(late_s * self._rate_hz), 1), cause
