"""The sound card's settings, warnings and losses, against a PortAudio made up for the tests."""

from __future__ import annotations

import re
import sys
from collections.abc import Callable
from types import SimpleNamespace
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest

from analysis import WrongUseError
from capture import Asked, Block, Gap, Item, Mark, SoundCardSource, SourceError, make_sources

HARDWARE = "Some Card: analogue (hw:1,0)"


class _Error(Exception):
    pass


class FakePortAudio:
    """Devices by host API and name, each with two inputs at 48 kHz; `refuses` are the sample types it does not do."""

    PortAudioError = _Error

    def __init__(self, *devices: tuple[str, str], refuses: tuple[str, ...] = ()) -> None:
        self._devices, self._refuses = devices, refuses
        self.default = SimpleNamespace(device=[len(devices) - 1, 0])
        self.opened: dict[str, Any] = {}
        self.WasapiSettings = lambda **flags: ("wasapi", flags)
        self.CoreAudioSettings = lambda **flags: ("core audio", flags)

    def query_hostapis(self) -> list[dict[str, Any]]:
        return [{"name": api} for api, _ in self._devices]

    def query_devices(self) -> list[dict[str, Any]]:
        facts = {"max_input_channels": 2, "max_output_channels": 0, "default_samplerate": 48_000.0}
        return [{"index": i, "hostapi": i, "name": name, **facts} for i, (_, name) in enumerate(self._devices)]

    def check_input_settings(self, dtype: str | None, **_: Any) -> None:
        if dtype in self._refuses:
            raise _Error(f"no {dtype}", -9994)

    def InputStream(self, **settings: Any) -> Any:
        self.opened = settings
        return SimpleNamespace(start=lambda: None, close=lambda ignore_errors: None)


Install = Callable[..., FakePortAudio]


@pytest.fixture
def install(monkeypatch: pytest.MonkeyPatch) -> Install:
    def put(*devices: tuple[str, str], refuses: tuple[str, ...] = ()) -> FakePortAudio:
        library = FakePortAudio(*devices, refuses=refuses)
        monkeypatch.setitem(sys.modules, "sounddevice", library)
        return library

    return put


def _source(rate_hz: float | None = 48_000.0, **settings: str) -> SoundCardSource:
    (source,) = make_sources(["sound-card"], Asked(rate_hz=rate_hz), settings)
    assert isinstance(source, SoundCardSource)
    return source


# ---------------------------------------------------------------- who stands between


@pytest.mark.parametrize(
    "device,rate_hz,mode,told",
    [
        (("ALSA", HARDWARE), 44_100.0, "exclusive", None),
        (("ASIO", "Some Card"), 44_100.0, "exclusive", None),
        (("Windows WDM-KS", "Some Card"), 44_100.0, "exclusive", None),
        (("Core Audio", "Some Card"), 48_000.0, "shared", None),
        (("Core Audio", "Some Card"), 44_100.0, "shared", "so the system resamples: set the device to the rate"),
        (("ALSA", "default"), 48_000.0, "shared", r"choose the device whose name ends in \(hw:"),
        (("ALSA", "pipewire"), 44_100.0, "shared", "44100 samples a second were asked for, 48000 are its default"),
        (("ALSA", "dmix"), 48_000.0, "shared", "ALSA mixes programs and may resample or process: "),
        (("PulseAudio", "Some Card"), 48_000.0, "shared", r"under ALSA, by the name that ends in \(hw:"),
        (("Windows WASAPI", "Some Card"), 48_000.0, "shared", "open it in exclusive mode"),
        (("Windows DirectSound", "Some Card"), 48_000.0, "shared", "under WASAPI and open it in exclusive mode"),
        (("MME", "Some Card"), 48_000.0, "shared", "under WASAPI and open it in exclusive mode"),
        (("JACK Audio Connection Kit", "system"), 48_000.0, "shared", "set the sound server to the device's own rate"),
        (("Never Heard Of", "Some Card"), 48_000.0, "shared", "ask its documentation how to record unprocessed"),
    ],
)
def test_who_mixes_and_resamples_is_told(
    install: Install, device: tuple[str, str], rate_hz: float, mode: str, told: str | None
) -> None:
    install(("MME", "another"), device)
    says = _source(rate_hz).prepare()
    assert says.facts.settings["mode"] == mode
    assert len(says.warnings) == (told is not None)
    for warning in says.warnings:
        assert re.search(str(told), warning), warning
        assert "enhancements off" in warning
        assert "\n" not in warning


