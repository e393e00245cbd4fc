"""Lines of numbers: cut from bytes, their form guessed, read at once or one by one with the same result."""

from __future__ import annotations

import json

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis import WrongUseError
from capture import _number_lines as lines_of
from capture import make_sources
from capture._kind import Asked
from capture._number_lines import LONGEST_LINE, SEPARATORS, LineShape, LineSplitter, guess_form, printed_step

finite = st.floats(allow_nan=False, allow_infinity=False)
rows_of_numbers = st.integers(1, 6).flatmap(
    lambda columns: st.lists(st.lists(finite, min_size=columns, max_size=columns), min_size=1, max_size=20)
)
#: everything that numbers are made of, and a little that they are not
garbage = st.text(alphabet="0123456789+-.,;eE \t_xnainf\x00é\xa0", min_size=1, max_size=12).filter(
    lambda text: bool(text.strip(" \t"))
)


def _written(rows: list[list[float]], separator: str, decimal: str, blanks: str = "") -> list[str]:
    return [f"{blanks}{separator}{blanks}".join(repr(number).replace(".", decimal) for number in row) for row in rows]


def _shape(separator: str | None, columns: int, **more: object) -> LineShape:
    return LineShape(separator, columns, tuple(range(columns)), **more)  # type: ignore[arg-type]


# ---------------------------------------------------------------- bytes to lines


@given(
    st.lists(st.tuples(st.text("0123456789,.", min_size=1), st.sampled_from(["\n", "\r\n", "\r", "\n\n"]))), st.data()
)
def test_lines_are_the_same_however_bytes_arrive(parts: list[tuple[str, str]], data: st.DataObject) -> None:
    stream = "".join(text + end for text, end in parts).encode() + b"rest"
    cuts = sorted(data.draw(st.lists(st.integers(0, len(stream)), max_size=10)))
    splitter, found = LineSplitter(begins_whole=True), list[str]()
    for start, stop in zip([0, *cuts], [*cuts, len(stream)], strict=True):
        found += splitter.feed(stream[start:stop])
    assert found == [text for text, _ in parts]
    assert splitter.rest == "rest"


@pytest.mark.parametrize("pieces", [[b"34,5\n1,2\n"], [b"3", b"4,5\n", b"1,2\n"], [b"\r\n1,2\n"]])
def test_a_first_line_that_was_cut_is_dropped_without_a_word(pieces: list[bytes]) -> None:
    splitter = LineSplitter(begins_whole=False)
    assert [line for piece in pieces for line in splitter.feed(piece)] == ["1,2"]


def test_bytes_without_a_line_end_do_not_pile_up() -> None:
    splitter = LineSplitter(begins_whole=True)
    found = [line for _ in range(100) for line in splitter.feed(b"x" * 1000)]
    assert sum(map(len, found)) + len(splitter.rest) == 100_000
    assert len(splitter.rest) <= LONGEST_LINE


# ---------------------------------------------------------------- lines to numbers


@pytest.mark.parametrize("separator", [",", ";", "\t", "   "])
@pytest.mark.parametrize("decimal", [".", ","])
@settings(max_examples=30)
@given(rows=rows_of_numbers)
def test_numbers_come_back_to_the_last_bit(separator: str, decimal: str, rows: list[list[float]]) -> None:
    if separator == decimal == ",":
        return
    kind = separator.strip() or None
    values, good = lines_of.read_lines(_written(rows, separator, decimal), _shape(kind, len(rows[0])))
    assert good.all()
    np.testing.assert_array_equal(values, rows)


@pytest.mark.parametrize(
    "separator,decimal", [(",", "."), (";", ","), ("; ", "."), ("\t", ","), ("  ", "."), (", ", ".")]
)
@settings(max_examples=30)
@given(rows=st.lists(st.lists(finite, min_size=3, max_size=3), min_size=1, max_size=10))
def test_the_form_is_found(separator: str, decimal: str, rows: list[list[float]]) -> None:
    found = guess_form(_written(rows, separator, decimal), list(SEPARATORS.values()))
    assert found == (separator.strip() or None, 3, len(rows))


