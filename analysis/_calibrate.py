"""From measured levels to volts: the scale and zero of an input, each with its uncertainty and what it is made of.

value = reading * scale + offset, a reading being in the input's own unit (FS, or the volts an oscilloscope states).
Uncertainties are combined after JCGM 100: standard ones in quadrature, expanded with k = 2 where they are stated.
What temperature does to the input since is not in them.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from decimal import Decimal, InvalidOperation
from typing import Literal

import numpy as np
import numpy.typing as npt
import scipy  # its parts load at first use: they would double the start-up

from analysis._errors import AnalysisError
from analysis._levels import DcLevel, FloorLevel, ToneLevel
from analysis._results import COVERAGE_FACTOR

Floats = npt.NDArray[np.float64]
MeterKind = Literal["true-rms", "averaging"]
UncertaintyKind = Literal["limit", "expanded"]

#: two levels nearer than this factor show nothing of linearity
_LEAST_RATIO = 2.0
#: a reading whose last digit is worth more than this share was typed too short
_COARSEST_DIGIT = 0.05
#: standard uncertainties by which two scales may differ before the input is called crooked (about 0.3 % by chance)
_APART = 3.0
#: chance by which straight-line residuals may be as large as that
_CROOKED_CHANCE = 0.01
#: hand meters are often specified from about 45 Hz to between 400 Hz and 1 kHz (common practice)
ADVISED_HZ = (100.0, 400.0)


def standard(share: float, kind: UncertaintyKind) -> float:
    """Standard uncertainty of a stated one: a limit is rectangular (JCGM 100, 4.3.7), an expanded one has k = 2."""
    return share / math.sqrt(3) if kind == "limit" else share / COVERAGE_FACTOR


@dataclass(frozen=True, slots=True)
class Meter:
    """What the known volts were read with; `uncertainty` is relative, as its maker states it."""

    uncertainty: float
    uncertainty_kind: UncertaintyKind = "limit"
    kind: MeterKind = "true-rms"
    #: False where levels were read in different ranges of the meter, which err independently
    one_range: bool = True

    @property
    def standard_share(self) -> float:
        """Relative standard uncertainty."""
        return standard(self.uncertainty, self.uncertainty_kind)


@dataclass(frozen=True, slots=True)
class Reading:
    """Volts as a meter showed them; `digit` is what its last digit is worth."""

    volts: float
    digit: float

    @property
    def digit_uncertainty(self) -> float:
        """Standard uncertainty of the rounding, V: half a digit either way, rectangular."""
        return self.digit / 2 / math.sqrt(3)


def parse_reading(text: str) -> Reading:
    """A reading as typed, with the worth of its last digit; raises `AnalysisError`."""
    try:
        number = Decimal(text.strip())
    except InvalidOperation:
        raise AnalysisError(f"'{text}' is no number of volts: write the reading such as 1.414") from None
    exponent = number.as_tuple().exponent
    if not isinstance(exponent, int) or not 0 < abs(number) < Decimal("1e6"):
        raise AnalysisError(f"'{text}' cannot be a reading: give volts other than 0 such as 1.414")
    digit = float(Decimal(1).scaleb(exponent))
    if digit / 2 > _COARSEST_DIGIT * abs(float(number)):
        raise AnalysisError(f"'{text}' says too little: type every digit that the meter shows, such as 1.000")
    return Reading(float(number), digit)


@dataclass(frozen=True, slots=True)
class Factor:
    """What a divider, probe or clamp is worth: value at the tip = value at the input * `ratio`."""

    ratio: float
    #: relative standard uncertainty
    uncertainty: float
    words: str


@dataclass(frozen=True, slots=True)
class InputScale:
    """How an input's readings become volts; expanded uncertainties (k = 2)."""

    #: unit per unit of the input
    scale: float
    #: relative
    scale_uncertainty: float
    offset: float
    #: where the zero is not known: the largest DC that was seen, which need not be the zero's
    offset_uncertainty: float
    offset_known: bool
    #: relative standard uncertainties that the scale's is made of
    parts: Mapping[str, float]
    #: volts less what the straight line says, one for each level
    residuals: tuple[float, ...]
    notes: tuple[str, ...] = field(default=())

    def through(self, factor: Factor) -> InputScale:
        """The same input behind a divider or probe."""
        parts = dict(self.parts) | {"divider or probe": factor.uncertainty}
        return replace(
            self,
            scale=self.scale * factor.ratio,
            scale_uncertainty=_expanded(parts),
            offset=self.offset * factor.ratio,
            offset_uncertainty=abs(factor.ratio)
            * math.hypot(self.offset_uncertainty, COVERAGE_FACTOR * factor.uncertainty * self.offset),
            parts=parts,
            residuals=tuple(rest * factor.ratio for rest in self.residuals),
        )


