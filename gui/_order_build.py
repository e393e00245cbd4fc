"""A recording against the engine's speed: a spectrum over orders, or in a run-up the strongest orders. No Qt."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import scipy  # its part `signal` loads at first use: it would double the start-up

from analysis import (
    CLOCK_UNCERTAINTY,
    NOISE_ROLES,
    AnalysisError,
    Channel,
    OrderSpectra,
    SpeedTrack,
    Subject,
    engine_speed,
    order_spectra,
    wheel_of,
)
from capture import Recording
from gui._format import si
from gui._load import Report
from gui._noise_curves import OrderCurve, TrackCurve, order_text
from gui._noise_model import LineMark, OrderScreen, OrderTap
from gui._screen import Group, PictureData
from gui._words import tr
from job import Entry, Job, Measure, tap_words, with_uncertainty

Floats = npt.NDArray[np.float64]
#: a speed within this share of its mean was held (as comparisons have it)
HELD = 0.02
#: as many orders are followed as curves can be told apart
MOST_FOLLOWED = 4
#: the view reaches so far at first; more can be zoomed to
LAST_ORDER = 80.0
_MOST_MARKS = 8
#: an order stands out when it is so many times as strong as what is around it
_STANDS_OUT = 3.0


@dataclass(frozen=True, slots=True)
class _Run:
    """An opened recording as the analysis takes it, told how far it is."""

    state: str
    subject: Subject
    wheel: str | None
    simulated: bool


def build_orders(job: Job, entry: Entry, report: Report) -> OrderScreen:
    """Orders of every tap point of noise.

    Raises
    ------
    AnalysisError
        Nothing tells the engine's speed, or it stood still, or the recording is too short.
    RecordingError
        The recording cannot be read.
    """
    with Recording(job.path(entry)) as recording:
        run = _run(recording, entry.state, report)
        if run.subject.engine_rpm == 0 and run.wheel is None:
            raise AnalysisError(tr("The engine was off: there is nothing to count orders by."))
        speed = engine_speed(run.subject, wheel=wheel_of(run.wheel) if run.wheel else None)
        low, high = speed.extremes
        if max(high - speed.mean[0], speed.mean[0] - low) <= HELD * speed.mean[0]:
            return _held(run, speed, order_spectra(run.subject, speed))
        first = order_spectra(run.subject, speed)
        follow = strongest_orders(first, _noisiest(run.subject.channels))
        if not follow:
            return _held(run, speed, first)
        return _run_up(run, speed, order_spectra(run.subject, speed, follow=follow), follow)


def _run(recording: Recording, state: str, report: Report) -> _Run:
    conditions = recording.info.conditions
    passes = _Passes(recording, report)
    subject = Subject(
        channels=recording.channels,
        rate_hz=recording.rate_hz,
        frames=recording.frames,
        blocks=passes.blocks,
        engine_rpm=conditions.engine_rpm,
        rate_uncertainty=recording.info.rate_uncertainty or CLOCK_UNCERTAINTY,
    )
    return _Run(state, subject, conditions.tacho_wheel, recording.info.simulated)


class _Passes:
    """Hands out the rows, as often as they are asked for, and tells how far each pass is."""

    def __init__(self, recording: Recording, report: Report) -> None:
        self._recording, self._report, self._pass = recording, report, 0

    def blocks(self) -> Iterator[Floats]:
        self._pass += 1
        done, frames = 0, max(self._recording.frames, 1)
        # Three passes at most: speed, spectra, tracks; each is half of what is left.
        before = 1 - 0.5 ** (self._pass - 1)
        for rows in self._recording.blocks():
            self._report(before + 0.5**self._pass * done / frames, tr("counting the engine's turns"))
            yield rows
            done += len(rows)


def _noise_channels(channels: tuple[Channel, ...]) -> list[int]:
    """Tap points of noise first; where there are none, whatever is there."""
    own = [i for i, channel in enumerate(channels) if channel.role_kind in NOISE_ROLES]
    rest = [i for i, channel in enumerate(channels) if channel.role_kind not in NOISE_ROLES]
    return [*own, *rest]


def _noisiest(channels: tuple[Channel, ...]) -> int:
    return _noise_channels(channels)[0]


def strongest_orders(spectra: OrderSpectra, channel: int, most: int = MOST_FOLLOWED) -> tuple[float, ...]:
    """Orders that stand out of what is around them, the strongest first."""
    amplitude = np.sqrt(spectra.power[channel])
    around = scipy.signal.medfilt(amplitude, min(101, len(amplitude) // 2 * 2 - 1)) if len(amplitude) > 4 else amplitude
    peaks, _ = scipy.signal.find_peaks(amplitude)
    # The first bins hold what drifts; the last ones what the fastest speed no longer carries.
    fits = (spectra.order[peaks] >= 3 * spectra.resolution) & (spectra.order[peaks] < 0.98 * spectra.highest_order)
    out = peaks[fits & (amplitude[peaks] > _STANDS_OUT * around[peaks])]
    chosen: list[int] = []
    for peak in out[np.argsort(-amplitude[out], kind="stable")]:
        if all(abs(peak - other) > 4 for other in chosen):
            chosen.append(int(peak))
        if len(chosen) == most:
            break
    return tuple(float(spectra.order[peak]) for peak in chosen)


# ---------------------------------------------------------------- a speed that was held


def _held(run: _Run, speed: SpeedTrack, spectra: OrderSpectra) -> OrderScreen:
    channels = run.subject.channels
    indices = _noise_channels(channels)
    groups = tuple(_held_group(run, spectra, index) for index in indices)
    name = tr("order (cycles per engine turn)") if speed.unit else tr("multiples of the supply's ripple")
    picture = PictureData(tr("Orders"), name, "", False, groups, left_decades=True)
    taps = tuple(OrderTap(channels[i].name, _marks(spectra, i, channels[i].unit)) for i in indices)
    return OrderScreen(picture, taps, _note(speed), run_up=False, simulated=run.simulated)


def _held_group(run: _Run, spectra: OrderSpectra, index: int) -> Group:
    channel = run.subject.channels[index]
    amplitude = np.sqrt(spectra.power[index][1:])
    last = min(LAST_ORDER, float(spectra.order[-1]))
    words = tap_words(channel)
    curve = OrderCurve(run.state, words, 0, channel.unit, spectra.order[1:], amplitude, last)
    note = tr("resolution {step} orders; {count} averages", step=f"{spectra.resolution:.3g}", count=spectra.averages)
    thinning = tr("thinned: the highest of up to {count} per point")
    return Group(words, tr("rms per line"), channel.unit, (curve,), (note, *_skipped(spectra)), thinning=thinning)


def _skipped(spectra: OrderSpectra) -> Iterator[str]:
    if spectra.skipped:
        yield tr("{count} stretches left out at gaps", count=spectra.skipped)


def _marks(spectra: OrderSpectra, index: int, unit: str) -> tuple[LineMark, ...]:
    marks = []
    for order in strongest_orders(spectra, index, _MOST_MARKS):
        bin_ = round(order / spectra.resolution)
        own = float(spectra.power[index, max(bin_ - 2, 0) : bin_ + 3].sum()) * spectra.resolution
        rms = float(np.sqrt(own / spectra.noise_bandwidth))
        height = float(np.log10(np.sqrt(spectra.power[index, bin_])))
        marks.append(LineMark(order, height, tr("order {order}", order=order_text(order)), si(rms, unit, 3)))
    return tuple(marks)


def _note(speed: SpeedTrack) -> str:
    sources = {"typed": tr("as typed"), "tacho": tr("from the tacho"), "supply ripple": tr("from the supply's ripple")}
    if not speed.unit:
        return tr("Nobody stated the engine's speed: multiples of the supply's strongest line, not engine orders.")
    mean, doubt = speed.mean
    low, high = speed.extremes
    facts = {"mean": with_uncertainty(mean, doubt, Measure(1.0, "rpm")), "low": f"{low:,.0f}", "high": f"{high:,.0f}"}
    text = tr("Engine speed {source}: {mean}", source=sources[speed.source], **facts)
    return text if speed.source == "typed" else text + tr(", between {low} and {high}", **facts)


# ---------------------------------------------------------------- a run-up


def _run_up(run: _Run, speed: SpeedTrack, spectra: OrderSpectra, follow: tuple[float, ...]) -> OrderScreen:
    indices = _noise_channels(run.subject.channels)
    groups = tuple(_run_up_group(run, spectra, index) for index in indices)
    unit = "rpm" if speed.unit else ""
    name = tr("engine speed") if speed.unit else tr("speed against its mean")
    picture = PictureData(tr("Orders"), name, unit, False, groups, left_decades=True)
    taps = tuple(OrderTap(run.subject.channels[i].name, ()) for i in indices)
    told = tr("The strongest orders: {orders}.", orders=", ".join(order_text(order) for order in follow))
    return OrderScreen(picture, taps, f"{_note(speed)}. {told}", run_up=True, simulated=run.simulated)


def _run_up_group(run: _Run, spectra: OrderSpectra, index: int) -> Group:
    channel = run.subject.channels[index]
    curves = []
    for style, track in enumerate(spectra.tracks[index]):
        by_speed = np.argsort(track.speed, kind="stable")
        by_speed = by_speed[np.isfinite(track.speed[by_speed])]
        label = tr("order {order}", order=order_text(track.order))
        speed, rms, doubt = track.speed[by_speed], track.rms[by_speed], track.uncertainty[by_speed]
        apart = np.diff(track.time_s)
        rows = round(run.subject.rate_hz * float(np.median(apart))) if len(apart) else run.subject.frames
        curves.append(TrackCurve(run.state, label, style, channel.unit, speed, rms, doubt, max(rows, 2)))
    notes = (tr("band: uncertainty, k = 2"), *_skipped(spectra))
    thinning = tr("one point for each stretch of equal turns, straight lines between")
    return Group(tap_words(channel), tr("rms"), channel.unit, tuple(curves), notes, thinning=thinning)
