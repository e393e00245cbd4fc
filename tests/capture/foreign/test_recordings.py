"""Every recording in the folder of recordings made by others is read as other readers read it, or refused in one line.

What the publishers state stands in that folder's SOURCES.md; the expected figures below are theirs, or were read by
scipy.io.wavfile, by the csv module of the standard library, or by hand.
"""

from __future__ import annotations

import csv
import warnings
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest
from scipy.io import wavfile

from capture._errors import ImportRefused
from capture._foreign import ForeignFile, open_foreign
from capture._model import Block, Gap

Floats = npt.NDArray[np.float64]


def rows_of(foreign: ForeignFile) -> npt.NDArray[np.generic]:
    return np.concatenate([item.counts for item in foreign.items() if isinstance(item, Block)])


def found(recordings: Path, name: str) -> Path:
    path = recordings / name
    if not path.is_file():
        pytest.skip(f"{name} is not in the folder of recordings")
    return path


def by_hand(path: Path, skip: int, separator: str, columns: list[int], decimal: str = ".") -> Floats:
    """Read by the csv module and float(); NULL is NaN."""
    text = path.read_bytes().replace(b"\0", b"").decode("utf-8-sig")
    rows = [row for row in csv.reader(text.splitlines()[skip:], delimiter=separator) if row]
    return np.array([[float(row[i].replace("NULL", "nan").replace(decimal, ".")) for i in columns] for row in rows])


# file, lines above the rows, separator, signal columns, decimal mark, rate in Hz, rows
TABLES = [
    ("hum/two-channel-50hz-strong.csv", 1, ",", [1, 2], ".", 2000.0, 20_000),
    ("hum/one-column-50hz.txt", 4, ",", [0], ".", 1000.0, 150_000),
    ("crank/runup-clipped.csv", 1, ",", [1], ".", 10_000.0, 60_000),
    ("crank/distorted.csv", 1, ",", [1], ".", 10_000.0, 60_000),
    ("text/no-time-column-start-increment.csv", 2, ",", [0, 1], ".", 50_000.0, 1200),
    ("text/units-row-two-channel.csv", 3, ",", [1, 2], ".", 390_625.0, 7817),
    ("text/decimal-comma-nul-bytes.txt", 2, "\t", [1, 2, 3, 4, 5, 6, 7], ",", 1 / 3, 2407),
    ("text/quoted-header-ms.csv", 1, ",", [1], ".", 47_900.0, 480),
]


@pytest.mark.parametrize("name, skip, separator, columns, decimal, rate_hz, rows", TABLES)
def test_tables(
    recordings: Path,
    name: str,
    skip: int,
    separator: str,
    columns: list[int],
    decimal: str,
    rate_hz: float,
    rows: int,
) -> None:
    path = found(recordings, name)
    foreign = open_foreign(path)
    assert foreign.kind == "text"
    assert foreign.rate_hz == pytest.approx(rate_hz, rel=1e-12)
    assert (foreign.frames, len(foreign.channels)) == (rows, len(columns))
    np.testing.assert_array_equal(rows_of(foreign), by_hand(path, skip, separator, columns, decimal))


def test_empty_cells_are_gaps_and_not_zeros(recordings: Path) -> None:
    path = found(recordings, "hum/two-channel-50hz-strong.csv")
    foreign = open_foreign(path)
    gaps = [item for item in foreign.items() if isinstance(item, Gap)]
    expected = {(r, c) for r, c in np.argwhere(np.isnan(by_hand(path, 1, ",", [1, 2]))).tolist()}
    assert len(expected) == 8
    assert {(gap.first, gap.channel) for gap in gaps} == expected
    assert {gap.length for gap in gaps} == {1}
    assert any("8 cells without a value" in warning for warning in foreign.warnings)


def test_names_and_units(recordings: Path) -> None:
    def channels(name: str) -> list[tuple[str, str, float]]:
        return [(c.name, c.unit, c.scale) for c in open_foreign(found(recordings, name)).channels]

    assert channels("text/no-time-column-start-increment.csv") == [("CH2", "V", 1.0), ("CH4", "V", 1.0)]
    assert channels("text/units-row-two-channel.csv") == [("Channel A", "V", 1.0), ("Channel B", "V", 1.0)]
    assert channels("text/decimal-comma-nul-bytes.txt") == [(f"Kanal {i}", "V", 1e-3) for i in range(1, 8)]
    assert channels("text/quoted-header-ms.csv") == [("Recording", "FS", 1.0)]
    assert channels("hum/one-column-50hz.txt") == [("EDA", "FS", 1.0)]
    nul = open_foreign(found(recordings, "text/decimal-comma-nul-bytes.txt"))
    assert "2 NUL bytes dropped" in nul.warnings


