"""Numbers as text: values that can be worked out by hand, and laws that hold for all."""

import math

import pytest

from gui._format import UNKNOWN, duration, si, signed

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
    "value, text",
    [(0.31, "+0.3 dB"), (-21.04, "−21.0 dB"), (0.04, "0.0 dB"), (-0.04, "0.0 dB"), (None, "–"), (math.nan, "–")],
)
def test_a_difference_has_a_sign_unless_it_reads_as_nothing(value, text):
    assert signed(value, "dB") == text


@pytest.mark.parametrize(
    "seconds, text", [(0.0096, "9.60 ms"), (42.0, "42.0 s"), (185.2, "3 min 05 s"), (3_725.0, "1 h 02 min")]
)
def test_a_length_of_time_is_said_as_one_says_it(seconds, text):
    assert duration(seconds) == text
