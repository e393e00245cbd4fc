"""What of a signal comes from the supply: H1 transfer, coherence of one or several inputs, coherent output power.

Symbols: x an input, y the output, n the independent averages, q the inputs, g2 the magnitude-squared coherence; Gxx,
Gyy and Gxy the averaged spectra, R = [Gij] and c = [Giy] those of several inputs.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import scipy  # its parts load at first use: they would double the start-up

from analysis._channel import Channel
from analysis._errors import AnalysisError
from analysis._lines import coverage
from analysis._results import COVERAGE_FACTOR, Analysis
from analysis._roles import carries_supply
from analysis._spectrum import Spectra, coherence_chance_level
from analysis._windows import COEFFICIENTS

Floats = npt.NDArray[np.float64]
Complexes = npt.NDArray[np.complex128]
Bools = npt.NDArray[np.bool_]

#: fewer independent averages give a coherence that hardly means anything (common practice)
WANTED_AVERAGES = 16
#: inputs count as one and the same where the largest eigenvalue of their coherency matrix is so many times the
#: smallest: of two inputs that is a coherence of 0.992
WORST_CONDITION = 500.0


@dataclass(frozen=True, slots=True)
class Transfer:
    """H1 of one input and one output, each field of shape (bins,); uncertainties k = 2."""

    frequency_hz: Floats
    #: the output's unit per the input's
    response: Complexes
    #: of its magnitude, as a share of it; infinite where the coherence does not exceed chance
    relative_uncertainty: Floats
    #: pi, which is to say unknown, where the coherence does not exceed chance
    phase_uncertainty_rad: Floats
    coherence: Floats
    coherence_uncertainty: Floats
    #: segments averaged, and how many independent ones they are worth
    averages: int
    effective_averages: float
    #: coherence that 5 % of unrelated signals exceed
    chance_level: float
    warnings: tuple[str, ...]

    @property
    def shown(self) -> Bools:
        """Where the coherence exceeds chance, shape (bins,)."""
        return np.asarray(self.coherence > self.chance_level)


@dataclass(frozen=True, slots=True)
class MultipleCoherence:
    """What several inputs together, and each beside the others, explain of one output."""

    #: shape (bins,)
    frequency_hz: Floats
    inputs: tuple[int, ...]
    output: int
    #: share of the output's power that all inputs together explain, shape (bins,)
    multiple: Floats
    #: share that one input explains of what the others leave, shape (inputs, bins); NaN where `alike`
    partial: Floats
    #: largest over smallest eigenvalue of the inputs' coherency matrix, shape (bins,)
    condition: Floats
    effective_averages: float
    #: what 5 % of unrelated signals exceed
    chance_level: float
    partial_chance_level: float
    warnings: tuple[str, ...]

    @property
    def alike(self) -> Bools:
        """Where the inputs are so alike that they cannot be told apart, shape (bins,)."""
        return np.asarray(~(self.condition <= WORST_CONDITION))


@dataclass(frozen=True, slots=True)
class CoherentBand:
    """Output power within a band that comes from the inputs, in unit squared; uncertainties k = 2."""

    band_hz: tuple[float, float]
    power: float
    #: of the power that the inputs did put there while the recording ran
    uncertainty: float
    #: of the mean power of the random process that the recording is a piece of
    process_uncertainty: float
    #: all of the output's power in the band
    total_power: float

    @property
    def rms(self) -> float:
        """Unit rms of the coherent part."""
        return float(np.sqrt(self.power))

    @property
    def share(self) -> float:
        """Coherent part of the band's power, 0 to 1."""
        return min(self.power / self.total_power, 1.0) if self.total_power > 0 else 0.0

    @property
    def shown(self) -> bool:
        """Whether it is more than its uncertainty."""
        return self.power > self.uncertainty


