"""What the noise sheet shows of a recording and of a diagnosis: no Qt, checked against closed forms."""

import math

import numpy as np
import pytest

from analysis import CHECKS, WrongUseError, find_step
from capture import ChannelWishes, Conditions, foreign_info, import_foreign, open_foreign
from gui._load import Library
from gui._noise_answers import answered, reading_typed
from gui._noise_build import build_screen
from gui._noise_choices import noise_takes, nothing_yet, record_facts, step_price
from gui._noise_curves import ChanceCurve, CoherenceCurve, OrderCurve, TrackCurve, order_text
from gui._noise_diagnosis import build_diagnosis
from gui._noise_model import Advice, DiagnosisScreen, NoiseScreen, QuestionShown
from gui._noise_shelf import Shelf
from gui._order_build import build_orders
from job import Job, JobFile, add_recording, new_recording_path, open_job, open_or_create_job
from sample_data import SAMPLE_JOB
from tests.gui import _jobs, _noise_jobs


def _quiet(fraction: float, doing: str) -> None:
    """Nobody waits."""


def _screen(job: Job, index: int = 0) -> NoiseScreen:
    takes, library = noise_takes(_noise_jobs.opened(job)), Library()
    entry = takes.entry(takes.choices[index].file)
    assert entry is not None
    floor = takes.floor_for(entry)
    return build_screen(library.one(job, entry, _quiet), library.one(job, floor, _quiet) if floor else None)


def _diagnosis(job: Job) -> DiagnosisScreen | Advice:
    return build_diagnosis(Shelf(Library()), _noise_jobs.opened(job), _quiet)


@pytest.fixture(scope="module")
def whine(tmp_path_factory: pytest.TempPathFactory) -> Job:
    """A baseline and the floor of the instrument. Read only."""
    job = _noise_jobs.noisy(tmp_path_factory.mktemp("whine") / "job")
    return _noise_jobs.take(job, "instrument floor", "inputs shorted at the clips", line_v=0.0, seed=9)


@pytest.fixture(scope="module")
def shown(whine: Job) -> NoiseScreen:
    return _screen(whine)


# ---------------------------------------------------------------- a recording


def test_the_strongest_line_is_named_where_it_stands(shown):
    mark = shown.taps[0].marks[0]
    assert 10**mark.x == pytest.approx(_noise_jobs.RIPPLE_HZ, rel=1e-4)
    assert mark.maker == "alternator, order 36"
    assert mark.level.startswith("1.080 kHz, ")
    # The height is that of the curve: the amplitude spectrum reads a sine's rms, less 1.42 dB between two bins (Hann).
    assert -1.5 < 20 * math.log10(10**mark.y / _noise_jobs.LINE_V) < 0.1


def test_the_ledger_adds_up_to_the_power_that_was_put_in(tmp_path):
    ledger = _screen(_noise_jobs.noisy(tmp_path / "job")).taps[0].ledger
    assert sum(part.share for part in ledger.parts) == pytest.approx(1.0, abs=1e-9)
    shares = {part.name: part.share for part in ledger.parts}
    line, hiss = _noise_jobs.LINE_V**2, _noise_jobs.HISS_V**2
    # White noise up to half the rate; 20 Hz to 4 kHz of it is counted.
    assert shares["alternator"] == pytest.approx(line / (line + hiss), abs=0.01)
    assert shares["hiss"] == pytest.approx(hiss / (line + hiss), abs=0.01)
    assert [part.kind for part in ledger.parts][-1] == "unexplained"


def test_the_instruments_part_is_taken_off_where_its_floor_was_recorded(shown, tmp_path):
    parts = {part.name: part for part in shown.taps[0].ledger.parts}
    # Its floor is made as loud as the hiss: nothing of the hiss is left.
    assert parts["the instrument itself"].share == pytest.approx(0.04 / 1.04, abs=0.005)
    assert parts["the instrument itself"].kind == "instrument floor"
    without = _screen(_noise_jobs.noisy(tmp_path / "job")).taps[0].ledger
    assert any("no floor recording" in note for note in without.notes)
    assert "the instrument itself" not in [part.name for part in without.parts]
    assert [curve.state for curve in shown.spectrum.groups[0].curves] == ["as found", "instrument floor"]


