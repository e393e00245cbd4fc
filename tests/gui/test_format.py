"""Numbers as text: values that can be worked out by hand, and laws that hold for all."""

import math
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gui._format import UNKNOWN, duration, si, signed, with_uncertainty

FACTORS = {"p": 1e-12, "n": 1e-9, "µ": 1e-6, "m": 1e-3, "": 1.0, "k": 1e3, "M": 1e6, "G": 1e9}


@pytest.mark.parametrize(
    "value, unit, digits, text",
    [
        (0.012345, "V", 4, "12.35 mV"),
        (-0.0000213, "V", 3, "−21.3 µV"),
        (0.99996, "V", 4, "1.000 V"),
        (999.4, "Hz", 3, "999 Hz"),
        (48_000.0, "Hz", 3, "48.0 kHz"),
        (0.0, "V", 3, "0.00 V"),
        (72.345, "dB", 4, "72.34 dB"),
        (0.00123, "FS", 3, "0.00123 FS"),
        (None, "V", 3, UNKNOWN),
        (math.nan, "V", 3, UNKNOWN),
        (math.inf, "V", 3, UNKNOWN),
    ],
)
def test_a_number_takes_the_prefix_that_reads_best(value, unit, digits, text):
    assert si(value, unit, digits) == text


@pytest.mark.parametrize(
    "value, uncertainty, unit, text",
    [
        (1.66449, 0.00838, "V", "1.6645 ± 0.0084 V"),
        (0.0123449, 0.000996, "V", "12.3 ± 1.0 mV"),
        (66.4901, 0.0434, "dB", "66.490 ± 0.043 dB"),
        (-0.0008997, 0.0000048, "V", "−899.7 ± 4.8 µV"),
        (0.00001, 0.0971, "V", "0 ± 97 mV"),
        (2.5, None, "V", "2.50 V, ± not known"),
        (2.5, math.nan, "V", "2.50 V, ± not known"),
        (1.25, 0.0, "V", "1.250 ± 0.000 V"),
        (math.nan, 0.1, "V", UNKNOWN),
    ],
)
def test_the_uncertainty_sets_the_decimals(value, uncertainty, unit, text):
    """Two figures of the uncertainty, the value to the same place (JCGM 100:2008, 7.2.6)."""
    assert with_uncertainty(value, uncertainty, unit) == text


def test_before_and_after_share_a_prefix_where_both_stay_readable():
    assert with_uncertainty(0.00098, 0.00001, "V", beside=0.0123) == "0.980 ± 0.010 mV"
    assert with_uncertainty(0.0000223, 0.0000002, "V", beside=0.0012) == "22.30 ± 0.20 µV"
    assert with_uncertainty(0.0098, 0.0001, "V", beside=0.0623) == "9.80 ± 0.10 mV"
    assert with_uncertainty(0.5684, 0.0030, "V", beside=1.6645) == "0.5684 ± 0.0030 V"


@pytest.mark.parametrize(
    "value, text",
    [(0.31, "+0.3 dB"), (-21.04, "−21.0 dB"), (0.04, "0.0 dB"), (-0.04, "0.0 dB"), (None, "–"), (math.nan, "–")],
)
def test_a_difference_has_a_sign_unless_it_reads_as_nothing(value, text):
    assert signed(value, "dB") == text


def test_a_change_upwards_is_written_with_its_sign():
    assert with_uncertainty(0.02, 0.78, "V", plus=True) == "+20 ± 780 mV"
    assert with_uncertainty(-0.02, 0.78, "V", plus=True) == "−20 ± 780 mV"
    assert with_uncertainty(0.001, 0.78, "V", plus=True) == "+1 ± 780 mV"
    assert with_uncertainty(0.0001, 0.78, "V", plus=True) == "0 ± 780 mV"


@pytest.mark.parametrize(
    "seconds, text", [(0.0096, "9.60 ms"), (42.0, "42.0 s"), (185.2, "3 min 05 s"), (3_725.0, "1 h 02 min")]
)
def test_a_length_of_time_is_said_as_one_says_it(seconds, text):
    assert duration(seconds) == text


sizes = st.floats(min_value=1e-11, max_value=1e11)


@given(value=sizes, share=st.floats(min_value=1e-6, max_value=5.0), negative=st.booleans())
def test_what_is_written_is_what_was_meant(value, share, negative):
    """Read back, the value lies within half of its last place and the uncertainty keeps two figures."""
    value, uncertainty = -value if negative else value, share * value
    text = with_uncertainty(value, uncertainty, "V")
    found = re.fullmatch(r"(−?[\d.]+) ± ([\d.]+) (\S?)V", text)
    assert found, text
    factor = FACTORS[found[3]]
    place = 10.0 ** -len(found[2].partition(".")[2]) * factor
    assert abs(float(found[1].replace("−", "-")) * factor - value) <= 0.5001 * place, text
    assert abs(float(found[2]) * factor - uncertainty) <= 0.5001 * place, text
    # At least two figures (9.95 rounds to "10"), and no more than the whole numbers need.
    assert place <= 0.1006 * uncertainty, text
    assert place >= 0.0099 * uncertainty or place == pytest.approx(factor), text
