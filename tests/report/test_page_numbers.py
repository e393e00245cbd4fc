"""Numbers on the pages against the list: what was typed is never called wrong, whatever it looks like."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pypdf
import pytest
from pypdf import generic

from capture import Conditions
from job import AnswerEntry, Job, Outcome, Shop, Vehicle, Visit, save_job
from report import Letterhead, Paper, Verification, check_report, compose_report, verification_json
from report._digests import pages_sha256
from report._limits import ResultLimit
from report._page_numbers import OnPage, compare_pages, numbers_on, page_texts
from tests.report.sealed_jobs import WIRING, Sealed, shared_jobs
from tests.report.tampering import as_if_issued, copied, redraw
from tests.test_report import new_job, record, whine

#: whatever looks like a figure: with its uncertainty, as a change, as a probability, among Hebrew letters
TYPED = (
    "4.2 ± 0.1 V, 4.3±0.2 mV; 870 µV (± unknown), gain +6.5 dB, Proven: mine (42 %). 17 % + more, 5,5 ± 0,5 Ω "
    "הרדיו 7.25 ± 0.35 kW ועוד, 1234567.890123456 ± 9876543.210987654 V"
)


def numbers(text: str) -> list[str]:
    return [one.printed for one in numbers_on(text)]


@pytest.mark.parametrize(
    "text, found",
    [
        (
            "fell from 947.4\u00a0±\u00a04.7\u00a0µV to \n47.74\u00a0±\u00a00.28\u00a0µV",
            ["947.4 ± 4.7 µV", "47.74 ± 0.28 µV"],
        ),
        ("floor 1.474 ± 0.066 µV\n−899.7 ± 4.8 µV −26.0 dB", ["1.474 ± 0.066 µV", "−899.7 ± 4.8 µV", "−26.0 dB"]),
        ("AC between the grounds 870\u00a0µV (±\u00a0unknown) to", ["870 µV (± unknown)"]),
        ("0.0 ± 2.7 mV\n0.0 dB", ["0.0 ± 2.7 mV"]),
        ("45.2±4.3 dB: transformer", ["45.2±4.3 dB"]),
        ("Proven: a loop (97 %). 2 % + DC drop; under 1 % − the whine", ["97 %", "2 %", "under 1 %"]),
        (
            "Figure (± expanded uncertainty, k = 2), zero ± 2.0 mV, scale ± 0.50 % (k = 2)",
            ["zero ± 2.0 mV", "scale ± 0.50 %"],
        ),
        ("75 % of the drop, limit 3.6 V, +5 dBu, 2 to 3 dB", []),
    ],
)
def test_what_is_looked_for(text: str, found: list[str]) -> None:
    assert numbers(text) == found


# ---------------------------------------------------------------- no false alarm


def typed_everywhere(folder: Path) -> Job:
    """Before, after and floor of one channel, with numbers in everything that a person can type."""
    facts: dict[str, Any] = {
        "conditions": Conditions(
            engine_rpm=1500, loads=(TYPED,), volume=TYPED, gains=TYPED, test_signal=TYPED, battery=TYPED, note=TYPED
        ),
        "isolation_step": TYPED,
    }
    job = new_job(folder)
    for place, (state, level) in enumerate({"as found": 3e-3, "as left": 4e-5, "instrument floor": 0.0}.items()):
        job = record(job, state, {"signal@4.6 ± 0.1 V": whine(level, 2e-6, place, 1.2)}, **facts)  # type: ignore[arg-type]
    texts = dict.fromkeys(("title", "complaint", "began_after", "found", "done", "not_tested"), TYPED)
    update = {
        "visit": Visit(number="No. 4.2 ± 0.1 V, and 12.3456 ± 0.1234 mV", **texts),
        "vehicle": Vehicle(kind=TYPED, description=TYPED, registration=TYPED, odometer=TYPED),
        "shop": Shop(name=TYPED, address=TYPED, technician=TYPED),
        "answers": (AnswerEntry(item="between-grounds-over-limit", reading=0.0042, note=TYPED),),
        "outcome": Outcome(cause="hiss", how_it_was_proven=TYPED),
        "recordings": tuple(entry.model_copy(update={"note": TYPED}) for entry in job.facts.recordings),
    }
    named = WIRING.replace('"bench"', '"bench 4.4 ± 0.1 V"').replace('"feed"', '"feed 4.5 ± 0.1 m"')
    (folder / "wiring.toml").write_text(named, encoding="utf-8")
    return save_job(Job(job.folder, job.facts.model_copy(update=update)))


@pytest.fixture(scope="module")
def typed(tmp_path_factory: pytest.TempPathFactory) -> Verification:
    """Checked with a letterhead and a limit's source that hold numbers, too."""
    folder = tmp_path_factory.mktemp("typed") / "job"
    typed_everywhere(folder)
    limits = (ResultLimit("noise_rms_a", "signal", 1e-3, "shop limit 4.7 ± 0.1 mV"),)
    paper = Paper("letter", "us", limits=limits, letterhead=Letterhead("Bench 4.9 ± 0.1 V", ("Door 9 ± 3 V",)))
    compose_report(folder, paper=paper).write(folder / "report.pdf")
    return check_report(folder / "report.pdf")