def _expanded(parts: Mapping[str, float]) -> float:
    return COVERAGE_FACTOR * math.hypot(*parts.values())


# ---------------------------------------------------------------- scale and zero


def calibrate_sine(levels: Sequence[tuple[Reading, ToneLevel]], meter: Meter) -> InputScale:
    """Scale from a known sine at two or more levels, its linearity checked; the zero stays unknown.

    Parameters
    ----------
    levels
        What the meter showed (V rms) and what was recorded then.
    meter
        Its error is taken as common to all levels unless they were read in different ranges.

    Raises
    ------
    AnalysisError
        One level only, levels too near each other, or scales that differ by more than their uncertainty allows.

    Notes
    -----
    Weighted mean of volts over reading. What else was on the wire is in a true-rms meter's reading and may be the
    input's own noise as well: between none and all of it, taken as a limit. An averaging meter errs by up to a third
    of the strongest harmonic (that of the third one, in phase).
    """
    _check_levels([reading.volts for reading, _ in levels])
    scales = np.array([reading.volts / tone.rms for reading, tone in levels])
    own = np.array([_level_share(reading, tone, meter) for reading, tone in levels])
    _check_linear(scales, own, [reading.volts for reading, _ in levels])
    weights = own**-2 / np.sum(own**-2)
    scale = float(weights @ scales)
    parts = {
        "meter": meter.standard_share,
        "levels": float(np.sum(own**-2) ** -0.5),
        "linearity": float(np.ptp(scales) / 2 / scale / math.sqrt(3)),
        "rest beside the tone": max(_rest_share(tone, meter) for _, tone in levels),
    }
    seen = max(abs(tone.dc) + COVERAGE_FACTOR * tone.dc_uncertainty for _, tone in levels)
    return InputScale(
        scale=scale,
        scale_uncertainty=_expanded(parts),
        offset=0.0,
        offset_uncertainty=seen * scale,
        offset_known=False,
        parts=parts,
        residuals=tuple(float(reading.volts - scale * tone.rms) for reading, tone in levels),
        notes=tuple(_sine_notes(levels, meter)),
    )


def _check_levels(volts: list[float]) -> None:
    if min(volts, default=0.0) < 0:
        raise AnalysisError(f"{min(volts):g} V rms cannot be: an rms value has no sign")
    if len(volts) < 2:
        raise AnalysisError("one level shows nothing of linearity: give a second recording, at about a quarter of it")
    # A little less will do: readings are rounded.
    if max(volts) < 0.95 * _LEAST_RATIO * min(volts):
        raise AnalysisError(
            f"{min(volts):g} V and {max(volts):g} V lie too near each other to show linearity: "
            f"make one at least {_LEAST_RATIO:g} times the other"
        )


def _level_share(reading: Reading, tone: ToneLevel, meter: Meter) -> float:
    """Relative standard uncertainty of one level's scale, without what all levels have in common."""
    ranges = 0.0 if meter.one_range else meter.standard_share
    digit = reading.digit_uncertainty / reading.volts
    return math.hypot(digit, tone.rms_uncertainty / tone.rms, tone.step_uncertainty / tone.rms, ranges)


