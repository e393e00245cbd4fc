"""Numbers as people read them: never more digits than the uncertainty carries."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis import Change
from job import change_text, level_text, plain_role, value_text


@pytest.mark.parametrize(
    ("value", "uncertainty", "unit", "text"),
    [
        (0.0137461, 0.000069, "V", "13.746 ± 0.069 mV"),
        (13.17285, 0.0659, "V", "13.173 ± 0.066 V"),
        (1234.5, 67.0, "V", "1.234 ± 0.067 kV"),
        (6.1e-5, 3.3e-7, "V", "61.00 ± 0.33 µV"),
        (67.6721, 0.0431, "dB", "67.672 ± 0.043 dB"),
        (0.5, 12.0, "V", "500 ± 12000 mV"),
        (0.25, None, "FS", "0.25 FS (uncertainty not known)"),
        (0.0, 0.001, "V", "0.0000 ± 0.0010 V"),
        (-0.0021, 0.0001, "A", "-2.10 ± 0.10 mA"),
    ],
)
def test_value_with_uncertainty(value: float, uncertainty: float | None, unit: str, text: str) -> None:
    assert level_text(value, uncertainty, unit) == text


@given(st.floats(-1e5, 1e5), st.floats(1e-9, 1e3))
def test_what_is_printed_is_within_half_a_last_digit(value: float, uncertainty: float) -> None:
    printed, _, rest = value_text(value, uncertainty, "V").partition(" ± ")
    digits = len(printed.partition(".")[2])
    assert abs(float(printed) - value) <= 0.5000001 * 10**-digits
    # Two digits of the uncertainty, or all before the point.
    assert 10**-digits <= uncertainty or digits == 0
    assert float(rest.split()[0]) == pytest.approx(uncertainty, rel=0.06)


def test_a_row_keeps_one_prefix() -> None:
    change = Change(
        "c",
        "noise_rms",
        "V",
        0.00083,
        0.00006,
        4e-6,
        3e-7,
        -0.00077,
        20 * math.log10(6 / 83),
        4e-6,
        "improved",
    )
    assert change_text(change) == ("830.0 ± 4.0 µV", "60.00 ± 0.30 µV", "-770.0 ± 4.0 µV (-22.8 dB)")


def test_a_point_is_named() -> None:
    assert plain_role("supply-amp@rear") == "amplifier supply (rear)"