@pytest.mark.parametrize(
    "api,extra",
    [
        ("Windows WASAPI", ("wasapi", {"exclusive": True})),
        ("Core Audio", ("core audio", {"change_device_parameters": True, "fail_if_conversion_required": True})),
        ("ASIO", None),
    ],
)
def test_exclusive_mode_is_asked_of_the_host_api_and_needs_no_warning(install: Install, api: str, extra: Any) -> None:
    library = install((api, "Some Card"))
    says = _source(44_100.0, exclusive="yes").prepare()
    assert library.opened["extra_settings"] == extra
    assert says.facts.settings["mode"] == "exclusive"
    assert says.warnings == ()


@pytest.mark.parametrize(
    "device,remedy",
    [
        (("ALSA", "default"), "(hw:...)"),
        (("MME", "Some Card"), "WASAPI"),
        (("Odd", "Some Card"), "leave exclusive out"),
    ],
)
def test_a_host_api_without_exclusive_mode_refuses_it_in_one_line(
    install: Install, device: tuple[str, str], remedy: str
) -> None:
    install(device)
    with pytest.raises(SourceError, match="has no exclusive mode for it") as caught:
        _source(exclusive="yes").prepare()
    assert remedy in str(caught.value)
    assert "\n" not in str(caught.value)


# ---------------------------------------------------------------- bits


@pytest.mark.parametrize(
    "bits,dtype,step",
    [("16", "<i2", 1.0), ("24", "<i4", 256.0), ("32", "<i4", 1.0)],
)
def test_bits_are_kept_raw(install: Install, bits: str, dtype: str, step: float) -> None:
    library = install(("ALSA", HARDWARE))
    says = _source(bits=bits, gain="knob at 3").prepare()
    assert says.dtype == np.dtype(dtype)
    assert says.facts.settings == {"bits": bits, "mode": "exclusive", "gain": "knob at 3"}
    assert library.opened["dither_off"] is True  # noise of its own would be no raw sample
    for channel in says.channels:
        assert channel.step_counts == step
        # The highest sample that a converter of so many bits gives, 1 - 2^(1 - bits) of full scale, is at the limit.
        low, high = channel.as_analysed().limits or (0, 0)
        assert low == -1
        assert high <= 1 - 2.0 ** (1 - int(bits))
        assert high >= 1 - 2.0**-15


def test_a_driver_that_gives_only_floats_is_told_of(install: Install) -> None:
    install(("ALSA", HARDWARE), refuses=("int32", "int16"))
    says = _source(bits="24").prepare()
    assert says.dtype == np.dtype("<f4")
    assert says.facts.settings["bits"] == "float"
    assert "not the 24 bits asked for" in says.warnings[0]
    assert _source().prepare().warnings == ()


@pytest.mark.parametrize(
    "setting,told",
    [
        ({"bits": "20"}, "use 16, 24 or 32"),
        ({"bits": "many"}, "bits=many"),
        ({"exclusive": "maybe"}, "exclusive=maybe"),
    ],
)
def test_a_setting_that_cannot_be_is_refused(setting: dict[str, str], told: str) -> None:
    with pytest.raises(WrongUseError, match=told) as caught:
        _source(**setting)
    assert "\n" not in str(caught.value)


# ---------------------------------------------------------------- a stream that is driven by hand


class _Card:
    """Calls the source's callback as a driver does: its clock goes with the samples, the computer hears late."""

    def __init__(self, library: FakePortAudio, monkeypatch: pytest.MonkeyPatch, adc: str = "works") -> None:
        self._callback, self._adc = library.opened["callback"], adc
        self._random = np.random.default_rng(20)
        self._sampled = 0
        self._now_s = self._jumped_s = 0.0
        monkeypatch.setattr("capture._sound_card.time", SimpleNamespace(monotonic=lambda: self._now_s))

    def deliver(self, rows: npt.NDArray[Any], lost: int = 0) -> None:
        self._sampled += lost
        adc_s = 100.0 + self._sampled / 48_000
        self._sampled += len(rows)
        self._now_s = 7.0 + self._sampled / 48_000 + self._random.uniform(0.0, 0.004)
        self._jumped_s += 1000.0 * (lost > 0)
        told = {"works": adc_s, "absent": 0.0, "jumps": adc_s + self._jumped_s}[self._adc]
        status = SimpleNamespace(input_overflow=lost > 0)
        self._callback(rows, len(rows), SimpleNamespace(inputBufferAdcTime=told), status)


def _everything(source: SoundCardSource) -> list[Item]:
    items = []
    while (item := source.wait(0.0)) is not None:
        items.append(item)
    return items


