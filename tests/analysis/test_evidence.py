"""Evidence drawn from pictures and answers: strengths are normal tails, bounds and contradictions are told."""

from __future__ import annotations

import dataclasses
import math
from typing import Any

import pytest
from scipy import stats

from analysis import Answer, Drawn, EvidenceItem, NoisePicture, Observation, PictureLine, draw_evidence, strengths

GONE = EvidenceItem("gone", "Is it gone", "drop", "inputs-shorted", 10.0, "all")
CHANGED = EvidenceItem("changed", "Does it change", "change", "loads-off", 6.0)
STAYS = EvidenceItem("stays", "Does it stay", "stays", "engine-off", 10.0)
SPEED = EvidenceItem("speed", "Does it follow", "follows speed", "second-speed")
COHERENT = EvidenceItem("coherent", "Is it coherent", "coherence", "baseline", 0.5)
RIPPLE = EvidenceItem("ripple", "Is the ripple over its limit", "supply ripple", "baseline", 0.15)
FAULT = EvidenceItem("fault", "Fault lines", "supply fault lines", "baseline")
DROP = EvidenceItem("ground", "Drop", "reading", "ground-drop", 0.03, unit="V", tap="ground-offset")
HEARD = EvidenceItem("heard", "Is it heard", "answer", "amplifier-unpowered")


def line(hz: float, rms: float, rpm: float | None, aggressor: Any = "alternator", **more: Any) -> PictureLine:
    return PictureLine(hz, 0.01, rms, 1e-3 * rms, aggressor, 60 * hz / rpm if rpm else None, **more)


def picture(level: float = 1e-3, rpm: float | None = 1500.0, hiss: float = 1e-5, **changes: Any) -> NoisePicture:
    hz = 2300.0 * (rpm or 1500.0) / 1500.0
    made = NoisePicture(
        unit="V",
        noise_rms=math.hypot(level, hiss),
        noise_uncertainty=1e-2 * level,
        hiss_rms=hiss,
        lines=(line(hz, level, rpm),),
        ledger={"alternator": level, "broadband": hiss},
        gated=0.0,
        engine_rpm=rpm,
    )
    return dataclasses.replace(made, **changes)


def seen(step: str, *, name: str = "", tap: str = "speaker", clipped: bool = False, **changes: Any) -> Observation:
    return Observation(name or step, step, picture(**changes), tap, clipped)


def strength(item: EvidenceItem, *observations: Observation, answers: tuple[Answer, ...] = ()) -> float:
    return strengths([item], draw_evidence([item], observations, answers))[0]


@pytest.mark.parametrize("fall_db", [4.0, 9.3, 10.0, 11.7, 30.0])
def test_a_drop_is_as_sure_as_the_normal_tail_of_its_limit(fall_db: float) -> None:
    """Outside reference: scipy's normal distribution; 1.5 dB a run are 2.1 dB of a difference."""
    after = seen("inputs-shorted", level=1e-3 * 10 ** (-fall_db / 20))
    expected = stats.norm.cdf((fall_db - 10) / (math.sqrt(2) * 1.5))
    assert strength(GONE, seen("baseline"), after) == pytest.approx(min(max(expected, 0.01), 0.99), abs=0.002)


def test_a_line_less_sure_makes_the_drop_less_sure() -> None:
    vague = (PictureLine(2300.0, 0.01, 2e-4, 2e-4, "alternator", 92.0),)
    after = seen("inputs-shorted", level=2e-4), seen("inputs-shorted", level=2e-4, lines=vague)
    sure, unsure = (strength(GONE, seen("baseline"), one) for one in after)
    assert 0.5 < unsure < sure


def test_a_change_counts_up_and_down_alike() -> None:
    up, down = (strength(CHANGED, seen("baseline"), seen("loads-off", level=1e-3 * f)) for f in (4.0, 0.25))
    assert up == pytest.approx(down, abs=1e-6)
    assert up > 0.95
    assert strength(CHANGED, seen("baseline"), seen("loads-off")) < 0.03


def test_what_stays_with_the_engine_off_is_the_other_side_of_a_drop() -> None:
    silent = seen("engine-off", rpm=0.0, level=0.0, lines=(), ledger={"broadband": 1e-5})
    assert strength(STAYS, seen("baseline"), silent) < 0.02


