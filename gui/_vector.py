"""A picture drawn anew as SVG. (What Qt writes of a window other programs show differently or not at all.)"""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING

from gui._curves import Curve
from gui._errors import ScreenError
from gui._palette import LIGHT, dashes
from gui._screen import Frame, Group, PictureData
from gui._ticks import decade_ticks, tick_text
from gui._words import thinning_words

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.axis import Axis

#: width and height in inches, and how many points a curve gets at most
SIZE_IN = (10.0, 5.8)
POINTS = 2_000


def save_svg(
    path: Path, data: PictureData, group: Group, frame: Frame, notes: Iterable[str], *, simulated: bool
) -> None:
    """Draw what is in view, with legend and notes, on white-ish paper whatever the screen's palette."""
    from matplotlib import rc_context
    from matplotlib.figure import Figure

    figure = Figure(figsize=SIZE_IN, facecolor=LIGHT.sheet, layout="constrained")
    axes = figure.add_subplot(facecolor=LIGHT.sheet)
    thinned = max((_draw(axes, curve, frame) for curve in frame.curves), default=1)
    _label(axes, data, group, frame)
    if simulated:
        _mark(axes)
    if frame.curves:
        figure.legend(loc="outside upper left", ncols=4, fontsize=8, facecolor=LIGHT.raised, edgecolor=LIGHT.frame)
    said = (thinning_words(thinned, data.decades, group.thinning), *notes)
    figure.supxlabel("\n".join(said), fontsize=8, color=LIGHT.quiet, x=0.01, ha="left")
    try:
        # The same picture gives the same bytes.
        with rc_context({"svg.hashsalt": "humproof", "svg.fonttype": "path"}):
            figure.savefig(path, format="svg", metadata={"Date": None})
    except OSError as error:
        raise ScreenError(f"{path}: the picture cannot be written: {error.strerror}") from error


def _draw(axes: Axes, curve: Curve, frame: Frame) -> int:
    points, colour = curve.points(*frame.x, POINTS), LIGHT.state(curve.state)
    if points.low is not None and points.high is not None:
        axes.fill_between(points.x, points.low, points.high, color=colour, alpha=0.33, linewidth=0.4)
    pattern = dashes(curve.state, curve.style)
    style = (0, pattern) if pattern else "-"
    axes.plot(
        points.x, points.line, color=colour, linestyle=style, linewidth=1.1, label=f"{curve.state}, {curve.label}"
    )
    return points.thinned


def _label(axes: Axes, data: PictureData, group: Group, frame: Frame) -> None:
    axes.set_xlim(*frame.x)
    axes.set_ylim(*frame.y)
    axes.grid(color=LIGHT.hair, linewidth=0.6)
    axes.set_title(f"{data.title}: {group.label}", loc="left", color=LIGHT.ink)
    axes.set_xlabel(data.x_name if data.decades or not data.x_unit else f"{data.x_name} / {data.x_unit}")
    axes.set_ylabel(group.axis if data.decades_up or not group.unit else f"{group.axis} / {group.unit}")
    if data.decades:
        _decades(axes.xaxis, *frame.x, data.x_unit, room=10)
    if data.decades_up:
        _decades(axes.yaxis, *frame.y, group.unit, room=8)


def _decades(axis: Axis, low: float, high: float, unit: str, room: int) -> None:
    labelled, bare = decade_ticks(low, high, room)
    axis.set_ticks(labelled, [tick_text(tick, unit) for tick in labelled])
    axis.set_ticks(bare, minor=True)


def _mark(axes: Axes) -> None:
    box = {"facecolor": LIGHT.simulated, "edgecolor": "none", "pad": 3}
    axes.set_title("SIMULATED", loc="right", color=LIGHT.on_simulated, weight="bold", fontsize=10, bbox=box)