def test_what_was_typed_is_never_called_wrong(typed: Verification) -> None:
    assert typed.problems == ()
    assert typed.pages.unknown == ()
    shown = {one.printed for one in typed.pages.found or ()}
    assert {"4.2 ± 0.1 V", "870 µV (± unknown)", "+6.5 dB", "42 %", "4.20 mV (± unknown)"} <= shown
    assert len(typed.pages.found or ()) > 200


def test_the_shops_own_words_are_named_and_no_more(typed: Verification) -> None:
    assert {one.printed for one in typed.pages.of_the_shop} == {"4.9 ± 0.1 V", "9 ± 3 V", "4.7 ± 0.1 mV"}
    assert ["in the shop's own words" in note for note in typed.notes] == [True]


def test_hidden_in_what_was_typed_is_only_what_was_typed(typed: Verification) -> None:
    listed = typed.seal.numbers
    changed = OnPage(1, "4.2 ± 0.3 V", "±", "4.2", "0.3", "V")
    found = compare_pages(("Found 4.2 ± 0.3 V", listed[0].printed), listed, [TYPED])
    assert found.unknown == (changed,)


# ---------------------------------------------------------------- what is found


@pytest.fixture(scope="module")
def jobs(tmp_path_factory: pytest.TempPathFactory) -> tuple[Sealed, Sealed]:
    return shared_jobs(tmp_path_factory)


def test_almost_every_wrong_digit_is_found(jobs: tuple[Sealed, Sealed]) -> None:
    """All pages at once: each digit of each number with its uncertainty is exchanged for each other one."""
    job = jobs[0]
    assert job.report.sealed
    listed = job.report.sealed.seal.numbers
    texts = page_texts(job.pdf.read_bytes(), pages_sha256(job.pdf.read_bytes()))
    printed = {one.printed for page, text in enumerate(texts, 1) for one in numbers_on(text, page) if one.form == "±"}
    wrong = {
        f"{text[:place]}{digit}{text[place + 1 :]}"
        for text in printed
        for place, old in enumerate(text)
        if old.isdigit()
        for digit in "0123456789".replace(old, "")
    }
    found = compare_pages((" . ".join(sorted(printed)), " . ".join(sorted(wrong))), listed, ())
    assert not [one for one in found.unknown if one.page == 1]
    assert len(wrong) > 1000
    assert len(found.unknown) >= 0.99 * len(wrong)


def redrawn(jobs: tuple[Sealed, Sealed], place: Path) -> Sealed:
    """The first of the two numbers in front stands for ten times less, in every digest's sight."""
    own = copied(jobs[0], place)
    (own.folder / "reports.toml").unlink()

    def change(data: dict[str, Any]) -> None:
        assert "3.000\u00a0±\u00a00.030\u00a0mV" in data["headline"]
        data["headline"] = data["headline"].replace("3.000", "3.111")

    redraw(own, change)
    return own


def test_a_redrawn_number_is_named_with_its_page(jobs: tuple[Sealed, Sealed], tmp_path: Path) -> None:
    own = redrawn(jobs, tmp_path)
    found = check_report(own.pdf)
    assert [one.kind for one in found.problems] == ["number not listed"]
    assert f"{own.pdf}: page 1: “3.111 ± 0.030 mV”" in found.problems[0].text
    told = verification_json(found)
    assert told["numbers"]["on_pages"]["unknown"] == [{"page": 1, "printed": "3.111 ± 0.030 mV"}]
    assert told["sound"] is False
    # Without the job nobody can say that it was not typed: it is named and not called wrong.
    (own.folder / "job.toml").unlink()
    found = check_report(own.pdf)
    assert found.problems == ()
    assert any("page 1: “3.111 ± 0.030 mV”" in note for note in found.notes)


@pytest.mark.parametrize("as_issued", [True, False])
def test_letters_that_cannot_be_read_are_not_compared(
    as_issued: bool, jobs: tuple[Sealed, Sealed], tmp_path: Path
) -> None:
    """Another program may draw letters whose meaning it does not tell."""
    own = copied(jobs[0], tmp_path)
    writer = pypdf.PdfWriter(clone_from=str(own.pdf))
    for page in writer.pages:
        for font in page["/Resources"]["/Font"].values():  # type: ignore[index]
            font.get_object().pop(generic.NameObject("/ToUnicode"), None)
    writer.write(own.pdf)
    if as_issued:
        own.pdf.write_bytes(as_if_issued(own.pdf.read_bytes()))
    found = check_report(own.pdf)
    assert "number not listed" not in {one.kind for one in found.problems}
    assert found.pages.found is None
    assert any("were not compared with the list" in note for note in found.notes)