def test_coherence_lies_on_the_spectrums_axis_with_its_chance_level(shown):
    tap = shown.taps[0]
    curve, chance = tap.coherence.groups[0].curves
    assert isinstance(curve, CoherenceCurve)
    assert isinstance(chance, ChanceCurve)
    assert curve.extent[:2] == chance.extent[:2]
    extents = [one.extent for one in shown.spectrum.groups[0].curves]
    assert curve.extent[:2] == (min(one[0] for one in extents), max(one[1] for one in extents))
    at = np.argmin(np.abs(curve.frequency_hz - _noise_jobs.RIPPLE_HZ))
    assert curve.value[at] > 0.99
    # 5 % of unrelated signals exceed the chance level (Carter, Knapp and Nuttall 1973): elsewhere there is only noise.
    away = np.abs(curve.frequency_hz - _noise_jobs.RIPPLE_HZ) > 20
    assert np.mean(curve.value[away] > chance.level) == pytest.approx(0.05, abs=0.02)
    averages = float(tap.coherence_note.partition(" ")[0].replace("only", "") or 0)
    assert chance.level == pytest.approx(1 - 0.05 ** (1 / (averages - 1)), abs=0.002)
    assert not tap.shaky


def test_too_few_averages_are_said_and_none_are_refused(tmp_path):
    few = _screen(_noise_jobs.take(_jobs.empty_job(tmp_path / "few"), seconds=3.0)).taps[0]
    assert few.shaky
    assert few.coherence is not None
    assert "record longer" in few.coherence_note
    none = _screen(_noise_jobs.take(_jobs.empty_job(tmp_path / "none"), seconds=1.02)).taps
    assert all(tap.coherence is None or tap.shaky for tap in none)


def test_a_point_of_the_coherence_is_that_of_the_line_drawn_above_it():
    rng = np.random.default_rng(5)
    frequency = np.arange(1, 4_001) * 1.3
    value, amplitude = rng.random(4_000), rng.random(4_000)
    curve = CoherenceCurve("as found", "x", 0, frequency, value, amplitude, (0.0, 4.0))
    points = curve.points(1.0, 3.6, 40)
    width = 2.6 / 40
    for x, y in zip(points.x[1:-1], points.line[1:-1], strict=True):
        own = np.flatnonzero(np.floor(np.log10(frequency) / width) == np.floor(x / width + 1e-9))
        assert y == value[own[np.argmax(amplitude[own])]]
    value[-1], amplitude[-1] = 2.0, 9.0
    assert curve.points(1.0, 4.0, 40).line[-1] == 2.0


def test_a_supply_channel_has_lines_but_no_ledger(shown):
    tap = shown.taps[1]
    assert tap.label == "battery"
    assert tap.ledger is None
    assert tap.coherence is None
    assert tap.ledger_note
    assert 10 ** tap.marks[0].x == pytest.approx(_noise_jobs.RIPPLE_HZ, rel=1e-4)


# ---------------------------------------------------------------- orders


def test_a_held_speed_turns_frequencies_into_orders(whine):
    entry = whine.facts.recordings[0]
    orders = build_orders(whine, entry, _quiet)
    assert not orders.run_up
    mark = orders.taps[0].marks[0]
    assert mark.x == pytest.approx(60 * _noise_jobs.RIPPLE_HZ / _noise_jobs.RPM, abs=0.1)
    assert mark.maker == "order 36"
    assert mark.level.startswith("1.00 mV")
    assert "as typed" in orders.note


def test_an_engine_that_was_off_has_no_orders(tmp_path):
    job = _noise_jobs.take(_jobs.empty_job(tmp_path / "job"), conditions=Conditions(engine_rpm=0), seconds=3.0)
    with pytest.raises(ValueError, match="engine was off"):
        build_orders(job, job.facts.recordings[0], _quiet)


