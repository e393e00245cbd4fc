"""What the compare screen says: its rows are the comparison's numbers, its refusals the comparison's reasons."""

import re
import shutil
from pathlib import Path

import pytest

from gui._build import load_screen
from gui._errors import Cancelled
from gui._load import Library, open_views
from gui._screen import Screen
from gui._words import unbroken
from job import compare_studies, open_job, pairs, quantity_words, study_recording
from tests.gui import _jobs

FACTORS = {"µ": 1e-6, "m": 1e-3, "": 1.0}


def _screen(folder: Path, chosen: int = 0) -> Screen:
    return load_screen(Library(), open_views(folder), chosen, lambda fraction, doing: None)


def _numbers(text: str) -> tuple[float, float]:
    """Value and uncertainty that a cell states."""
    found = re.fullmatch(r"([+−]?[\d.]+) ± ([\d.]+) ([µm]?)(V|dB|Ω|s)", " ".join(text.split()))
    assert found, text
    factor = FACTORS[found[3]]
    return float(found[1].replace("−", "-")) * factor, float(found[2]) * factor


def test_rows_state_the_numbers_of_the_comparison(whole_job):
    job = open_job(whole_job)
    pair = pairs(job)[0]
    assert pair.floor is not None
    studies = [study_recording(job.path(entry)) for entry in (pair.before, pair.after, pair.floor)]
    comparison = compare_studies(*studies)
    table = _screen(whole_job).changes
    assert table is not None
    assert len(table.rows) == len(comparison.changes) > 3
    for row, change in zip(table.rows, comparison.changes, strict=True):
        what, before, after, difference, decibels, verdict = (cell.text for cell in row)
        assert what.endswith(unbroken(quantity_words(change.quantity)))
        assert _numbers(before) == pytest.approx((change.before, change.before_uncertainty), rel=0.06)
        assert _numbers(after) == pytest.approx((change.after, change.after_uncertainty), rel=0.06)
        assert _numbers(difference)[0] == pytest.approx(change.change, abs=change.uncertainty)
        assert float(decibels.replace("−", "-")) == pytest.approx(change.change_db, abs=0.051)
        assert verdict.split(" ", 1)[1] == change.verdict


def test_what_was_put_in_comes_out(whole_job):
    """The sag and the whine are known: the test job was made with them."""
    table = _screen(whole_job).changes
    assert table is not None
    rows = {row[0].text: row for row in table.rows}
    sag = rows["amplifier supply: sag under test bursts"]
    assert _numbers(sag[1].text)[0] == pytest.approx(1.5, abs=0.01)
    assert _numbers(sag[2].text)[0] == pytest.approx(0.5, abs=0.01)
    noise = rows["amplifier input: noise"]
    assert _numbers(noise[1].text)[0] == pytest.approx(1e-3, rel=0.01)


def test_the_headline_is_the_comparisons_verdict(whole_job):
    headline = _screen(whole_job).headline
    assert headline.text.startswith("Improved: ")
    assert (headline.tone, headline.reasons) == ("good", ())


def test_pictures_hold_both_sides_and_the_floor(whole_job):
    screen = _screen(whole_job)
    assert screen.supply
    assert screen.spectra
    supply = screen.supply.groups[0]
    assert [(curve.state, curve.label) for curve in supply.curves] == [
        ("as found", "battery"),
        ("as found", "amplifier supply"),
        ("as left", "battery"),
        ("as left", "amplifier supply"),
    ]
    spectrum = screen.spectra.groups[0]
    assert spectrum.label == "amplifier input"
    assert [curve.state for curve in spectrum.curves] == ["as found", "as left", "instrument floor"]
    assert any("resolution / noise bandwidth" in note for note in spectrum.notes)


def test_time_counts_from_the_first_burst_when_both_sides_have_one(whole_job):
    screen = _screen(whole_job)
    assert screen.supply
    assert screen.supply.x_name == "time from the first burst"
    assert screen.supply.groups[0].curves[0].extent[0] == pytest.approx(-_jobs.BURSTS[0][0] / _jobs.RATE_HZ)


def test_a_refused_comparison_gives_its_reasons_and_marks_what_differs(faulty_job):
    screen = _screen(faulty_job)
    assert screen.headline.text == "Not comparable"
    assert any("engine speed" in reason for reason in screen.headline.reasons)
    assert any("volume" in reason for reason in screen.headline.reasons)
    assert screen.conditions
    marked = [row[0].text for row in screen.conditions.rows if row[0].text.startswith("≠")]
    assert marked == ["≠ engine speed", "≠ volume"]
    assert any(text.startswith("not comparable: ") for text in screen.warnings)


def test_gaps_and_clipping_are_said_beside_the_pictures(faulty_job):
    screen = _screen(faulty_job)
    assert screen.supply
    assert screen.spectra
    assert "as found: 1 gap, 62.5 ms missing in all" in screen.supply.groups[0].cautions
    assert any("clipped on amplifier input" in text for text in screen.spectra.groups[0].cautions)
    assert any("left out at gaps" in note for note in screen.spectra.groups[0].notes)


