"""Sound files, built byte by byte from their specifications so that no library writes what it reads."""

from __future__ import annotations

import contextlib
import shutil
import struct
import subprocess
import wave as wave_module
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest
import soundfile
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from capture._errors import ImportRefused
from capture._foreign import ForeignFile, open_foreign
from capture._model import Block, Gap

PCM, FLOAT, ALAW, MULAW, EXTENSIBLE = 1, 3, 6, 7, 0xFFFE


def wav(
    data: bytes,
    channels: int = 1,
    rate: int = 8000,
    bits: int = 16,
    *,
    tag: int = PCM,
    order: str = "<",
    size: int | None = None,
    frame_bytes: int | None = None,
    valid_bits: int = 0,
    behind: bytes = b"",
) -> bytes:
    """A RIFF file after the Multimedia Programming Interface and Data Specifications 1.0 (RIFX when big-endian)."""
    frame = frame_bytes or channels * -(-bits // 8)
    form = struct.pack(order + "HHIIHH", tag, channels, rate, rate * frame, frame, bits)
    if tag == EXTENSIBLE:
        guid = struct.pack("<H", PCM) + bytes.fromhex("000000001000800000aa00389b71")
        form += struct.pack(order + "HHI", 22, valid_bits, 0) + guid
    chunks = b"fmt " + struct.pack(order + "I", len(form)) + form
    chunks += b"data" + struct.pack(order + "I", len(data) if size is None else size) + data + behind
    return {"<": b"RIFF", ">": b"RIFX"}[order] + struct.pack(order + "I", 4 + len(chunks)) + b"WAVE" + chunks


def write(folder: Path, content: bytes, name: str = "sound.dat") -> Path:
    path = folder / name
    path.write_bytes(content)
    return path


def counts(foreign: ForeignFile) -> npt.NDArray[np.generic]:
    """All rows; checks that the blocks follow each other and have the promised type and length."""
    blocks = [item for item in foreign.items() if isinstance(item, Block)]
    first = 0
    for block in blocks:
        assert block.first == first
        assert block.counts.dtype == foreign.dtype
        first = block.stop
    assert first == foreign.frames
    return np.concatenate([block.counts for block in blocks])


def refused(path: Path, rate_hz: float | None = None) -> str:
    with pytest.raises(ImportRefused) as caught:
        open_foreign(path, rate_hz)
    text = str(caught.value)
    assert text.startswith(f"{path}: ")
    assert "\n" not in text
    assert "; " in text
    return text.removeprefix(f"{path}: ")


RAMP = np.arange(-32768, 32768, 331)


# ---------------------------------------------------------------- raw counts


@pytest.mark.parametrize("order", ["<", ">"])
def test_sixteen_bits_stay_raw(tmp_path: Path, order: str) -> None:
    frames = np.stack([RAMP, RAMP[::-1], RAMP // 3], axis=1)
    path = write(tmp_path, wav(frames.astype(order + "i2").tobytes(), 3, 11025, order=order))
    foreign = open_foreign(path)
    assert (foreign.kind, foreign.rate_hz, foreign.dtype) == ("wav", 11025.0, np.dtype("<i2"))
    np.testing.assert_array_equal(counts(foreign), frames)
    channel = foreign.channels[1]
    assert (channel.unit, channel.scale, channel.offset) == ("FS", 1 / 32768, 0.0)
    assert (channel.limits_counts, channel.step_counts) == ((-32768, 32767), 1)


def test_twenty_four_bits_are_left_justified(tmp_path: Path) -> None:
    values = np.array([-(2**23), -1, 0, 1, 1_234_567, 2**23 - 1])
    data = b"".join(struct.pack("<i", value)[:3] for value in values.tolist())
    foreign = open_foreign(write(tmp_path, wav(data, bits=24)))
    np.testing.assert_array_equal(counts(foreign)[:, 0], values * 256)
    channel = foreign.channels[0]
    assert channel.step_counts == 256
    assert channel.limits_counts == (-(2**31), 2**31 - 256)
    assert channel.limits_counts[0] * channel.scale == -1.0


def test_thirty_two_bits_and_eight(tmp_path: Path) -> None:
    values = np.array([-(2**31), -5, 0, 7, 2**31 - 1])
    foreign = open_foreign(write(tmp_path, wav(values.astype("<i4").tobytes(), bits=32)))
    np.testing.assert_array_equal(counts(foreign)[:, 0], values)
    foreign = open_foreign(write(tmp_path, wav(bytes([0, 1, 127, 128, 255]), bits=8)))
    np.testing.assert_array_equal(counts(foreign)[:, 0], [-32768, -32512, -256, 0, 32512])
    assert (foreign.channels[0].limits_counts, foreign.channels[0].step_counts) == ((-32768, 32512), 256)


def mu_law(code: int) -> int:
    """ITU-T G.711 (11/1988), table 2: decoded value of a mu-law code, at 14 bits, here left-justified in 16."""
    code = ~code & 0xFF
    exponent, mantissa = code >> 4 & 7, code & 15
    value = ((2 * mantissa + 33) << exponent) - 33
    return 4 * (-value if code & 0x80 else value)


def a_law(code: int) -> int:
    """ITU-T G.711 (11/1988), table 1: decoded value of an A-law code, at 13 bits, here left-justified in 16."""
    code ^= 0x55
    exponent, mantissa = code >> 4 & 7, code & 15
    value = 2 * mantissa + 1 if exponent == 0 else (2 * mantissa + 33) << (exponent - 1)
    return 8 * (value if code & 0x80 else -value)


@pytest.mark.parametrize("tag, law", [(MULAW, mu_law), (ALAW, a_law)])
def test_companded_samples_follow_g711(tmp_path: Path, tag: int, law) -> None:  # type: ignore[no-untyped-def]
    foreign = open_foreign(write(tmp_path, wav(bytes(range(256)), bits=8, tag=tag)))
    expected = np.array([law(code) for code in range(256)])
    np.testing.assert_array_equal(counts(foreign)[:, 0], expected)
    channel = foreign.channels[0]
    assert channel.limits_counts == (expected.min(), expected.max())
    assert channel.step_counts == np.diff(np.unique(expected)).max()
    assert any("steps grow with the level" in warning for warning in foreign.warnings)


@pytest.mark.parametrize("dtype, bits", [("<f4", 32), ("<f8", 64)])
def test_floats_stay_floats(tmp_path: Path, dtype: str, bits: int) -> None:
    values = np.array([0.0, -1.0, 1.5, 1e-12, 0.1])
    foreign = open_foreign(write(tmp_path, wav(values.astype(dtype).tobytes(), bits=bits, tag=FLOAT)))
    assert foreign.dtype == np.dtype(dtype)
    np.testing.assert_array_equal(counts(foreign)[:, 0], values.astype(dtype))
    channel = foreign.channels[0]
    assert (channel.scale, channel.limits_counts, channel.step_counts) == (1.0, None, 0.0)


def test_values_that_are_no_numbers_are_gaps_of_their_channel(tmp_path: Path) -> None:
    values = np.ones((50, 2), dtype="<f4")
    values[10:13, 1], values[49, 0], values[20, 0] = np.nan, np.inf, -np.inf
    foreign = open_foreign(write(tmp_path, wav(values.tobytes(), 2, bits=32, tag=FLOAT)))
    items = list(foreign.items())
    assert {(g.first, g.length, g.channel) for g in items if isinstance(g, Gap)} == {(10, 3, 1), (20, 1, 0), (49, 1, 0)}
    assert isinstance(items[0], Block)
    assert np.isnan(counts(foreign)).sum() == 5


@pytest.mark.parametrize(
    "bits, container, dtype, step", [(12, 16, "<i2", 16), (5, 8, "<i2", 2048), (20, 24, "<i4", 4096)]
)
def test_bits_that_do_not_fill_their_container(
    tmp_path: Path, bits: int, container: int, dtype: str, step: int
) -> None:
    """Left-justified, the rest zero (same specification, "Data Format of the Samples")."""
    raw = b"\x00" * (container // 8 - 1) + b"\x40"
    foreign = open_foreign(write(tmp_path, wav(raw * 9, bits=bits)))
    full = 2 ** (8 * np.dtype(dtype).itemsize - 1)
    assert foreign.dtype == np.dtype(dtype)
    assert foreign.channels[0].step_counts == step
    assert foreign.channels[0].limits_counts == (-full, full - step)
    assert (
        f"header says {bits} bits in a container of {container}; samples were taken as left-justified"
        in foreign.warnings
    )


def test_valid_bits_of_an_extensible_header(tmp_path: Path) -> None:
    data = np.array([256, -512, 0], dtype="<i4").tobytes()
    foreign = open_foreign(write(tmp_path, wav(data, bits=32, tag=EXTENSIBLE, valid_bits=24)))
    assert foreign.channels[0].step_counts == 256
    assert any("24 bits in a container of 32" in warning for warning in foreign.warnings)


@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    frames=st.integers(1, 500), channels=st.integers(1, 8), rate=st.integers(1, 400_000), seed=st.integers(0, 2**32 - 1)
)
def test_what_the_standard_librarys_writer_wrote_is_read(
    tmp_path: Path, frames: int, channels: int, rate: int, seed: int
) -> None:
    data = np.random.default_rng(seed).integers(-32768, 32768, (frames, channels)).astype("<i2")
    path = tmp_path / "by_wave_module"
    with wave_module.open(str(path), "wb") as file:
        file.setnchannels(channels)
        file.setsampwidth(2)
        file.setframerate(rate)
        file.writeframes(data.tobytes())
    foreign = open_foreign(path)
    assert (foreign.rate_hz, foreign.frames, foreign.warnings) == (rate, frames, ())
    np.testing.assert_array_equal(counts(foreign), data)


@pytest.mark.parametrize("form", ["flac", "aiff", "wav"])
def test_agrees_with_sox(tmp_path: Path, form: str) -> None:
    """SoX, an outside referee, decodes the same file to raw 32-bit samples."""
    if shutil.which("sox") is None:
        pytest.skip("sox is not installed")
    path = tmp_path / f"tone.{form}"
    make = ["sox", "-R", "-n", "-r", "44100", "-b", "24", "-c", "2", str(path), "synth", "0.9", "sine", "997", "noise"]
    subprocess.run([*make, "vol", "0.7"], check=True, capture_output=True)
    raw = subprocess.run(["sox", str(path), "-t", "s32", "-L", "-"], check=True, capture_output=True).stdout
    foreign = open_foreign(path)
    assert (foreign.kind, foreign.rate_hz) == (form, 44100.0)
    np.testing.assert_array_equal(counts(foreign), np.frombuffer(raw, "<i4").reshape(-1, 2))


def test_the_name_means_nothing(tmp_path: Path) -> None:
    for name in ("a.raw", "b.csv", "c.flac", "d"):
        foreign = open_foreign(write(tmp_path, wav(RAMP.astype("<i2").tobytes()), name))
        assert (foreign.kind, foreign.frames) == ("wav", len(RAMP))


def test_items_start_anew_blocks_are_bounded_and_kept(tmp_path: Path) -> None:
    data = np.random.default_rng(3).integers(-32768, 32768, (700_001, 2)).astype("<i2")
    foreign = open_foreign(write(tmp_path, wav(data.tobytes(), 2)))
    blocks = [item.counts for item in foreign.items() if isinstance(item, Block)]
    assert len(blocks) > 2
    assert max(block.nbytes for block in blocks) <= 1 << 20
    np.testing.assert_array_equal(np.concatenate(blocks), data)
    np.testing.assert_array_equal(counts(foreign)[-1], data[-1])


# ---------------------------------------------------------------- files that end early


def test_a_file_that_ends_early_says_so(tmp_path: Path) -> None:
    whole = wav(RAMP.astype("<i2").tobytes())
    foreign = open_foreign(write(tmp_path, whole[: 44 + 2 * 60 + 1]))
    assert foreign.frames == 60
    np.testing.assert_array_equal(counts(foreign)[:, 0], RAMP[:60])
    assert foreign.warnings == (f"header says {len(RAMP)} frames, 60 are there: the file ends early",)


def test_a_length_that_was_never_filled_in(tmp_path: Path) -> None:
    foreign = open_foreign(write(tmp_path, wav(RAMP.astype("<i2").tobytes(), size=0xFFFFFFFF)))
    assert foreign.frames == len(RAMP)
    assert foreign.warnings == (f"the header's length was never filled in; {len(RAMP)} frames are there",)


def test_no_samples(tmp_path: Path) -> None:
    assert refused(write(tmp_path, wav(b""))).startswith("byte 36 (data chunk): holds no samples; record or export")
    texts = b"LIST" + struct.pack("<I", 30) + b"INFO" + b"x" * 26
    assert "holds no samples" in refused(write(tmp_path, wav(b"", behind=texts)))
    killed = refused(write(tmp_path, wav(b"\x01\x02" * 5000, size=0)))
    assert "states no samples, though 10000 bytes follow: the recorder was stopped" in killed
    assert "let a sound editor repair the header" in killed


def rf64(data: bytes, stated: int) -> bytes:
    """EBU Tech 3306: sizes of all ones, the true ones in the ds64 chunk."""
    ds64 = struct.pack("<QQQI", len(data) + 72, stated, stated // 2, 0)
    form = struct.pack("<HHIIHH", PCM, 1, 8000, 16000, 2, 16)
    chunks = b"ds64" + struct.pack("<I", len(ds64)) + ds64 + b"fmt " + struct.pack("<I", 16) + form
    return b"RF64\xff\xff\xff\xffWAVE" + chunks + b"data\xff\xff\xff\xff" + data


def test_long_files_state_their_length_elsewhere(tmp_path: Path) -> None:
    data = RAMP.astype("<i2").tobytes()
    foreign = open_foreign(write(tmp_path, rf64(data, len(data))))
    assert (foreign.kind, foreign.frames, foreign.warnings) == ("rf64", len(RAMP), ())
    foreign = open_foreign(write(tmp_path, rf64(data, 6_000_000_000)))
    assert foreign.warnings == (f"header says 3000000000 frames, {len(RAMP)} are there: the file ends early",)


@pytest.mark.parametrize(
    "form, subtype", [("AIFF", "PCM_24"), ("W64", "PCM_16"), ("CAF", "PCM_16"), ("RF64", "PCM_24")]
)
def test_other_containers_cut_short(tmp_path: Path, form: str, subtype: str) -> None:
    values = np.random.default_rng(5).integers(-32768, 32768, 4000).astype(np.int16)
    path = tmp_path / "cut"
    soundfile.write(path, values, 48_000, format=form, subtype=subtype)
    assert open_foreign(path).warnings == ()
    path.write_bytes(path.read_bytes()[:-3000])
    foreign = open_foreign(path)
    assert foreign.frames is not None
    assert 1000 < foreign.frames < 4000
    assert foreign.warnings == (f"header says 4000 frames, {foreign.frames} are there: the file ends early",)
    shift = 16 if subtype == "PCM_24" else 0
    np.testing.assert_array_equal(counts(foreign)[:, 0], values[: foreign.frames].astype(np.int64) << shift)


def test_a_coded_file_that_breaks_off_gives_what_can_be_decoded(tmp_path: Path) -> None:
    values = np.random.default_rng(6).integers(-20_000, 20_000, 60_000).astype(np.int16)
    path = tmp_path / "cut"
    soundfile.write(path, values, 48_000, format="FLAC", subtype="PCM_16")
    path.write_bytes(path.read_bytes()[:70_000])
    foreign = open_foreign(path)
    assert foreign.frames is not None
    assert 20_000 < foreign.frames < 40_000
    assert f"header says 60000 frames, {foreign.frames} are there: the file ends early" in foreign.warnings
    np.testing.assert_array_equal(counts(foreign)[:, 0], values[: foreign.frames])


# ---------------------------------------------------------------- refusals


@pytest.mark.parametrize("bits", [36, 45, 53, 64])
def test_more_bits_than_can_be_read(tmp_path: Path, bits: int) -> None:
    line = refused(write(tmp_path, wav(b"\x01" * 240, bits=bits)))
    assert line == (
        f"byte 12 (fmt chunk): samples of {bits} bits cannot be read; "
        "save it with 16, 24 or 32 bits a sample, or as 32-bit float"
    )


@pytest.mark.parametrize("form, subtype", [("WAV", "IMA_ADPCM"), ("OGG", "VORBIS"), ("WAV", "GSM610")])
def test_codings_that_change_the_noise_are_refused(tmp_path: Path, form: str, subtype: str) -> None:
    path = tmp_path / "lossy"
    soundfile.write(path, RAMP.astype(np.int16), 8000, format=form, subtype=subtype)
    line = refused(path)
    assert f"samples are in {subtype.replace('_', ' ')} coding, which changes the noise to be measured" in line
    assert "record it again as WAV" in line


@pytest.mark.parametrize(
    "content",
    [
        b"RIFF",
        b"RIFF\x24\x00\x00\x00WAVE",
        wav(RAMP.astype("<i2").tobytes())[:30],
        wav(RAMP.astype("<i2").tobytes(), channels=0, frame_bytes=2),
        b"fLaC" + b"\x00" * 60,
        b"RIFF\x10\x00\x00\x00AVI LIST" + b"\x00" * 60,
        b"caff\x00\x01\x00\x00desc" + b"\xff" * 60,
        b"FORM\x00\x00\x00\x10AIFF" + b"\xff" * 60,
        b"riff\x2e\x91\xcf\x11" + b"\x00" * 60,
    ],
)
def test_broken_headers_are_refused_in_one_line(
    tmp_path: Path, content: bytes, capfd: pytest.CaptureFixture[str]
) -> None:
    assert refused(write(tmp_path, content)).startswith(("header: is no sound file", "byte "))
    assert capfd.readouterr() == ("", "")


def test_a_header_of_a_thousand_channels(tmp_path: Path) -> None:
    line = refused(write(tmp_path, wav(b"\0" * 20_000, channels=1000)))
    assert line == "byte 12 (fmt chunk): states 1000 channels, and a recording holds at most 256; export fewer channels"


def test_the_files_rate_holds(tmp_path: Path) -> None:
    path = write(tmp_path, wav(RAMP.astype("<i2").tobytes()))
    assert refused(path, 44_100) == (
        "byte 12 (fmt chunk): the file states 8000 Hz, but --rate says 44100 Hz; leave --rate out"
    )
    assert open_foreign(path, 8000).rate_hz == 8000.0


def test_a_file_that_shrinks_while_it_is_read_is_refused(tmp_path: Path) -> None:
    path = write(tmp_path, wav(RAMP.astype("<i2").tobytes()))
    foreign = open_foreign(path)
    path.write_bytes(path.read_bytes()[:100])
    with pytest.raises(ImportRefused, match="the file got shorter while it was read; import it again"):
        list(foreign.items())


# ---------------------------------------------------------------- hostile bytes


def seeds() -> list[bytes]:
    data = RAMP.astype("<i2").tobytes()
    return [
        wav(data),
        wav(data, order=">"),
        wav(np.linspace(-1, 1, 60).astype("<f8").tobytes(), bits=64, tag=FLOAT),
        wav(data, bits=32, tag=EXTENSIBLE, valid_bits=24),
        rf64(data, len(data)),
    ]


@settings(max_examples=300, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data(), seed=st.integers(0, 4))
def test_only_a_refusal_ever_comes_out_of_a_damaged_file(
    tmp_path: Path, data: st.DataObject, seed: int, capfd: pytest.CaptureFixture[str]
) -> None:
    broken = bytearray(seeds()[seed])
    for _ in range(data.draw(st.integers(1, 8))):
        place = data.draw(st.integers(0, min(100, len(broken))))
        broken[place : place + data.draw(st.integers(0, 4))] = data.draw(st.binary(max_size=5))
    survives(write(tmp_path, bytes(broken)))
    assert capfd.readouterr() == ("", "")


@settings(max_examples=150, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    magic=st.sampled_from(
        [b"RIFF\0\0\0\0WAVE", b"fLaC", b"OggS", b"FORM\0\0\0\0AIFF", b"caff\0\1\0\0", b"RF64", b"riff"]
    ),
    junk=st.binary(max_size=300),
)
def test_only_a_refusal_ever_comes_out_of_junk_behind_a_good_beginning(
    tmp_path: Path, magic: bytes, junk: bytes, capfd: pytest.CaptureFixture[str]
) -> None:
    survives(write(tmp_path, magic + junk))
    assert capfd.readouterr() == ("", "")


def survives(path: Path) -> None:
    """Any error but a refusal fails the test."""
    with contextlib.suppress(ImportRefused):
        counts(open_foreign(path))
