"""The difference below the spectra: its curve, why there is none, and how it follows the picture above."""

import csv
import io

import numpy as np
import pytest

from analysis import SpectraAccumulator
from gui._build import load_screen
from gui._change_curve import ChangeCurve
from gui._compare_view import CompareView
from gui._export import picture_csv
from gui._load import Library, open_views
from gui._palette import LIGHT
from gui._vector import save_svg
from tests.gui import _jobs

RATE_HZ, SEGMENT = 8_000.0, 1_024


def _spectra(seed, whine):
    time = np.arange(40 * SEGMENT) / RATE_HZ
    rows = 1e-4 * np.random.default_rng(seed).standard_normal(len(time))
    rows += whine * np.sqrt(2) * np.sin(2 * np.pi * 1_000.0 * time)
    found = SpectraAccumulator(RATE_HZ, 1, SEGMENT)
    found.update(rows[:, None])
    return found.result()


@pytest.fixture(scope="module")
def curve() -> ChangeCurve:
    """A whine of 10 mV that fell to 0.1 mV: by 40 dB; the noise beside it stayed."""
    ends = (np.log10(5.0), np.log10(RATE_HZ / 2))
    return ChangeCurve("amplifier input", _spectra(1, 1e-2), _spectra(2, 1e-4), (0, 0), 0.0, None, ends)


def test_the_whine_fell_by_what_it_fell_and_the_rest_stayed(curve):
    points = curve.points(*curve.ends, 400)
    there = np.abs(10**points.x - 1_000) < 20
    assert points.line[there].min() == pytest.approx(-40, abs=1.0)
    away = np.abs(10**points.x - 1_000) > 100
    assert np.abs(np.median(points.line[away])) < 0.3
    assert points.uncertain
    assert (points.low <= points.line).all()
    assert (points.line <= points.high).all()


def test_close_up_every_line_is_drawn(curve):
    points = curve.points(np.log10(900.0), np.log10(1_100.0), 600)
    assert points.thinned == 1
    lines = curve.before.frequency_hz
    inside = lines[(lines >= 900) & (lines <= 1_100)]
    assert set(np.round(inside, 6)) <= set(np.round(10**points.x, 6))


def test_the_extent_holds_no_change_and_the_largest(curve):
    x0, x1, low, high = curve.extent
    assert (x0, x1) == curve.ends
    assert low < -38
    assert high >= 3


def test_the_cursor_reads_change_and_band(curve):
    text = curve.reading(np.log10(1_000.0), 0.001)
    number, _, band = text.partition(" dB (")
    assert float(number.replace("−", "-")) == pytest.approx(-40, abs=0.5)
    low, _, high = band.rstrip(")").partition(" to ")
    assert float(low.replace("−", "-")) < -40 < float(high.replace("−", "-"))


def test_the_table_has_every_line(curve):
    heads, values = curve.table()
    assert len(heads) == values.shape[1] == 5
    assert len(values) == SEGMENT // 2


# ---------------------------------------------------------------- on the sheet


def _screen(folder):
    return load_screen(Library(), open_views(folder), 0, lambda fraction, doing: None)


@pytest.fixture
def view(qtbot) -> CompareView:
    made = CompareView(LIGHT)
    qtbot.addWidget(made)
    made.resize(1_300, 560)
    made.show()
    return made


@pytest.fixture(scope="module")
def whole_screen(whole_job):
    return _screen(whole_job)


def test_each_spectrum_has_its_difference(whole_screen):
    above, below = whole_screen.spectra, whole_screen.difference
    assert [group.label for group in below.groups] == [group.label for group in above.groups]
    assert all(len(group.curves) == 1 and group.unit == "dB" for group in below.groups)
    line = below.groups[0].curves[0].points(np.log10(600), np.log10(620), 50).line
    # 1 mV against 10 µV at 612.3 Hz.
    assert line.min() == pytest.approx(-40, abs=1.0)


def test_the_scale_is_in_the_band(whole_screen):
    """0.5 % on either side, in quadrature: 0.061 dB."""
    assert whole_screen.difference.groups[0].curves[0].scale_db == pytest.approx(0.0613, abs=1e-3)


def test_one_side_has_no_difference(found_job):
    assert _screen(found_job).difference is None


def test_a_refused_comparison_has_a_sentence_instead(faulty_job, view):
    screen = _screen(faulty_job)
    assert not any(group.curves for group in screen.difference.groups)
    view.show_screen(screen)
    view.give_keys("spectrum")
    assert not view.difference.canvas.isVisible()
    assert "No difference: engine speed not stated" in view.difference.cautions.text()
    assert view.difference.notes.text() == ""


def test_other_lines_are_refused(tmp_path):
    job = _jobs.found_only(tmp_path / "job")
    job = _jobs.add(job, "as left", _jobs.volts(2, sag=0.5, whine=1e-5)[:9_000], _jobs.info())
    group = _screen(job.folder).difference.groups[0]
    assert not group.curves
    assert "the same time" in group.cautions[0]


def test_both_pictures_move_together(view, whole_screen):
    view.show_screen(whole_screen)
    view.give_keys("spectrum")
    above, below = view.spectrum.canvas, view.difference.canvas
    for first, second in ((above, below), (below, above)):
        first.move("in")
        first.move("right")
        np.testing.assert_allclose(first.box.viewRange()[0], second.box.viewRange()[0])
    assert above.getAxis("left").width() == below.getAxis("left").width()
    view.whole()
    np.testing.assert_allclose(above.box.viewRange()[0], below.box.viewRange()[0])


def test_the_cursor_stands_at_the_same_frequency(view, whole_screen):
    view.show_screen(whole_screen)
    view.give_keys("difference")
    view.spectrum.canvas.set_cursor(np.log10(612.3))
    assert view.difference.canvas.cursor_line.value() == pytest.approx(np.log10(612.3))
    assert "at 612.3 Hz: −" in view.difference.place.text()
    view.difference.canvas.set_cursor(np.log10(100.0))
    assert view.spectrum.place.text() == "at 100.0 Hz"
    view.spectrum.canvas.hide_cursor()
    assert not view.difference.canvas.cursor_line.isVisible()


def test_another_tap_point_brings_its_difference(view, whole_screen):
    view.show_screen(whole_screen)
    view.spectrum.show_group(1)
    assert view.difference.group.label == view.spectrum.group.label


@pytest.mark.parametrize("job, front", [("whole_job", "supply"), ("empty_job", "spectrum")])
def test_the_picture_that_tells_more_is_in_front(request, job, front):
    assert _screen(request.getfixturevalue(job)).front == front


def test_it_is_exported_as_data_and_as_a_drawing(view, whole_screen, tmp_path):
    picture = whole_screen.difference
    rows = list(csv.reader(io.StringIO(picture_csv(whole_screen, picture, picture.groups[0]))))
    head = next(row for row in rows if row and row[0] == "frequency / Hz")
    assert head[1] == "difference, amplifier input / dB"
    view.show_screen(whole_screen)
    frame = view.difference.canvas.frame()
    save_svg(tmp_path / "a.svg", picture, picture.groups[0], frame, ("x",), simulated=True)
    text = (tmp_path / "a.svg").read_text(encoding="utf-8")
    assert "<!-- SIMULATED -->" in text
    assert "change / dB" in text
