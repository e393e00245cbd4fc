"""Where the volts went: closed forms by Kirchhoff's voltage law, bars read back from the drawing, what is not told."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path
from typing import Any, NamedTuple
from xml.etree import ElementTree

import numpy as np
import numpy.typing as npt
import pytest

from analysis import Part, Remainder, SupplySplit
from job import Job, Study, compare_studies, study_json, study_recording
from report._html import html_page
from report._numbers_told import numbers_of_sheet
from report._sheets import Sheet
from report._split_page import SplitTold, _drawn, _told, split_parts, splits_told
from tests.test_report import BURSTS, CONDITIONS, SUPPLY_RATE, new_job, record

Floats = npt.NDArray[np.float64]
#: volts lost in battery, positive and ground side, as found and as left: what the supplies below are made of
FOUND, LEFT = (0.31, 0.52, 0.78), (0.30, 0.17, 0.066)
_NUMBER = re.compile(r"(?P<value>−?\d+(?:\.\d+)?)\s±\s(?P<spread>\d+(?:\.\d+)?)\s(?P<prefix>m?)V")


def taps(lost: tuple[float, float, float], seed: int) -> dict[str, Floats]:
    """Four tap points under square bursts, each with noise of its own: u_amp = 13.2 V less all that is lost."""
    time = np.arange(round(4.0 * SUPPLY_RATE)) / SUPPLY_RATE
    on = np.zeros(len(time))
    for start, end in BURSTS:
        on[(time >= start) & (time < end)] = 1.0
    noise = np.random.default_rng(seed).normal(0, 0.002, (4, len(time)))
    battery, positive, ground = (part * on for part in lost)
    return {
        "supply": 13.2 - battery + noise[0],
        "supply-amp": 13.2 - battery - positive - ground + noise[1],
        "drop-positive": positive + noise[2],
        "drop-ground": ground + noise[3],
    }


def studied(folder: Path, *sides: dict[str, Floats], rpm: tuple[float | None, ...] = (None, None)) -> Sheet:
    """A sheet of one recording or of two."""
    job: Job = new_job(folder)
    for state, channels, speed in zip(("as found", "as left"), sides, rpm, strict=False):
        conditions = CONDITIONS.model_copy(update={"test_signal": "bursts", "engine_rpm": speed})
        facts: dict[str, Any] = {"rate": SUPPLY_RATE, "bursts": BURSTS, "conditions": conditions}
        job = record(job, state, channels, **facts)  # type: ignore[arg-type]
    studies = [study_recording(job.path(entry)) for entry in job.facts.recordings]
    if len(studies) == 1:
        return Sheet((("as found", studies[0]),))
    return Sheet(tuple(zip(("before", "after"), studies, strict=True)), None, compare_studies(*studies))


@pytest.fixture(scope="module")
def pair(tmp_path_factory: pytest.TempPathFactory) -> Sheet:
    """All four points on both sides."""
    return studied(tmp_path_factory.mktemp("split") / "van", taps(FOUND, 1), taps(LEFT, 2))


def volts(text: str) -> tuple[float, float, float]:
    """Value, uncertainty and half of the last digit, V, as printed."""
    found = _NUMBER.fullmatch(text.replace("\N{NO-BREAK SPACE}", " "))
    assert found, text
    factor = 1e-3 if found["prefix"] else 1.0
    last = 10.0 ** -len(found["value"].partition(".")[2])
    return float(found["value"].replace("−", "-")) * factor, float(found["spread"]) * factor, 0.5 * last * factor


def page_of(sheet: Sheet) -> dict[str, Any]:
    """The only part."""
    [page], files = split_parts(sheet, "losses-0")
    assert list(files) == [page["picture"]["file"]]
    return page


def parts_json(study: Study) -> list[dict[str, Any]]:
    """As `humproof analyse` tells them, what is left over last."""
    [split] = study_json(study)["supply"]["splits"]
    return [*split["parts"], *([split["remainder"]] if split["remainder"] else [])]


# ---------------------------------------------------------------- numbers


def test_every_cell_is_the_json_to_the_printed_digit_and_the_true_loss(pair: Sheet) -> None:
    table = page_of(pair)["table"]
    assert table["heads"] == ["Part of the loss", "Before (±, k = 2)", "After (±, k = 2)"]
    assert [row[0] for row in table["rows"]] == ["Battery", "Positive side", "Ground side", "Not accounted for"]
    for column, ((_, study), lost) in enumerate(zip(pair.sides, (FOUND, LEFT), strict=True), 1):
        for row, told, true in zip(table["rows"], parts_json(study), (*lost, 0.0), strict=True):
            value, spread, half = volts(row[column])
            assert abs(value - told["volts"]) <= half * (1 + 1e-9)
            assert abs(spread - told["uncertainty"]) <= half * (1 + 1e-9)
            # Within k = 2 (with room: it is a 95 % statement, and eight are made).
            assert abs(value - true) <= 1.6 * spread


def test_the_parts_add_up_to_what_the_amplifier_lost(pair: Sheet) -> None:
    page = page_of(pair)
    for column, (_, study) in enumerate(pair.sides, 1):
        [split] = study_json(study)["supply"]["splits"]
        lost = float(np.mean([burst["amplifier"]["change"] for burst in split["bursts"]]))
        read = [volts(row[column]) for row in page["table"]["rows"]]
        assert abs(sum(value for value, _, _ in read) - lost) <= sum(half for _, _, half in read)
    assert "The parts add up to what the amplifier's terminals lost." in page["notes"]
    assert "What is not accounted for is within its uncertainty." in page["notes"]
    assert "mean of 3 bursts each" in page["picture"]["caption"]


def test_all_printed_numbers_are_among_those_that_verify_recomputes(pair: Sheet) -> None:
    listed = {(one.what, one.printed, one.channel) for one in numbers_of_sheet("pair", pair)}
    names = ("battery", "positive", "ground", "remainder")
    for name, row in zip(names, page_of(pair)["table"]["rows"], strict=True):
        for side, cell in zip(("before", "after"), row[1:], strict=True):
            assert (f"loss_{name} {side}", cell, "in supply-amp") in listed
    assert sum(what.startswith("loss_") for what, _, _ in listed) == 8


def test_one_recording_alone(tmp_path: Path) -> None:
    alone = studied(tmp_path / "van", taps(FOUND, 3), rpm=(1500.0,))
    page = page_of(alone)
    assert page["table"]["heads"][1:] == ["As found (±, k = 2)"]
    assert "The engine ran: battery and alternator share the battery's part." in page["notes"]
    assert "mean of 3 bursts." in page["picture"]["caption"]
    assert not any("before" in words for words in texts(drawing_of(alone)))
    assert [one.what for one in numbers_of_sheet("one", alone)][:1] == ["loss_battery as found"]


# ---------------------------------------------------------------- what cannot be told


def test_without_the_ground_side_it_follows_by_difference(tmp_path: Path) -> None:
    three = [{role: rows for role, rows in taps(lost, 4).items() if role != "drop-ground"} for lost in (FOUND, LEFT)]
    page = page_of(studied(tmp_path / "van", *three))
    assert [row[0] for row in page["table"]["rows"]] == ["Battery", "Positive side", "Ground side"]
    value, spread, _ = volts(page["table"]["rows"][2][1])
    assert abs(value - FOUND[2]) <= 1.6 * spread
    assert "Found by difference, so that nothing shows how right it is: ground side." in page["notes"]


def test_without_both_drops_they_stand_together(tmp_path: Path) -> None:
    two = [{role: rows for role, rows in taps(lost, 5).items() if "drop" not in role} for lost in (FOUND, LEFT)]
    page = page_of(studied(tmp_path / "van", *two))
    assert [row[0] for row in page["table"]["rows"]] == ["Battery", "Both sides"]
    assert "Found by difference, so that nothing shows how right it is: both sides." in page["notes"]


def test_without_the_amplifier_it_is_said(tmp_path: Path) -> None:
    rows = {role: values for role, values in taps(FOUND, 6).items() if role != "supply-amp"}
    page = page_of(studied(tmp_path / "van", rows))
    assert "The amplifier's terminals were not recorded: they must have lost the sum of the parts." in page["notes"]
    rows.pop("supply")
    page = page_of(studied(tmp_path / "other", rows))
    assert "Not recorded, so not told: battery." in page["notes"]
    assert not any("add up" in note for note in page["notes"])


def test_a_clip_in_the_wrong_place_is_told_of_its_side(tmp_path: Path) -> None:
    wrong = taps(FOUND, 7)
    wrong["drop-ground"] *= 0.5
    page = page_of(studied(tmp_path / "van", wrong, taps(LEFT, 8)))
    told = "More is not accounted for than the uncertainty allows: check where each clip sat, and the calibrations."
    assert f"Before: {told[0].lower()}{told[1:]}" in page["notes"]
    assert "After: what is not accounted for is within its uncertainty." in page["notes"]
    assert abs(volts(page["table"]["rows"][3][1])[0] - FOUND[2] / 2) < 0.01


def test_what_is_not_comparable_carries_no_claim_and_a_side_may_lack(tmp_path: Path) -> None:
    sheet = studied(tmp_path / "van", taps(FOUND, 9), taps(LEFT, 10), rpm=(1500.0, 2200.0))
    assert "The pair is not comparable: its sides stand here without a claim." in page_of(sheet)["notes"]
    (_, before), (_, after) = sheet.sides
    untold = replace(after, analysis=replace(after.analysis, supply=replace(after.analysis.supply, splits=())))  # type: ignore[type-var]
    page = page_of(replace(sheet, sides=(("before", before), ("after", untold))))
    assert "After: too little was recorded to share out the loss." in page["notes"]
    assert page["table"]["heads"][1:] == ["Before (±, k = 2)"]


def test_no_bursts_no_part(tmp_path: Path) -> None:
    quiet = {role: rows[: round(0.6 * SUPPLY_RATE)] for role, rows in taps(FOUND, 11).items()}
    job = record(new_job(tmp_path / "van"), "as found", quiet, rate=SUPPLY_RATE)
    sheet = Sheet((("as found", study_recording(job.path(job.facts.recordings[0]))),))
    assert split_parts(sheet, "x") == ([], {})
    assert splits_told(sheet) == []


def test_every_amplifier_has_a_part_with_its_name(pair: Sheet) -> None:
    study = pair.first
    assert study.analysis.supply
    [split] = study.analysis.supply.splits
    named = tuple(replace(split, point=point) for point in ("rear", "<b>front</b>"))
    supply = replace(study.analysis.supply, splits=named)
    sheet = Sheet((("as found", replace(study, analysis=replace(study.analysis, supply=supply))),))
    parts, files = split_parts(sheet, "losses-3")
    assert list(files) == ["losses-3-0.svg", "losses-3-1.svg"]
    assert [one["picture"]["title"].partition("(")[2] for one in parts] == ["rear)", "<b>front</b>)"]
    assert not any("front" in drawn for drawn in files.values()), "names stand in words that the page sets"


# ---------------------------------------------------------------- the drawing

_SVG = "{http://www.w3.org/2000/svg}"


class Drawn(NamedTuple):
    """One bar of the drawing, in its points."""

    left: float
    right: float
    top: float
    fill: str


def drawing_of(sheet: Sheet) -> str:
    """The only one."""
    _, files = split_parts(sheet, "losses-0")
    return next(iter(files.values()))


def bars(svg: str) -> list[Drawn]:
    """Closed filled paths of four corners, from top to bottom."""
    found = []
    for path in ElementTree.fromstring(svg).iter(f"{_SVG}path"):
        fill = re.search(r"fill: (#\w+)", path.get("style", ""))
        if fill and path.get("d", "").strip().endswith("z") and path.get("clip-path"):
            numbers = [float(one) for one in re.findall(r"-?\d+(?:\.\d+)?", path.get("d", ""))]
            found.append(Drawn(min(numbers[::2]), max(numbers[::2]), min(numbers[1::2]), fill[1]))
    return sorted(found, key=lambda one: one.top)


def texts(svg: str) -> list[str]:
    """Every text of the drawing."""
    return ["".join(one.itertext()) for one in ElementTree.fromstring(svg).iter(f"{_SVG}text")]


def luminance(colour: str) -> float:
    """Relative luminance by WCAG 2.2, definition "relative luminance"."""
    parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    red, green, blue = (part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def test_bars_begin_at_one_zero_and_are_as_long_as_the_losses(pair: Sheet) -> None:
    drawn = bars(drawing_of(pair))
    assert len(drawn) == 8
    sides = [[part["volts"] for part in parts_json(study)] for _, study in pair.sides]
    true = [value for both in zip(*sides, strict=True) for value in both]
    longest = int(np.argmax(true))
    scale = (drawn[longest].right - drawn[longest].left) / true[longest]
    zero = drawn[longest].left
    for bar, value in zip(drawn, true, strict=True):
        # Coordinates are written to a millionth of a point.
        assert abs(bar.left - (zero + min(value, 0.0) * scale)) < 1e-3
        assert abs(bar.right - (zero + max(value, 0.0) * scale)) < 1e-3


def test_before_stands_above_after_and_is_lighter_in_grey(pair: Sheet) -> None:
    drawn = bars(drawing_of(pair))
    light, dark = {one.fill for one in drawn[::2]}, {one.fill for one in drawn[1::2]}
    assert (len(light), len(dark)) == (1, 1)
    contrast = (luminance(light.pop()) + 0.05) / (luminance(dark.pop()) + 0.05)
    assert contrast >= 3.0, "WCAG 2.2, 1.4.11: what is needed to understand graphics has 3 : 1"


def test_each_bar_says_its_side_and_its_value(pair: Sheet) -> None:
    words = [words.replace("\N{NO-BREAK SPACE}", " ") for words in texts(drawing_of(pair))]
    cells = [cell for row in page_of(pair)["table"]["rows"] for cell in row[1:]]
    for at, cell in enumerate(cells):
        value, prefix = cell.split()[0], cell.split()[-1]
        assert f"{('before', 'after')[at % 2]}  {value} {prefix}" in words


@pytest.mark.parametrize("largest", [0.0071, 0.31, 2.9, 11.4])
def test_words_and_bars_stay_within_the_drawing_even_below_zero(largest: float) -> None:
    told = made_up((largest, 0.8 * largest, 0.001 * largest), -0.31 * largest, 0.11 * largest)
    svg = _drawn(told)
    width = float(ElementTree.fromstring(svg).get("viewBox", "").split()[2])
    negative = [bar for bar in bars(svg) if bar.right - bar.left > 2 and bar.top == max(one.top for one in bars(svg))]
    assert len(negative) == 1
    zero = bars(svg)[0].left
    assert abs(negative[0].right - zero) < 1e-3
    assert clip_left(svg) <= negative[0].left < zero - 2
    for words, right in ends_of_words(svg):
        assert right <= width, words


def clip_left(svg: str) -> float:
    """Where the axes begin: what is drawn further left is cut off."""
    [axes] = ElementTree.fromstring(svg).iter(f"{_SVG}clipPath")
    return float(axes[0].get("x", ""))


def made_up(losses: tuple[float, ...], left: float, spread: float) -> SplitTold:
    """A split by hand, on both sides the same."""
    named = zip(("battery", "positive", "ground"), losses, strict=True)
    parts = tuple(Part(where, value, spread, "measured") for where, value in named)  # type: ignore[arg-type]
    split = SupplySplit("", "amp", (), parts, Remainder(left, spread))
    return _told((("before", split), ("after", split)))


def ends_of_words(svg: str) -> list[tuple[str, float]]:
    """Right ends of the words beside the bars, by the widths of the font's own glyphs."""
    from matplotlib.font_manager import FontProperties
    from matplotlib.textpath import TextPath

    found = []
    for one in ElementTree.fromstring(svg).iter(f"{_SVG}text"):
        words = "".join(one.itertext())
        place = re.search(r"translate\(([\d.]+)", one.get("transform", ""))
        left = float(one.get("x") or (place[1] if place else 0.0))
        if words.startswith(("before", "after")):
            path = TextPath((0, 0), words, size=6.5, prop=FontProperties(family="DejaVu Sans"))
            found.append((words, left + float(path.get_extents().x1)))
    assert len(found) == 8
    return found


# ---------------------------------------------------------------- the other form


def test_the_page_for_the_browser_has_heading_picture_table_and_notes(pair: Sheet) -> None:
    parts, files = split_parts(pair, "losses-0")
    sheet = {"heading": "Bursts", "sides": [], "rows": [], "where_the_volts_went": parts}
    page = html_page({"title": "t", "number": "", "headline": "h", "sheets": [sheet]}, files)
    body = page.partition("Bursts</h2>")[2]
    order = [
        "<h3>Where the volts went</h3>",
        "data:image/svg+xml",
        "Loss under test bursts at the amplifier&#x27;s supply terminals</b>",
        "Not accounted for",
    ]
    places = [body.find(words) for words in (*order, "The parts add up")]
    assert -1 not in places
    assert places == sorted(places)
    for row in parts[0]["table"]["rows"]:
        assert all(cell in body for cell in row)