def test_a_heading_and_nonsense_do_not_hide_the_form() -> None:
    lines = ["ready.", "v1.2", "1;2,5;3", "1;2,5", "1;2,75;3", "7;8;9"]
    assert guess_form(lines, list(SEPARATORS.values())) == (";", 3, 3)


@given(st.lists(st.lists(finite | st.integers(-(2**53), 2**53), min_size=2, max_size=2), min_size=1, max_size=5))
def test_what_json_calls_a_number_is_the_same_number_here(rows: list[list[float]]) -> None:
    # The grammar of numbers in RFC 8259, section 6, read by another parser.
    texts = [json.dumps(row)[1:-1] for row in rows]
    values, good = lines_of.read_lines(texts, _shape(",", 2))
    assert good.all()
    np.testing.assert_array_equal(values, [[float(n) for n in json.loads(f"[{text}]")] for text in texts])


@given(st.lists(garbage | st.sampled_from(["1,2", "1;2", "3 4", "0.5,1e3", "1,2,"]), max_size=12), st.data())
def test_the_fast_way_reads_what_the_slow_way_reads(lines: list[str], data: st.DataObject) -> None:
    shape = _shape(data.draw(st.sampled_from([",", ";", None])), data.draw(st.integers(1, 3)))
    values, good = lines_of.read_lines(lines, shape)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(lines_of, "_read_at_once", lambda lines, shape: None)
        slow_values, slow_good = lines_of.read_lines(lines, shape)
    np.testing.assert_array_equal(values, slow_values)
    np.testing.assert_array_equal(good, slow_good)


@given(st.lists(st.booleans(), min_size=1, max_size=40), st.data())
def test_nonsense_among_lines_is_told_line_by_line(sound: list[bool], data: st.DataObject) -> None:
    nonsense = st.sampled_from(["?", "1,2", "1,2,3,4", "1,,3", "1,2,x", "1,2,3.4.5", "1 2 3", "nan,1,2", "1e999,0,0"])
    lines = [f"{i},{i}.5,-{i}" if fits else data.draw(nonsense) for i, fits in enumerate(sound)]
    values, good = lines_of.read_lines(lines, _shape(",", 3))
    assert good.tolist() == sound
    assert values[:, 0].tolist() == [i for i, fits in enumerate(sound) if fits]


@pytest.mark.parametrize(
    "line,fits",
    [
        ("7", True),
        ("-7.000", True),
        ("7.25", False),
        ("2147483647", True),
        ("2147483648", False),
        ("-2147483648", True),
    ],
)
def test_a_number_that_would_be_cut_to_an_integer_is_refused(line: str, fits: bool) -> None:
    assert lines_of.read_lines([line], _shape(",", 1, integers=True))[1].tolist() == [fits]


@pytest.mark.parametrize("line,fits", [("7,1", True), ("7.5,1", False), ("1e17,1", False), ("-3,1", True)])
def test_a_counter_counts_in_whole_numbers(line: str, fits: bool) -> None:
    assert lines_of.read_lines([line], LineShape(",", 2, (1,), counter=0))[1].tolist() == [fits]


@pytest.mark.parametrize(
    "texts,step", [(["1.25", "7", "3.5"], 0.01), (["12", "-7"], 1.0), (["1e-3", "2"], 0.0), (["3,125"], 0.001)]
)
def test_the_step_that_printed_decimals_can_show(texts: list[str], step: float) -> None:
    assert printed_step(texts, ";", 0) == pytest.approx(step)


@pytest.mark.parametrize(
    "told,words",
    [
        ({"counter_modulus": "256"}, "which column counts"),
        ({"counter": "1", "time": "1"}, "counter already"),
        ({"counter_modulus": "2", "counter": "0"}, "counter_modulus=2"),
        ({"time_unit": "min"}, "time_unit=min"),
        ({"separator": "|"}, "separator=|"),
    ],
)
@pytest.mark.parametrize("source", ["serial-port:COM1", "standard-input"])
def test_settings_that_cannot_be_are_refused(source: str, told: dict[str, str], words: str) -> None:
    with pytest.raises(WrongUseError, match=words.replace("|", r"\|")):
        make_sources([source], Asked(rate_hz=10.0), told)
