"""Numbers as people read them: never more digits than the uncertainty carries."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis import Change, Channel
from job import change_texts, level, measure_for, tap_words, with_uncertainty


def plain_text(text: str) -> str:
    return text.replace("\N{NO-BREAK SPACE}", " ")


@pytest.mark.parametrize(
    ("value", "uncertainty", "unit", "text"),
    [
        (0.0137461, 0.000069, "V", "13.746 ± 0.069 mV"),
        (13.17285, 0.0659, "V", "13.173 ± 0.066 V"),
        (1234.5, 67.0, "V", "1.234 ± 0.067 kV"),
        (6.1e-5, 3.3e-7, "V", "61.00 ± 0.33 µV"),
        (67.6721, 0.0431, "dB", "67.672 ± 0.043 dB"),
        (2250.008, 0.2747, "Hz", "2250.01 ± 0.27 Hz"),
        (0.5, 12.0, "V", "0 ± 12 V"),
        (0.25, None, "FS", "0.250 FS (± unknown)"),
        (0.0, 0.001, "V", "0.0 ± 1.0 mV"),
        (-0.0021, 0.0001, "A", "\N{MINUS SIGN}2.10 ± 0.10 mA"),
        (1.0, 0.0996, "V", "1.00 ± 0.10 V"),
    ],
)
def test_value_with_uncertainty(value: float, uncertainty: float | None, unit: str, text: str) -> None:
    assert plain_text(level(value, uncertainty, unit)) == text


@given(st.floats(-1e5, 1e5), st.floats(1e-9, 1e3))
def test_what_is_printed_is_within_half_a_last_digit(value: float, uncertainty: float) -> None:
    printed, _, rest = plain_text(with_uncertainty(value, uncertainty, measure_for("dB"))).partition(" ± ")
    number = float(printed.replace("\N{MINUS SIGN}", "-"))
    digits = len(printed.partition(".")[2])
    spread = float(rest.split()[0])
    step = 10.0**-digits if digits else max(10 ** (math.floor(math.log10(spread)) - 1), 1)
    assert abs(number - value) <= 0.51 * step + 1e-9 * abs(value)
    assert spread == pytest.approx(uncertainty, rel=0.06)


def test_a_row_keeps_one_prefix() -> None:
    change = Change(
        "c", "noise_rms", "V", 0.00083, 0.00006, 4e-6, 3e-7, -0.00077, 20 * math.log10(6 / 83), 4e-6, "improved"
    )
    texts = tuple(plain_text(text).replace("\N{MINUS SIGN}", "-") for text in change_texts(change))
    assert texts == ("830.0 ± 4.0 µV", "60.00 ± 0.30 µV", "-770.0 ± 4.0 µV (-22.8 dB)")


def test_a_point_is_named() -> None:
    assert tap_words(Channel("2", role="supply-amp@rear")) == "amplifier supply (rear)"
    assert tap_words(Channel("2")) == "channel 2"
