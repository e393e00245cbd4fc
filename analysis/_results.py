"""What an analysis hands over: frozen, each number with its unit and uncertainty."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from analysis._channel import Channel
from analysis._spectrum import Spectra
from analysis._statistics import Statistics
from analysis._supply import Burst, Trace

if TYPE_CHECKING:
    from analysis._battery_model import BatteryModel
    from analysis._impulses import Impulses
    from analysis._ledger import Ledger
    from analysis._rail_ripple import RailRipple
    from analysis._source_resistance import SourceResistance
    from analysis._supply_split import SupplySplit
    from analysis._undervoltage import Undervoltage

#: coverage factor of every stated uncertainty (about 95 %)
COVERAGE_FACTOR = 2


@dataclass(frozen=True, slots=True)
class Figure:
    """One number: what, of which channel, with expanded (k = 2) uncertainty.

    `uncertainty` is None when the recording is too short to tell it. `band_hz`, `weighting` and `averages` are
    None or empty where they have no meaning. `reference` is the level a ratio refers to, in V, or the limit that
    a time was counted below. `window_s` is how long after the edge a source resistance was read.
    """

    channel: str
    quantity: str
    value: float
    unit: str
    uncertainty: float | None
    band_hz: tuple[float, float] | None = None
    weighting: str = ""
    averages: int | None = None
    reference: float | None = None
    window_s: float | None = None


@dataclass(frozen=True, slots=True)
class Line:
    """A spectral line of one channel; uncertainties k = 2; `order` is 60 f / rpm when the rpm is known."""

    channel: str
    frequency_hz: float
    frequency_uncertainty_hz: float
    rms: float
    unit: str
    uncertainty: float
    cause: str | None
    order: float | None
    lowest_hz: float
    highest_hz: float
    wandered: bool
    #: against other lines of the same maker, with which it wanders and shares the clock; None when nobody told
    reading_uncertainty_hz: float | None = None


@dataclass(frozen=True, slots=True)
class ChannelBurst:
    """A burst as one channel saw it."""

    channel: str
    burst: Burst


@dataclass(frozen=True, slots=True)
class CoherencePoint:
    """Coherence of two channels at one frequency, with the level that 5 % of unrelated signals exceed."""

    input: str
    output: str
    frequency_hz: float
    value: float
    averages: float
    chance_level: float
    #: of the coherence, k = 2
    uncertainty: float | None = None
    #: |H1|, the output's unit per the input's, and its k = 2 uncertainty; None where coherence does not exceed chance
    gain: float | None = None
    gain_uncertainty: float | None = None


@dataclass(frozen=True, slots=True)
class ChannelResistance:
    """Source resistance at one tap point, by the current of another channel."""

    channel: str
    current: str
    resistance: SourceResistance


@dataclass(frozen=True, slots=True)
class Supply:
    """What the supply did under load; each part empty or None where the recording does not carry it."""

    splits: tuple[SupplySplit, ...] = ()
    resistances: tuple[ChannelResistance, ...] = ()
    battery_model: BatteryModel | None = None
    undervoltage: tuple[Undervoltage, ...] = ()
    rail_ripple: tuple[RailRipple, ...] = ()


@dataclass(frozen=True, slots=True)
class Analysis:
    """Everything told about one recording; `spectra` is None when it is too short for one."""

    rate_hz: float
    frames: int
    channels: tuple[Channel, ...]
    statistics: Statistics
    spectra: Spectra | None
    trace: Trace
    figures: tuple[Figure, ...]
    lines: tuple[Line, ...]
    bursts: tuple[ChannelBurst, ...]
    coherence: tuple[CoherencePoint, ...]
    warnings: tuple[str, ...]
    #: as stated: 0 is engine off, None when nobody said
    engine_rpm: float | None = None
    #: True when test bursts were found or told of
    bursts_play: bool = False
    #: of every channel whose noise is read
    impulses: tuple[Impulses, ...] = ()
    ledger: tuple[Ledger, ...] = ()
    #: None where no channel carries the supply
    supply: Supply | None = None

    def figure(self, channel: str, quantity: str) -> Figure | None:
        """The figure of that channel and quantity, or None when it was refused."""
        found = (f for f in self.figures if f.channel == channel and f.quantity == quantity)
        return next(found, None)
