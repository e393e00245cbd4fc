"""The front page's marks: what got worse, and what is still dangerous, is never called good."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from job import wiring_study
from report._glance import glance
from report._sheets import Contents, gather
from sample_data import SAMPLE_JOB
from tests.test_report import full_job, new_job, record, tiny_job, whine


def _contents(job: object) -> Contents:
    return gather(job, lambda part, text: None)  # type: ignore[arg-type]


def _told(contents: Contents) -> dict[str, tuple[str, str]]:
    return {row["what"]: (row["mark"], row["words"]) for row in glance(contents)}


@pytest.fixture(scope="module")
def full(tmp_path_factory: pytest.TempPathFactory) -> Contents:
    """Noise and sag that got better, and ripple that got worse."""
    return _contents(full_job(tmp_path_factory.mktemp("glance") / "job"))


def test_better_and_worse_say_where(full: Contents) -> None:
    told = _told(full)
    assert told["Noise"] == ("good", "better at the amplifier's input (rear)")
    # The ripple at the battery rose although the sag at the amplifier fell: that must not be called good.
    assert told["Supply"] == ("bad", "worse at the battery posts; better at the amplifier's supply terminals")
    assert "Wiring" not in told


def test_one_point_that_got_worse_is_bad(tmp_path: Path) -> None:
    job = new_job(tmp_path / "job")
    for state, front, rear in (("as found", 1e-3, 1e-4), ("as left", 1e-4, 1e-3)):
        sounds = {"signal@front": whine(front, 2e-5, 1, 1.2), "signal@rear": whine(rear, 2e-5, 2, 1.2)}
        job = record(job, state, sounds)  # type: ignore[arg-type]
    mark, words = _told(_contents(job))["Noise"]
    assert mark == "bad"
    assert words == "worse at the amplifier's input (rear); better at the amplifier's input (front)"


def test_no_change_is_open(tmp_path: Path) -> None:
    job = new_job(tmp_path / "job")
    for state in ("as found", "as left"):
        job = record(job, state, {"signal": whine(1e-3, 2e-5, 1, 1.2)})  # type: ignore[arg-type]
    assert _told(_contents(job))["Noise"] == ("open", "no change shown at the amplifier's input")


def test_nothing_compared_says_nothing_of_noise(tmp_path: Path) -> None:
    job = record(new_job(tmp_path / "job"), "as found", {"signal": whine(1e-3, 2e-5, 1, 1.2)})
    assert "Noise" not in _told(_contents(job))


def test_wiring_that_is_dangerous_is_bad_and_counted(full: Contents) -> None:
    found, left = (wiring_study(SAMPLE_JOB / "wiring.toml", state, changes=False) for state in ("as found", "as left"))
    mark, words = _told(replace(full, wiring=(found,)))["Wiring"]
    dangers = sum(one.severity == "danger" for one in found.findings)
    faults = sum(one.severity == "fault" for one in found.findings)
    assert mark == "bad"
    assert words == f"as found: {dangers} dangers and {faults} faults still there; not taken down as left"
    assert _told(replace(full, wiring=(found, left)))["Wiring"] == (
        "good",
        "as left: nothing dangerous or faulty found",
    )


def test_an_unproven_cause_is_never_good(tmp_path: Path) -> None:
    contents = _contents(tiny_job(tmp_path / "job"))
    assert contents.diagnosis is not None
    assert not contents.diagnosis.diagnosis.causes[0].proven
    assert _told(contents)["Cause"][0] == "open"


def test_a_cause_that_is_only_stated_is_told_as_such(tmp_path: Path) -> None:
    contents = _contents(tiny_job(tmp_path / "job"))
    rows = {row["what"]: row for row in glance(contents, "shield-loop")}
    assert rows["Cause"]["mark"] == "open"
    assert "stated by the technician: " in rows["Cause"]["words"]
    rows = {row["what"]: row for row in glance(replace(contents, diagnosis=None), "shield-loop")}
    assert rows["Cause"]["words"].startswith("not found from the recordings; stated by the technician: ")
