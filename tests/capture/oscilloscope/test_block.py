"""Blocks of IEEE 488.2 and the samples in them."""

from __future__ import annotations

import struct

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from capture import SourceError
from capture._oscilloscope._block import definite_block, indefinite_block, parse_block
from capture._oscilloscope._samples import from_block, from_text, kept_type


def test_the_standards_form() -> None:
    """IEEE 488.2, 8.7.9 and 8.7.10 (from memory): both of these stand for the four bytes DAB1 to DAB4."""
    assert definite_block(b"\x01\x0a#\xff") == b"#14\x01\x0a#\xff"
    assert parse_block(b"#14\x01\x0a#\xff\n") == b"\x01\x0a#\xff"
    assert parse_block(b"#3004\x01\x0a#\xff") == b"\x01\x0a#\xff"  # leading zeros are allowed
    assert parse_block(b"#0\x01\x0a#\xff\n") == b"\x01\x0a#\xff"
    assert parse_block(b"#10\n") == b""


@given(st.binary(max_size=300), st.sampled_from([b"", b"\n", b"\r\n"]))
@example(b"\n", b"\n")
def test_a_definite_block_comes_back(data: bytes, end: bytes) -> None:
    assert parse_block(definite_block(data) + end) == data
    assert parse_block(definite_block(data) + end, len(data)) == data


@given(st.binary(max_size=300))
@example(b"\n")
def test_an_indefinite_block_comes_back(data: bytes) -> None:
    assert parse_block(indefinite_block(data)) == data


@given(st.binary(min_size=1, max_size=120))
def test_every_truncation_of_a_definite_block_is_refused(data: bytes) -> None:
    whole = definite_block(data)
    for length in range(len(whole)):
        with pytest.raises(SourceError, match=r"came short|no block") as caught:
            parse_block(whole[:length])
        if length > len(whole) - len(data):
            came = length - (len(whole) - len(data))
            assert f"{came} of {len(data)} bytes" in str(caught.value)


@given(st.binary(min_size=2, max_size=40).filter(lambda data: data[:1] != b"#"))
def test_what_is_no_block_is_quoted(data: bytes) -> None:
    with pytest.raises(SourceError) as caught:
        parse_block(data)
    assert repr(data)[1:8] in str(caught.value)
    assert str(caught.value).isprintable()


@pytest.mark.parametrize(
    "message,words",
    [
        (b"#A12", "has a digit behind '#', not '#A'"),
        (b"#2x4abcd", "written in 2 digits, not '#2x4'"),
        (b"#14abcdef\n", "the block's header says 4 bytes, and behind them came 'ef'"),
        (b"#0abc", "without the newline"),
        (b"#16abcdef\n", "says 6 bytes where 4 were due"),
        (b"#0abc\n", "a block of 3 bytes came where 4 were due"),
        (b"#9999999999a", "says 999999999 bytes where 4 were due"),
        (b"", "0 of 2 bytes"),
    ],
)
def test_malformed_blocks(message: bytes, words: str) -> None:
    expected = None if "behind them" in words else 4
    with pytest.raises(SourceError) as caught:
        parse_block(message, expected)
    assert words in str(caught.value)


@pytest.mark.parametrize("order,sign", [("big", ">"), ("little", "<")])
@pytest.mark.parametrize(
    "sample,letter,values,kept",
    [
        ("int8", "b", [-128, -1, 0, 127], "<i2"),
        ("uint8", "B", [0, 1, 128, 255], "<i2"),
        ("int16", "h", [-32768, 258, 0, 32767], "<i2"),
        ("uint16", "H", [0, 258, 40000, 65535], "<i4"),
        ("int32", "i", [-(2**31), 16909060, 0, 2**31 - 1], "<i4"),
        ("float32", "f", [-1.5, 0.0, 12.625, 3e-30], "<f4"),
        ("float64", "d", [-1.1, 0.0, 12.6, 1e-300], "<f8"),
    ],
)
def test_samples_against_struct(
    sample: str, letter: str, values: list[float], kept: str, order: str, sign: str
) -> None:
    """Python's own `struct` puts the bytes together."""
    read = from_block(struct.pack(f"{sign}4{letter}", *values), sample, order)  # type: ignore[arg-type]
    assert read.dtype.str == kept == kept_type(sample).str  # type: ignore[arg-type]
    np.testing.assert_array_equal(read, np.array(values, kept))


def test_samples_that_cannot_be() -> None:
    with pytest.raises(SourceError, match="5 bytes are no whole number of int16 samples of 2 bytes"):
        from_block(b"12345", "int16", "big")
    with pytest.raises(SourceError, match=r"value 3 of 4 in the list of samples is 'vier'"):
        from_text("1,2.5,vier,4")
    np.testing.assert_array_equal(from_text("+1.25E+01, -3,0"), [12.5, -3.0, 0.0])


@pytest.mark.parametrize("value", [9.9e37, -9.9e37, 9.91e37, float("nan"), float("inf")])
def test_over_range_is_no_voltage(value: float) -> None:
    """SCPI-1999, volume 1, 7.2.1 (from memory): infinity is 9.9E37, negative infinity -9.9E37, NAN 9.91E37."""
    with pytest.raises(SourceError, match="1 of 3 samples are no voltage"):
        from_block(struct.pack(">3f", 1.0, value, 2.0), "float32", "big")
