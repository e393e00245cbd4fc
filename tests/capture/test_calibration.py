"""Stored calibrations: volts recovered within the stated uncertainty, what is kept, what is refused, what warns."""

from __future__ import annotations

import dataclasses
import math
from datetime import date
from pathlib import Path
from typing import Any

import h5py
import numpy as np
import pytest
import soundfile

from analysis import (
    Meter,
    Reading,
    Subject,
    WrongUseError,
    analyse,
    calibrate_dc,
    calibrate_sine,
    measure_dc,
    measure_floor,
    measure_tone,
    parse_reading,
    resistor_divider,
)
from capture import (
    Block,
    Calibration,
    CalibrationError,
    ChannelWishes,
    InputFacts,
    LevelFacts,
    MeterFacts,
    RecordedChannel,
    Recording,
    SourceFacts,
    StoredCalibration,
    apply_wishes,
    calibration_names,
    calibration_of,
    calibration_path,
    calibration_warnings,
    calibrations_folder,
    channel_warnings,
    load_calibration,
    parse_wishes,
    read_evidence,
    same_input,
    save_calibration,
    scaled,
    with_floor,
)
from capture._model import FORMAT_VERSION
from tests.analysis.making import covered, sine, white
from tests.capture.making import info, ramp, write
from tests.support import ROOT

RATE = 8000.0
FRAMES = 8000
DAY = date(2026, 3, 2)
#: as a sound card gives it: 16-bit counts, worth shares of full scale
INPUT = RecordedChannel(
    name="input 0", scale=2.0**-15, limits_counts=(-32768, 32767), step_counts=1, coupling="DC", role="speaker"
)
WIRED = InputFacts(
    source_kind="sound-card", name="two-channel interface", host_api="ALSA", channel=0, channel_name="input 0",
    unit="FS", coupling="DC", settings={"gain": "12 o'clock", "bits": "16"},
)  # fmt: skip
FACTS = SourceFacts(
    kind="sound-card", name="two-channel interface", host_api="ALSA", settings={"gain": "12 o'clock", "bits": "24"}
)
METER = MeterFacts(name="bench meter 7", kind="true-rms", uncertainty=0.01, uncertainty_kind="limit")
LEVEL = LevelFacts(file="a.wav", sha256="0" * 64, volts=1.5, reading=0.5, reading_uncertainty=1e-4, frequency_hz=250.0)
STORED = StoredCalibration(
    format="humproof-calibration", version=1, name="line-in-left", date=DAY, valid_until=date(2027, 3, 2),
    method="known sine at 2 levels", scale=3.0, scale_uncertainty=0.012, offset=0.0, offset_uncertainty=0.004,
    offset_known=False, uncertainty_parts={"meter": 0.00577, "rest beside the tone": 1e-4}, meter=METER, input=WIRED,
    levels=(LEVEL, LEVEL), temperature_c=21.5,
)  # fmt: skip


# ---------------------------------------------------------------- volts, recovered


@dataclasses.dataclass(frozen=True)
class World:
    """One invented input with its divider, all errors drawn within what is stated of them."""

    drawn: np.random.Generator
    scale: float
    offset: float
    ratio: float
    meter_error: float

    @classmethod
    def of(cls, seed: int) -> World:
        """Resistors and meter of 1 %, an input resistance of 20 %."""
        drawn = np.random.default_rng(seed)
        upper, lower = (nominal * drawn.uniform(0.99, 1.01) for nominal in (19e3, 1e3))
        loading = 10e3 * drawn.uniform(0.8, 1.2)
        ratio = 1 + upper * (1 / lower + 1 / loading)
        return cls(drawn, drawn.uniform(1.5, 4), drawn.uniform(-0.05, 0.05), ratio, drawn.uniform(-0.01, 0.01))

    def counts(self, volts: np.ndarray) -> np.ndarray:
        """Volts at the input become noisy, rounded counts: volts = FS * scale + offset."""
        share = (volts - self.offset) / self.scale + self.drawn.normal(0, 3e-4, len(volts))
        return np.clip(np.rint(share * 32768), -32768, 32767).astype("<i2")

    def shares(self, volts: np.ndarray) -> np.ndarray:
        return self.counts(volts) * 2.0**-15

    def metered(self, volts: float) -> Reading:
        """As the meter shows it: with its error, three decimals."""
        return parse_reading(f"{volts * (1 + self.meter_error):.3f}")