def test_not_done_is_no_evidence() -> None:
    said = Answer("heard", "not done"), Answer("heard", "not sure")
    assert draw_evidence([GONE, HEARD], [seen("baseline")], said).evidence == ()
    assert math.isnan(strength(HEARD, seen("baseline"), answers=said))


def test_answers_that_contradict_each_other_are_told_and_not_used() -> None:
    drawn = draw_evidence([HEARD], [seen("baseline")], [Answer("heard", "yes"), Answer("heard", "no")])
    assert drawn.evidence == ()
    assert "answered both yes and no" in drawn.contradictions[0]


def test_an_answer_against_the_figures_is_told_and_neither_used() -> None:
    pictures = seen("baseline"), seen("inputs-shorted", level=1e-6)
    drawn = draw_evidence([GONE], pictures, [Answer("gone", "no")])
    assert drawn.evidence == ()
    assert "was answered no, but" in drawn.contradictions[0]
    assert draw_evidence([GONE], pictures, [Answer("gone", "yes")]).contradictions == ()


def test_recordings_of_one_step_that_disagree_are_told_and_not_averaged() -> None:
    pictures = seen("baseline"), seen("inputs-shorted", name="a"), seen("inputs-shorted", name="b", level=1e-6)
    drawn = draw_evidence([GONE], pictures)
    assert drawn.evidence == ()
    assert "disagree" in drawn.contradictions[0]


def test_a_baseline_that_changes_by_itself_is_told() -> None:
    drawn = draw_evidence([GONE], [seen("baseline", name="first"), seen("baseline", name="later", level=1e-4)])
    assert "changed by itself" in drawn.contradictions[0]
    assert "20.0 dB" in drawn.contradictions[0]


def notes(*observations: Observation, items: tuple[EvidenceItem, ...]) -> Drawn:
    return draw_evidence(items, observations)


def test_levels_at_another_speed_tap_or_unit_are_not_compared() -> None:
    for other in (
        seen("inputs-shorted", rpm=1700.0, level=1e-6),
        seen("inputs-shorted", tap="signal", level=1e-6),
        seen("inputs-shorted", unit="FS", level=1e-6),
    ):
        drawn = notes(seen("baseline"), other, items=(GONE,))
        assert drawn.evidence == ()
        assert any("not compared" in note for note in drawn.notes)


def test_without_the_engine_speed_levels_carry_and_orders_do_not() -> None:
    lost = {"rpm": None, "ledger": {"unexplained": 1e-3, "broadband": 1e-5}}
    gone = seen("inputs-shorted", rpm=None, level=1e-6, ledger={"unexplained": 1e-6, "broadband": 1e-5})
    drawn = notes(seen("baseline", **lost), gone, seen("second-speed", **lost), items=(GONE, SPEED))
    assert [one.item for one in drawn.evidence] == ["gone"]
    assert any("engine speed was not noted" in note for note in drawn.notes)
    assert any("without both engine speeds" in note for note in drawn.notes)


def test_one_speed_only_is_said() -> None:
    drawn = notes(seen("baseline"), items=(SPEED,))
    assert drawn.evidence == ()
    assert any("one engine speed only" in note for note in drawn.notes)


@pytest.mark.parametrize(("follows", "expected"), [(True, 0.99), (False, 0.01)])
def test_pitch_that_follows_the_engine(follows: bool, expected: float) -> None:
    """K = 60 f / rpm stays within 2 % at two speeds, or the pitch does."""
    faster = seen("second-speed", rpm=2175.0)
    if not follows:
        faster = seen("second-speed", rpm=2175.0, lines=(line(2300.0, 1e-3, 2175.0),))
    assert strength(SPEED, seen("baseline"), faster) == pytest.approx(expected)


def test_too_close_speeds_tell_nothing() -> None:
    drawn = notes(seen("baseline"), seen("second-speed", rpm=1550.0), items=(SPEED,))
    assert drawn.evidence == ()
    assert any("too close" in note for note in drawn.notes)