@dataclass(frozen=True, slots=True)
class CoherentPower:
    """Output power per bin that comes from the inputs, shape (bins,); uncertainties k = 2.

    Free of bias, so single bins come out below zero where there is nothing: sums over them are right as they are.
    """

    frequency_hz: Floats
    #: unit squared per bin, as `power_spectrum`
    power: Floats
    uncertainty: Floats
    process_uncertainty: Floats
    #: the output's own power spectrum
    total_power: Floats
    window: str
    noise_bandwidth_bins: float

    def band(self, low_hz: float, high_hz: float) -> CoherentBand:
        """Integrated over all bins from `low_hz` to `high_hz`, both in."""
        inside = (self.frequency_hz >= low_hz) & (self.frequency_hz <= high_hz)
        if not inside.any():
            raise AnalysisError(f"no bin lies between {low_hz:g} and {high_hz:g} Hz: ask for a wider band")
        width = self.noise_bandwidth_bins
        return CoherentBand(
            band_hz=(low_hz, high_hz),
            power=max(float(self.power[inside].sum()) / width, 0.0),
            uncertainty=_tied_sum(self.uncertainty[inside], self.window) / width,
            process_uncertainty=_tied_sum(self.process_uncertainty[inside], self.window) / width,
            total_power=float(self.total_power[inside].sum()) / width,
        )


def transfer(spectra: Spectra, first: int, second: int) -> Transfer:
    """H1 = Gxy / Gxx from channel `first` to channel `second`, with coherence and uncertainties.

    Raises
    ------
    AnalysisError
        With fewer than two independent averages.

    Notes
    -----
    Random errors after Bendat and Piersol: |H|: sqrt((1 - g2) / (2 g2 n)), the phase the same in radians (2nd ed.
    p. 317, as quoted in a laboratory's public log); g2: sqrt(2) (1 - g2) sqrt(g2 / n), to which its
    scatter for unrelated signals is added. Noise of the input channel itself makes |H1| too small; it is not in the
    uncertainty.
    """
    averages = _enough(spectra, 1)
    power, cross = spectra.power[first], _cross(spectra, first, second)
    product = power * spectra.power[second]
    shared = np.divide(np.abs(cross) ** 2, product, out=np.zeros_like(product), where=product > 0).clip(max=1)
    level = coherence_chance_level(averages)
    error = np.where(shared > level, coverage(2 * averages - 1) * response_random_error(shared, averages), np.inf)
    return Transfer(
        frequency_hz=spectra.frequency_hz,
        response=np.divide(cross, power, out=np.zeros_like(cross), where=power > 0),
        relative_uncertainty=error,
        phase_uncertainty_rad=np.minimum(error, np.pi),
        coherence=shared,
        coherence_uncertainty=COVERAGE_FACTOR * coherence_random_error(shared, averages),
        averages=spectra.averages,
        effective_averages=averages,
        chance_level=level,
        warnings=_few(averages),
    )


def response_random_error(shared: Floats, averages: float) -> Floats:
    """Standard deviation of |H| over |H|, and of its phase in rad: sqrt((1 - g2) / (2 g2 n)); see `transfer`."""
    shared = np.asarray(shared, np.float64)
    with np.errstate(divide="ignore"):
        return np.asarray(np.sqrt((1 - np.minimum(shared, 1)) / (2 * shared * averages)))


def coherence_random_error(shared: Floats, averages: float) -> Floats:
    """Standard deviation of an estimated g2: Bendat and Piersol's, and that of Beta(1, n - 1) for unrelated signals."""
    shared = np.asarray(shared, np.float64)
    related = 2 * shared * (1 - shared) ** 2 / averages
    unrelated = (1 - shared) ** 2 * (averages - 1) / (averages**2 * (averages + 1))
    return np.asarray(np.sqrt(related + unrelated))


def multiple_coherence(
    spectra: Spectra, inputs: Sequence[int], output: int, names: Sequence[str] = ()
) -> MultipleCoherence:
    """Multiple and partial coherence of several inputs with one output.

    Parameters
    ----------
    inputs, output
        Channel numbers; the cross-spectra of every pair among them must have been averaged.
    names
        What the inputs are called, for the warnings.

    Raises
    ------
    AnalysisError
        With no more independent averages than inputs.

    Notes
    -----
    Multiple: c^H R^-1 c / Gyy. Partial: (all - without it) / (1 - without it), which equals the coherence of spectra
    conditioned on the other inputs (Bendat and Piersol; the identity is that of partial correlation). For unrelated
    signals the multiple coherence is Beta(q, n - q) and a partial one Beta(1, n - q) distributed. Where the inputs
    are alike, partial ones are NaN and the multiple one rests on what they have in common.
    """
    chosen = tuple(inputs)
    averages = _enough(spectra, len(chosen))
    matrix, column = _coherency(spectra, chosen, output)
    multiple, condition = _explained(matrix, column)
    partial = np.stack([_partial(matrix, column, multiple, left_out) for left_out in range(len(chosen))])
    partial[:, ~(condition <= WORST_CONDITION)] = np.nan
    return MultipleCoherence(
        frequency_hz=spectra.frequency_hz,
        inputs=chosen,
        output=output,
        multiple=multiple,
        partial=partial,
        condition=condition,
        effective_averages=averages,
        chance_level=multiple_chance_level(averages, len(chosen)),
        partial_chance_level=coherence_chance_level(averages - len(chosen) + 1),
        warnings=(*_few(averages), *_alike(condition, spectra, names or [f"input {1 + i}" for i in chosen])),
    )