def recovered_rms(seed: int, meter: Meter, tolerance: float) -> tuple[float, float]:
    """(error, stated k = 2 uncertainty) of the rms of a third sine, recorded through divider and calibration."""
    world, raw = World.of(seed), INPUT.as_analysed()
    points = []
    for share, hertz in ((0.6, 250.0), (0.15, 250.0)):
        volts = world.scale * share
        tone = world.shares(sine(hertz, volts, RATE, FRAMES, world.drawn.uniform(0, 6)))
        points.append((world.metered(volts), measure_tone(tone, RATE, raw)))
    made = calibrate_sine(points, meter)
    divider = resistor_divider(19e3, 1e3, tolerance, 10e3, 20 * tolerance)
    stored = calibration_of("trial", made, METER, WIRED, [LEVEL], on=DAY, method="trial", factor=divider)
    floor = measure_floor(world.shares(np.zeros(2 * FRAMES)), RATE, raw)
    save_calibration(with_floor(stored, floor, "short.wav", "0" * 64, DAY)[0], replace=True)
    # The third sine: other level, other frequency, at the divider's tip.
    truth = world.scale * world.drawn.uniform(0.2, 0.5) * world.ratio
    counts = world.counts(sine(171.3, truth, RATE, FRAMES) / world.ratio)
    channels = apply_wishes((INPUT,), ChannelWishes(calibrations={"0": "trial"}), "")
    values = scaled(counts[:, None], info(1, RATE, channels=channels))
    told = analyse(Subject((channels[0].as_analysed(),), RATE, FRAMES, lambda: iter([values])))
    figure = told.figure("input 0", "rms")
    assert figure is not None
    assert figure.uncertainty is not None
    assert figure.unit == "V"
    return figure.value - truth, figure.uncertainty


def coverage_of(meter: Meter, tolerance: float) -> tuple[int, float]:
    """In how many of 100 seeded trials the truth lay within the stated uncertainty, and that uncertainty's median."""
    trials = np.array([recovered_rms(seed, meter, tolerance) for seed in range(100)])
    return int(np.sum(np.abs(trials[:, 0]) <= trials[:, 1])), float(np.median(trials[:, 1]))


def test_a_known_sine_through_scale_divider_and_offset_comes_back_within_its_uncertainty() -> None:
    """The stated uncertainty covers about 95 of 100 seeded trials (JCGM 100: k = 2), and no more than it must."""
    hits, _ = coverage_of(Meter(0.01), tolerance=0.01)
    assert 90 <= hits <= 100


def test_the_coverage_falls_when_the_meter_is_said_to_be_better_than_it_is() -> None:
    """The same trials with a tenth of the true tolerances stated: the test above is able to fail."""
    hits, _ = coverage_of(Meter(0.001), tolerance=0.001)
    assert hits < 50


def test_known_dc_comes_back_within_its_uncertainty() -> None:
    """Two levels and the shorted input: 100 seeded trials of a third level, DC figures of the analysis."""
    errors, spreads = [], []
    for seed in range(100):
        world, raw = World.of(1000 + seed), INPUT.as_analysed()
        levels = [share * world.scale for share in (0.8, -0.5)]
        points = [
            (world.metered(volts), measure_dc(world.shares(np.full(FRAMES, volts)), raw)) for volts in levels
        ]  # fmt: skip
        zero = measure_dc(world.shares(np.zeros(FRAMES)), raw, shorted=True)
        made = calibrate_dc(points, Meter(0.01), zero)
        truth = 0.31 * world.scale
        counts = world.counts(np.full(FRAMES, truth))
        stored = calibration_of("dc", made, METER, WIRED, [LEVEL], on=DAY, method="trial")
        save_calibration(stored, replace=True)
        channels = apply_wishes((INPUT,), ChannelWishes(calibrations={"input 0": "dc"}), "")
        values = scaled(counts[:, None], info(1, RATE, channels=channels))
        errors.append(float(values.mean()) - truth)
        spreads.append(math.hypot(stored.scale_uncertainty * truth, stored.offset_uncertainty))
    # The meter's rectangular error rules alone here: k = 2 then reaches beyond its limits.
    assert covered(errors, spreads, 0.0) >= 0.9
    assert np.std(errors) > 0.2 * np.median(spreads)


