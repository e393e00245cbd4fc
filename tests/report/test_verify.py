"""Tampering is found and called by its name, what is untouched passes: report, job, recordings, key, bundle."""

from __future__ import annotations

import json
import shutil
from pathlib import Path
from typing import Any

import pytest

from report import check_bundle, check_report, verification_json
from tests.report.sealed_jobs import Sealed, shared_jobs
from tests.report.tampering import TAMPERINGS, change_attachment, check_named, copied, tampered
from tests.support import call_humproof


@pytest.fixture(scope="module")
def jobs(tmp_path_factory: pytest.TempPathFactory) -> tuple[Sealed, Sealed]:
    return shared_jobs(tmp_path_factory)


@pytest.mark.parametrize("seed", range(len(TAMPERINGS)))
def test_tampering_is_named(seed: int, jobs: tuple[Sealed, Sealed], tmp_path: Path) -> None:
    check_named(*tampered(seed, *jobs, tmp_path))


def test_untouched_passes_wherever_it_is_copied(jobs: tuple[Sealed, Sealed], tmp_path: Path) -> None:
    for number, job in enumerate(jobs):
        place = tmp_path / str(number)
        place.mkdir()
        own = copied(job, place)
        found = check_report(own.pdf, key=own.public)
        assert found.problems == ()
        assert found.notes == ()
        assert found.recomputed.left == 0
        assert len(found.seal.numbers) > 100
        assert check_bundle(own.bundle, own.public).problems == ()


def test_recordings_alone_beside_the_report_are_enough(jobs: tuple[Sealed, Sealed], tmp_path: Path) -> None:
    for path in [*(jobs[0].folder / "recordings").iterdir(), jobs[0].pdf]:
        shutil.copy(path, tmp_path)
    found = check_report(tmp_path / "report.pdf")
    assert found.problems == ()
    assert found.files.job == "missing"
    # What follows from job.toml and wiring.toml is left, and said.
    assert {one.source for one in found.seal.numbers[-20:]} & {"diagnosis", "wiring.toml, as found"}
    assert 0 < found.recomputed.left < len(found.seal.numbers)
    assert any("there is no job.toml" in note for note in found.notes)


@pytest.mark.parametrize("lost", ["job.toml", "wiring.toml"])
def test_what_was_not_handed_on_is_left_and_nothing_is_called_wrong(
    lost: str, jobs: tuple[Sealed, Sealed], tmp_path: Path
) -> None:
    own = copied(jobs[0], tmp_path)
    (own.folder / lost).unlink()
    found = check_report(own.pdf)
    assert found.problems == ()
    assert found.recomputed.differing == found.recomputed.missing == ()
    assert 0 < found.recomputed.left < len(found.seal.numbers)


def test_a_number_that_differs_is_told_with_both_its_values(jobs: tuple[Sealed, Sealed], tmp_path: Path) -> None:
    own = copied(jobs[0], tmp_path)
    shutil.copy(jobs[1].folder / "recordings" / "001-as-found.h5", own.folder / "recordings" / "001-as-found.h5")
    told = verification_json(check_report(own.pdf))
    source = "recordings/001-as-found.h5"
    one = next(
        one
        for one in told["numbers"]["differing"]
        if one["source"] == source and one["printed"] != one["recomputed"] and " " not in one["what"]
    )
    listed = json.loads(call_humproof("analyse", jobs[0].folder / "recordings/001-as-found.h5", "--json").stdout)
    figure = next(figure for figure in listed["figures"] if figure["quantity"] == one["what"])
    assert one["value"] == figure["value"] != one["value_recomputed"]


def test_the_command(jobs: tuple[Sealed, Sealed], tmp_path: Path) -> None:
    own = copied(jobs[0], tmp_path)
    done = call_humproof("verify", own.pdf, "--key", own.public)
    assert done.returncode == 0, done.stderr
    assert "3 of 3 recordings match" in done.stdout
    assert "come out as printed" in done.stdout
    (own.folder / "recordings" / "002-as-left.h5").unlink()
    done = call_humproof("verify", own.pdf, own.folder, "--json")
    assert done.returncode == 1
    told = json.loads(done.stdout)
    assert told["sound"] is False
    assert told["recordings"]["recordings/002-as-left.h5"] == "missing"
    assert done.stderr.count("\n") == 1
    for wrong in (["verify", own.folder, "--key", own.public], ["verify", own.bundle, own.folder], ["report"]):
        done = call_humproof(*wrong)
        assert (done.returncode, done.stdout) == (2, "")
        assert done.stderr.count("\n") == 1


@pytest.mark.parametrize(
    "change, words",
    [
        ({"what": "\x1b[2J\nall is well", "value": 1.0}, "all is well"),
        ({"value": float("inf")}, "numbers.0.value"),
        ({"value": "many"}, "numbers.0.value"),
        ({"source": "x" * 20_000}, "numbers.0.source"),
    ],
)
def test_hostile_attachments_are_one_plain_line(
    change: dict[str, Any], words: str, jobs: tuple[Sealed, Sealed], tmp_path: Path
) -> None:
    own = copied(jobs[0], tmp_path)
    change_attachment(own.pdf, lambda seal: seal["numbers"][0].update(change))
    done = call_humproof("verify", own.pdf)
    assert done.returncode == 1
    lines = done.stderr.splitlines()
    assert all(line.startswith("humproof: ") for line in lines)
    assert any(words in line for line in lines)
    assert "\x1b" not in done.stdout + done.stderr
    assert "fault of the program" not in done.stderr
