"""The table of all figures: the numbers of the JSON, whole; texts that no spreadsheet takes for formulas."""

from __future__ import annotations

import csv
import io
import math
import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from job import comparison_json, study_json
from report import ComposedReport, ReportError, compose_report, make_files, write_csv
from report._csv import COLUMNS, csv_table, guarded
from tests.test_report import full_job, tiny_job


@pytest.fixture(scope="module")
def report(tmp_path_factory: pytest.TempPathFactory) -> ComposedReport:
    """A noise pair, a supply pair and a floor."""
    return compose_report(full_job(tmp_path_factory.mktemp("csv") / "van").folder)


@pytest.fixture(scope="module")
def text(report: ComposedReport) -> str:
    """The table."""
    assert report.contents is not None
    return csv_table(report.job, report.contents)


#: RFC 4180, section 2, read by hand: fields with or without quotes, CRLF between records
_FIELD = re.compile(r'(?:"((?:[^"]|"")*)"|([^",\r\n]*))(,|\r\n)')


def records(text: str) -> list[dict[str, str]]:
    """By the grammar of RFC 4180, not by the library that wrote it."""
    rows: list[list[str]] = [[]]
    place = 0
    while place < len(text):
        match = _FIELD.match(text, place)
        assert match, text[place : place + 60]
        quoted, bare, end = match.groups()
        rows[-1].append(bare if quoted is None else quoted.replace('""', '"'))
        if end == "\r\n":
            rows.append([])
        place = match.end()
    heads, *others = rows[:-1]
    assert all(len(row) == len(heads) for row in others)
    return [dict(zip(heads, row, strict=True)) for row in others]


def _same(cell: str, value: Any) -> bool:
    """To the last bit: what is not known is empty."""
    return cell == "" if value is None else float(cell) == value


def test_every_figure_of_analyse_is_there_to_the_last_bit(report: ComposedReport, text: str) -> None:
    assert report.contents is not None
    rows = [row for row in records(text) if row["row"] == "figure"]
    studies = {study.path: study for sheet in report.contents.sheets for _, study in sheet.with_floor}
    figures = [(path.name, figure) for path, study in studies.items() for figure in study_json(study)["figures"]]
    assert len(rows) == len(figures) > 40
    left = list(rows)
    for name, figure in figures:
        [row] = [
            row
            for row in left
            if (row["recording"], row["channel"], row["quantity"]) == (name, figure["channel"], figure["quantity"])
            and _same(row["value"], figure["value"])
        ][:1]
        left.remove(row)
        assert _same(row["uncertainty"], figure["uncertainty"])
        assert row["unit"] == figure["unit"]
        assert row["weighting"] == (figure["weighting"] or "")
        assert _same(row["averages"], figure["averages"])
        low, high = figure["band_hz"] or (None, None)
        assert _same(row["band_low_hz"], low)
        assert _same(row["band_high_hz"], high)
        assert _same(row["reference_v"], figure["reference_v"])
        assert row["k"] == "2"
    assert left == []


def test_every_part_of_the_loss_under_bursts_is_there_to_the_last_bit(report: ComposedReport, text: str) -> None:
    assert report.contents is not None
    rows = {(row["recording"], row["channel"], row["quantity"]): row for row in records(text) if row["row"] == "figure"}
    told = 0
    for study in (study for sheet in report.contents.sheets for _, study in sheet.sides):
        for split in study_json(study)["supply"]["splits"]:
            for part in split["parts"]:
                row = rows[study.path.name, split["channel"], f"loss_{part['where']}"]
                assert _same(row["value"], part["volts"])
                assert _same(row["uncertainty"], part["uncertainty"])
                assert (row["unit"], row["averages"]) == ("V", str(len(split["bursts"])))
                told += 1
    # Battery, and both sides together, as found and as left.
    assert told == 4


def test_the_library_of_python_and_a_number_reader_see_the_same_table(text: str) -> None:
    told = list(csv.DictReader(io.StringIO(text, newline="")))
    assert told == records(text)
    # A reader of numbers: nothing but the columns' own words keeps a value from being one.
    values = np.genfromtxt(
        io.StringIO(text.replace("\r\n", "\n")), delimiter=",", names=True, dtype=None, encoding="utf-8"
    )
    figures = values[values["row"] == "figure"]
    assert np.issubdtype(values["value"].dtype, np.floating)
    assert figures["value"].tolist() == [float(row["value"]) for row in told if row["row"] == "figure"]


