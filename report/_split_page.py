"""Where the volts went under test bursts: battery, positive side, ground side and what is left, drawn and told."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from analysis import SupplySplit
from job import NO_BREAK, Measure, measure_for, plain, with_uncertainty
from report._figures import FOUND, FOUND_EDGE, LEFT, Bar, drawing
from report._sheets import Sheet
from report._words import PLACES

if TYPE_CHECKING:
    from matplotlib.axes import Axes

REMAINDER = "remainder"
_NAMES = {
    "battery": "Battery",
    "positive": "Positive side",
    "ground": "Ground side",
    "wiring": "Both sides",
    REMAINDER: "Not accounted for",
}
#: what has to be told for the whole loss to be shared out
_WHOLE = ({"battery", "positive", "ground"}, {"battery", "wiring"})
#: width; each bar; around the bars of one part; below them the scale; left of them the names; a letter's width
_WIDE_MM, _BAR_MM, _AROUND_MM, _BELOW_MM, _LEFT_MM, _LETTER_MM = 104.0, 2.5, 0.8, 8.0, 22.0, 1.35
_WINDOW = (
    "Loss: mean before a burst less mean over its last half, so no more than the sag (lowest 10 ms mean); mean of "
    "{counts}. Whiskers: uncertainties (k = 2)."
)
_ADDS_UP = "The parts add up to what the amplifier's terminals lost."
_NOT_MEASURED = "The amplifier's terminals were not recorded: they must have lost the sum of the parts."
_NO_CLAIM = "The pair is not comparable: its sides stand here without a claim."
_ENGINE = "The engine ran: battery and alternator share the battery's part."


@dataclass(frozen=True, slots=True)
class Share:
    """One part of one side's loss, V, as it is printed; uncertainty k = 2, None where it is not known."""

    side: str
    where: str
    volts: float
    uncertainty: float | None
    printed: str
    #: the value alone, to the same digit
    in_short: str


@dataclass(frozen=True, slots=True)
class SplitTold:
    """One amplifier's losses in a sheet, by side, all in one unit."""

    splits: tuple[tuple[str, SupplySplit], ...]
    measure: Measure
    shares: tuple[Share, ...]

    @property
    def first(self) -> SupplySplit:
        """The as-found side's, or the only one."""
        return self.splits[0][1]

    @property
    def parts(self) -> list[str]:
        """What is told on either side, in the fixed order."""
        return [where for where in _NAMES if any(one.where == where for one in self.shares)]

    def share(self, side: str, where: str) -> Share | None:
        """That part of that side."""
        return next((one for one in self.shares if (one.side, one.where) == (side, where)), None)


def splits_told(sheet: Sheet) -> list[SplitTold]:
    """Of every amplifier of a sheet; empty where no bursts played or too few points were recorded."""
    found = [
        (side, split) for side, study in sheet.sides if study.analysis.supply for split in study.analysis.supply.splits
    ]
    points = dict.fromkeys(split.point for _, split in found)
    return [_told(tuple((side, split) for side, split in found if split.point == point)) for point in points]


def _told(splits: tuple[tuple[str, SupplySplit], ...]) -> SplitTold:
    values = [(side, *value) for side, split in splits for value in _values(split)]
    measure = measure_for("V", *(volts for _, _, volts, _ in values))
    shares = tuple(_share(side, where, volts, spread, measure) for side, where, volts, spread in values)
    return SplitTold(splits, measure, shares)


def _values(split: SupplySplit) -> Iterator[tuple[str, float, float | None]]:
    for part in split.parts:
        yield part.where, part.volts, part.uncertainty
    if split.remainder:
        yield REMAINDER, split.remainder.volts, split.remainder.uncertainty


def _share(side: str, where: str, volts: float, spread: float | None, measure: Measure) -> Share:
    printed = with_uncertainty(volts, spread, measure)
    return Share(side, where, volts, spread, printed, f"{printed.split()[0]}{NO_BREAK}{measure.unit}")


