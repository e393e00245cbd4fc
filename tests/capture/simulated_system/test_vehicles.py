"""Random vehicles and their fast pictures: seeded, audible, adding up, and free of the likelihood table."""

from __future__ import annotations

import math
import time
from collections import Counter
from pathlib import Path

import numpy as np
import pytest

from analysis import AGGRESSORS, CAUSES, ISOLATION_STEPS, WrongUseError
from capture import TAPS, FaultyVehicle, answers, picture, random_vehicle
from tests.support import ROOT

SLUGS = [cause.slug for cause in CAUSES]


def _some(count: int = 60) -> list[FaultyVehicle]:
    return [random_vehicle(seed) for seed in range(count)]


def test_the_same_seed_gives_the_same_vehicle_and_another_another() -> None:
    first, again, other = random_vehicle(7), random_vehicle(7), random_vehicle(8)
    assert picture(first) == picture(again)
    assert first.causes == again.causes
    assert picture(first).noise_rms != picture(other).noise_rms


def test_random_faults_are_all_drawn_alike() -> None:
    """200 draws of 20: each 10 with a standard deviation of 3.1; four of them are not exceeded."""
    drawn = Counter(random_vehicle(seed).causes[0] for seed in range(200))
    assert set(drawn) == set(SLUGS)
    assert max(abs(count - 10) for count in drawn.values()) < 13


def test_a_fault_can_be_heard_and_the_rest_is_not_silent() -> None:
    """10 dB or more over the healthy vehicle, which has lines of its own."""
    for vehicle in _some():
        if vehicle.mechanical:
            continue
        before, after = picture(vehicle), picture(vehicle, "after-fix")
        assert before.noise_rms >= 0.7e-3
        assert before.noise_rms > 2.8 * after.noise_rms or after.noise_rms < 1.1 * after.floor_rms
        assert after.noise_rms > 0


def test_two_faults_are_both_there() -> None:
    vehicle = random_vehicle(4, "shield-loop+hiss")
    assert vehicle.causes == ("shield-loop", "hiss")
    assert picture(vehicle).hiss_rms > 2 * picture(vehicle, "after-fix").hiss_rms
    assert picture(vehicle).ledger["alternator"] > 5 * picture(vehicle, "after-fix").ledger.get("alternator", 1e-9)
    assert len(random_vehicle(4, faults=2).causes) == 2


def test_an_unknown_fault_is_refused() -> None:
    with pytest.raises(WrongUseError, match="fault 'gremlins' is not known: use random, none, or one of lead-pick-up"):
        random_vehicle(1, "gremlins")


@pytest.mark.parametrize("tap", TAPS)
def test_a_picture_adds_up(tap: str) -> None:
    """The ledger's squares sum to the noise; lines stand in order of strength; every number is usable."""
    rng = np.random.default_rng(5)
    for vehicle in _some(30):
        for step in ("baseline", "inputs-shorted", "own-battery"):
            shown = picture(vehicle, step, rng=rng, tap=tap)
            total = sum(rms**2 for rms in shown.ledger.values())
            assert shown.noise_rms**2 == pytest.approx(total, rel=1e-9)
            assert set(shown.ledger) <= set(AGGRESSORS)
            assert all(math.isfinite(line.rms) and line.uncertainty > 0 for line in shown.lines)
            assert 0 <= shown.gated <= 1
            assert shown.unit == ("A" if tap == "current" else "V")
            assert all(line.coherence is None or 0 <= line.coherence <= 1 for line in shown.lines)


def test_scatter_lies_within_its_stated_size() -> None:
    """Runs differ by about 1 dB in a line's level (one standard deviation), 0.3 % in engine speed."""
    vehicle = random_vehicle(2, "lead-pick-up")
    rng = np.random.default_rng(1)
    expected = picture(vehicle).lines[0]
    runs = [picture(vehicle, rng=rng).lines[0] for _ in range(400)]
    levels = np.array([20 * math.log10(one.rms / expected.rms) for one in runs])
    pitches = np.array([one.frequency_hz / expected.frequency_hz - 1 for one in runs])
    assert levels.mean() == pytest.approx(0, abs=0.2)
    assert levels.std() == pytest.approx(1.0, rel=0.15)
    assert pitches.std() == pytest.approx(0.003, rel=0.15)


def test_coherence_tells_common_lines_from_others_only() -> None:
    """A tone that is not on the supply shows chance coherence: mean 1 / n of n averages (Bendat and Piersol)."""
    rng = np.random.default_rng(3)
    foreign = random_vehicle(1, "data-chatter")
    values = [picture(foreign, rng=rng).lines[0].coherence for _ in range(400)]
    assert np.mean([value for value in values if value is not None]) == pytest.approx(1 / 9, rel=0.15)
    whine = picture(random_vehicle(1, "shared-supply")).lines[0]
    assert whine.coherence is not None
    assert whine.coherence > 0.9
    assert whine.supply_rms is not None


def test_a_shield_that_carries_current_is_coherent_with_the_noise() -> None:
    """A loop drives milliamperes and more; through the isolation of a healthy input run microamperes only."""
    loops = [picture(random_vehicle(seed, "shield-loop")).shield_coherence for seed in range(10)]
    amplifiers = [picture(random_vehicle(seed, "amplifier-inside")).shield_coherence for seed in range(10)]
    assert np.median([one for one in loops if one is not None]) > 0.8
    assert np.median([one for one in amplifiers if one is not None]) < 0.5


def test_answers_come_from_the_network() -> None:
    mechanical, opened = answers(random_vehicle(1, "mechanical")), answers(random_vehicle(1, "open-signal-ground"))
    assert mechanical["heard-with-amplifier-unpowered"]
    assert not opened["heard-with-amplifier-unpowered"]
    shells = "source-shell-to-case-ohm", "processor-shell-to-case-ohm"
    assert max(float(opened[name]) for name in shells) >= 50
    assert answers(random_vehicle(1, "tuner-antenna"))["only-one-source"]
    assert not answers(random_vehicle(1, "hiss"))["only-one-source"]
    joints = [answers(random_vehicle(seed, "bad-ground")) for seed in range(8)]
    drops = [max(float(one[f"{box}-ground-drop-v"]) for box in ("source", "processor", "amplifier")) for one in joints]
    healthy = answers(random_vehicle(1, "none"))
    assert min(drops) > 0.02
    assert float(healthy["amplifier-ground-drop-v"]) < 0.05
    assert any(one["changes-when-wiggled"] for one in joints)


def test_the_model_reads_no_likelihoods() -> None:
    """Physics only: nothing in the package opens a file or names a table of evidence."""
    for path in sorted((ROOT / "capture" / "_simulated_system").glob("*.py")):
        text = Path(path).read_text(encoding="utf-8")
        for word in ("open(", "read_text", "csv", "likelihood", "import json", "prior"):
            assert word not in text, (path.name, word)


def test_thousands_of_pictures_are_quick() -> None:
    """As a ratio in one run: a picture costs less than 60 transforms of 4096 samples (it is about 15)."""
    vehicles = _some(20)
    rng = np.random.default_rng(1)
    began = time.process_time()
    for vehicle in vehicles:
        for step in ISOLATION_STEPS:
            picture(vehicle, step.slug, rng=rng)
    each = (time.process_time() - began) / (len(vehicles) * len(ISOLATION_STEPS))
    noise = rng.standard_normal(4096)
    began = time.process_time()
    for _ in range(2000):
        np.fft.rfft(noise)
    transform = (time.process_time() - began) / 2000
    assert each < 60 * transform