# ---------------------------------------------------------------- the store


def test_what_is_stored_comes_back_and_nothing_else_is_left() -> None:
    floor = measure_floor(white(1, 1e-4, 48_000) + 0.01, 48_000.0, INPUT.as_analysed())
    stored, warnings = with_floor(STORED, floor, "short.wav", "1" * 64, DAY)
    assert not warnings
    path = save_calibration(stored)
    assert load_calibration("line-in-left") == stored
    assert [file.name for file in path.parent.iterdir()] == ["line-in-left.toml"]
    assert calibration_names() == ["line-in-left"]


def test_a_stored_one_is_not_overwritten_by_accident() -> None:
    save_calibration(STORED)
    with pytest.raises(CalibrationError, match="is stored already"):
        save_calibration(STORED.changed(scale=4.0))
    assert load_calibration("line-in-left").scale == 3.0
    save_calibration(STORED.changed(scale=4.0), replace=True)
    assert load_calibration("line-in-left").scale == 4.0


def test_a_folder_that_cannot_be_written_leaves_the_old_one(monkeypatch: pytest.MonkeyPatch) -> None:
    path = save_calibration(STORED)
    before = path.read_bytes()

    def refused(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.replace", refused)
    with pytest.raises(CalibrationError, match="cannot be written: No space left on device; nothing was changed"):
        save_calibration(STORED.changed(scale=4.0), replace=True)
    assert path.read_bytes() == before
    assert len(list(path.parent.iterdir())) == 1


@pytest.mark.parametrize("name", ["", "../up", "a/b", ".hidden", "x" * 65, "a b", "nul\0"])
def test_a_name_that_is_no_plain_file_is_refused(name: str) -> None:
    with pytest.raises(CalibrationError, match="use letters"):
        calibration_path(name)


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("scale = 3.0", 'scale = "three"', "'scale'"),
        ("scale = 3.0", "scale = 0.0", "'scale': a scale of 0"),
        ("scale = 3.0", "scale = nan", "'scale'"),
        (
            "scale_uncertainty",
            "scale_uncertanty",
            "'scale_uncertanty' is not a known key (did you mean 'scale_uncertainty'?)",
        ),
        ("true-rms", "rms", "'meter.kind'"),
        ('host_api = "ALSA"', "host_api = 7", "'input.host_api'"),
        ("volts = 1.5", "volts = inf", "'levels.1.volts'"),
        ("version = 1", "version = 2", "'version': version 2 is not known"),
        ("2027-03-02", "2025-03-02", "valid_until 2025-03-02 lies before"),
        ("scale = 3.0", "scale = = 3.0", "is not valid TOML"),
        ('"line-in-left"', '"line-in-right"', "a file is named as the calibration in it"),
    ],
)
def test_a_spoilt_file_is_told_with_its_line(old: str, new: str, words: str) -> None:
    path = save_calibration(STORED)
    text = path.read_text("utf-8")
    spoilt = text.replace(old, new, 1)
    assert spoilt != text
    path.write_text(spoilt, "utf-8")
    with pytest.raises(CalibrationError) as caught:
        load_calibration("line-in-left")
    message = str(caught.value)
    assert words in message
    assert "\n" not in message
    key = new.split(" =")[0]
    number = next((n for n, line in enumerate(spoilt.splitlines(), 1) if line.startswith(key)), None)
    if " = " in new and "TOML" not in words:
        assert f"{path}: line {number}:" in message


def test_a_missing_one_names_those_that_are_there() -> None:
    save_calibration(STORED)
    with pytest.raises(CalibrationError, match="'left': is not stored; there are: line-in-left"):
        load_calibration("left")