def test_a_clipped_recording_gives_bounds_only() -> None:
    """A clipped baseline was louder than shown: the fall is at least that. A clipped step was louder: at most."""
    silent, alike = seen("inputs-shorted", level=1e-6), seen("inputs-shorted")
    clipped = seen("baseline", clipped=True)
    assert strength(GONE, clipped, silent) > 0.98
    assert math.isnan(strength(GONE, clipped, alike))
    loud = seen("inputs-shorted", clipped=True)
    assert strength(GONE, seen("baseline"), loud) < 0.02
    assert math.isnan(strength(GONE, seen("baseline"), dataclasses.replace(silent, clipped=True)))
    assert any("clipped" in note for note in notes(clipped, alike, items=(GONE,)).notes)


def test_few_averages_carry_no_coherence() -> None:
    """Two seconds: chance alone reaches 1 - 0.05^(1/(n-1)), at n = 3 that is 0.78 (recomputed)."""
    few = line(2300.0, 1e-3, 1500.0, coherence=0.9, chance_level=1 - 0.05 ** (1 / 2))
    many = line(2300.0, 1e-3, 1500.0, coherence=0.9, chance_level=1 - 0.05 ** (1 / 15))
    drawn = notes(seen("baseline", lines=(few,)), items=(COHERENT,))
    assert drawn.evidence == ()
    assert any("too few averages" in note for note in drawn.notes)
    assert strength(COHERENT, seen("baseline", lines=(many,))) > 0.95


def test_coherence_of_different_recordings_is_not_there_to_be_used() -> None:
    """A signal recorded without the supply beside it has no coherence, whatever other recordings hold."""
    drawn = notes(seen("baseline"), items=(COHERENT, RIPPLE))
    assert drawn.evidence == ()
    assert any("record supply and signal together" in note for note in drawn.notes)
    assert any("its ripple is not known" in note for note in drawn.notes)


def test_ripple_against_its_limit() -> None:
    over, under = (strength(RIPPLE, seen("baseline", supply_ripple_rms=v)) for v in (0.4, 0.05))
    assert over > 0.95
    assert under < 0.05


@pytest.mark.parametrize(
    ("base_order", "levels", "least", "most"),
    [
        # six pulses: 2 / (n^2 - 1) at n = 6, 12, 18; single-phase shape at n = 2, 4, 6 (Fourier series, textbooks)
        (90.0, {1: 2 / 35, 2: 2 / 143, 3: 2 / 323}, 0.0, 0.1),
        (36.0, {1: 2 / 35, 2: 2 / 143, 3: 2 / 323}, 0.0, 0.3),
        (30.0, {1: 2 / 3, 2: 2 / 15, 3: 2 / 35}, 0.8, 1.0),
        # one diode open: f_e leads, 2 f_e 6 to 9 dB below (trade practice, simulated there)
        (15.0, {1: 1.0, 2: 0.42, 3: 0.18}, 0.9, 1.0),
    ],
)
def test_a_broken_bridge_shows_on_the_supply(
    base_order: float, levels: dict[int, float], least: float, most: float
) -> None:
    lines = tuple(line(base_order * 25 * n, 0.1 * level, 1500.0) for n, level in levels.items())
    assert least <= strength(FAULT, seen("baseline", supply_lines=lines, supply_ripple_rms=0.1)) <= most


def test_meter_readings_and_other_taps_answer_a_reading() -> None:
    """20 log10(0.06 / 0.03) = 6 dB is four times 1.5 dB."""
    assert strength(DROP, seen("baseline"), answers=(Answer("ground", "not done", 0.06),)) == pytest.approx(0.99)
    between = seen("baseline", tap="ground-offset", level=1e-3)
    assert strength(DROP, seen("baseline"), between) < 0.05
    # What stands between the grounds is no second baseline of the noise.
    assert strength(GONE, seen("baseline"), between, seen("inputs-shorted", level=1e-6)) > 0.98


def test_hiss_is_what_it_is_about_when_it_stands_above_every_tone() -> None:
    assert draw_evidence([], [seen("baseline", hiss=1e-2)]).noise == "broadband"
    assert draw_evidence([], [seen("baseline", hiss=1e-3)]).noise == "alternator"


def test_without_a_baseline_levels_are_not_compared() -> None:
    drawn = notes(seen("inputs-shorted"), items=(GONE,))
    assert drawn.evidence == ()
    assert drawn.noise is None
    assert any("no baseline" in note for note in drawn.notes)
