"""Weightings against the tables of their standards, as transcriptions have them."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from analysis import a_weighting_db, band_weights, itu_468_weighting_db

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


# ITU-R BS.468-4 Table 1, as transcribed in the tests of an open 468-weighting package (a second copy agrees):
# Hz: dB, tolerance.
ITU_468 = {
    31.5: (-29.9, 2.0), 63: (-23.9, 1.4), 100: (-19.8, 1.0), 200: (-13.8, 0.85), 400: (-7.8, 0.7), 800: (-1.9, 0.55),
    1000: (0.0, 0.5), 2000: (5.6, 0.5), 3150: (9.0, 0.5), 4000: (10.5, 0.5), 5000: (11.7, 0.5), 6300: (12.2, 0.0),
    7100: (12.0, 0.2), 8000: (11.4, 0.4), 9000: (10.1, 0.6), 10000: (8.1, 0.8), 12500: (0.0, 1.2), 14000: (-5.3, 1.4),
    16000: (-11.7, 1.6), 20000: (-22.2, 2.0), 31500: (-42.7, 2.8),
}  # fmt: skip


@pytest.mark.parametrize("frequency_hz", ITU_468)
def test_rows_of_the_468_table(frequency_hz: float) -> None:
    """Within the table's tolerance, and within 0.06 dB: it is printed to 0.1 dB and its 6300 Hz row has tolerance 0."""
    level, tolerance = ITU_468[frequency_hz]
    found = itu_468_weighting_db(np.array([frequency_hz]))[0]
    assert found == pytest.approx(level, abs=0.06)
    assert found == pytest.approx(level, abs=max(tolerance, 0.06))


def test_468_weighting_of_its_own_network() -> None:
    """+6 dB an octave at the low end, -30 dB at the high end (six poles, one zero at 0: five poles more),
    0 dB at 1 kHz, silence stays silence."""
    assert itu_468_weighting_db(np.array([[1000.0], [0.0]]))[1, 0] == -np.inf
    assert itu_468_weighting_db(np.array([1000.0]))[0] == pytest.approx(0, abs=1e-12)
    assert np.diff(itu_468_weighting_db(np.array([1.0, 2.0])))[0] == pytest.approx(6.02, abs=0.01)
    assert np.diff(itu_468_weighting_db(np.array([1e7, 2e7])))[0] == pytest.approx(-30.1, abs=0.05)
    weights = band_weights(np.array([10.0, 6300.0, 21_000.0]), (20, 20_000), "468")
    assert 10 * np.log10(weights[1]) == pytest.approx(12.2, abs=0.06)
    assert weights[0] == weights[2] == 0