def test_they_lie_in_the_users_own_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    if calibrations_folder() != tmp_path / "humproof" / "calibrations":
        pytest.skip("this system keeps its data folder elsewhere")
    assert save_calibration(STORED).parent == tmp_path / "humproof" / "calibrations"


# ---------------------------------------------------------------- onto a channel


def applied(channel: RecordedChannel = INPUT, stored: StoredCalibration = STORED) -> RecordedChannel:
    save_calibration(stored, replace=True)
    return apply_wishes((channel,), ChannelWishes(calibrations={"0": stored.name}), "")[0]


def test_scale_offset_and_unit_build_on_what_the_device_says() -> None:
    stored = STORED.changed(offset=0.25, offset_known=True)
    device = INPUT.model_copy(update={"offset": 0.125})
    channel = applied(device, stored)
    assert channel.unit == "V"
    for count in (-1234, 0, 20_000):
        share = count * device.scale + device.offset
        assert count * channel.scale + channel.offset == pytest.approx(share * 3.0 + 0.25)


def test_the_record_carries_everything_that_a_second_shop_needs(tmp_path: Path) -> None:
    stored = STORED.changed(offset_known=True)
    channel = applied(INPUT, stored)
    path = write(tmp_path / "a.h5", [Block(0, ramp(0, 100).counts[:, :1])], facts=info(1, channels=(channel,)))
    with Recording(path) as recording:
        record = recording.info.channels[0].calibration
    assert record == channel.calibration
    assert record is not None
    assert (record.name, record.date, record.valid_until) == ("line-in-left", "2026-03-02", "2027-03-02")
    assert record.reference == "bench meter 7 (true-rms meter, 1 % limit)"
    assert (record.source_kind, record.source_name, record.host_api) == FACTS_SAID
    assert record.settings["gain"] == "12 o'clock"
    assert record.temperature_c == 21.5


FACTS_SAID = ("sound-card", "two-channel interface", "ALSA")


def test_a_dc_channel_with_unknown_zero_gives_no_dc_within_its_range() -> None:
    """Nobody measured the zero: it may lie anywhere in the range. An AC-coupled channel has no DC figure anyhow."""
    for coupling, spread in (("DC", 3.0), ("AC", 0.004)):
        channel = applied(INPUT.model_copy(update={"coupling": coupling}))
        assert channel.calibration is not None
        assert not channel.calibration.offset_known
        assert channel.calibration.offset_uncertainty == pytest.approx(spread, rel=1e-3)


def test_a_reversed_lead_turns_the_range_round() -> None:
    channel = applied(INPUT, STORED.changed(scale=-3.0))
    limits = channel.as_analysed().limits
    assert limits is not None
    assert limits == pytest.approx((-3 * 32767 / 32768, 3.0))


@pytest.mark.parametrize(
    ("channel", "stored", "words"),
    [
        (INPUT.model_copy(update={"unit": "V"}), STORED, "was made for readings in FS, channel input 0 gives V"),
        (INPUT.model_copy(update={"role": "current"}), STORED, "--unit A"),
        (INPUT, STORED.changed(unit="A"), "does not go with channel input 0's role 'speaker'"),
    ],
)
def test_a_calibration_that_does_not_fit_is_refused(
    channel: RecordedChannel, stored: StoredCalibration, words: str
) -> None:
    with pytest.raises(CalibrationError, match=words):
        applied(channel, stored)


def test_calibrations_are_named_on_the_command_line_like_everything_else() -> None:
    save_calibration(STORED)
    wishes = parse_wishes([], [], [], None, ["0=line-in-left"])
    assert wishes.calibrations == {"0": "line-in-left"}
    with pytest.raises(CalibrationError, match="is not stored"):
        parse_wishes([], [], [], None, ["0=other"])
    with pytest.raises(WrongUseError, match="write it as number or name"):
        parse_wishes([], [], [], None, ["line-in-left"])
    with pytest.raises(WrongUseError, match="has --scale too"):
        parse_wishes([], ["0=2"], [], None, ["0=line-in-left"])
    both = ChannelWishes(scales={"0": 2.0}, calibrations={"input 0": "line-in-left"})
    with pytest.raises(WrongUseError, match="has --scale too"):
        apply_wishes((INPUT,), both, "")
    with pytest.raises(WrongUseError, match="there is no channel '3'"):
        apply_wishes((INPUT,), ChannelWishes(calibrations={"3": "line-in-left"}), "")


