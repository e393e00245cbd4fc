"""What is said before recording: it names the danger, and keeps quiet where there is none."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from scipy import signal

from capture import Conditions, RecordedChannel, SourceDescription, SourceFacts
from job import Advice, advice_before_recording, seconds_for_averages

CALM = Conditions(laptop_supply="own battery")


def device(
    *roles: str, kind: str = "sound-card", coupling: Any = "DC", rate_hz: float = 48_000.0, **facts: Any
) -> SourceDescription:
    channels = tuple(
        RecordedChannel(name=f"input {index}", role=role, coupling=coupling) for index, role in enumerate(roles)
    )
    known: dict[str, Any] = {"simulated": False, "live": True} | facts
    digest = known.pop("digest", "")
    source = SourceFacts(kind=kind, name="a device", original_sha256=digest)
    return SourceDescription(source, rate_hz, channels, np.dtype("<i4"), **known)


def texts(*devices: SourceDescription, facts: Conditions = CALM, seconds: float | None = 60.0) -> str:
    return "\n".join(one.text for one in advice_before_recording(devices, facts, seconds))


def dangers(*devices: SourceDescription) -> list[Advice]:
    return [one for one in advice_before_recording(devices, CALM, 60.0) if one.danger]


@pytest.mark.parametrize("role", ["drop-positive", "drop-positive@fuse", "speaker"])
def test_a_live_ground_clip_beside_another_channel_is_a_danger(role: str) -> None:
    told = dangers(device("supply", role))
    assert len(told) == 1
    assert "before the second clip goes on" in told[0].text
    assert role in told[0].text
    assert "dead short" in told[0].text


def test_one_channel_alone_and_a_clamp_beside_it_are_no_trap() -> None:
    assert not dangers(device("drop-positive"))
    assert not dangers(device("drop-positive", "current"))
    assert "clip" not in texts(device("supply", "current"))


def test_the_trap_is_seen_across_two_instruments_on_one_laptop() -> None:
    told = dangers(device("supply"), device("speaker", kind="oscilloscope"))
    assert len(told) == 1
    assert "two instruments" in told[0].text


def test_two_grounded_channels_are_told_to_share_one_point() -> None:
    told = texts(device("supply", "signal"))
    assert "ground clips of supply and signal are joined" in told
    assert not dangers(device("supply", "signal"))


def test_danger_stands_first() -> None:
    told = advice_before_recording([device("signal", "drop-positive")], Conditions(), 1.0)
    assert [one.danger for one in told] == sorted((one.danger for one in told), reverse=True)
    assert len(told) >= 3


@pytest.mark.parametrize("coupling,words", [("AC", "volts and sag cannot"), ("unknown", "DC-coupled? Nobody said")])
def test_coupling_is_asked_for_where_volts_are_wanted(coupling: str, words: str) -> None:
    assert words in texts(device("supply@rear-amp", coupling=coupling))
    assert words not in texts(device("signal", coupling=coupling))
    assert words not in texts(device("supply@rear-amp"))


def test_the_laptop_runs_on_its_own_battery() -> None:
    assert "own battery, charger unplugged" in texts(device("signal"), facts=Conditions())
    assert "own battery" in texts(device("signal"), facts=Conditions(laptop_supply="mains"))
    assert "charger" not in texts(device("signal"))


def test_folded_tones_are_checked_where_no_filter_is_known() -> None:
    told = texts(device("signal", kind="serial-port", rate_hz=8000.0))
    assert "from above 4000 Hz" in told
    assert "7200 samples a second" in told
    assert "fold" not in texts(device("signal"))
    assert "fold" not in texts(device("supply", kind="serial-port"))


@pytest.mark.parametrize("rate_hz", [8000.0, 44_100.0, 192_000.0])
def test_the_length_that_is_asked_gives_sixteen_averages(rate_hz: float) -> None:
    """Against scipy's own division into half-overlapping segments, and the rule that two of them are worth about one
    and nine tenths."""
    seconds = seconds_for_averages(rate_hz)
    assert texts(device("signal", rate_hz=rate_hz), seconds=seconds) == ""
    assert "16 averages" in texts(device("signal", rate_hz=rate_hz), seconds=seconds * 0.8)
    segment = 2 ** min(round(np.log2(rate_hz)), 16)
    _, _, spectrum = signal.spectrogram(np.zeros(int(seconds * rate_hz)), rate_hz, "hann", segment, segment // 2)
    assert 16 <= spectrum.shape[1] * 0.95 <= 20


def test_bursts_need_their_time() -> None:
    bursts = Conditions(laptop_supply="own battery", test_signal="bursts 50 Hz")
    assert "3 test bursts" in texts(device("supply"), facts=bursts, seconds=5.0)
    assert texts(device("supply"), facts=bursts, seconds=12.0) == ""
    assert texts(device("supply"), facts=bursts, seconds=None) == ""


def test_a_replay_needs_no_advice_and_a_simulation_has_no_clips() -> None:
    assert texts(device("speaker", "supply", kind="replay", digest="0" * 64), facts=Conditions(), seconds=1.0) == ""
    told = texts(device("speaker", "supply", kind="simulated-vehicle", simulated=True), facts=Conditions())
    assert told == ""
