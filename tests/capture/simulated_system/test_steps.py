"""What isolation steps do to vehicles with known faults: laws of each path, and every step at least once."""

from __future__ import annotations

import math
from functools import cache

import pytest

from analysis import CAUSE_BY_SLUG, CAUSES, ISOLATION_STEPS, WrongUseError, find_step
from capture import FaultyVehicle, picture, random_vehicle
from capture._simulated_system._steps import _STEPS

SEEDS = range(40, 52)


@cache
def _vehicles(fault: str) -> tuple[FaultyVehicle, ...]:
    return tuple(random_vehicle(seed, fault) for seed in SEEDS)


def _falls_db(fault: str, step: str) -> list[float]:
    """By how much the noise at the speaker falls, dB, sorted."""
    pairs = [(picture(one).noise_rms, picture(one, step).noise_rms) for one in _vehicles(fault)]
    return sorted(20 * math.log10(before / after) for before, after in pairs)


def test_every_step_of_the_list_is_done_and_no_other() -> None:
    assert set(_STEPS) == {step.slug for step in ISOLATION_STEPS}


def test_steps_that_open_a_power_ground_carry_their_order() -> None:
    """Amplifier off and signal leads out before a power ground is opened (common safe practice)."""
    for slug in ("own-battery", "own-feed"):
        step = find_step(slug)
        assert step is not None
        assert step.risk == 2
        words = [f"{place} {text}" for place, text in enumerate(step.order)]
        off = next(i for i, text in enumerate(words) if "amplifier off" in text)
        out = next(i for i, text in enumerate(words) if "pull the signal leads" in text)
        opened = next(i for i, text in enumerate(words) if "power ground" in text or "fuse" in text)
        assert off < out < opened


@pytest.mark.parametrize("step", ISOLATION_STEPS, ids=lambda step: step.slug)
def test_every_step_gives_a_picture_by_slug_and_by_words(step: object) -> None:
    slug, words = step.slug, step.words  # type: ignore[attr-defined]
    vehicle = _vehicles("bad-ground")[0]
    assert picture(vehicle, slug) == picture(vehicle, words.upper())
    assert picture(vehicle, slug).noise_rms > 0


def test_an_unknown_step_is_refused_with_a_remedy() -> None:
    with pytest.raises(WrongUseError, match="isolation step 'rub it' is not known"):
        picture(_vehicles("hiss")[0], "rub it")


@pytest.mark.parametrize(
    ("fault", "step", "least"),
    [
        # What stops when its aggressor is switched off.
        ("motor", "motors-off", 7),
        ("dimmer", "dimmed-off", 7),
        ("dc-converter", "converters-off", 7),
        ("mains-hum", "mains-off", 7),
        ("data-chatter", "bus-off", 7),
        ("phone-frames", "wireless-off", 7),
        ("alternator-fault", "alternator-idle", 7),
        ("ignition", "engine-off", 7),
        ("tuner-antenna", "antenna-off", 7),
        ("tuner-antenna", "other-source", 7),
        ("speaker-side", "speaker-leads-off", 7),
        # What stops behind the last box that is cut off.
        ("processor-converter", "inputs-shorted", 10),
        ("processor-converter", "lead-shorted", 10),
    ],
)
def test_a_fault_goes_with_its_own_step_in_every_vehicle(fault: str, step: str, least: float) -> None:
    assert _falls_db(fault, step)[0] > least


@pytest.mark.parametrize(
    ("fault", "step"),
    [
        # A current that does not run in the shield cannot be interrupted there.
        ("lead-pick-up", "own-battery"),
        ("lead-pick-up", "isolated-lead"),
        # A field does not care for straps; a converter's own tone does not care for the engine.
        ("lead-pick-up", "strap-processor"),
        ("processor-converter", "engine-off"),
        ("amplifier-inside", "inputs-shorted"),
        ("speaker-side", "inputs-shorted"),
        ("hiss", "engine-off"),
        ("mains-hum", "engine-off"),
    ],
)
def test_a_fault_does_not_mind_a_step_beside_its_path(fault: str, step: str) -> None:
    falls = _falls_db(fault, step)
    assert abs(falls[len(falls) // 2]) < 3


def test_loops_are_opened_at_the_lead_they_run_through() -> None:
    """A transformer in either lead, whichever the loop runs through, takes 20 dB or more."""
    for one in _vehicles("shield-loop"):
        before = picture(one).noise_rms
        after = min(picture(one, step).noise_rms for step in ("isolated-lead", "isolated-source-lead"))
        assert before > 5 * after


def test_a_lead_that_picks_up_is_found_by_replacing_it() -> None:
    for one in _vehicles("lead-pick-up"):
        after = min(picture(one, step).noise_rms for step in ("loose-lead", "loose-source-lead"))
        assert picture(one).noise_rms > 3 * after


def test_what_comes_before_the_volume_control_follows_it() -> None:
    """Radio noise rises by the 20 dB that the control is turned up."""
    assert 18 < -_falls_db("tuner-antenna", "volume-up")[6] < 20.1


def test_a_shared_feed_is_cured_by_an_own_pair() -> None:
    falls = _falls_db("shared-supply", "own-feed")
    assert falls[len(falls) // 2] > 10


@pytest.mark.parametrize("fault", [cause.slug for cause in CAUSES])
def test_the_fix_brings_back_the_healthy_level(fault: str) -> None:
    falls = _falls_db(fault, "after-fix")
    assert fault == "mechanical" or falls[0] > 6
    assert CAUSE_BY_SLUG[fault].first_cure