def _rest_share(tone: ToneLevel, meter: Meter) -> float:
    ratio = tone.residual_rms / tone.rms
    most = math.hypot(1.0, ratio) - 1 if meter.kind == "true-rms" else ratio / 3
    return most / math.sqrt(3)


def _check_linear(scales: Floats, own: Floats, volts: list[float]) -> None:
    for (one, u_one, at_one), (two, u_two, at_two) in itertools.combinations(zip(scales, own, volts, strict=True), 2):
        allowed = _APART * math.hypot(u_one * one, u_two * two)
        if abs(one - two) > allowed:
            raise AnalysisError(
                f"is not linear: scale {one:.6g} at {at_one:g} V but {two:.6g} at {at_two:g} V, "
                f"{abs(one - two):.2g} apart where {allowed:.2g} is allowed; look for automatic gain, sound "
                "enhancements, clipping before the input, a mistyped reading or another range of the meter"
            )


def _sine_notes(levels: Sequence[tuple[Reading, ToneLevel]], meter: Meter) -> list[str]:
    notes = []
    if meter.kind == "averaging":
        notes.append("an averaging meter reads a sine rightly and nothing else: keep the tone clean")
    low, high = ADVISED_HZ
    odd = [tone.frequency_hz for _, tone in levels if not low <= tone.frequency_hz <= high]
    if odd:
        notes.append(
            f"the tone of {odd[0]:.4g} Hz lies outside {low:g} to {high:g} Hz, where hand meters are mostly specified: "
            "check that the meter's stated uncertainty holds there"
        )
    tones = [tone.frequency_hz for _, tone in levels]
    if max(tones) > 1.01 * min(tones):
        notes.append(
            "the levels were taken at different frequencies: a slope of the input's response passes for one of level"
        )
    return notes


def calibrate_dc(points: Sequence[tuple[Reading, DcLevel]], meter: Meter, zero: DcLevel | None = None) -> InputScale:
    """Scale, zero and polarity from known DC at one level and a shorted input, or at two levels or more.

    Raises
    ------
    AnalysisError
        Too few levels, readings that do not follow the volts, or points that lie on no straight line.

    Notes
    -----
    Least-squares line, each point weighted by its own uncertainty; with three points or more their chi-square must
    pass at 1 %. The meter's error is common to all points, unless they were read in different ranges.
    """
    volts, at, own = _dc_points(points, meter, zero)
    weights = own**-2
    columns = np.stack([at, np.ones_like(at)], axis=1)
    covariance = np.linalg.inv((columns * weights[:, None]).T @ columns)
    scale, offset = (float(value) for value in covariance @ columns.T @ (weights * volts))
    residuals = volts - columns @ np.array([scale, offset])
    widened = _straightness(volts, residuals, own)
    parts = {
        "meter": meter.standard_share,
        "levels": widened * math.sqrt(covariance[0, 0]) / abs(scale),
    }
    own_zero = math.hypot(widened * math.sqrt(covariance[1, 1]), meter.standard_share * offset)
    return InputScale(
        scale=scale,
        scale_uncertainty=_expanded(parts),
        offset=offset,
        offset_uncertainty=COVERAGE_FACTOR * own_zero,
        offset_known=True,
        parts=parts,
        residuals=tuple(float(rest) for rest in residuals),
        notes=tuple(_dc_notes(scale, len(volts))),
    )


