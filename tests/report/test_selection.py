"""Jobs with many recordings: the clearest pairs in full, the others in short, nothing bad left out, six pages."""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any

import pypdf
import pytest

from report import Paper, compose_report
from report._composed import ComposedReport
from report._tables import named_in_short
from tests.test_report import CONDITIONS, new_job, record, squeezed, text_of, whine

PAIRS = 12
#: which step got louder, and which was recorded at another engine speed
WORSE, OTHER_SPEED = 7, 9
FASTER = CONDITIONS.model_copy(update={"engine_rpm": 2200})


@pytest.fixture(scope="module")
def many(tmp_path_factory: pytest.TempPathFactory) -> ComposedReport:
    """Twelve pairs, one of them worse and one not comparable."""
    job = new_job(tmp_path_factory.mktemp("many") / "job")
    for state in ("as found", "as left"):
        for step in range(PAIRS):
            left = state == "as left"
            level = 3.1e-3 if left and step == WORSE else 4.7e-5 * (step + 1) if left else 1e-3
            facts: dict[str, Any] = {"conditions": FASTER} if left and step == OTHER_SPEED else {}
            sound = {"signal": whine(level, 2e-5, step, 1.2)}
            job = record(job, state, sound, isolation_step=f"step {step}", **facts)  # type: ignore[arg-type]
    return compose_report(job.folder, paper=Paper(size="letter"))


def test_the_pages_are_six_at_most(many: ComposedReport) -> None:
    assert len(pypdf.PdfReader(io.BytesIO(many.pdf)).pages) <= 6


def test_every_pair_stands_in_full_or_in_short(many: ComposedReport) -> None:
    full = [sheet["heading"] for sheet in many.data["sheets"]]
    short = [row[0].partition(",")[0] for row in many.data["in_short"]["rows"]]
    told = [heading.removeprefix("Isolation step: ").partition(".")[0] for heading in full] + short
    assert sorted(dict.fromkeys(told)) == sorted(f"step {step}" for step in range(PAIRS))


def test_the_clearest_changes_are_in_full(many: ComposedReport) -> None:
    full = {sheet["heading"].partition(".")[0] for sheet in many.data["sheets"]}
    # The two whose noise fell or rose most stand in front, so their figures and pictures must be there too.
    assert full == {"Isolation step: step 0", "Isolation step: step 1"}
    assert all(sheet["pictures"] for sheet in many.data["sheets"])


def test_what_got_worse_is_never_left_out(many: ComposedReport, tmp_path: Path) -> None:
    rows = [row for row in many.data["in_short"]["rows"] if row[0].startswith(f"step {WORSE},")]
    found = next(sheet for sheet in many.contents.sheets if f"step {WORSE}" == sheet.first.info.isolation_step)  # type: ignore[union-attr]
    worse = [one for one in found.comparison.changes if one.verdict == "worse"]  # type: ignore[union-attr]
    assert len(worse) >= 2
    assert [row[-1] for row in rows] == ["worse"] * len(worse)
    many.write(tmp_path / "many.pdf")
    page = squeezed(text_of(tmp_path / "many.pdf"))
    assert all(squeezed(row[2]) in page for row in rows)


def test_what_cannot_be_compared_says_so(many: ComposedReport) -> None:
    (row,) = [row for row in many.data["in_short"]["rows"] if row[0].startswith(f"step {OTHER_SPEED},")]
    assert row[-1].startswith("not comparable: ")
    assert "rpm" in row[-1]


def test_conditions_are_listed_with_the_recordings_that_differ(many: ComposedReport) -> None:
    assert many.data["conditions"] == []
    (speed,) = [text for label, text in many.data["condition_list"] if label == "Engine speed"]
    assert speed == "1500\u00a0rpm [001 to 021, 023, 024]; 2200\u00a0rpm [022]"


@pytest.mark.parametrize(
    "names, words",
    [
        ([], ""),
        (["007"], "007"),
        (["001", "002"], "001, 002"),
        (["001", "002", "003"], "001 to 003"),
        (["001", "003", "004", "005", "a.h5", "009"], "001, 003 to 005, 009, a.h5"),
    ],
)
def test_numbers_in_a_row(names: list[str], words: str) -> None:
    assert named_in_short(names) == words
