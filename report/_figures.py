"""The pictures, drawn as vectors: spectra and supply traces of both sides on the same axes.

Text inside them is fixed or numeric; names that people typed stand in the captions, which the page sets.
"""

from __future__ import annotations

import io
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

Floats = npt.NDArray[np.float64]
Span = tuple[float, float]

#: readable without colour: an area, a strong line, dots; a dashed line, a full line
FOUND, FOUND_EDGE, LEFT, _FLOOR = "#e9e1d5", "#9a6a33", "#12303f", "#55606a"
_STYLE = {
    "font.family": "DejaVu Sans",
    "font.size": 6.5,
    "svg.fonttype": "none",
    "svg.hashsalt": "humproof",
    "axes.linewidth": 0.5,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.edgecolor": "#444444",
    "grid.linewidth": 0.3,
    "grid.color": "#d4d4d4",
    "xtick.major.width": 0.5,
    "ytick.major.width": 0.5,
    "xtick.minor.width": 0.3,
    "ytick.minor.width": 0.3,
    "legend.frameon": False,
    "legend.handlelength": 2.2,
    "axes.axisbelow": True,
    "path.simplify": False,
}
_SPECTRUM_COLUMNS, _TRACE_COLUMNS = 260, 400
LOWEST_HZ = 10.0
_MOST_DECADES = 7


@dataclass(frozen=True, slots=True)
class Curve:
    """One amplitude spectrum: frequency in Hz and rms per line, both of shape (bins,)."""

    name: str
    frequency_hz: Floats
    rms: Floats


@dataclass(frozen=True, slots=True)
class Log:
    """One supply trace: means over `step_s`, shape (steps,); times count from `zero_s`."""

    name: str
    step_s: float
    values: Floats
    bursts: tuple[Span, ...]
    #: where in `values` the drawing's time begins
    zero_s: float
    #: the same moment on the clock of `bursts`
    burst_zero_s: float


@contextmanager
def drawing(width_mm: float, height_mm: float, *, bare: bool = False) -> Iterator[tuple[Figure, io.StringIO]]:
    """A figure with a look of its own, whatever the user's settings of the library are; a bare one lays nothing out."""
    from matplotlib import style
    from matplotlib.backends.backend_svg import FigureCanvasSVG
    from matplotlib.figure import Figure

    out = io.StringIO()
    with style.context(["default", _STYLE]):
        figure = Figure(figsize=(width_mm / 25.4, height_mm / 25.4), layout=None if bare else "constrained")
        if not bare:
            figure.get_layout_engine().set(w_pad=0.01, h_pad=0.01)  # type: ignore[union-attr, call-arg]
        FigureCanvasSVG(figure)
        figure.patch.set_visible(not bare)
        yield figure, out
        figure.savefig(out, format="svg", metadata={"Date": None, "Creator": None})


def spectrum_svg(curves: list[Curve], unit: str, bandwidth: str, size_mm: tuple[float, float]) -> str:
    """Amplitude spectra on one pair of logarithmic axes; of crowded lines the highest per column is drawn."""
    with drawing(*size_mm, bare=True) as (figure, out):
        axes = figure.add_axes(_spectrum_place(*size_mm))
        # Before anything is drawn: each change of scale lays all ticks out anew.
        axes.set(xscale="log", yscale="log")
        drawn = [(curve.name, *highest_per_column(curve)) for curve in curves]
        bottom, top = _decades([rms for _, _, rms in drawn])
        for name, frequency, rms in drawn:
            _draw_spectrum(axes, name, frequency, np.maximum(rms, bottom), bottom)
        axes.set(ylim=(bottom, top), xlim=_reach([part for _, part, _ in drawn]))
        axes.set(xlabel="Frequency, Hz", ylabel=f"{unit} rms {bandwidth}")
        _plain_frequencies(axes)
        axes.grid(True)
        _legend(axes, len(drawn))
    return out.getvalue()