def _dc_points(
    points: Sequence[tuple[Reading, DcLevel]], meter: Meter, zero: DcLevel | None
) -> tuple[Floats, Floats, Floats]:
    """Volts, readings, and each point's standard uncertainty in V, the shorted input among them as 0 V."""
    if len(points) + (zero is not None) < 2:
        raise AnalysisError(
            "one level cannot tell scale from zero: give a second level, or a recording of the shorted input (--zero)"
        )
    rows = [(reading.volts, level.mean, _dc_share(reading, meter), level.uncertainty) for reading, level in points]
    if zero is not None:
        # What the shorting clips themselves may leave (thermal voltages) is far below any converter's step here.
        rows.append((0.0, zero.mean, 0.0, zero.uncertainty))
    volts, at, volts_u, at_u = np.array(rows).T
    spread = float(np.ptp(at))
    if spread < 20 * float(np.hypot(at_u.max(), at_u.min())) or np.ptp(volts) == 0:
        raise AnalysisError(
            f"the input reads {at.min():.4g} to {at.max():.4g} for {volts.min():g} to {volts.max():g} V: "
            "it does not follow the volts; is it AC-coupled, or the wrong channel?"
        )
    return volts, at, np.hypot(volts_u, at_u * np.ptp(volts) / spread)


def _dc_share(reading: Reading, meter: Meter) -> float:
    ranges = 0.0 if meter.one_range else meter.standard_share * reading.volts
    return math.hypot(reading.digit_uncertainty, ranges)


def _straightness(volts: Floats, residuals: Floats, own: Floats) -> float:
    """By how much points that scatter widen the line's uncertainty; raises when they lie on no line."""
    freedom = len(residuals) - 2
    if freedom < 1:
        return 1.0
    square = float(np.sum((residuals / own) ** 2))
    if scipy.special.chdtrc(freedom, square) < _CROOKED_CHANCE:
        worst = int(np.argmax(np.abs(residuals / own)))
        raise AnalysisError(
            f"is not linear: {volts[worst]:g} V lies {residuals[worst]:.3g} V beside the straight line, where "
            f"{_APART * own[worst]:.2g} V would do; look for a mistyped reading, clipping or another range of the meter"
        )
    return max(1.0, math.sqrt(square / freedom))


def _dc_notes(scale: float, points: int) -> list[str]:
    notes = []
    if scale < 0:
        notes.append("reversed leads: the input reads less for more volts; the scale is negative and puts it right")
    if points == 2:
        notes.append("two points lie on any line: linearity was not checked")
    return notes


# ---------------------------------------------------------------- dividers, probes, the zero


def resistor_divider(upper: float, lower: float, tolerance: float, input_ohms: float, input_tolerance: float) -> Factor:
    """What a divider of two resistors is worth when an input's own resistance loads its lower leg.

    Parameters
    ----------
    upper, lower
        Ohms: from the tip to the input, and from there to ground.
    tolerance, input_tolerance
        Relative limits of each resistor and of the input, rectangular.
    input_ohms
        Of the input; infinite when it draws nothing.

    Notes
    -----
    ratio = 1 + upper / parallel(lower, input); the resistors err independently. A generator's or battery's own
    resistance is taken as nothing beside `upper`.
    """
    if not (upper > 0 and lower > 0 and input_ohms > 0 and math.isfinite(upper) and math.isfinite(lower)):
        raise AnalysisError(f"a divider of {upper:g} and {lower:g} ohm into {input_ohms:g} ohm cannot be")
    conductance = 1 / lower + 1 / input_ohms
    ratio = 1 + upper * conductance
    # Relative sensitivities: d ln ratio / d ln R.
    on_upper = upper * conductance / ratio
    on_lower, on_input = upper / lower / ratio, upper / input_ohms / ratio
    limits = (on_upper * tolerance, on_lower * tolerance, on_input * input_tolerance)
    words = f"divider {upper:g} : {lower:g} ohm into {input_ohms:g} ohm"
    return Factor(ratio, math.hypot(*limits) / math.sqrt(3), words)


def zero_of(floor: FloorLevel, scale: float, scale_uncertainty: float) -> tuple[float, float]:
    """The offset that makes a shorted input read nothing, and its uncertainty (k = 2); `floor` in the input's unit."""
    spread = math.hypot(floor.dc_uncertainty, floor.dc * scale_uncertainty)
    return -floor.dc * scale, spread * abs(scale)