def test_without_a_calibration_a_channel_stays_in_shares_of_full_scale() -> None:
    channel = apply_wishes((INPUT,), ChannelWishes(), "")[0]
    assert (channel.unit, channel.calibration) == ("FS", None)
    told = analyse(Subject((channel.as_analysed(),), RATE, 8000, lambda: iter([white(1, 0.1, 8000, 1)])))
    assert any("is not calibrated: values are shares of full scale (FS)" in text for text in told.warnings)


# ---------------------------------------------------------------- does it still hold?


def warned(facts: SourceFacts = FACTS, today: date = DAY, index: int = 0, **record: Any) -> list[str]:
    channel = applied(INPUT.model_copy(update={"coupling": "AC"}))
    assert channel.calibration is not None
    calibration = Calibration(**(channel.calibration.model_dump() | record))
    return calibration_warnings(calibration, facts, index, channel, today)


def test_the_same_input_in_time_warns_of_nothing() -> None:
    """Other bits a sample leave the volts as they are, and so does the last day of validity."""
    assert warned(today=date(2027, 3, 2)) == []


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"today": date(2027, 3, 3)}, "expired on 2027-03-02"),
        ({"facts": FACTS.model_copy(update={"name": "headset"})}, "this is sound-card 'headset'"),
        ({"facts": FACTS.model_copy(update={"host_api": "JACK"})}, "host API 'ALSA', this is 'JACK'"),
        ({"facts": FACTS.model_copy(update={"settings": {"gain": "full"}})}, "gain '12 o'clock', now it is 'full'"),
        ({"facts": FACTS.model_copy(update={"settings": {}})}, "which this recording does not state"),
        ({"facts": FACTS.model_copy(update={"settings": FACTS.settings | {"range": "2 V"}})}, "at which range"),
        ({"channel_name": "input 1"}, "was made for channel input 1, this is input 0"),
        ({"channel_name": "", "index": 1}, "was made for channel number 0, this is number 1"),
        ({"source_kind": ""}, "does not say which device"),
        ({"simulated": True}, "made from simulated recordings"),
    ],
)
def test_whatever_changed_since_warns(changes: dict[str, Any], words: str) -> None:
    warnings = warned(**changes)
    assert len(warnings) == 1
    assert warnings[0].startswith("channel input 0: calibration 'line-in-left' ")
    assert words in warnings[0]


def test_channels_without_a_stored_calibration_warn_of_nothing() -> None:
    typed = INPUT.model_copy(
        update={"unit": "V", "calibration": Calibration(date="", method="scale typed", scale_uncertainty=0.1)}
    )
    assert channel_warnings((INPUT, typed), FACTS, DAY) == []
    dc = applied()
    assert len(channel_warnings((INPUT, dc), FACTS, DAY)) == 1
    assert "leaves the zero unknown" in channel_warnings((INPUT, dc), FACTS, DAY)[0]


# ---------------------------------------------------------------- the floor


def floor_of(rms: float, dc: float = 0.01, seed: int = 1) -> Any:
    return measure_floor(white(seed, rms, 48_000) + dc, 48_000.0, INPUT.as_analysed())


def test_the_floor_gives_the_zero_that_nobody_had_measured() -> None:
    floor = floor_of(1e-3)
    stored, warnings = with_floor(STORED, floor, "short.wav", "1" * 64, DAY)
    assert not warnings
    assert stored.offset_known
    assert floor.dc * stored.scale + stored.offset == pytest.approx(0)
    assert stored.floor is not None
    assert stored.floor.rms == pytest.approx(3e-3 * math.sqrt(20 / 24), rel=0.03)