def _spectrum_place(width_mm: float, height_mm: float) -> tuple[float, float, float, float]:
    """Left, bottom, width and height as shares, with room for labels such as "100 µ" and for the legend."""
    left, right, below, above = 14.0, 3.0, 9.5, 5.0
    return left / width_mm, below / height_mm, 1 - (left + right) / width_mm, 1 - (below + above) / height_mm


def _draw_spectrum(axes: Axes, name: str, frequency: Floats, rms: Floats, bottom: float) -> None:
    if name == "floor":
        axes.plot(frequency, rms, color=_FLOOR, lw=0.8, ls=(0, (1, 1.2)), label="instrument's floor")
    elif name == "after":
        axes.plot(frequency, rms, color=LEFT, lw=0.75, label="after", zorder=3)
    else:
        area: dict[str, Any] = {"facecolor": FOUND, "edgecolor": FOUND_EDGE, "linewidth": 0.5}
        axes.fill_between(frequency, rms, bottom, **area, label=name, zorder=1)


def highest_per_column(curve: Curve) -> tuple[Floats, Floats]:
    """At most one point per plotting column, the highest, from `LOWEST_HZ` on."""
    inside = curve.frequency_hz >= min(LOWEST_HZ, curve.frequency_hz[-1] / 2)
    frequency, rms = curve.frequency_hz[inside], curve.rms[inside]
    edges = np.geomspace(frequency[0], frequency[-1], _SPECTRUM_COLUMNS)
    column = np.searchsorted(edges, frequency, side="right")
    starts = np.flatnonzero(np.diff(column, prepend=-1))
    ends = np.append(starts[1:], len(rms))
    highest = np.array([start + int(np.argmax(rms[start:end])) for start, end in zip(starts, ends, strict=True)])
    return frequency[highest], rms[highest]


def _decades(parts: list[Floats]) -> tuple[float, float]:
    """Whole decades that hold every curve; nothing but zeros still gets an axis."""
    values = np.concatenate(parts)
    values = values[values > 0]
    if not len(values):
        return 1e-6, 1.0
    top = np.ceil(np.log10(values.max() * 1.3))
    low = max(np.floor(np.log10(values.min())), top - _MOST_DECADES)
    return float(10**low), float(10**top)


def _reach(parts: list[Floats]) -> Span:
    lowest = min(float(part[0]) for part in parts)
    # A first bin just above the lowest frequency drawn would leave the decade's label off the axis.
    return LOWEST_HZ if LOWEST_HZ < lowest < 1.2 * LOWEST_HZ else lowest, max(float(part[-1]) for part in parts)


def _plain_frequencies(axes: Axes) -> None:
    from matplotlib.ticker import FuncFormatter, NullFormatter

    axes.xaxis.set_major_formatter(
        FuncFormatter(lambda value, _: f"{value / 1000:g} k" if value >= 1000 else f"{value:g}")
    )
    axes.xaxis.set_minor_formatter(NullFormatter())
    axes.yaxis.set_minor_formatter(NullFormatter())
    axes.yaxis.set_major_formatter(FuncFormatter(lambda value, _: _scaled(value)))


def _scaled(value: float) -> str:
    """1e-5 as `10 µ`: the unit stands at the axis."""
    for factor, prefix in ((1.0, ""), (1e-3, "m"), (1e-6, "µ"), (1e-9, "n"), (1e-12, "p")):
        if value >= 0.999 * factor:
            return f"{value / factor:.3g} {prefix}".strip()
    return f"{value:.0e}"


def _legend(axes: Axes, entries: int) -> None:
    axes.legend(loc="lower left", bbox_to_anchor=(0, 1.0), ncols=max(entries, 1), borderpad=0.1)


