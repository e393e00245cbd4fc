"""Text tables of oscilloscopes and loggers: laws over random dialects, hand-written relatives, refusals."""

from __future__ import annotations

import contextlib
import math
import os
import tracemalloc
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from capture._errors import ImportRefused
from capture._foreign import ForeignFile, open_foreign
from capture._model import Block, Gap

Floats = npt.NDArray[np.float64]


def write(folder: Path, content: str | bytes, name: str = "log.dat") -> Path:
    path = folder / name
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    return path


def matrix(foreign: ForeignFile) -> Floats:
    """Counts on the grid, NaN where rows or cells are missing; checks that blocks and gaps tile it exactly."""
    assert foreign.frames is not None
    out = np.full((foreign.frames, len(foreign.channels)), np.nan)
    covered, block = 0, Block(0, np.empty((0, len(foreign.channels))))
    for item in foreign.items():
        if isinstance(item, Block):
            assert item.first == covered
            assert item.counts.dtype == foreign.dtype
            out[item.first : item.stop] = item.counts
            covered, block = item.stop, item
        elif item.channel is None:
            assert item.first == covered
            covered = item.stop
        else:
            assert block.first <= item.first < item.stop <= block.stop
            assert np.isnan(out[item.first : item.stop, item.channel]).all()
    assert covered == foreign.frames
    return out


def gaps(foreign: ForeignFile) -> list[tuple[int, int, int | None]]:
    return [(gap.first, gap.length, gap.channel) for gap in foreign.items() if isinstance(gap, Gap)]


def refused(path: Path, rate_hz: float | None = None) -> str:
    """The line of the refusal, which names the file first."""
    with pytest.raises(ImportRefused) as caught:
        open_foreign(path, rate_hz)
    text = str(caught.value)
    assert text.startswith(f"{path}: ")
    assert "\n" not in text
    assert "; " in text  # the remedy
    return text.removeprefix(f"{path}: ")


def wave(row: int) -> float:
    """A signal that neither rises nor repeats."""
    return math.sin(0.37 * row) + 0.3 * math.sin(1.7 * row)


def table(rows: int, line: Callable[[int], str], head: str = "Time (s),CH1 (V)\n", end: str = "\n") -> str:
    return head + "".join(line(row) + end for row in range(rows))


def timed(rows: int, head: str = "Time (s),CH1 (V)\n", step: float = 0.01) -> str:
    return table(rows, lambda row: f"{row * step:.4f},{wave(row):.5f}", head)


# ---------------------------------------------------------------- law: what was written is read


@dataclass(frozen=True)
class Written:
    """A table in some dialect, and what it says."""

    content: bytes
    rate_hz: float
    values: Floats
    missing: list[int]
    scales: list[float]


@st.composite
def tables(draw: st.DrawFn) -> Written:
    separator = draw(st.sampled_from([",", ";", "\t", "|", "  "]))
    decimal = "." if separator == "," else draw(st.sampled_from([".", ","]))
    named = draw(st.booleans())
    rate_hz = draw(st.sampled_from([10.0, 400.0, 1000.0, 44100.0, 390625.0, 3.0, 0.2]))
    unit, seconds = draw(st.sampled_from([("s", 1.0), ("ms", 1e-3), ("us", 1e-6)])) if named else ("s", 1.0)
    places = max(1, math.ceil(math.log10(40 * rate_hz * seconds)))  # a step has 40 quanta or more
    start = draw(st.sampled_from([0.0, -1.5, 12.34])) / seconds
    rows, width = draw(st.integers(20, 70)), draw(st.integers(1, 4))
    lost = draw(st.sets(st.integers(12, rows - 2), max_size=3))
    if len(lost) * 4 > rows:
        lost = set()
    cells = draw(st.lists(st.lists(_CELLS, min_size=width, max_size=width), min_size=rows, max_size=rows))
    cells[0] = ["1.5"] * width
    units = [draw(st.sampled_from([("V", 1.0), ("mV", 1e-3), ("A", 1.0)])) for _ in range(width)]
    empty = draw(st.sampled_from(["NaN", "NULL", "--"] if separator == "  " else ["", "NaN", "NULL", "--"]))
    lines = []
    for row in sorted(set(range(rows)) - lost):
        time = f"{start + row / rate_hz / seconds:.{places}f}"
        line = separator.join(cell or empty for cell in [time, *cells[row]])
        lines.append(line.replace(".", decimal) + (separator if separator == ";" else ""))
    head = []
    if named:
        title = draw(st.sampled_from(["Time", "Zeit", "t", "time"]))
        names = [f"{title} ({unit})"] + [f"Ch{i} [{units[i][0]}]" for i in range(width)]
        head = [*draw(st.sampled_from([[], ["Test run"], ["Some logger", ""]])), separator.join(names)]
    end = draw(st.sampled_from(["\n", "\r\n", "\r"]))
    text = end.join([*head, *lines]) + end
    values = np.array([[float(cell) if cell else np.nan for cell in row] for row in cells])
    values[sorted(lost)] = np.nan
    encoding = draw(st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "latin-1"]))
    return Written(text.encode(encoding), rate_hz, values, sorted(lost), [u[1] if named else 1.0 for u in units])


_CELLS = st.one_of(
    st.floats(-1000, 1000).map(lambda value: f"{value:.4f}"),
    st.floats(-1, 1).map(lambda value: f"{value:.3e}"),
    st.floats(-5, 5).map(lambda value: f"{value:.2f}"),
    st.just(""),
)