def test_a_higher_floor_warns_and_does_not_replace_the_lower_one() -> None:
    first, _ = with_floor(STORED, floor_of(1e-3), "short.wav", "1" * 64, DAY)
    same, none = with_floor(first, floor_of(1e-3, seed=2), "again.wav", "2" * 64, DAY)
    assert none == []
    assert same.floor is not None
    assert same.floor.file in ("again.wav", "short.wav")
    worse, warnings = with_floor(first, floor_of(1.3e-3), "worse.wav", "3" * 64, DAY)
    assert worse.floor == first.floor
    assert len(warnings) == 1
    assert "the floor is 0.00" in warnings[0]


def test_a_zero_that_moved_warns() -> None:
    first, _ = with_floor(STORED, floor_of(1e-3), "short.wav", "1" * 64, DAY)
    moved, warnings = with_floor(first, floor_of(1e-3, dc=0.02), "later.wav", "2" * 64, DAY)
    assert moved.offset == first.offset
    assert any("its zero has moved" in text for text in warnings)


# ---------------------------------------------------------------- evidence


def test_evidence_comes_by_the_road_of_every_file(tmp_path: Path) -> None:
    tone = sine(250, 0.3, 8000, 8000)
    soundfile.write(tmp_path / "two.wav", np.stack([tone, -tone / 2], axis=1), 8000, "PCM_16")
    one = read_evidence(tmp_path / "two.wav", "1")
    np.testing.assert_allclose(one.samples, -tone / 2, atol=2.0**-15)
    assert (one.wired.channel, one.wired.unit, one.wired.source_kind) == (1, "FS", "")
    with pytest.raises(CalibrationError, match="has several channels: say which with --channel"):
        read_evidence(tmp_path / "two.wav")
    counts = np.rint(tone[:, None] * 32768).astype("<i2")
    facts = info(1, 8000.0, channels=(INPUT,), source=FACTS)
    sealed = read_evidence(write(tmp_path / "a.h5", [Block(0, counts)], facts=facts))
    assert sealed.wired == WIRED.model_copy(update={"settings": FACTS.settings})
    np.testing.assert_allclose(sealed.samples, tone, atol=2.0**-15)
    with pytest.raises(CalibrationError, match="record all levels through the same input"):
        same_input([sealed, dataclasses.replace(sealed, wired=one.wired)])


def test_a_recording_that_is_scaled_already_is_no_evidence(tmp_path: Path) -> None:
    block = [Block(0, ramp(0, 100).counts[:, :1])]
    for name, channel in (("calibrated", applied()), ("typed", INPUT.model_copy(update={"unit": "V"}))):
        path = write(tmp_path / f"{name}.h5", block, facts=info(1, channels=(channel,), source=FACTS))
        with pytest.raises(CalibrationError, match="is scaled already"):
            read_evidence(path)


# ---------------------------------------------------------------- the recording file


def test_a_file_of_version_1_0_still_reads(tmp_path: Path) -> None:
    """A calibration as version 1.0 wrote it has none of the newer keys: they take their defaults."""
    old = Calibration(date="2026-01-05", method="known sine", scale_uncertainty=0.02)
    channel = INPUT.model_copy(update={"unit": "V", "calibration": old})
    path = write(tmp_path / "a.h5", [Block(0, ramp(0, 100).counts[:, :1])], facts=info(1, channels=(channel,)))
    newer = '"offset_known":true,"name":"","valid_until":"","probe":"","source_kind":"","source_name":"",'
    newer += '"host_api":"","device_channel":null,"channel_name":"","settings":{},"floor_rms":null,"simulated":false'
    with h5py.File(path, "r+") as file:
        assert file.attrs["format_version"] == FORMAT_VERSION
        text = file["metadata"][()].decode()
        assert f",{newer}" in text
        file["metadata"][()] = text.replace(f",{newer}", "")
        file.attrs["format_version"] = "1.0"
    with Recording(path) as recording:
        assert recording.info.channels[0].calibration == old


def test_the_specification_names_every_key_of_a_calibration() -> None:
    text = (ROOT / "capture" / "recording-file.md").read_text("utf-8")
    assert text.startswith(f"# The recording file, version {FORMAT_VERSION}")
    missing = [key for key in Calibration.model_fields if f"`{key}`" not in text]
    assert not missing