def trace_svg(logs: list[Log], unit: str, window: Span, size_mm: tuple[float, float]) -> str:
    """Supply traces of both sides on the same axes: the whole log, and below it the first burst enlarged.

    `window` is the common range of all pictures of one comparison, so that a drop can be read across them.
    """
    enlarged = _enlarged(logs)
    with drawing(*size_mm) as (figure, out):
        ratios = [1.0, 1.7] if enlarged else [1.0]
        rows = figure.subplots(len(ratios), 1, height_ratios=ratios, squeeze=False)[:, 0]
        _draw_logs(rows[0], logs, window)
        if enlarged:
            _draw_logs(rows[1], [_cut(log, enlarged) for log in logs], window)
        for axes in rows:
            axes.set_ylabel(unit)
        start = "first burst's" if enlarged else "recording's"
        rows[-1].set_xlabel(f"Seconds from the {start} start")
        _legend(rows[0], 2 * len(logs))
    return out.getvalue()


def _enlarged(logs: list[Log]) -> Span | None:
    """From a little before the first burst to its recovery, in seconds from its start; None without one."""
    spans = [log.bursts[0] for log in logs if log.bursts]
    longest = max((end - start for start, end in spans), default=0.0)
    return (-0.2 * longest, longest + max(0.4 * longest, 0.12)) if len(spans) == len(logs) else None


def _cut(log: Log, span: Span) -> Log:
    """The part of a log between two times that count from its zero."""
    first, last = (max(round((log.zero_s + time) / log.step_s), 0) for time in span)
    return replace(log, values=log.values[first:last], zero_s=log.zero_s - first * log.step_s, bursts=log.bursts[:1])


def _draw_logs(axes: Axes, logs: list[Log], window: Span) -> None:
    for row, log in enumerate(logs):
        _draw_log(axes, log)
        _draw_bursts(axes, log, row)
    axes.set_ylim(_with_strip(window, len(logs)))
    axes.margins(x=0)
    axes.grid(True)


def _draw_log(axes: Axes, log: Log) -> None:
    """The mean per column as a line, below it a shade down to the lowest."""
    time, mean, low = mean_and_lowest(log)
    after = log.name == "after"
    color, shade = (LEFT, "#a9bcc6") if after else (FOUND_EDGE, FOUND)
    axes.fill_between(time, low, mean, step="mid", color=shade, lw=0, zorder=1 + after)
    axes.plot(time, low, color=color, lw=0.3, zorder=2 + after, drawstyle="steps-mid")
    line: dict[str, Any] = {"lw": 0.9, "ls": "-" if after else (0, (3, 1)), "zorder": 3 + after}
    axes.plot(time, mean, color=color, label=log.name, drawstyle="steps-mid", **line)


