"""Typed readings and recorded bursts against the wiring: what is understood, what is refused and how it is said."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from analysis import WrongUseError
from analysis.wiring import Amplifier, Battery, Case, Current, Drop, Joint, System, solve
from capture import ChannelWishes
from job import JobError, Study, WiringReadings, measure_wiring, measured_json, parse_readings, readings_of_study
from job import study_file as study_of_file

BURST = Case(engine="off", self_heating=False)
POINTS = ("battery+", "block", "amp+", "amp-")
SPANS = ((1.0, 2.0), (4.0, 5.0), (7.0, 8.0))


def joint(name: str, start: str, end: str) -> Joint:
    return Joint(name=name, start=start, end=end, kind="crimped", ohm=0.5e-3, most_ohm=1e-3)


ONE = System(
    name="one amplifier",
    batteries=(Battery(name="battery", positive="battery+", negative="battery-", open_volts=12.6, ohm=5e-3),),
    amplifiers=(Amplifier(name="bass", positive="amp+", negative="amp-", rated_w=800, at_volts=12.6),),
    joints=(joint("lug", "battery+", "block"), joint("terminal", "block", "amp+"), joint("earth", "amp-", "battery-")),
    simulated=True,
)
TWO = replace(
    ONE,
    amplifiers=(*ONE.amplifiers, Amplifier(name="top", positive="top+", negative="amp-", rated_w=200, at_volts=12.6)),
    joints=(*ONE.joints, joint("top lead", "block", "top+")),
)


# ------------------------------------------------------------------ typed


@pytest.mark.parametrize(
    "text, reading",
    (
        ("battery+:block=0.43", Drop("battery+", "block", 0.43, 0.0143)),
        ("battery+ : block = 0.43V +- 0.02", Drop("battery+", "block", 0.43, 0.02)),
        ("battery+:block=430mV±5mV", Drop("battery+", "block", 0.43, 0.005)),
        ("battery+:block=430 mV", Drop("battery+", "block", 0.43, 0.0053)),
        ("amp-:battery-=-.5+/-0.01 V", Drop("amp-", "battery-", -0.5, 0.01)),
        ("amp+=11.82", Drop("amp+", "battery-", 11.82, 0.1282)),
        ("bass=98A", Current("bass", 98.0, 1.98)),
        ("lug=98.5 A +- 2 A", Current("lug", 98.5, 2.0)),
    ),
)
def test_typed_readings(text: str, reading: Drop | Current) -> None:
    """1 % and one last digit where no uncertainty is given."""
    found = parse_readings([text], ONE)
    (got,) = (*found.drops, *found.currents)
    assert type(got) is type(reading)
    assert [getattr(got, name) for name in got.__slots__][:-2] == [
        getattr(reading, name) for name in reading.__slots__
    ][:-2]
    assert list(got.__slots__)[-1] == "uncertainty"
    values = [(getattr(one, one.__slots__[-2]), one.uncertainty) for one in (got, reading)]
    assert values[0] == pytest.approx(values[1], rel=1e-9)


@pytest.mark.parametrize(
    "text, words",
    (
        ("battery+:block", "is not understood: write it as"),
        ("battery+:block=much", "is not understood"),
        ("battery+:block=0.4 ohm", "is not understood"),
        ("battery+:block=0.4V+-1A", "is not understood"),
        ("=0.4", "is not understood"),
        ("battery+:blok=0.43", "no point 'blok'; its points are amp+, amp-, battery+, battery-, block"),
        ("blok=12", "no point 'blok'"),
        ("block:block=0.43", "one and the same point"),
        ("battery-=0.1", "against itself"),
        ("horn=98A", "no element or amplifier 'horn'"),
        ("battery+:block=0.43+-0", "no uncertainty above 0"),
    ),
)
def test_what_is_typed_wrongly_is_named_in_one_line(text: str, words: str) -> None:
    with pytest.raises(WrongUseError) as caught:
        parse_readings([text], ONE)
    assert words in str(caught.value)
    assert repr(text) in str(caught.value) or f"'{text}'" in str(caught.value)
    assert "\n" not in str(caught.value)


def test_points_with_colons_are_understood() -> None:
    odd = replace(ONE, joints=(joint("a", "battery+", "box:1"), joint("b", "box:1", "amp+"), ONE.joints[2]))
    assert parse_readings(["battery+:box:1=0.2"], odd).drops[0].end == "box:1"


# ------------------------------------------------------------------ recorded


def record(tmp_path: Path, levels: dict[str, float], roles: dict[str, str], couplings: str = "DC") -> Study:
    """A text file of 1 kHz: each column at rest 12.6 V (a supply) or 0, at its level in three bursts."""
    place = np.arange(9000) / 1000
    plays = np.any([(place >= a) & (place < b) for a, b in SPANS], axis=0)
    chance = np.random.default_rng(3)
    columns = [place]
    for name, level in levels.items():
        rest = 12.6 if roles.get(name, "").startswith("supply") else 0.0
        columns.append(np.where(plays, level, rest) + 1e-3 * chance.standard_normal(len(place)))
    path = tmp_path / "bursts.csv"
    unit = {name: "A" if roles.get(name, "").startswith("current") else "V" for name in levels}
    header = ",".join(["time (s)", *(f"{name} ({unit[name]})" for name in levels)])
    np.savetxt(path, np.column_stack(columns), delimiter=",", header=header, comments="", fmt="%.5f")
    numbers = {str(at): name for at, name in enumerate(levels)}
    return study_of_file(
        path,
        ChannelWishes(
            roles={at: roles[name] for at, name in numbers.items() if roles.get(name)},
            scales=dict.fromkeys(numbers, 1.0),
            couplings=dict.fromkeys(numbers, couplings),
            scale_uncertainty=0.005,
        ),
    )


def worse(name: str, excess: float) -> System:
    return replace(ONE, joints=tuple(replace(j, ohm=j.ohm + excess * (j.name == name)) for j in ONE.joints))


def test_recorded_bursts_lead_to_the_bad_joint(tmp_path: Path) -> None:
    """What `solve` has of a terminal with 9 milliohm too many, recorded, then typed at the block."""
    solved = solve(worse("terminal", 9e-3), BURST)
    v, amps = solved.volts, solved.amplifiers[0].amps
    levels = {"b": v["battery+"], "a": v["amp+"] - v["amp-"], "p": v["battery+"] - v["amp+"], "i": amps}
    roles = {"b": "supply", "a": "supply-amp", "p": "drop-positive@bass", "i": "current"}
    readings = readings_of_study(record(tmp_path, levels, roles), ONE)
    assert readings.refused == ()
    assert [(drop.start, drop.end) for drop in readings.drops] == [
        ("battery+", "battery-"),
        ("amp+", "amp-"),
        ("battery+", "amp+"),
    ]
    for drop, level in zip(readings.drops, levels.values(), strict=False):
        assert abs(drop.volts - level) <= drop.uncertainty
        assert drop.uncertainty == pytest.approx(0.005 * level, rel=0.2)
    assert readings.currents[0].amps == pytest.approx(amps, rel=0.005)
    measured = measure_wiring(ONE, BURST, readings)
    assert measured.told.worse is not None
    assert set(measured.told.worse.elements) == {"lug", "terminal"}
    assert measured.advice is not None
    assert {measured.advice.start, measured.advice.end} & {"block"}
    typed = parse_readings([f"battery+:block={v['battery+'] - v['block']:.3f}+-0.005"], ONE)
    again = measure_wiring(ONE, BURST, readings.joined(typed))
    assert again.told.suspects[0].element == "terminal"
    assert again.told.suspects[0].excess.low <= 9e-3 <= again.told.suspects[0].excess.high
    told = json.loads(json.dumps(measured_json(again), allow_nan=False))
    assert told["suspects"][0]["element"] == "terminal"
    assert told["fault_shown"] is True
    assert told["power_at"][0]["power_w"] == pytest.approx(800 * ((v["amp+"] - v["amp-"]) / 12.6) ** 2, rel=0.02)
    assert told["power_at"][0]["uncertainty"] > 0


def test_one_burst_may_be_chosen(tmp_path: Path) -> None:
    study = record(tmp_path, {"b": 11.9}, {"b": "supply"})
    assert readings_of_study(study, ONE, burst=2).drops[0].volts == pytest.approx(11.9, abs=0.002)
    for burst in (4, 0, -1):
        assert f"holds no burst {burst}" in readings_of_study(study, ONE, burst=burst).refused[0]


@pytest.mark.parametrize(
    "role, system, words",
    (
        ("supply-amp", TWO, "does not say at which amplifier: write supply-amp@ and one of bass, top"),
        ("drop-ground", TWO, "does not say at which amplifier"),
        ("supply-amp@rear", TWO, "no amplifier or point 'rear'"),
        ("supply@rear", ONE, "no battery, amplifier or point 'rear'"),
        ("drop-positive@battery+", ONE, "both clips at 'battery+'"),
        ("", ONE, "nobody said where it was clipped"),
    ),
)
def test_a_channel_that_does_not_say_where_it_was_clipped(
    role: str, system: System, words: str, tmp_path: Path
) -> None:
    study = record(tmp_path, {"x": 0.4, "b": 11.9}, {"x": role, "b": "supply"})
    readings = readings_of_study(study, system)
    assert len(readings.drops) == 1
    (line,) = readings.refused
    assert line.startswith("channel ")
    assert words in line
    assert "\n" not in line


def test_a_clamp_that_does_not_say_around_what(tmp_path: Path) -> None:
    study = record(tmp_path, {"i": 90.0, "b": 11.9}, {"i": "current", "b": "supply"})
    assert "write current@" in readings_of_study(study, TWO).refused[0]
    other = record(tmp_path, {"i": 90.0, "b": 11.9}, {"i": "current@lug", "b": "supply"})
    assert readings_of_study(other, TWO).currents[0].of == "lug"


def test_ac_coupled_channels_are_refused_with_the_reason(tmp_path: Path) -> None:
    study = record(tmp_path, {"b": 11.9}, {"b": "supply"}, couplings="AC")
    readings = readings_of_study(study, ONE)
    assert readings.drops == ()
    with pytest.raises(JobError, match="AC-coupled, so it shows no drop"):
        measure_wiring(ONE, BURST, readings)


def test_points_of_the_wiring_may_stand_in_a_role(tmp_path: Path) -> None:
    levels = {"u": 11.8, "p": 0.3, "g": 0.2, "a": 11.3}
    roles = {"u": "supply@block", "p": "drop-positive@block", "g": "drop-ground@amp-", "a": "supply@bass"}
    found = readings_of_study(record(tmp_path, levels, roles), ONE)
    assert [(drop.start, drop.end) for drop in found.drops] == [
        ("block", "battery-"),
        ("battery+", "block"),
        ("amp-", "battery-"),
        ("amp+", "amp-"),
    ]


def test_swapped_clips_are_told(tmp_path: Path) -> None:
    study = record(tmp_path, {"p": -0.4, "b": 11.9}, {"p": "drop-positive", "b": "supply"})
    assert "the wrong way round: swap its clips" in readings_of_study(study, ONE).refused[0]


def test_nothing_to_measure_with_is_said() -> None:
    with pytest.raises(JobError, match="nothing was measured"):
        measure_wiring(ONE, BURST, WiringReadings((), ()))


def test_power_by_a_chain_of_readings() -> None:
    """Battery 12.0, positive 0.5, ground 0.3 V: 11.2 at the amplifier; uncertainties in quadrature (JCGM 100)."""
    texts = ["battery+=12.0+-0.03", "battery+:amp+=0.5+-0.02", "amp-:battery-=0.3+-0.02"]
    (power,) = measure_wiring(ONE, BURST, parse_readings(texts, ONE)).powers
    assert power.volts == pytest.approx(11.2)
    assert power.watts == pytest.approx(800 * (11.2 / 12.6) ** 2)
    assert power.uncertainty == pytest.approx(2 * power.watts / 11.2 * math.hypot(0.03, 0.02, 0.02))
