"""A weighting against the table of the standard, as two transcriptions have it."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from analysis import a_weighting_db, band_weights

# IEC 61672-1:2013 Table 3, column A, as transcribed in python-acoustics 0.2.6: n, dB; f = 1000 * 10^(n/10) Hz.
ROWS = {-20: -70.4, -17: -50.5, -13: -30.2, -10: -19.1, -3: -3.2, 0: 0.0, 4: 1.3, 6: 1.0, 9: -1.1, 13: -9.3}


def exact_hz(n: int) -> float:
    """Exact third-octave mid-band frequency (IEC 61260-1, as transcribed in the same package)."""
    return 1000 * 10 ** (n / 10)


@pytest.mark.parametrize("n", ROWS)
def test_rows_of_the_table(n: int) -> None:
    # The table is printed to 0.1 dB, so 0.05 dB is as near as any curve can be shown to be.
    assert a_weighting_db(np.array([exact_hz(n)]))[0] == pytest.approx(ROWS[n], abs=0.05)


def test_whole_table(recordings: Path) -> None:
    path = recordings / "vectors" / "iec_61672_1_2013.csv"
    if not path.is_file():
        pytest.skip("no transcription of IEC 61672-1 Table 3 in the folder of recordings")
    with path.open() as file:
        rows = [(int(row["n"]), float(row["A"])) for row in csv.DictReader(file)]
    level = a_weighting_db(np.array([exact_hz(n) for n, _ in rows]))
    assert len(rows) == 34
    np.testing.assert_allclose(level, [a for _, a in rows], rtol=0, atol=0.05)


def test_one_kilohertz_is_zero_and_silence_stays_silence() -> None:
    level = a_weighting_db(np.array([[1000.0], [0.0]]))
    assert level.shape == (2, 1)
    assert level[0, 0] == pytest.approx(0, abs=1e-12)
    assert level[1, 0] == -np.inf


def test_slopes_at_both_ends() -> None:
    """Four poles below 21 Hz, two above 12.2 kHz and four zeros at 0: +24 dB and -12 dB per octave."""
    low, high = a_weighting_db(np.array([0.1, 0.2])), a_weighting_db(np.array([1e6, 2e6]))
    assert np.diff(low)[0] == pytest.approx(24.08, abs=0.01)
    assert np.diff(high)[0] == pytest.approx(-12.04, abs=0.01)


def test_band_weights_hold_both_ends_and_weigh_power() -> None:
    frequency = np.array([0.0, 19.9, 20.0, exact_hz(-10), 1000.0, 20000.0, 20000.1])
    np.testing.assert_array_equal(band_weights(frequency, (20, 20000)), [0, 0, 1, 1, 1, 1, 0])
    weighted = band_weights(frequency, (0, 20000), "A")
    assert weighted[0] == 0
    assert weighted[-1] == 0
    assert 10 * np.log10(weighted[3]) == pytest.approx(ROWS[-10], abs=0.05)
    assert weighted[4] == pytest.approx(1)