# ---------------------------------------------------------------- the page


def split_parts(sheet: Sheet, name: str) -> tuple[list[dict[str, Any]], dict[str, str]]:
    """The template's data for a sheet, a part per amplifier, and the drawings by file name, begun with `name`."""
    told = splits_told(sheet)
    files = {f"{name}-{row}.svg": _drawn(one) for row, one in enumerate(told)}
    return [_page(sheet, one, file) for one, file in zip(told, files, strict=True)], files


def _page(sheet: Sheet, told: SplitTold, file: str) -> dict[str, Any]:
    sides = [side for side, _ in told.splits]
    return {
        "picture": {"file": file, "title": _title(told.first.point), "caption": _caption(told)},
        "table": {
            "heads": ["Part of the loss", *(f"{side.capitalize()} (±, k = 2)" for side in sides)],
            "rows": [[_NAMES[where], *(_cell(told.share(side, where)) for side in sides)] for where in told.parts],
        },
        "notes": list(_notes(sheet, told)),
    }


def _title(point: str) -> str:
    where = f"{PLACES['supply-amp']} ({point})" if point else PLACES["supply-amp"]
    return f"Loss under test bursts {where}"


def _cell(share: Share | None) -> str:
    return share.printed if share else "not told"


def _caption(told: SplitTold) -> str:
    counts = [_bursts(len(split.bursts)) for _, split in told.splits]
    one = f"{counts[0]}{' each' if len(counts) > 1 else ''}"
    each = " and ".join(f"{words} {side}" for words, (side, _) in zip(counts, told.splits, strict=True))
    return _WINDOW.format(counts=one if len(set(counts)) == 1 else each)


def _bursts(count: int) -> str:
    return "1 burst" if count == 1 else f"{count} bursts"


def _notes(sheet: Sheet, told: SplitTold) -> Iterator[str]:
    """What the parts add up to, and what cannot be told."""
    notes: dict[str, list[str]] = {}
    for side, split in told.splits:
        for note in _notes_of(split):
            notes.setdefault(note, []).append(side)
    for note, sides in notes.items():
        named = f"{' and '.join(sides).capitalize()}: {note[0].lower()}{note[1:]}"
        yield note if len(sides) == len(told.splits) else named
    untold = [side for side, _ in sheet.sides if side not in dict(told.splits)]
    for side in untold:
        yield f"{side.capitalize()}: too little was recorded to share out the loss."
    if any(study.info.conditions.engine_rpm for _, study in sheet.sides) and "battery" in told.parts:
        yield _ENGINE
    if sheet.comparison and not sheet.comparison.comparable:
        yield _NO_CLAIM


def _notes_of(split: SupplySplit) -> Iterator[str]:
    known = {part.where for part in split.parts}
    if known in _WHOLE:
        yield _ADDS_UP if any(burst.amplifier for burst in split.bursts) else _NOT_MEASURED
    else:
        missing = [_NAMES[where].lower() for where in ("battery", "positive", "ground") if where not in known]
        yield f"Not recorded, so not told: {', '.join(missing)}."
    difference = [_NAMES[part.where].lower() for part in split.parts if part.how == "by difference"]
    if difference:
        yield f"Found by difference, so that nothing shows how right it is: {', '.join(difference)}."
    if split.remainder:
        yield _remainder_words(split.remainder.within)


def _remainder_words(within: bool | None) -> str:
    if within is None:
        return "The uncertainty of what is not accounted for is unknown: nothing shows how well the parts agree."
    if within:
        return "What is not accounted for is within its uncertainty."
    return "More is not accounted for than the uncertainty allows: check where each clip sat, and the calibrations."


# ---------------------------------------------------------------- the picture