def multiple_chance_level(averages: float, inputs: int) -> float:
    """What the multiple coherence of 5 % of unrelated signals exceeds: the quantile of Beta(q, n - q)."""
    return float(scipy.special.betaincinv(inputs, averages - inputs, 0.95)) if averages > inputs else 1.0


def supply_coherence(analysis: Analysis, output: str) -> MultipleCoherence:
    """Multiple and partial coherence of all supply-side channels with the channel named `output`.

    Raises
    ------
    AnalysisError
        No spectrum, no such channel, no supply-side channel, or too few averages.
    """
    names = [channel.name for channel in analysis.channels]
    inputs = [index for index, channel in enumerate(analysis.channels) if carries_supply(channel)]
    if output not in names:
        raise AnalysisError(f"no channel is called {output}: there are {', '.join(names)}")
    if not inputs or analysis.spectra is None:
        lacks = "a supply-side channel" if not inputs else "a spectrum"
        raise AnalysisError(f"no coherence without {lacks}: record supply and signal together, ten seconds or more")
    return multiple_coherence(analysis.spectra, inputs, names.index(output), [names[index] for index in inputs])


def coherent_output_power(spectra: Spectra, inputs: Sequence[int], output: int) -> CoherentPower:
    """The part of the output's power spectrum that is linearly related to the inputs, per bin.

    Raises
    ------
    AnalysisError
        With no more independent averages than inputs.

    Notes
    -----
    g2 Gyy, freed of its bias: what least squares leave of the output, (1 - g2) Gyy, is too small by (n - q) / n, as
    any residual is; so the related part is (n g2 - q) / (n - q) Gyy. Its mean is right at every n and g2. Variance
    given the inputs as they were: Gyy^2 (2 g2 (1 - g2) / n + q (1 - g2)^2 / n^2); that of the process has
    Gyy^2 g2^2 / n more, which together is Bendat and Piersol's (2 - g2) / (g2 n). Noise of the input channels
    themselves makes the result too small.
    """
    chosen = tuple(inputs)
    averages, count = _enough(spectra, len(chosen)), len(chosen)
    shared, _ = _explained(*_coherency(spectra, chosen, output))
    total = spectra.power[output]
    freed = (averages * shared - count) / (averages - count)
    clipped = np.clip(freed, 0, 1)
    given = 2 * clipped * (1 - clipped) / averages + count * (1 - clipped) ** 2 / averages**2
    return CoherentPower(
        frequency_hz=spectra.frequency_hz,
        power=freed * total,
        uncertainty=COVERAGE_FACTOR * total * np.sqrt(given),
        process_uncertainty=COVERAGE_FACTOR * total * np.sqrt(given + clipped**2 / averages),
        total_power=total,
        window=spectra.window,
        noise_bandwidth_bins=spectra.noise_bandwidth_bins,
    )


def input_pairs(channels: tuple[Channel, ...]) -> tuple[tuple[int, int], ...]:
    """Pairs among the supply-side channels, which multiple coherence needs beside those with the outputs."""
    inputs = [index for index, channel in enumerate(channels) if carries_supply(channel)]
    return tuple((first, second) for first in inputs for second in inputs if first < second)


def _enough(spectra: Spectra, inputs: int) -> float:
    averages, least = spectra.effective_averages, inputs + 1
    if averages < least:
        raise AnalysisError(f"coherence needs at least {least} averages, there are {averages:.2g}: record longer")
    return averages