def mean_and_lowest(log: Log) -> tuple[Floats, Floats, Floats]:
    """Time, mean and lowest value per plotting column, the last partial one too; NaN where all is missing."""
    width = max(1, -(-len(log.values) // _TRACE_COLUMNS))
    starts = np.arange(0, len(log.values), width)
    if not len(starts):
        return (np.empty(0),) * 3
    counts = np.diff(np.append(starts, len(log.values)))
    there = ~np.isnan(log.values)
    known = np.add.reduceat(there, starts, dtype=np.int64)
    sums = np.add.reduceat(np.where(there, log.values, 0.0), starts)
    low = np.minimum.reduceat(np.where(there, log.values, np.inf), starts)
    mean = np.divide(sums, known, out=np.full(len(starts), np.nan), where=known > 0)
    return (starts + counts / 2) * log.step_s - log.zero_s, mean, np.where(known > 0, low, np.nan)


def _draw_bursts(axes: Axes, log: Log, row: int) -> None:
    """Bars in a strip along the bottom, one row per side."""
    from matplotlib.transforms import blended_transform_factory

    style: dict[str, Any] = {
        "facecolor": LEFT if log.name == "after" else FOUND,
        "edgecolor": LEFT,
        "linewidth": 0.3,
        "transform": blended_transform_factory(axes.transData, axes.transAxes),
    }
    bars = [(start - log.burst_zero_s, end - start) for start, end in log.bursts]
    axes.broken_barh(bars, (0.02 + 0.055 * row, 0.035), **style)


def _with_strip(window: Span, rows: int) -> Span:
    """Room for the bars below the traces."""
    low, high = window
    height = max(high - low, 1e-6)
    return low - height * (0.08 + 0.06 * rows), high + 0.05 * height


# ---------------------------------------------------------------- bars


@dataclass(frozen=True, slots=True)
class Bar:
    """One side's value with its k = 2 uncertainty, where that is known."""

    name: str
    value: float
    uncertainty: float | None


def bars_svg(
    groups: list[tuple[str, list[Bar]]], label: str, size_mm: tuple[float, float], *, logarithmic: bool = False
) -> str:
    """Lying bars, a group per thing and a bar per side: light before, dark after, whiskers for the uncertainty."""
    width, height = size_mm
    left, below, above = _label_mm(groups), 9.0, 5.0 if groups and len(groups[0][1]) > 1 else 1.0
    with drawing(*size_mm, bare=True) as (figure, out):
        place = (left / width, below / height, 1 - (left + 3.0) / width, 1 - (below + above) / height)
        axes = figure.add_axes(place)
        sides = len(groups[0][1]) if groups else 1
        for row, (_, bars) in enumerate(groups):
            for side, bar in enumerate(bars):
                _draw_bar(axes, bar, row + (side - (sides - 1) / 2) * 0.8 / sides, 0.72 / sides, first=row == 0)
        axes.set_yticks(range(len(groups)), [words for words, _ in groups])
        axes.tick_params(axis="y", length=0)
        axes.invert_yaxis()
        axes.patch.set_visible(False)
        axes.grid(logarithmic, axis="x")
        axes.set_xlabel(label)
        _bar_scale(axes, [bar for _, bars in groups for bar in bars], logarithmic=logarithmic)
        if sides > 1:
            _legend(axes, sides)
    return out.getvalue()


def _label_mm(groups: list[tuple[str, list[Bar]]]) -> float:
    """Room for the longest label, by an average letter's width; laying out by measure takes as long as drawing."""
    return 3.0 + 1.45 * max((len(words) for words, _ in groups), default=0)


def _draw_bar(axes: Axes, bar: Bar, place: float, height: float, *, first: bool) -> None:
    after = bar.name == "after"
    look: dict[str, Any] = {"facecolor": LEFT if after else FOUND}
    label = bar.name if first else None
    axes.barh(place, bar.value, height, edgecolor=LEFT if after else FOUND_EDGE, lw=0.8, label=label, **look)
    if bar.uncertainty:
        low, high = max(bar.value - bar.uncertainty, 0.0), bar.value + bar.uncertainty
        axes.plot([low, high], [place, place], color="white", lw=1.2, zorder=3)
        axes.plot([low, high], [place, place], color="black", lw=0.7, zorder=4, marker="|", ms=3.2, mew=0.7)


def _bar_scale(axes: Axes, bars: list[Bar], *, logarithmic: bool) -> None:
    from matplotlib.ticker import FuncFormatter, MaxNLocator, NullFormatter

    values = np.array([bar.value for bar in bars if bar.value > 0] or [1.0])
    if logarithmic:
        top = 10 ** np.ceil(np.log10(values.max() * 1.3))
        axes.set_xscale("log")
        axes.set_xlim(max(10 ** np.floor(np.log10(values.min() * 0.7)), top * 1e-5), top)
        axes.xaxis.set_minor_formatter(NullFormatter())
    else:
        axes.set_xlim(0, 1.08 * max(bar.value + (bar.uncertainty or 0.0) for bar in bars) or 1.0)
        axes.xaxis.set_major_locator(MaxNLocator(5))
    words = _scaled if logarithmic else "{:.6g}".format
    axes.xaxis.set_major_formatter(FuncFormatter(lambda value, _: words(value)))
