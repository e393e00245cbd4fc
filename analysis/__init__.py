"""Figures from samples: pure functions and accumulators; no files, no devices, no screens."""

from analysis._analyse import Subject, analyse, mains_cause
from analysis._channel import COUPLINGS, DROP_ROLES, NOISE_ROLES, ROLES, SUPPLY_ROLES, Channel, role_problem
from analysis._compare import (
    HIGHER_IS_BETTER,
    LOWER_IS_BETTER,
    Change,
    Circumstances,
    Comparison,
    Side,
    compare,
)
from analysis._errors import AnalysisError, HumproofError, WrongUseError
from analysis._lines import Candidate, LineTrack, LineTracker, find_lines, noise_floor
from analysis._overview import Overview, OverviewAccumulator, join_overviews, summarise
from analysis._results import COVERAGE_FACTOR, Analysis, ChannelBurst, CoherencePoint, Figure, Line
from analysis._roles import ripple_band
from analysis._spectrum import (
    Spectra,
    SpectraAccumulator,
    amplitude_spectrum,
    coherence,
    coherence_chance_level,
    power_density,
    power_spectrum,
    segment_length,
)
from analysis._statistics import Statistics, StatisticsAccumulator
from analysis._supply import (
    Burst,
    RippleAccumulator,
    Trace,
    TraceAccumulator,
    find_bursts,
    measure_burst,
)
from analysis._weighting import a_weighting_db, band_weights
from analysis._windows import Window, effective_averages, window

__all__ = [
    "COUPLINGS",
    "COVERAGE_FACTOR",
    "DROP_ROLES",
    "HIGHER_IS_BETTER",
    "LOWER_IS_BETTER",
    "NOISE_ROLES",
    "ROLES",
    "SUPPLY_ROLES",
    "Analysis",
    "AnalysisError",
    "Burst",
    "Candidate",
    "Change",
    "Channel",
    "ChannelBurst",
    "Circumstances",
    "CoherencePoint",
    "Comparison",
    "Figure",
    "HumproofError",
    "Line",
    "LineTrack",
    "LineTracker",
    "Overview",
    "OverviewAccumulator",
    "RippleAccumulator",
    "Side",
    "Spectra",
    "SpectraAccumulator",
    "Statistics",
    "StatisticsAccumulator",
    "Subject",
    "Trace",
    "TraceAccumulator",
    "Window",
    "WrongUseError",
    "a_weighting_db",
    "amplitude_spectrum",
    "analyse",
    "band_weights",
    "coherence",
    "coherence_chance_level",
    "compare",
    "effective_averages",
    "find_bursts",
    "find_lines",
    "join_overviews",
    "mains_cause",
    "measure_burst",
    "noise_floor",
    "power_density",
    "power_spectrum",
    "ripple_band",
    "role_problem",
    "segment_length",
    "summarise",
    "window",
]