def _few(averages: float) -> tuple[str, ...]:
    if averages >= WANTED_AVERAGES:
        return ()
    return (f"coherence rests on {averages:.1f} averages only ({WANTED_AVERAGES} or more are wanted): record longer",)


def _cross(spectra: Spectra, first: int, second: int) -> Complexes:
    """Mean of conj(first) * second, whichever way round it was averaged."""
    if first == second:
        return np.asarray(spectra.power[first], np.complex128)
    if (first, second) in spectra.cross:
        return spectra.cross[first, second]
    if (second, first) in spectra.cross:
        return np.asarray(np.conj(spectra.cross[second, first]))
    raise AnalysisError(f"channels {first + 1} and {second + 1} were not averaged together: name them as a pair")


def _coherency(spectra: Spectra, inputs: tuple[int, ...], output: int) -> tuple[Complexes, Complexes]:
    """R (bins, q, q) and c (bins, q), each cross-spectrum over the root of both powers, 0 where there is no power."""
    root = {index: np.sqrt(spectra.power[index]) for index in {*inputs, output}}

    def scaled(first: int, second: int) -> Complexes:
        product, cross = root[first] * root[second], _cross(spectra, first, second)
        return np.asarray(np.divide(cross, product, out=np.zeros_like(cross), where=product > 0))

    matrix = np.stack([np.stack([scaled(i, j) for j in inputs], axis=-1) for i in inputs], axis=-2)
    return matrix, np.stack([scaled(i, output) for i in inputs], axis=-1)


def _explained(matrix: Complexes, column: Complexes) -> tuple[Floats, Floats]:
    """c^H R^-1 c without the directions that the inputs do not span, and the condition of R; shapes (bins,)."""
    values, vectors = np.linalg.eigh(matrix)
    along = np.abs(np.einsum("bij,bi->bj", vectors.conj(), column)) ** 2
    spanned = values > values[:, -1:] / WORST_CONDITION
    parts = np.divide(along, values, out=np.zeros_like(values), where=spanned)
    with np.errstate(divide="ignore", invalid="ignore"):
        condition = values[:, -1] / np.maximum(values[:, 0], 0)
    return np.clip(parts.sum(axis=1), 0, 1), np.asarray(condition)


def _partial(matrix: Complexes, column: Complexes, multiple: Floats, left_out: int) -> Floats:
    others = [index for index in range(column.shape[1]) if index != left_out]
    if not others:
        return multiple.copy()
    rest, _ = _explained(matrix[:, others][:, :, others], column[:, others])
    gained = np.maximum(multiple - rest, 0)
    return np.divide(gained, 1 - rest, out=np.zeros_like(rest), where=rest < 1)


def _alike(condition: Floats, spectra: Spectra, names: Sequence[str]) -> tuple[str, ...]:
    bad = np.flatnonzero(~(condition <= WORST_CONDITION)[1:]) + 1
    if not bad.size:
        return ()
    low, high = spectra.frequency_hz[bad[[0, -1]]]
    return (
        f"{' and '.join(names)} are alike at {bad.size} of {len(condition) - 1} frequencies between {low:.4g} and "
        f"{high:.4g} Hz, or one is silent: there partial coherence cannot tell them apart; leave one out",
    )


def _tied_sum(spreads: Floats, window_name: str) -> float:
    """Uncertainty of a sum over neighbouring bins, which the window ties together.

    The errors of neighbours are taken to be as alike as the noise in them is (Hann: 2/3 and 1/6). That is so beside
    a line; for noise it is a little wide, since there the squares count.
    """
    variance = float(spreads @ spreads)
    for apart, tie in enumerate(_ties(window_name), start=1):
        if apart < len(spreads):
            variance += 2 * tie * float(spreads[apart:] @ spreads[:-apart])
    return float(np.sqrt(variance))


def _ties(window_name: str) -> Floats:
    """How alike the noise in bins 1, 2 ... apart is, 0 to 1: the correlation of the window's own lines."""
    half = np.array([(-1) ** k * c / (2 if k else 1) for k, c in enumerate(COEFFICIENTS[window_name])])
    lines = np.concatenate([half[:0:-1], half])
    shifted = np.correlate(lines, lines, "full")[len(lines) - 1 :]
    return np.asarray(np.abs(shifted[1:] / shifted[0]))