def _row_numbers(first: int, rows: int) -> npt.NDArray[np.int32]:
    return np.repeat(np.arange(first, first + rows, dtype=np.int32)[:, None], 2, axis=1)


@pytest.mark.parametrize("adc,within_rows", [("works", 0), ("absent", 200), ("jumps", 200)])
def test_gaps_are_as_long_as_what_was_lost(
    install: Install, monkeypatch: pytest.MonkeyPatch, adc: str, within_rows: int
) -> None:
    """Every sample is its own row number, so a gap's length can be checked against the samples around it.

    Without a clock of the card the computer's is taken: good to the lateness of callbacks, here 4 ms or 192 rows.
    """
    library = install(("ALSA", HARDWARE))
    source = _source()
    source.prepare()
    source.start()
    card, random = _Card(library, monkeypatch, adc), np.random.default_rng(21)
    at, truth, items = 0, [], list[Item]()
    for turn in range(300):
        # One loss is as long as a lid closed for ten minutes.
        lost = 28_800_001 if turn == 150 else int(random.integers(300, 9000)) if random.random() < 0.1 and turn else 0
        truth += [lost] if lost else []
        at += lost
        rows = int(random.integers(64, 1024))
        card.deliver(_row_numbers(at, rows), lost)
        at += rows
        items += _everything(source)
    source.stop()
    gaps = [item for item in items if isinstance(item, Gap)]
    assert len(gaps) == len(truth) > 10
    for gap, lost in zip(gaps, truth, strict=True):
        assert abs(gap.length - lost) <= within_rows, (gap, lost)
        assert ("its clock" if adc == "works" else "the computer's clock") in gap.cause
    if adc == "works":
        blocks = [item for item in items if isinstance(item, Block)]
        assert all((block.counts[:, 0] == np.arange(block.first, block.stop)).all() for block in blocks)


def test_an_overflow_before_the_first_buffer_is_one_row(install: Install, monkeypatch: pytest.MonkeyPatch) -> None:
    library = install(("ALSA", HARDWARE))
    source = _source()
    source.prepare()
    source.start()
    _Card(library, monkeypatch).deliver(_row_numbers(0, 64), lost=500)
    first = _everything(source)[0]
    source.stop()
    assert isinstance(first, Gap)
    assert (first.first, first.length) == (0, 1)


@pytest.mark.parametrize(
    "settings,really,told",
    [
        ({}, 16, ["samples use 16 of 32 bits"]),
        ({}, 32, []),
        ({"bits": "24"}, 24, []),
        ({"bits": "24"}, 32, ["samples use 32 of 32 bits"]),
        ({"bits": "32"}, 24, ["samples use 24 of 32 bits"]),
        ({"bits": "16"}, 16, []),
        ({"bits": "16"}, 12, ["samples use 12 of 16 bits"]),
        ({}, 0, []),
    ],
)
def test_bits_that_never_move_are_told_of(
    install: Install, monkeypatch: pytest.MonkeyPatch, settings: dict[str, str], really: int, told: list[str]
) -> None:
    library = install(("ALSA", HARDWARE))
    source = _source(**settings)
    width = source.prepare().dtype.itemsize * 8
    source.start()
    card, random, items = _Card(library, monkeypatch), np.random.default_rng(22), list[Item]()
    for _ in range(60):
        noise = np.rint(random.normal(0, 300, (2400, 2))).astype(np.int64) << (width - really) if really else 0
        rows = np.zeros((2400, 2), np.int64) + noise
        card.deliver(rows.astype(f"int{width}"))
        items += _everything(source)
    source.stop()
    marks = [item for item in items if isinstance(item, Mark)]
    assert [mark.text for mark in marks] == told
    assert all(mark.first == 48_000 for mark in marks), "after the first second"


def test_bits_that_begin_to_move_later_are_told_of_again(install: Install, monkeypatch: pytest.MonkeyPatch) -> None:
    library = install(("ALSA", HARDWARE))
    source = _source()
    source.prepare()
    source.start()
    card, items = _Card(library, monkeypatch), list[Item]()
    for shift in (16, 16, 8, 8):
        card.deliver((np.arange(-24_000, 24_000, dtype=np.int64)[:, None].repeat(2, 1) << shift).astype(np.int32))
        items += _everything(source)
    source.stop()
    told = [(item.text, item.first) for item in items if isinstance(item, Mark)]
    assert told == [("samples use 16 of 32 bits", 48_000), ("samples use 24 of 32 bits", 98_400)]
