"""A known test signal in recorded samples."""

from analysis._signal._find import find_signal
from analysis._signal._results import FoundBurst, FoundSignal, Wanted

__all__ = ["FoundBurst", "FoundSignal", "Wanted", "find_signal"]