def test_every_change_of_compare_is_there_to_the_last_bit(report: ComposedReport, text: str) -> None:
    assert report.contents is not None
    rows = [row for row in records(text) if row["row"] == "change"]
    changes = [
        change
        for sheet in report.contents.comparisons
        if sheet.comparison
        for change in comparison_json(sheet.comparison)["changes"]
    ]
    assert len(rows) == len(changes) > 5
    for row, change in zip(rows, changes, strict=True):
        assert (row["channel"], row["quantity"], row["verdict"]) == tuple(
            change[key] for key in ("channel", "quantity", "verdict")
        )
        for key in ("before", "after", "change", "change_db", "uncertainty"):
            assert _same(row[key], change[key]), key
        # A law: what is printed as the change is after less before.
        assert math.isclose(float(row["change"]), float(row["after"]) - float(row["before"]), abs_tol=1e-12)


def test_states_steps_and_who_was_simulated(text: str) -> None:
    rows = records(text)
    assert {row["state"] for row in rows if row["row"] == "figure"} == {"as found", "as left", "instrument floor"}
    assert {row["step"] for row in rows} == {"baseline"}
    assert {row["test_signal"] for row in rows} == {"silence", "bursts"}
    assert {row["simulated"] for row in rows} == {"no"}
    assert {row["comparable"] for row in rows if row["row"] == "change"} == {"yes"}


HOSTILE = '=HYPERLINK("http://x","y"), "a"\r\nb;c\t|cmd'


def test_hostile_names_stay_in_their_cells_and_are_no_formulas(report: ComposedReport) -> None:
    assert report.contents is not None
    sheet = report.contents.sheets[0]
    info = sheet.first.info.model_copy(update={"isolation_step": HOSTILE})
    first = replace(sheet.first, info=info)
    sheets = (replace(sheet, sides=(("before", first), *sheet.sides[1:])),)
    rows = records(csv_table(report.job, replace(report.contents, sheets=sheets)))
    steps = {row["step"] for row in rows}
    assert f"'{HOSTILE}" in steps
    # Both readers agree.
    other = list(
        csv.DictReader(io.StringIO(csv_table(report.job, replace(report.contents, sheets=sheets)), newline=""))
    )
    assert other == rows


@pytest.mark.parametrize(
    "text", ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1", " =1", "\u00a0=1", "＝1", "'=1", "|x", "−1"]
)
def test_texts_that_begin_like_formulas_are_guarded(text: str) -> None:
    assert guarded(text) == f"'{text}"


@given(st.text(max_size=20))
def test_guarding_loses_nothing(text: str) -> None:
    cell = guarded(text)
    assert cell.removeprefix("'") == text or cell == text
    assert not cell.lstrip().startswith(("=", "+", "-", "@"))


def test_numbers_are_not_guarded(text: str) -> None:
    assert any(row["change"].startswith("-") for row in records(text))
    assert "'-" not in text


def test_the_file_and_its_byte_order_mark(tmp_path: Path) -> None:
    job = tiny_job(tmp_path / "job")
    plain, marked = tmp_path / "plain.csv", tmp_path / "marked.csv"
    document, table = make_files(job.folder, tmp_path / "a.pdf", csv=plain)
    assert (document, table) == (tmp_path / "a.pdf", plain)
    make_files(job.folder, tmp_path / "a.pdf", csv=marked, byte_order_mark=True)
    assert marked.read_bytes() == b"\xef\xbb\xbf" + plain.read_bytes()
    assert plain.read_text("utf-8").splitlines()[0] == ",".join(COLUMNS)
    # Its own, with a mark or without, is replaced; another's is not.
    make_files(job.folder, tmp_path / "a.pdf", csv=marked)
    assert marked.read_bytes() == plain.read_bytes()


def test_another_table_is_left_alone(report: ComposedReport, tmp_path: Path) -> None:
    foreign = tmp_path / "books.csv"
    foreign.write_text("date,amount\n")
    with pytest.raises(ReportError, match=r"books\.csv: exists and was not made by humproof"):
        write_csv(report, foreign)
    with pytest.raises(ReportError, match="is a folder"):
        write_csv(report, tmp_path)
    assert foreign.read_text() == "date,amount\n"
    assert [path.name for path in tmp_path.iterdir()] == ["books.csv"]