def test_mixed_steps_are_refused_without_a_rate_and_lie_on_its_grid(recordings: Path) -> None:
    path = found(recordings, "load-step/cell-pulses-10c.csv")
    with pytest.raises(ImportRefused) as caught:
        open_foreign(path)
    assert "steps go from 0.1 s (line " in str(caught.value)
    assert "to 60 s (line 238); give --rate HZ" in str(caught.value)
    foreign = open_foreign(path, 10)
    with open(path, encoding="ascii") as file:
        cells = list(csv.reader(file))
    places = np.rint([10 * float(row[1]) - 10 * float(cells[0][1]) for row in cells]).astype(int)
    blocks = [item for item in foreign.items() if isinstance(item, Block)]
    np.testing.assert_array_equal(np.concatenate([np.arange(b.first, b.stop) for b in blocks]), places)
    names = [channel.name for channel in foreign.channels]
    volts = np.concatenate([block.counts for block in blocks])[:, names.index("column 10")]
    np.testing.assert_array_equal(volts, [float(row[9]) for row in cells])
    missing = sum(item.length for item in foreign.items() if isinstance(item, Gap) and item.channel is None)
    assert foreign.frames == places[-1] + 1 == len(cells) + missing
    assert any("column 2 rises" in warning for warning in foreign.warnings)


def wav_files(recordings: Path) -> list[Path]:
    paths = sorted((recordings / "wav").glob("*.wav")) + sorted((recordings / "hum").glob("*.wav"))
    if not paths:
        pytest.skip("no WAV files in the folder of recordings")
    return paths


UNREADABLE = ("36bit", "45bit", "53bit", "64bit.wav", "crash-")


def test_wav_files_agree_with_scipy(recordings: Path) -> None:
    """Not compared: mu-law, which scipy does not read (its decoding is tested against ITU-T G.711 elsewhere)."""
    compared = 0
    for path in wav_files(recordings):
        if "ulaw" in path.name or any(mark in path.name for mark in UNREADABLE):
            continue
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", wavfile.WavFileWarning)
            rate, expected = wavfile.read(path)
        foreign = open_foreign(path)
        counts = rows_of(foreign)
        if expected.dtype == np.uint8:
            expected = (expected.astype(np.int16) - 128) * 256
        assert foreign.rate_hz == rate, path.name
        np.testing.assert_array_equal(counts, expected.reshape(len(expected), -1), err_msg=path.name)
        assert foreign.frames == len(expected), path.name
        compared += 1
    assert compared > 10


def test_wav_files_that_cannot_be_read_say_why(recordings: Path) -> None:
    seen = 0
    for path in wav_files(recordings):
        if any(mark in path.name for mark in UNREADABLE):
            with pytest.raises(ImportRefused) as caught:
                open_foreign(path)
            assert str(caught.value).startswith(f"{path}: ")
            assert "bits cannot be read; save it" in str(caught.value) or "no sound file that can be read" in str(
                caught.value
            )
            seen += 1
    assert seen >= 5


def test_an_early_end_is_told(recordings: Path) -> None:
    foreign = open_foreign(found(recordings, "wav/test-44100Hz-le-1ch-4bytes-early-eof.wav"))
    assert foreign.frames == 236
    assert "header says 4410 frames, 236 are there: the file ends early" in foreign.warnings


def test_the_mains_reference(recordings: Path) -> None:
    foreign = open_foreign(found(recordings, "hum/mains-reference-a.wav"))
    assert (foreign.rate_hz, foreign.frames, len(foreign.channels), foreign.dtype) == (
        400.0,
        192_801,
        1,
        np.dtype("<i2"),
    )


@pytest.mark.parametrize("rate_hz", [None, 1000.0])
def test_every_file_is_read_or_refused_in_one_line(
    recordings: Path, rate_hz: float | None, capfd: pytest.CaptureFixture[str]
) -> None:
    """Licences and notes are prose and are refused, tables of vectors need a rate: neither ends in a traceback."""
    paths = sorted(path for path in recordings.rglob("*") if path.is_file())
    for path in paths:
        try:
            foreign = open_foreign(path, rate_hz)
            assert len(rows_of(foreign)) > 0
        except ImportRefused as error:
            line = str(error)
        else:
            assert "LICENSE" not in path.name
            assert path.suffix != ".md"
            continue
        assert line.startswith(f"{path}: ")
        assert "\n" not in line
        assert "; " in line, line
    assert capfd.readouterr() == ("", "")