def _drawn(told: SplitTold) -> str:
    """Lying bars from zero on one scale: light before, dark after, each with its name and value beside it."""
    sides = [side for side, _ in told.splits]
    height = _BELOW_MM + len(told.parts) * (_AROUND_MM + _BAR_MM * len(sides))
    wide = _WIDE_MM - _LEFT_MM - 1.0
    with drawing(_WIDE_MM, height, bare=True) as (figure, out):
        axes = figure.add_axes((_LEFT_MM / _WIDE_MM, _BELOW_MM / height, wide / _WIDE_MM, 1 - _BELOW_MM / height))
        bars = [bar for row, where in enumerate(told.parts) for bar in _group(told, where, row, sides)]
        axes.set_xlim(*_reach([(_end(bar), len(bar.name)) for _, bar, _ in bars], [bar for _, bar, _ in bars], wide))
        for place, bar, dark in bars:
            _draw_bar(axes, place, bar, len(sides), dark=dark)
        _dress(axes, [_NAMES[where] for where in told.parts], told.measure.unit)
    return out.getvalue()


def _group(told: SplitTold, where: str, row: int, sides: list[str]) -> Iterator[tuple[float, Bar, bool]]:
    """Place, bar in the printed unit and lightness of each side's part."""
    pitch = _BAR_MM / (_AROUND_MM + _BAR_MM * len(sides))
    for at, side in enumerate(sides):
        share = told.share(side, where)
        if share:
            factor = told.measure.factor
            spread = share.uncertainty / factor if share.uncertainty else None
            named = f"{side}  {share.in_short}" if len(sides) > 1 else share.in_short
            place = row + (at - (len(sides) - 1) / 2) * pitch
            yield place, Bar(named, share.volts / factor, spread), side == "after"


def _end(bar: Bar) -> float:
    return max(bar.value + (bar.uncertainty or 0.0), 0.0)


def _reach(ends: list[tuple[float, int]], bars: list[Bar], wide_mm: float) -> tuple[float, float]:
    """From zero, or below where a bar or its whisker reaches there, to where the longest bar's words end."""
    low = min(0.0, *(bar.value - (bar.uncertainty or 0.0) for bar in bars))
    rooms = [1 - (3.0 + _LETTER_MM * letters) / wide_mm for _, letters in ends]
    reach = max((end - low) / room for (end, _), room in zip(ends, rooms, strict=True)) or 1.0
    return low - 0.015 * reach * (low < 0), low + reach


def _draw_bar(axes: Axes, place: float, bar: Bar, sides: int, *, dark: bool) -> None:
    high = 0.9 * _BAR_MM / (_AROUND_MM + _BAR_MM * sides)
    face, edge = (LEFT, LEFT) if dark else (FOUND, FOUND_EDGE)
    axes.barh(place, bar.value, high, facecolor=face, edgecolor=edge, lw=0.8)
    if bar.uncertainty:
        ends = [bar.value - bar.uncertainty, bar.value + bar.uncertainty]
        axes.plot(ends, [place, place], color="white", lw=1.2, zorder=3)
        axes.plot(ends, [place, place], color="black", lw=0.7, zorder=4, marker="|", ms=3.2, mew=0.7)
    shift = {"xytext": (3, 0), "textcoords": "offset points"}
    axes.annotate(bar.name, (_end(bar), place), va="center_baseline", **shift)  # type: ignore[arg-type]


def _dress(axes: Axes, names: list[str], unit: str) -> None:
    from matplotlib.ticker import FuncFormatter, MaxNLocator

    axes.set_ylim(len(names) - 0.5, -0.5)
    axes.set_yticks(range(len(names)), names)
    axes.tick_params(axis="y", length=0)
    axes.spines["left"].set_visible(False)
    axes.axvline(0.0, color="#444444", lw=0.5, zorder=2)
    axes.patch.set_visible(False)
    axes.xaxis.set_major_locator(MaxNLocator(6))
    axes.xaxis.set_major_formatter(FuncFormatter(lambda value, _: plain(value, "", 6)))
    axes.set_xlabel(f"Loss, {unit}", labelpad=1.5)