def test_a_run_up_follows_the_teeth_of_its_own_wheel(recordings, tmp_path):
    """A real crank sensor: 60 teeth a turn less two, 138 to 650 rpm (the recording's SOURCES.md)."""
    job = open_or_create_job(tmp_path / "job", "run-up")
    path = new_recording_path(job, "as found", "baseline")
    foreign = open_foreign(recordings / "crank" / "runup-clipped.csv")
    info = foreign_info(foreign, ChannelWishes({"crank": "tacho"}), Conditions(tacho_wheel="60-2"))
    import_foreign(foreign, path, info)
    job = add_recording(job, path, "as found")
    orders = build_orders(job, job.facts.recordings[0], _quiet)
    assert orders.run_up
    curves = orders.picture.groups[0].curves
    assert [curve.label for curve in curves][:2] == ["order 60", "order 120"]
    strongest = curves[0]
    assert isinstance(strongest, TrackCurve)
    assert 138 <= strongest.speed[0] < 300 < 600 < strongest.speed[-1] <= 650
    # A sensor that feels how fast teeth pass it gives more volts the faster they come.
    assert strongest.rms[len(strongest.rms) // 2] > 1.3 * strongest.rms[0]


def test_drawn_orders_are_the_highest_of_each_column_to_the_last_bin():
    rng = np.random.default_rng(2)
    order, amplitude = np.arange(1, 3_000) / 16, rng.random(2_999) + 0.1
    curve = OrderCurve("as found", "x", 0, "V", order, amplitude, 80.0)
    points = curve.points(0.0, order[-1], 50)
    width = order[-1] / 50
    columns = np.floor(order / width)
    highest = [amplitude[columns == column].max() for column in np.unique(columns)]
    assert 10**points.line == pytest.approx(highest)
    amplitude[-1] = 7.0
    assert 10 ** curve.points(0.0, order[-1], 50).line[-1] == pytest.approx(7.0)


@pytest.mark.parametrize(
    ("order", "text"), [(35.94, "36"), (36.2, "36.2"), (0.5, "0.5"), (2.03, "2"), (0.02, "0.0"), (251.6, "252")]
)
def test_an_order_is_whole_where_it_can_be(order, text):
    assert order_text(order) == text


# ---------------------------------------------------------------- choosing


def test_the_newest_baseline_comes_first_and_the_floor_last(tmp_path):
    job = _noise_jobs.noisy(tmp_path / "job", "source muted", "baseline")
    job = _noise_jobs.take(job, "instrument floor", "inputs shorted at the clips", seconds=2.0)
    files = [choice.file for choice in noise_takes(_noise_jobs.opened(job)).choices]
    numbers = [file.partition("/")[2][:3] for file in files]
    assert numbers == ["003", "001", "002", "004"]


def test_a_step_is_recorded_under_the_baselines_conditions_but_for_what_it_changes(whine):
    takes = noise_takes(_noise_jobs.opened(whine))
    held = dict(record_facts(takes, "inputs-shorted"))
    assert held["step"] == "inputs-shorted"
    assert (held["state"], held["rpm"], held["loads"]) == ("as found", "1800", "headlamps")
    assert dict(record_facts(takes, "engine-off"))["rpm"] == "0"
    assert "rpm" not in dict(record_facts(takes, "second-speed"))
    assert dict(record_facts(takes, "loads-off"))["loads"] == ""
    assert "volume" not in dict(record_facts(takes, "volume-up"))


def test_without_recordings_it_says_what_to_record_first(tmp_path):
    opened = _noise_jobs.opened(_jobs.empty_job(tmp_path / "job"))
    advice = nothing_yet(opened, noise_takes(opened))
    assert "baseline" in advice.text
    assert dict(advice.step.facts) == {"state": "as found", "step": "baseline"}


def test_a_step_with_a_caution_never_says_that_nothing_can_be_harmed():
    steps = [find_step(slug) for slug in ("baseline", "engine-off", "own-battery")]
    for step in (*steps, *CHECKS):
        assert not (step.caution and "nothing can be harmed" in step_price(step))


# ---------------------------------------------------------------- the diagnosis


def test_a_diagnosis_shows_three_causes_and_a_step_that_was_not_done(whine):
    found = _diagnosis(whine)
    assert isinstance(found, DiagnosisScreen)
    assert len(found.causes) == 3
    assert not any(cause.proven for cause in found.causes)
    assert any(note.startswith("Nothing is proven") for note in found.notes)
    assert "baseline" not in [step.slug for step in found.steps]
    assert found.done == ("baseline",)
    checks = {step.slug: step for step in found.steps}
    assert not checks["ground-drop"].recorded
    assert checks["ground-drop"].questions
    assert checks["inputs-shorted"].recorded


def test_real_recordings_are_believed_less(tmp_path):
    found = _diagnosis(_noise_jobs.noisy(tmp_path / "job", simulated=False))
    assert isinstance(found, DiagnosisScreen)
    assert any("Tempered (0.7)" in note for note in found.notes)


STEP = "signal leads off and inputs shorted"


@pytest.mark.parametrize(
    ("steps", "first", "said"),
    [
        ((STEP,), "baseline", "Put it back and record the noise returning"),
        ((STEP, "baseline"), "inputs-shorted", "Do it once more"),
        ((STEP, "baseline", STEP), None, ""),
    ],
)
def test_gone_back_and_gone_again_are_asked_for_in_turn(tmp_path, steps, first, said):
    found = _diagnosis(_noise_jobs.noisy(tmp_path / "job", *steps))
    assert isinstance(found, DiagnosisScreen)
    assert said in found.reminder
    assert (found.steps[0].slug == first) is (first is not None)
    assert bool(found.proofs) is (first is None)


def test_a_proven_cause_leaves_no_step_to_be_done():
    found = _diagnosis(open_job(SAMPLE_JOB))
    assert isinstance(found, DiagnosisScreen)
    assert found.causes[0].proven
    assert (found.steps, found.reminder) == ((), "")
    assert any("isolation transformer" in words and "2 times" in words for words in found.done)


def test_putting_a_step_back_keeps_its_caution(tmp_path):
    found = _diagnosis(_noise_jobs.noisy(tmp_path / "job", "processor on its own battery"))
    assert isinstance(found, DiagnosisScreen)
    assert find_step("own-battery").caution in found.steps[0].caution
    assert find_step("baseline").caution in found.steps[0].caution


def test_a_step_that_changed_nothing_is_only_put_back(tmp_path):
    found = _diagnosis(_noise_jobs.noisy(tmp_path / "job", STEP, gone_v=_noise_jobs.LINE_V))
    assert isinstance(found, DiagnosisScreen)
    assert found.reminder.startswith("Put it back (signal leads off")
    assert found.steps[0].slug != "baseline"


def test_where_nothing_can_be_judged_it_says_what_to_record(found_job):
    advice = _diagnosis(_noise_jobs.opened_job(found_job))
    assert isinstance(advice, Advice)
    assert "test bursts play" in advice.text
    assert advice.step.slug == "baseline"


def test_damaged_recordings_are_left_out_and_named(tmp_path):
    job = _noise_jobs.noisy(tmp_path / "job", STEP)
    broken = job.path(job.facts.recordings[1])
    broken.write_bytes(broken.read_bytes()[:3_000])
    found = _diagnosis(job)
    assert isinstance(found, DiagnosisScreen)
    assert any(note.startswith("Left out: ") and broken.name in note for note in found.notes)


# ---------------------------------------------------------------- answers

YES_NO = QuestionShown("intermittent", "Does it come and go?")
METER = QuestionShown("box-ground-drop", "Drop", "V")


def test_an_answer_takes_the_place_of_the_one_before_and_the_same_takes_it_back():
    facts = JobFile(format="humproof-job", version=1)
    yes = answered(facts, YES_NO, "yes")
    assert [(one.item, one.answer) for one in yes.answers] == [("intermittent", "yes")]
    no = answered(yes, YES_NO, "no")
    assert [one.answer for one in no.answers] == ["no"]
    assert answered(no, YES_NO, "no").answers == ()
    both = answered(no, METER, "0,35")
    assert [one.reading for one in both.answers] == [None, 0.35]
    assert [one.item for one in answered(both, METER, "").answers] == ["intermittent"]


@pytest.mark.parametrize(
    ("text", "value"), [("0.35", 0.35), ("0,35", 0.35), ("350 mV", 0.35), ("350mV", 0.35), (" 2 V ", 2.0), (".5", 0.5)]
)
def test_readings_as_one_writes_them(text, value):
    assert reading_typed(text, "V") == pytest.approx(value)


@pytest.mark.parametrize("text", ["", "much", "-0.1", "350 m", "3 A", "1e999", "0.3.5"])
def test_what_is_no_reading_is_refused_with_the_remedy(text):
    with pytest.raises(WrongUseError, match=r"such as 0\.35 or 350 mV"):
        reading_typed(text, "V")