@settings(max_examples=150, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])
@given(written=tables())
def test_a_table_in_any_dialect_reads_back(tmp_path: Path, written: Written) -> None:
    foreign = open_foreign(write(tmp_path, written.content))
    held = ~np.isnan(written.values).all(axis=0)
    assert foreign.rate_hz == pytest.approx(written.rate_hz, rel=2e-4)
    assert [channel.scale for channel in foreign.channels] == [
        s for s, h in zip(written.scales, held, strict=True) if h
    ]
    np.testing.assert_array_equal(matrix(foreign), written.values[:, held])
    whole_rows = {
        row for first, length, channel in gaps(foreign) if channel is None for row in range(first, first + length)
    }
    assert whole_rows == set(written.missing)


@settings(max_examples=40, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(rows=st.integers(2, 400), rate=st.floats(0.5, 1e6), columns=st.integers(1, 5))
def test_without_times_rows_follow_each_other_at_the_rate_given(
    tmp_path: Path, rows: int, rate: float, columns: int
) -> None:
    text = table(rows, lambda row: ",".join(f"{wave(row * columns + i):.6f}" for i in range(columns)), head="")
    foreign = open_foreign(write(tmp_path, text), rate)
    assert foreign.rate_hz == rate
    wanted = [[float(f"{wave(row * columns + i):.6f}") for i in range(columns)] for row in range(rows)]
    np.testing.assert_array_equal(matrix(foreign), wanted)


def test_items_start_anew_each_time_and_a_block_is_kept(tmp_path: Path) -> None:
    text = table(90_000, lambda row: f"{row * 0.001:.3f},{wave(row):.9f},{-wave(row):.9f}", "Time (s),a (V),b (V)\n")
    foreign = open_foreign(write(tmp_path, text))
    blocks = [item for item in foreign.items() if isinstance(item, Block)]
    copies = [block.counts.copy() for block in blocks]
    again = [item.counts for item in foreign.items() if isinstance(item, Block)]
    assert len(blocks) > 2
    for block, copy, repeated in zip(blocks, copies, again, strict=True):
        np.testing.assert_array_equal(block.counts, copy)
        np.testing.assert_array_equal(repeated, copy)
    assert blocks[-1].counts[-1, 0] == float(f"{wave(89_999):.9f}")


def test_memory_does_not_grow_with_the_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("capture._foreign._text_lines.CHUNK", 1 << 16)
    peaks = []
    for rows in (40_000, 160_000):
        path = write(tmp_path, table(rows, lambda row: f"{row * 0.001:.3f},{row % 97}.25"))
        tracemalloc.start()
        foreign = open_foreign(path)
        assert sum(len(item.counts) for item in foreign.items() if isinstance(item, Block)) == rows
        peaks.append(tracemalloc.get_traced_memory()[1])
        tracemalloc.stop()
    assert peaks[1] < 1.1 * peaks[0]


@settings(max_examples=25, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(written=tables(), chunk=st.integers(1, 400))
def test_small_chunks_read_the_same(tmp_path: Path, written: Written, chunk: int) -> None:
    """Cuts fall into cells, line ends, gaps and the last row; nothing of it shows."""
    path = write(tmp_path, written.content)
    whole = open_foreign(path)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("capture._foreign._text_lines.CHUNK", chunk)
        parts = open_foreign(path)
        assert parts.rate_hz == pytest.approx(whole.rate_hz, rel=1e-13)
        assert (parts.frames, parts.channels) == (whole.frames, whole.channels)
        assert parts.warnings == whole.warnings
        values = matrix(parts)
    np.testing.assert_array_equal(matrix(whole), values)


# ---------------------------------------------------------------- the rate


@pytest.mark.parametrize(
    "rate_hz, places, rows",
    [(2000.0, 4, 5000), (390625.0, 8, 3000), (44100.0, 6, 2000), (60.0, 3, 900), (700.0, 3, 4000), (1 / 3, 0, 200)],
)
def test_rounded_times_give_the_round_rate(tmp_path: Path, rate_hz: float, places: int, rows: int) -> None:
    """Each step is rounded by up to half of itself; the fit over all rows is not."""
    text = table(rows, lambda row: f"{row / rate_hz:.{places}f},{wave(row):.4f}")
    foreign = open_foreign(write(tmp_path, text))
    assert foreign.rate_hz == pytest.approx(rate_hz, rel=1e-12)
    assert foreign.frames == rows
    assert gaps(foreign) == []


def test_a_rate_that_is_not_round_is_not_made_round(tmp_path: Path) -> None:
    rate_hz = 1000.37
    text = table(20_000, lambda row: f"{row / rate_hz:.7f},{wave(row):.4f}")
    assert open_foreign(write(tmp_path, text)).rate_hz == pytest.approx(rate_hz, rel=1e-9)


def test_significant_digits_that_coarsen_with_time_are_allowed_for(tmp_path: Path) -> None:
    """Six significant digits: a quantum of 1e-4 s above 10 s, at steps of 0.001 s."""
    text = table(30_000, lambda row: f"{row * 0.001 + 0.5:.6g},{wave(row):.4f}")
    foreign = open_foreign(write(tmp_path, text))
    assert (foreign.rate_hz, foreign.frames) == (1000.0, 30_000)


@pytest.mark.parametrize(
    "head, rate_hz",
    [
        ("Sample Interval,2.00000e-05,s\nCH1\n", 50_000.0),
        ("# Sampling Rate (Hz):= 1000.00\n# Resolution:= 12\n", 1000.0),
        ("Sample rate: 48 kHz\n", 48_000.0),
        ("Sampling frequency = 2.5 MHz\n", 2.5e6),
        ("Sample Rate [MS/s]: 1.25\n", 1.25e6),
        ("sample_rate_khz=8\n", 8000.0),
        ("Horizontal interval  20 us\n", 50_000.0),
        ('"Sampling period","0.5 ms"\n', 2000.0),
        ("% dt = 0.004\n", 250.0),
        ("Abtastrate: 200 Hz\nWert\n", 200.0),
    ],
)
def test_an_interval_or_rate_in_the_header_is_enough(tmp_path: Path, head: str, rate_hz: float) -> None:
    foreign = open_foreign(write(tmp_path, table(40, lambda row: f"{wave(row):.4f}", head)))
    assert foreign.rate_hz == pytest.approx(rate_hz, rel=1e-14)
    assert matrix(foreign)[3, 0] == float(f"{wave(3):.4f}")


def test_start_and_increment_may_stand_in_the_names_row(tmp_path: Path) -> None:
    head = "X,CH1,CH2,Start,Increment,\nSequence,Volt,mV,-1.2e-02,4.00e-05\n"
    foreign = open_foreign(write(tmp_path, table(60, lambda row: f"{row},{wave(row):.3e},{row % 7}.5,", head)))
    assert foreign.rate_hz == 25_000.0
    assert [(c.name, c.unit, c.scale) for c in foreign.channels] == [("CH1", "V", 1.0), ("CH2", "V", 1e-3)]


def test_the_headers_exact_interval_wins_over_rounded_times(tmp_path: Path) -> None:
    head = "Sampling Rate (Hz),1500\nTime (s),CH1 (V)\n"
    text = table(500, lambda row: f"{row / 1500:.3f},{wave(row):.4f}", head)
    foreign = open_foreign(write(tmp_path, text))
    assert foreign.rate_hz == 1500.0
    assert any("printed to 0.001 s only" in warning and "line 1" in warning for warning in foreign.warnings)


def test_a_header_that_contradicts_the_times_is_not_chosen_in_silence(tmp_path: Path) -> None:
    path = write(tmp_path, timed(300, "Sampling Rate (Hz),150\nTime (s),CH1 (V)\n"))
    assert refused(path) == (
        "line 1: states an interval of 0.00666666667 s, but the times say 0.01 s; "
        "correct that line, or give --rate 100 if the times hold"
    )
    foreign = open_foreign(path, 100)
    assert foreign.rate_hz == 100.0
    assert any("--rate decided" in warning for warning in foreign.warnings)


def test_two_rates_in_the_header_need_a_decision(tmp_path: Path) -> None:
    path = write(tmp_path, table(40, lambda row: f"{wave(row):.4f}", "Rate: 100 Hz\nSample rate: 200 Hz\n"))
    assert "line 2: states 200 Hz, but line 1 states 100 Hz" in refused(path)
    assert open_foreign(path, 200).rate_hz == 200.0
    assert "--rate says 300 Hz" in refused(path, 300)


def test_the_headers_interval_tells_the_unit_of_a_bare_time_column(tmp_path: Path) -> None:
    text = table(40, lambda row: f"{row * 5},{wave(row):.4f}", "Sample rate: 200 Hz\nTime,CH1\n")
    assert open_foreign(write(tmp_path, text)).rate_hz == 200.0


def test_a_time_without_unit_is_taken_as_seconds_aloud_and_bows_to_the_user(tmp_path: Path) -> None:
    path = write(tmp_path, timed(50, "Time,CH1 (V)\n"))
    foreign = open_foreign(path)
    assert foreign.rate_hz == 100.0
    assert "column 1 'Time' states no unit of time and was taken as seconds" in foreign.warnings
    assert open_foreign(path, 100_000).rate_hz == 100_000.0


def test_a_rate_against_stated_times_is_refused(tmp_path: Path) -> None:
    path = write(tmp_path, timed(50))
    assert "--rate 50 does not fit: by column 1 'Time' the rows come at 100 Hz; leave --rate out" in refused(path, 50)
    assert open_foreign(path, 100.0).rate_hz == 100.0


@pytest.mark.parametrize("rate", [0.0, -5.0, math.nan, math.inf])
def test_a_rate_that_is_none_is_refused(tmp_path: Path, rate: float) -> None:
    assert "is no rate" in refused(write(tmp_path, timed(50)), rate)


# ---------------------------------------------------------------- missing rows, missing cells


def test_whole_multiples_of_the_interval_are_gaps(tmp_path: Path) -> None:
    rows = [row for row in range(2000) if row not in {700, 701, 702, 1999 - 40}]
    text = table(len(rows), lambda i: f"{rows[i] * 0.0025 - 1:.4f},{wave(rows[i]):.5f}")
    foreign = open_foreign(write(tmp_path, text))
    assert (foreign.rate_hz, foreign.frames) == (400.0, 2000)
    assert gaps(foreign) == [(700, 3, None), (1959, 1, None)]
    assert matrix(foreign)[1999, 0] == float(f"{wave(1999):.5f}")
    assert any("4 rows missing in 2 places" in warning for warning in foreign.warnings)


def test_a_missing_second_in_whole_seconds_is_a_gap_and_not_rounding(tmp_path: Path) -> None:
    text = table(500, lambda row: f"{row + (row > 300)},{wave(row):.4f}")
    foreign = open_foreign(write(tmp_path, text))
    assert (foreign.rate_hz, gaps(foreign)) == (1.0, [(301, 1, None)])


def test_a_clock_that_wanders_by_steps_over_the_file_loses_no_rows(tmp_path: Path) -> None:
    """50 parts in a million over 60 000 rows: three steps late at the end, and one row missing in the middle."""
    rows = [row for row in range(60_000) if row != 30_000]
    text = table(len(rows), lambda i: f"{rows[i] * 0.01 + 2.5e-10 * rows[i] ** 2 / 30:.5f},{rows[i] % 89}.5")
    foreign = open_foreign(write(tmp_path, text))
    assert foreign.frames == 60_000
    assert gaps(foreign) == [(30_000, 1, None)]


def test_a_row_counter_that_jumps_leaves_a_gap(tmp_path: Path) -> None:
    text = table(50, lambda row: f"{row + 5 * (row > 20)},{wave(row):.4f}", "Sample,CH1 (V)\n")
    path = write(tmp_path, text)
    assert "column 1 'Sample' only counts the rows" in refused(path)
    foreign = open_foreign(path, 250)
    assert (foreign.rate_hz, gaps(foreign)) == (250.0, [(21, 5, None)])


def test_cells_without_a_value_are_gaps_of_their_channel(tmp_path: Path) -> None:
    words = ["", "NULL", "NaN", "--", "#N/A", "OL", "inf", "-1.#INF", "9.9E+37", "9.91E37", "1.25"]
    text = table(22, lambda row: f"{row * 0.1:.1f},{words[row % 11]},{row}.5", "Time (s),a (V),b (V)\n")
    foreign = open_foreign(write(tmp_path, text))
    causes = [
        (gap.first, gap.length, gap.cause) for gap in foreign.items() if isinstance(gap, Gap) and gap.channel == 0
    ]
    empty, overload = "empty cell in the file", "overload in the file"
    expected = [(0, 5, empty), (5, 4, overload), (9, 1, empty)]
    assert causes == expected + [(first + 11, length, cause) for first, length, cause in expected]
    assert not np.isnan(matrix(foreign)[:, 1]).any()
    assert any("12 cells without a value (empty cell" in warning for warning in foreign.warnings)
    assert any("8 cells without a value (overload" in warning for warning in foreign.warnings)


def test_an_empty_line_in_a_single_column_is_a_missing_sample(tmp_path: Path) -> None:
    text = "Sample rate: 10 Hz\n" + "\n".join(["1.5", "2.5", "", "", "4.5", "3.5", "1", "2", "1"]) + "\n\n\n"
    foreign = open_foreign(write(tmp_path, text))
    assert (foreign.frames, gaps(foreign)) == (9, [(2, 2, 0)])


def test_uneven_rows_need_a_rate_and_land_on_its_grid(tmp_path: Path) -> None:
    times = np.cumsum([0.5] * 20 + [0.1] * 20 + [2.0] * 5)
    text = table(45, lambda row: f"{times[row]:.1f},{wave(row):.4f}")
    path = write(tmp_path, text)
    line = refused(path)
    assert line.startswith("line 42: rows are not evenly spaced: by column 1 'Time', steps go from 0.1 s (line 2")
    assert "to 2 s (line 42); give --rate HZ" in line
    assert line.endswith("for instance --rate 10")
    foreign = open_foreign(path, 10)
    places = np.rint((times - times[0]) * 10).astype(int)
    held = matrix(foreign)[:, 0]
    assert foreign.frames == places[-1] + 1
    np.testing.assert_array_equal(held[places], [float(f"{wave(row):.4f}") for row in range(45)])
    assert np.isnan(held).sum() == foreign.frames - 45


def test_rows_that_collide_or_fall_between_on_the_users_grid_are_refused_by_line(tmp_path: Path) -> None:
    times = [0.0, 0.5, 1.0, 1.5, 1.6, 1.7, 3.0, 4.0, 5.0, 5.1, 6.0, 8.3]
    path = write(tmp_path, table(12, lambda row: f"{times[row]},{wave(row):.4f}"))
    assert "line 6: falls on the same place of the 2 Hz grid as the row before it; give a higher --rate" in refused(
        path, 2
    )
    assert "line 3: falls between two places of the 1 Hz grid" in refused(path, 1)


def test_jitter_below_a_quarter_step_is_taken_as_even_aloud(tmp_path: Path) -> None:
    text = table(200, lambda row: f"{row * 0.1 + 0.01 * math.sin(row * 2.1):.4f},{wave(row):.4f}")
    foreign = open_foreign(write(tmp_path, text))
    assert foreign.rate_hz == pytest.approx(10.0, rel=1e-3)
    assert any("more than the printed digits explain" in warning for warning in foreign.warnings)


@pytest.mark.parametrize("rate", [None, 100.0])
def test_time_that_runs_backwards_is_refused_with_its_line(tmp_path: Path, rate: float | None) -> None:
    text = table(60, lambda row: f"{(5 if row == 40 else row) * 0.01:.2f},{wave(row):.4f}")
    assert refused(write(tmp_path, text), rate).startswith(
        "line 42: time runs backwards, from 0.39 to 0.05; split the file"
    )


def test_time_that_stands_still_is_refused_with_its_line(tmp_path: Path) -> None:
    text = table(60, lambda row: f"{(row - (row == 40)) * 0.01:.2f},{wave(row):.4f}")
    assert refused(write(tmp_path, text)).startswith("line 42: time stands still: column 1 'Time'")
    text = table(60, lambda row: f"0.00,{wave(row):.4f}")
    assert refused(write(tmp_path, text)).startswith("line 3: time stands still")


# ---------------------------------------------------------------- clocks


def clock_table(stamp: Callable[[int], str], rows: int = 80, head: str = "When;U (V)\n") -> str:
    return table(rows, lambda row: f"{stamp(row)};{wave(row):.4f}", head)


def moment(row: int, step_s: float = 0.5) -> datetime:
    """Across midnight and the end of a leap February."""
    return datetime(2024, 2, 28, 23, 59, 45) + timedelta(seconds=row * step_s)


@pytest.mark.parametrize(
    "stamp",
    [
        lambda row: moment(row).isoformat(timespec="milliseconds"),
        lambda row: moment(row).isoformat(" ", timespec="milliseconds") + "Z",
        lambda row: moment(row).isoformat(timespec="milliseconds") + "+02:00",
        lambda row: moment(row).strftime("%H:%M:%S.%f")[:-3],
        lambda row: moment(row).strftime("%d.%m.%Y %H:%M:%S.%f")[:-5],
        lambda row: moment(row).strftime("%Y/%m/%d %I:%M:%S.%f")[:-3] + moment(row).strftime(" %p"),
    ],
)
def test_clock_times_across_midnight(tmp_path: Path, stamp: Callable[[int], str]) -> None:
    foreign = open_foreign(write(tmp_path, clock_table(stamp)))
    assert (foreign.rate_hz, foreign.frames, gaps(foreign)) == (2.0, 80, [])


def test_date_and_time_in_two_columns_with_decimal_commas(tmp_path: Path) -> None:
    def line(row: int) -> str:
        when = moment(row + (2 if row > 30 else 0))
        return f"{when:%d.%m.%Y};{when:%H:%M:%S},{when.microsecond // 100000};" + f"{wave(row):.4f}".replace(".", ",")

    foreign = open_foreign(write(tmp_path, table(80, line, "Datum;Uhrzeit;U/V\n")))
    assert (foreign.rate_hz, gaps(foreign)) == (2.0, [(31, 2, None)])
    assert [(c.name, c.unit) for c in foreign.channels] == [("U", "V")]


def test_hours_zone_changes_are_counted(tmp_path: Path) -> None:
    """The clock goes back an hour, the offset with it: no row is missing."""
    text = clock_table(
        lambda row: f"2024-10-27T02:59:{row:02d}+02:00" if row < 60 else f"2024-10-27T02:00:{row - 60:02d}+01:00"
    )
    foreign = open_foreign(write(tmp_path, text))
    assert (foreign.rate_hz, foreign.frames) == (1.0, 80)


def test_dates_that_cannot_be_told_may_not_change(tmp_path: Path) -> None:
    text = clock_table(lambda row: f"{moment(row).month}/{moment(row).day}/24 {moment(row):%H:%M:%S.%f}")
    line = refused(write(tmp_path, text))
    assert line.startswith("line 32, column 1 'When': '2/29/24")
    assert "2024-01-31" in line


# ---------------------------------------------------------------- columns, names, units


def test_units_rows_names_and_prefixes(tmp_path: Path) -> None:
    head = "Zeit\tKanal 1\tKanal 2\tKanal 3\nSekunden\t( mV )\t(A)\t(bar)\n\n"
    text = table(30, lambda row: f"{row * 3}\t{row % 5},25\t{row % 3},5\t{row % 7},125", head)
    foreign = open_foreign(write(tmp_path, text))
    assert foreign.rate_hz == 1 / 3
    assert [(c.name, c.unit, c.scale) for c in foreign.channels] == [
        ("Kanal 1", "V", 1e-3),
        ("Kanal 2", "A", 1.0),
        ("Kanal 3", "FS", 1.0),
    ]
    assert any("'Kanal 3' (bar)" in warning and "as printed" in warning for warning in foreign.warnings)


@pytest.mark.parametrize(
    "name, unit, scale",
    [
        ("CH1[V]", "V", 1.0),
        ("Supply (kV)", "V", 1e3),
        ("U_bat/mV", "V", 1e-3),
        ("supply_mV", "V", 1e-3),
        ("I (µA)", "A", 1e-6),
        ("Clamp [Ampere]", "A", 1.0),
        ("Channel_A", "FS", 1.0),  # a letter behind an underscore is no unit
        ("X (MV)", "FS", 1.0),  # mega or milli: not guessed
        ("Level (FS)", "FS", 1.0),
    ],
)
def test_units_of_channels(tmp_path: Path, name: str, unit: str, scale: float) -> None:
    foreign = open_foreign(write(tmp_path, timed(30, f"Time (s),{name}\n")))
    assert (foreign.channels[0].unit, foreign.channels[0].scale) == (unit, scale)
    assert any("stay as printed" in warning for warning in foreign.warnings) == (unit == "FS" and "(FS)" not in name)


def test_a_header_beside_the_first_rows(tmp_path: Path) -> None:
    facts = ["Record Length,60", "Sample Interval,1.0e-02", "Source,CH1", "Vertical Units,mV", "Note,none"]
    text = table(60, lambda row: f"{facts[row] if row < 5 else ','},,{row * 0.01:.2f},{wave(row):.4f},", head="")
    foreign = open_foreign(write(tmp_path, text))
    assert (foreign.rate_hz, foreign.frames) == (100.0, 60)
    assert [(c.unit, c.scale) for c in foreign.channels] == [("V", 1e-3)]


def test_words_are_left_out_and_named(tmp_path: Path) -> None:
    text = table(
        50, lambda row: f"{row * 0.1:.1f},{wave(row):.4f},{'RUN' if row % 3 else 'HOLD'}", "Time (s),U (V),State\n"
    )
    foreign = open_foreign(write(tmp_path, text))
    assert [channel.name for channel in foreign.channels] == ["U"]
    assert "columns left out because they hold words: 'State'" in foreign.warnings


def test_a_second_time_column_and_a_counter_are_no_signals(tmp_path: Path) -> None:
    head = "No,Time (s),a (V),Time (s),b (V)\n"
    text = table(50, lambda row: f"{row},{row * 0.5},{wave(row):.4f},{row * 0.5},{-wave(row):.4f}", head)
    foreign = open_foreign(write(tmp_path, text))
    assert [channel.name for channel in foreign.channels] == ["a", "b"]
    assert any("'No', 'Time'" in warning for warning in foreign.warnings)


def test_channels_of_one_name_get_their_own(tmp_path: Path) -> None:
    foreign = open_foreign(
        write(tmp_path, table(30, lambda row: f"{row / 10},{wave(row):.3f},1.5", "Time (s),U (V),U (V)\n"))
    )
    assert [channel.name for channel in foreign.channels] == ["U", "U (2)"]


def test_without_a_header_the_first_rising_even_column_is_the_time_aloud(tmp_path: Path) -> None:
    text = table(60, lambda row: f"7,{row},{row * 0.02 - 0.3:.2f},{wave(row):.4f}", head="")
    foreign = open_foreign(write(tmp_path, text))
    assert foreign.rate_hz == 50.0
    assert "column 3 rises from row to row and was taken as the time, in seconds" in foreign.warnings
    assert [channel.name for channel in foreign.channels] == ["column 1", "column 4"]


def test_a_signal_before_a_rising_column_means_that_there_is_no_time(tmp_path: Path) -> None:
    """A ramp behind a signal is a signal: the time would stand first."""
    text = table(60, lambda row: f"{wave(row):.4f},{row * 0.02:.2f}", head="")
    path = write(tmp_path, text)
    assert "there is no time column" in refused(path)
    assert len(open_foreign(path, 50).channels) == 2


def test_whole_numbers_that_count_are_not_taken_for_seconds(tmp_path: Path) -> None:
    path = write(tmp_path, table(60, lambda row: f"{row};{wave(row):.4f}", head=""))
    assert "(column 1 only counts the rows)" in refused(path)
    assert [channel.name for channel in open_foreign(path, 8000).channels] == ["column 2"]


# ---------------------------------------------------------------- odd bytes and lines


def test_nul_bytes_are_dropped_and_counted(tmp_path: Path) -> None:
    text = timed(50).replace("0.1000,", "\0" + "0.10\0" + "00,").encode()
    foreign = open_foreign(write(tmp_path, text))
    assert foreign.rate_hz == 100.0
    assert "2 NUL bytes dropped" in foreign.warnings


@pytest.mark.parametrize("encoding", ["utf-16", "utf-16-le", "utf-16-be", "utf-32", "utf-8-sig", "latin-1"])
def test_encodings(tmp_path: Path, encoding: str) -> None:
    foreign = open_foreign(write(tmp_path, timed(50, "Time (µs),Spannung über R (mV)\n").encode(encoding)))
    assert foreign.rate_hz == pytest.approx(1e8)
    assert foreign.channels[0].name == "Spannung über R"


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r", "\r\r\n"])
def test_line_ends(tmp_path: Path, end: str) -> None:
    foreign = open_foreign(write(tmp_path, timed(50).replace("\n", end)))
    assert (foreign.rate_hz, foreign.frames) == (100.0, 50)


def test_remarks_and_empty_rows_of_a_spreadsheet(tmp_path: Path) -> None:
    text = timed(30) + "# pressed the horn\n\n" + timed(60, head="").split("\n", 30)[30] + ",\n,\n"
    foreign = open_foreign(write(tmp_path, text))
    assert (foreign.rate_hz, foreign.frames) == (100.0, 60)
    assert "1 remark line among the rows skipped" in foreign.warnings


@pytest.mark.parametrize("tail", ["0.5000", "0.5000,", "0.5000,0.12", "0.5000,1.2e", "0.50", "0.5000,-"])
def test_a_last_row_cut_in_mid_write_is_dropped_aloud(tmp_path: Path, tail: str) -> None:
    foreign = open_foreign(write(tmp_path, timed(50) + tail))
    if tail in ("0.5000,", "0.5000,-"):  # indistinguishable from an empty cell
        assert gaps(foreign) == [(50, 1, 0)]
    else:
        assert foreign.frames == 50
        assert "line 52, the last, is no whole row and was left out" in foreign.warnings


def test_a_whole_last_row_needs_no_line_end(tmp_path: Path) -> None:
    foreign = open_foreign(write(tmp_path, timed(50) + "0.5000,0.12345"))
    assert matrix(foreign)[50, 0] == 0.12345


def test_decimal_commas_in_one_column(tmp_path: Path) -> None:
    text = table(40, lambda row: f"{row % 4},0{row % 10}", head="")
    assert matrix(open_foreign(write(tmp_path, text), 10))[17, 0] == 1.07


@pytest.mark.parametrize("separator, decimal", [(",", "."), (";", ","), (",", ",")])
def test_cells_in_quotes(tmp_path: Path, separator: str, decimal: str) -> None:
    """Only quotes tell a decimal comma from a comma between cells."""
    lines = [f'"{row * 0.01:.2f}"{separator}"{wave(row):.4f}"'.replace(".", decimal) for row in range(40)]
    foreign = open_foreign(write(tmp_path, "\n".join([f'"Time (s)"{separator}"U, battery (V)"', *lines, ""])))
    assert (foreign.rate_hz, foreign.channels[0].name, foreign.channels[0].unit) == (100.0, "U, battery", "V")
    assert matrix(foreign)[7, 0] == float(f"{wave(7):.4f}")


def test_channels_that_are_called_by_numbers(tmp_path: Path) -> None:
    foreign = open_foreign(write(tmp_path, table(30, lambda row: f"{row / 10},{wave(row):.3f},1.5", "Time (s),1,2\n")))
    assert ([channel.name for channel in foreign.channels], foreign.frames) == (["1", "2"], 30)


# ---------------------------------------------------------------- refusals


def content(lines: int = 40, **changed: str) -> str:
    """A good table with some rows (by number, r0 is the first) replaced."""
    return table(
        lines, lambda row: changed.get(f"r{row}", f"{row * 0.01:.2f},{wave(row):.4f},1.5"), "Time (s),a (V),b (V)\n"
    )


@pytest.mark.parametrize(
    "text, expected",
    [
        (content(r20="0.20,0.5"), "line 22: has 2 cells where the rows of this table have 3; complete that line"),
        (content(r20="0.20,0.5,1,1"), "line 22: has 4 cells where the rows of this table have 3"),
        (content(r39="0.39,0.5,1,1"), "line 41: has 4 cells where the rows of this table have 3"),
        (content(r20="0.20,high,1.5"), "line 22, column 2 'a': 'high' is not a number; correct the cell, or empty it"),
        (content(r20="0.20,1_000,1.5"), "line 22, column 2 'a': '1_000' is not a number"),
        (content(r20=",0.5,1.5"), "line 22, column 1 'Time': '' is not a number; correct the time or delete that row"),
        (content(r20="Time (s),a (V),b (V)"), "line 22, column 1 'Time': 'Time (s)' is not a number"),
        ("1,5\n2,5\n2,5\n1,5\n", "line 1: '1,5' may be one number with a decimal comma or two numbers; separate"),
        ("0,5,1,05\n0,6,1,07\n0,7,1,08\n", "line 1: '0,5,1,05' seems to use the comma both as decimal mark and"),
        (
            "1.5," * 3000 + "1.5\n" + "2.5," * 3000 + "1.5\n",
            "line 1: has 3001 columns, and a recording holds at most 256",
        ),
        ("Time (s)\n1\n2\n3\n", "line 2: there is no column of samples; export at least one channel beside the time"),
        ("4.5\n1\n2\n3\n", "line 1: there is no time column, and no sampling rate or interval is stated above"),
        (
            table(40, lambda row: f"{row * 0.5};1.{row + 100},5", "Zeit (s);U\n"),
            "line 2: there is no column of samples; these hold words or something else than numbers: 'U'",
        ),
    ],
)
def test_wrong_tables_are_refused_by_line(tmp_path: Path, text: str, expected: str) -> None:
    assert refused(write(tmp_path, text)).startswith(expected)


def test_points_among_decimal_commas_are_refused(tmp_path: Path) -> None:
    """1.250,5 may be a thousand and more; nobody guesses."""
    rows = [f"{row * 0.5:.1f};{row % 9},2505".replace(".", ",") for row in range(40)]
    rows[20] = "10,0;1.250,5"
    assert "line 22, column 2 'U': '1.250,5' is not a number" in refused(
        write(tmp_path, "\n".join(["Zeit (s);U (V)", *rows, ""]))
    )


PROSE = "The horn was pressed twice, and nobody heard it.\n\nThen, on 3 May, we tried again: no change.\n" * 40


@pytest.mark.parametrize(
    "data, expected",
    [
        (b"", "byte 0: the file is empty"),
        (b"\0" * 100_000, "byte 0: holds nothing but NUL bytes and blanks"),
        (b"\n" * 1000, "byte 0: holds nothing but NUL bytes and blanks"),
        (bytes(range(256)) * 400, "byte 1: holds binary data"),
        (PROSE.encode(), "lines 1 to 120: hold no table of numbers; give a text file with a row of numbers"),
        (b"x" * 10_000_000, "line 1: is longer than 131072 characters"),
        (b"1.5," * 2_500_000, "line 1: is longer than 131072 characters"),
        (b"1.5\n" * 5000 + b"1" * 10_000_000, "line 5001: is longer than 131072 characters"),
        (
            b"\x89HDF\r\n\x1a\n" + b"\0" * 100,
            "byte 0: is an HDF5 file, which is not imported; a recording of humproof is",
        ),
        (b"PK\x03\x04" + b"\0" * 100, "byte 0: is a ZIP archive or a spreadsheet, not samples; unpack it, or save"),
        (b"\x1f\x8b\x08" + b"\0" * 100, "byte 0: is a gzip archive, not samples; unpack it first"),
    ],
)
def test_what_is_no_table_is_refused_at_once(tmp_path: Path, data: bytes, expected: str) -> None:
    path = write(tmp_path, data)
    tracemalloc.start()
    try:
        assert refused(path, 10.0).startswith(expected)
        assert tracemalloc.get_traced_memory()[1] < 30_000_000
    finally:
        tracemalloc.stop()


def test_paths_that_lead_nowhere(tmp_path: Path) -> None:
    assert refused(tmp_path / "none.csv") == "does not exist; check the path"
    assert refused(tmp_path).startswith("is a folder; give a sound file")
    with pytest.raises(ImportRefused, match=r"^a b: "):
        open_foreign(Path("a\0b"))


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no named pipes on this system")
def test_a_pipe_is_not_waited_for(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    assert refused(tmp_path / "pipe").startswith("is not an ordinary file")


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="the superuser may read everything")
def test_a_file_without_read_permission(tmp_path: Path) -> None:
    path = write(tmp_path, timed(50))
    path.chmod(0)
    assert refused(path).startswith("cannot be read: Permission denied")


def test_a_file_that_cannot_be_read_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def denied(*_: object, **__: object) -> None:
        raise PermissionError(13, "Permission denied")

    path = write(tmp_path, timed(50))
    monkeypatch.setattr("builtins.open", denied)
    assert refused(path) == "cannot be read: Permission denied; check the path and its rights"


def test_a_file_that_changes_between_check_and_reading_is_refused(tmp_path: Path) -> None:
    path = write(tmp_path, timed(50))
    foreign = open_foreign(path)
    write(tmp_path, timed(60))
    with pytest.raises(ImportRefused, match="was changed after it was checked; import it again"):
        list(foreign.items())


def test_a_name_with_a_line_end_stays_on_one_line(tmp_path: Path) -> None:
    path = write(tmp_path, b"", "two\nlines.csv")
    with pytest.raises(ImportRefused) as caught:
        open_foreign(path)
    assert "\n" not in str(caught.value)


def test_an_hour_long_hole_in_a_short_table_is_no_gap(tmp_path: Path) -> None:
    """A time that jumps by years would make a grid of places with nothing in them."""
    text = table(30, lambda row: f"{row * 1e-6 + (1e6 if row == 29 else 0):.6f},{wave(row):.4f}")
    line = refused(write(tmp_path, text))
    assert line.startswith("line 31: leaves so long a gap that 30 rows would stand among")


# ---------------------------------------------------------------- hostile bytes

_MARKS = [b"\n", b"\r", b",", b";", b"\t", b'"', b"|", b"#", b"\0", b"\xff\xfe", b"\xc2\xb5", b"_", b"(", b")"]
_NUMBERS = [b"1e9999", b"0e9999", b"1e-320", b"9.91e37", b"nan", b"-inf", b"0,05", b"1.5", b"2", b"-0.25"]
_STAMPS = [b"12:00:01", b"99.99.9999 1:2:3", b"2024-01-05T12:00:01"]
_WORDS = [b"Time (s)", b"Increment", b"Sample Rate: 1e9", b"OL", b"RUN"]
_PIECES = st.sampled_from([*_MARKS, *_NUMBERS, *_STAMPS, *_WORDS])


@settings(max_examples=200, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(lines=st.lists(st.lists(_PIECES, max_size=6), max_size=30), separator=st.sampled_from([b",", b";", b"\t", b" "]))
@example(lines=[[b"0e9999", b"1.5"]] * 15, separator=b",")
def test_only_a_refusal_ever_comes_out_of_odd_tables(
    tmp_path: Path, lines: list[list[bytes]], separator: bytes
) -> None:
    survives(write(tmp_path, b"\n".join(separator.join(line) for line in lines)))


@settings(max_examples=200, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_only_a_refusal_ever_comes_out_of_a_damaged_table(tmp_path: Path, data: st.DataObject) -> None:
    whole = bytearray(timed(60, "Sample rate: 100 Hz\nTime (s),CH1 (V)\n").encode())
    for _ in range(data.draw(st.integers(1, 6))):
        place = data.draw(st.integers(0, len(whole)))
        length = data.draw(st.integers(0, 40))
        whole[place : place + length] = data.draw(st.one_of(st.binary(max_size=4), _PIECES))
    survives(write(tmp_path, bytes(whole)))


@settings(max_examples=100, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(junk=st.binary(max_size=400))
def test_only_a_refusal_ever_comes_out_of_junk(tmp_path: Path, junk: bytes) -> None:
    survives(write(tmp_path, junk))


def survives(path: Path) -> None:
    """Any error but a refusal fails the test."""
    for rate_hz in (None, 100.0):
        with contextlib.suppress(ImportRefused):
            matrix(open_foreign(path, rate_hz))