def test_a_damaged_recording_is_named_and_the_rest_is_shown(faulty_job):
    opened = open_views(faulty_job)
    assert len(opened.problems) == 1
    assert "003-as-left-engine-off.h5" in opened.problems[0]
    assert [choice.label for choice in opened.choices] == ["baseline, 50 Hz bursts"]
    assert _screen(faulty_job).warnings[0] == opened.problems[0]


def test_one_side_alone_is_shown_with_what_is_missing(found_job):
    screen = _screen(found_job)
    assert screen.headline.text == "As found only"
    assert "no as-left recording" in screen.headline.reasons[0]
    assert screen.changes
    assert screen.changes.heads == ("Figure", "As found")
    assert any(row[0].text == "amplifier supply: sag under test bursts" for row in screen.changes.rows)
    assert screen.supply
    assert {curve.state for curve in screen.supply.groups[0].curves} == {"as found"}


def test_an_empty_job_says_what_to_do(empty_job):
    screen = _screen(empty_job)
    assert screen.headline.text == "No recordings yet"
    assert not screen.has_measurements
    assert any("the large key" in reason for reason in screen.headline.reasons)


def test_a_job_of_damaged_recordings_names_them(tmp_path):
    job = _jobs.found_only(tmp_path / "job")
    job.path(job.facts.recordings[0]).write_bytes(b"nothing of the kind")
    screen = _screen(job.folder)
    assert screen.headline.text == "None of 1 recording can be read"
    assert "001-as-found-baseline.h5" in screen.headline.reasons[0]


def test_states_that_do_not_pair_up_are_set_side_by_side_to_say_why_not(tmp_path):
    job = _jobs.whole_job(tmp_path / "job", after=_jobs.CONDITIONS.model_copy(update={"test_signal": "1 kHz"}))
    opened = open_views(job.folder)
    assert opened.choices[0].before
    assert opened.choices[0].after
    screen = _screen(job.folder)
    assert screen.headline.text == "Not comparable"
    assert any("test signal" in reason for reason in screen.headline.reasons)


def test_a_repeated_comparison_of_one_recording_shows_no_change(tmp_path):
    job = _jobs.found_only(tmp_path / "job")
    twin = job.folder / "recordings" / "002-as-left-baseline.h5"
    shutil.copy(job.path(job.facts.recordings[0]), twin)
    _jobs.add_recording(job, twin, "as left")
    screen = _screen(job.folder)
    assert screen.headline.text == "No change shown"
    assert screen.changes
    assert {row[5].text for row in screen.changes.rows} == {"= no change shown"}


@pytest.mark.parametrize("simulated", [True, False])
def test_simulated_data_are_known_as_such(simulated, simulated_job, whole_job):
    assert _screen(simulated_job if simulated else whole_job).simulated is simulated


def test_a_file_that_was_exchanged_is_warned_of(tmp_path):
    job = _jobs.found_only(tmp_path / "job")
    path = job.path(job.facts.recordings[0])
    path.unlink()
    _jobs.write(path, _jobs.volts(9, sag=0.1, whine=1e-6), _jobs.info())
    assert any("SHA-256 differs" in text for text in _screen(job.folder).warnings)


def test_work_stops_where_it_is_told_to(whole_job):
    told: list[float] = []

    def stop(fraction: float, doing: str) -> None:
        told.append(fraction)
        if fraction > 0.4:
            raise Cancelled

    with pytest.raises(Cancelled):
        load_screen(Library(), open_views(whole_job), 0, stop)
    assert told == sorted(told)
    assert max(told) < 1.0


def test_a_library_analyses_a_recording_once(whole_job, monkeypatch):
    library, opened = Library(), open_views(whole_job)
    load_screen(library, opened, 0, lambda fraction, doing: None)
    monkeypatch.setattr("gui._load.study_kept", lambda *args: pytest.fail("analysed again"))
    load_screen(library, opened, 0, lambda fraction, doing: None)


def test_data_for_export_are_whole_and_marked(simulated_job):
    from gui._export import picture_csv, table_csv

    screen = _screen(simulated_job)
    assert screen.spectra
    assert screen.supply
    assert screen.changes
    lines = picture_csv(screen, screen.supply, screen.supply.groups[0]).splitlines()
    assert lines[0].startswith("# SIMULATED DATA")
    heads = next(line for line in lines if not line.startswith("#"))
    assert heads.split(",")[:2] == ["as found: time / s", '"as found']
    # Every whole millisecond of the recording, whatever the picture's width.
    assert len([line for line in lines if not line.startswith("#")]) == 1 + _jobs.FRAMES // 8
    table = table_csv(screen, screen.changes).splitlines()
    assert len([line for line in table if not line.startswith("#")]) == 1 + len(screen.changes.rows)


def test_a_warning_that_holds_for_several_sides_is_said_once(whole_job):
    screen = _screen(whole_job)
    texts = [text.partition(": ")[2] for text in screen.warnings]
    assert len(texts) == len(set(texts))
    assert any(text.startswith("as found, as left, instrument floor: ") for text in screen.warnings)
