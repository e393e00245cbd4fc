"""What is drawn over a trace: the prediction while bursts play. Knows no Qt."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from gui._curves import Extent, Points
from gui._supply_model import Band, Span, TraceRow
from gui._words import tr
from job import NO_BREAK, level, measure_for, with_uncertainty

Floats = npt.NDArray[np.float64]

#: state of the curve: told apart by its dots and by its words
PREDICTED = "predicted"


@dataclass(frozen=True, slots=True)
class PredictedCurve:
    """A level with its k = 2 band during every burst, nothing between them."""

    label: str
    style: int
    unit: str
    value: float
    uncertainty: float
    spans: tuple[Span, ...]

    @property
    def width(self) -> float:
        """Its dots are to be seen among what was measured."""
        return 2.6

    @property
    def state(self) -> str:
        """It was not measured."""
        return PREDICTED

    @property
    def extent(self) -> Extent:
        """Bursts, and the band's two ends."""
        ends = self.spans[0].start_s, self.spans[-1].end_s
        return *ends, self.value - self.uncertainty, self.value + self.uncertainty

    @property
    def gaps(self) -> tuple[tuple[float, float], ...]:
        """None of its own."""
        return ()

    def points(self, first: float, last: float, count: int) -> Points:
        """As dense as columns within the bursts: a band that is drawn column by column stays one band."""
        step = (last - first) / max(count, 1)
        parts = [_inside(max(span.start_s, first), min(span.end_s, last), step, count) for span in self.spans]
        x, there = (np.concatenate(part) for part in zip(*parts, strict=True))
        # Bursts may stand nearer to each other than a column is wide.
        order = np.argsort(x, kind="stable")
        line = np.where(there[order], self.value, np.nan)
        return Points(x[order], line, line - self.uncertainty, line + self.uncertainty, 1)

    def reading(self, x: float, reach: float) -> str:
        """With its uncertainty, wherever the cursor is: it is one number."""
        return level(self.value, self.uncertainty, self.unit)

    def table(self) -> tuple[tuple[str, ...], Floats]:
        """One row a burst."""
        rows = [(span.start_s, span.end_s, self.value, self.uncertainty) for span in self.spans]
        heads = tr("burst from / s"), tr("burst to / s"), f"{self.label} / {self.unit}", tr("uncertainty (k = 2)")
        return heads, np.array(rows)


@dataclass(frozen=True, slots=True)
class PredictedTogether:
    """What was predicted of all curves of one picture, for one entry of its legend."""

    curves: tuple[PredictedCurve, ...]

    @property
    def state(self) -> str:
        """As its parts."""
        return PREDICTED

    @property
    def label(self) -> str:
        """What the band is, too; of two curves the first one's value, the second one's is the reading."""
        texts = self._texts()
        return tr("predicted {value}", value=texts[0]) if len(texts) == 2 else tr("predicted, k = 2")

    @property
    def style(self) -> int:
        """Of the first."""
        return self.curves[0].style

    @property
    def extent(self) -> Extent:
        """Of the first."""
        return self.curves[0].extent

    @property
    def gaps(self) -> tuple[tuple[float, float], ...]:
        """None of its own."""
        return ()

    def points(self, first: float, last: float, count: int) -> Points:
        """Of the first."""
        return self.curves[0].points(first, last, count)

    def reading(self, x: float, reach: float) -> str:
        """Wherever the cursor is; of more than two curves nothing, so much room there is not."""
        texts = self._texts()
        return texts[-1] if len(texts) <= 2 else ""

    @property
    def told(self) -> str:
        """Every one with its tap point, and how sure it is."""
        parts = (f"{curve.label}: {curve.reading(0.0, 0.0)}" for curve in self.curves)
        return tr("{predictions} (k = 2)", predictions="; ".join(parts))

    def _texts(self) -> list[str]:
        measure = measure_for(self.curves[0].unit, *(curve.value for curve in self.curves))
        texts = [with_uncertainty(one.value, one.uncertainty, measure) for one in self.curves]
        return [text.replace(f"{NO_BREAK}±{NO_BREAK}", "±") for text in texts]

    def table(self) -> tuple[tuple[str, ...], Floats]:
        """Of the first."""
        return self.curves[0].table()


def _inside(start: float, end: float, step: float, count: int) -> tuple[Floats, npt.NDArray[np.bool_]]:
    """Places within a burst, and one on either side where nothing is drawn; none where it is out of view."""
    if not start < end:
        return np.empty(0), np.empty(0, bool)
    x = np.linspace(start, end, max(2, min(count, round((end - start) / step) + 1)))
    there = np.ones(len(x) + 2, bool)
    there[[0, -1]] = False
    return np.concatenate([[start - step], x, [end + step]]), there


def predicted_curves(row: TraceRow, bands: Mapping[str, Band], spans: tuple[Span, ...]) -> tuple[PredictedCurve, ...]:
    """For the channels of one row."""
    if not spans:
        return ()
    return tuple(
        PredictedCurve(
            tr("predicted, {tap}", tap=curve.label),
            curve.style,
            row.group.unit,
            bands[channel].value,
            bands[channel].uncertainty,
            spans,
        )
        for channel, curve in zip(row.channels, row.group.curves, strict=True)
        if channel in bands
    )
