"""What a canvas paints of a real file equals what every sample says, at the level of pixel columns."""

from pathlib import Path

import numpy as np
import pytest

from capture import Recording, RecordingError
from gui._band import column_mask
from gui._block_reader import BLOCK, FileDoor, sample_reader
from gui._canvas import Canvas
from gui._curves import Points
from gui._layers import CROWDED_PX, ups_and_downs
from gui._palette import LIGHT
from gui._qt import QtGui
from gui._screen import Group, PictureData
from gui._trace_curve import TraceCurve, trace_source
from job import study_recording
from tests.gui import _jobs

#: neither a multiple of the overview's 256 rows nor of the reader's blocks
FRAMES = 3 * BLOCK + 20_033
CHANNEL = 1
DATA = PictureData("Supply", "time", "s", decades=False, groups=())


@pytest.fixture(scope="module")
def path(tmp_path_factory) -> Path:
    """Noise with a gap, and an outlier in the very last row."""
    values = np.random.default_rng(5).normal(13.0, 0.4, (FRAMES, 3)) * [1, 1, 1e-4]
    values[-1] = 21.0, 22.0, 0.02
    folder = tmp_path_factory.mktemp("drawing")
    return _jobs.write(folder / "one.h5", values, _jobs.info(), gap_at=40_000, gap_rows=700)


@pytest.fixture(scope="module")
def curve(path) -> TraceCurve:
    return TraceCurve("as found", "amplifier supply", 0, "V", trace_source(study_recording(path)), CHANNEL)


@pytest.fixture
def canvas(qtbot, curve) -> Canvas:
    made = Canvas(LIGHT, decades=False)
    qtbot.addWidget(made)
    made.resize(900, 400)
    made.show()
    qtbot.waitExposed(made)
    made.show_group(DATA, Group("x", "supply", "V", (curve,)), simulated=False)
    return made


def _by_hand(path: Path, curve: TraceCurve, points: Points) -> tuple[np.ndarray, np.ndarray]:
    """Lowest and highest of each drawn column, from all samples of the file and one column at a time."""
    with Recording(path) as recording:
        samples = recording.values()[:, CHANNEL]
    low, high = [], []
    edges = np.round(points.x * curve.source.rate_hz - points.thinned / 2).astype(int)
    edges[-1] = edges[-2] + points.thinned if len(edges) > 1 else edges[-1]
    for first in edges:
        part = samples[first : first + points.thinned]
        part = part[~np.isnan(part)]
        low.append(part.min() if len(part) else np.nan)
        high.append(part.max() if len(part) else np.nan)
    return np.array(low), np.array(high)


VIEWS = [(0.0, 1.0), (0.3, 0.9), (0.9, 1.0), (0.5, 0.62), (0.998, 1.0)]


@pytest.mark.parametrize("view", VIEWS)
def test_the_canvas_draws_what_the_samples_are(canvas, curve, path, view):
    end = curve.extent[1]
    canvas.box.setXRange(view[0] * end, view[1] * end, padding=0)
    canvas.redraw()
    drawn, asked = canvas.layers.drawn(0), curve.points(*canvas.box.viewRange()[0], int(canvas.box.width()))
    np.testing.assert_array_equal(drawn.x, asked.x)
    if asked.low is None:
        assert view == VIEWS[-1]
        with Recording(path) as recording:
            samples = recording.values()[:, CHANNEL]
        np.testing.assert_array_equal(drawn.line, samples[np.round(drawn.x * curve.source.rate_hz).astype(int)])
        assert drawn.line[-1] == pytest.approx(22.0, abs=1e-3)
        return
    low, high = _by_hand(path, curve, asked)
    np.testing.assert_array_equal(drawn.low, low)
    np.testing.assert_array_equal(drawn.high, high)
    if view[1] == 1.0:
        assert drawn.high[-1] == pytest.approx(22.0, abs=1e-3), "the last partial block is missing"


@pytest.mark.parametrize("view", VIEWS[:3])
def test_every_pixel_is_the_same_from_the_pyramid_and_from_the_samples(canvas, curve, path, view):
    end = curve.extent[1]
    canvas.box.setXRange(view[0] * end, view[1] * end, padding=0)
    canvas.redraw()
    cached = _picture(canvas)
    points = curve.points(*canvas.box.viewRange()[0], int(canvas.box.width()))
    low, high = _by_hand(path, curve, points)
    canvas.layers.draw(0, Points(points.x, points.line, low, high, points.thinned), canvas.box.viewPixelSize()[1])
    assert np.array_equal(cached, _picture(canvas))
    canvas.layers.draw(0, Points(points.x, points.line, low, high + 0.2, points.thinned))
    assert not np.array_equal(cached, _picture(canvas)), "the picture does not show the band at all"


def _picture(canvas: Canvas) -> np.ndarray:
    image = canvas.grab().toImage().convertToFormat(QtGui.QImage.Format.Format_RGB32)
    data = image.constBits()
    data.setsize(image.sizeInBytes())
    return np.frombuffer(data, np.uint8).copy()


@pytest.mark.parametrize("spacing", [0.7, 1.0, 1.9, 7.3])
@pytest.mark.parametrize("start", [-13.2, 0.0, 30.4])
def test_a_mask_holds_every_column_that_a_pixel_touches(spacing, start):
    """Against one pixel at a time: it is inked from the highest to the lowest of all columns that it touches."""
    rng, width, height = np.random.default_rng(2), 90, 60
    x = start + spacing * np.arange(60)
    top = rng.uniform(-5, 50, len(x))
    bottom = top + rng.uniform(0, 20, len(x))
    top[7:12] = bottom[7:12] = np.nan
    mask = column_mask(x, top, bottom, width, height)
    for pixel in range(width):
        touched = (x - spacing / 2 < pixel + 1) & (x + spacing / 2 > pixel) & ~np.isnan(top)
        expected = np.zeros(height, bool)
        if touched.any():
            first = int(np.floor(top[touched].min()))
            last = max(int(np.ceil(bottom[touched].max())), first + 1)
            expected[max(first, 0) : max(last, 0)] = True
        assert np.array_equal(mask[:, pixel], expected), f"pixel column {pixel}"


def test_a_flat_band_is_one_pixel_high():
    mask = column_mask(np.array([2.0, 3.0]), np.full(2, 5.2), np.full(2, 5.2), 6, 10)
    assert mask.sum(axis=0).tolist() == [0, 1, 1, 1, 0, 0]


def test_a_lone_column_is_drawn():
    assert column_mask(np.array([2.0]), np.array([1.0]), np.array([4.0]), 6, 10).any()


# ---------------------------------------------------------------- reading


@pytest.mark.parametrize(
    "start, stop", [(0, 10), (BLOCK - 3, BLOCK + 3), (39_000, 41_500), (FRAMES + 690, FRAMES + 700)]
)
def test_a_reader_gives_what_the_file_holds(path, start, stop):
    with Recording(path) as recording:
        expected, frames = recording.values(start, stop), recording.frames
    reader = sample_reader(FileDoor(path), frames)
    for _ in range(2):
        np.testing.assert_array_equal(reader(start, stop), expected)


def test_moving_reads_only_what_is_new(path, monkeypatch):
    with Recording(path) as recording:
        frames = recording.frames
    reader, asked = sample_reader(FileDoor(path), frames), []
    values = Recording.values

    def noting(self, start=0, stop=None):
        asked.append((start, stop))
        return values(self, start, stop)

    monkeypatch.setattr(Recording, "values", noting)
    for start in (0, 100, 5_000, 2_000):
        reader(start, start + BLOCK)
    assert asked == [(0, BLOCK), (BLOCK, 2 * BLOCK)]


def test_what_was_read_long_ago_is_forgotten(path, monkeypatch):
    monkeypatch.setattr("gui._block_reader.KEPT_VALUES", 2 * BLOCK * 3)
    with Recording(path) as recording:
        reader = sample_reader(FileDoor(path), recording.frames)
    for block in range(4):
        reader(block * BLOCK, (block + 1) * BLOCK)
    assert list(reader._blocks) == [2, 3]


def test_between_readings_the_file_is_closed_and_another_one_is_refused(tmp_path):
    values = np.full((9_000, 3), 12.0)
    path = _jobs.write(tmp_path / "one.h5", values, _jobs.info())
    reader = sample_reader(FileDoor(path), 9_000)
    reader(0, 10)
    assert not reader._door._recording._file
    path.unlink()
    reader.forget()
    with pytest.raises(RecordingError, match="there is no such file"):
        reader(0, 10)
    _jobs.write(path, values[:8_000], _jobs.info())
    with pytest.raises(RecordingError, match="was changed"):
        reader(0, 10)


def test_a_crowded_line_is_drawn_thin_and_a_calm_one_wide(canvas):
    x = np.linspace(0, 1, 800)
    calm, crowded = Points(x, 13 + 0 * x, None, None, 1), Points(x, 13 + (np.arange(800) % 2), None, None, 1)
    height = canvas.box.viewPixelSize()[1]
    assert ups_and_downs(crowded) / height > CROWDED_PX > ups_and_downs(calm) / height
    for points, width in ((calm, 1.6), (crowded, 1.0)):
        canvas.layers.draw(0, points, height)
        assert canvas.layers._lines[0].opts["pen"].widthF() == pytest.approx(width)
