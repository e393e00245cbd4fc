"""What is attached inside a report: digests, every number in full, revisions; and that the PDF knows itself."""

from __future__ import annotations

import dataclasses
import hashlib
import json
import re
import shutil
import subprocess
from pathlib import Path

import pypdf
import pytest

from job import Job, open_job
from report import (
    ISSUED,
    ComposedReport,
    ReportError,
    check_report,
    make_report,
    read_issued,
    read_report_digests,
)
from report._revision import note_issue, with_revision
from report._seal import Replaced
from tests.report.sealed_jobs import add_take, shared_jobs
from tests.report.tampering import as_if_issued, seal_digest
from tests.support import call_humproof

NUMBER = re.compile(r"([+\u2212]?\d+(?:\.\d+)?)\s±\s(\d+(?:\.\d+)?)\s([kmµn]?)(V|dB|Hz|Ω|s|W|A)(?![a-z])")
FACTORS = {"k": 1e3, "": 1.0, "m": 1e-3, "µ": 1e-6, "n": 1e-9}


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return shared_jobs(tmp_path_factory)[0].folder


@pytest.fixture(scope="module")
def composed(tmp_path_factory: pytest.TempPathFactory) -> ComposedReport:
    return shared_jobs(tmp_path_factory)[0].report


def sha256(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


def test_the_seal_has_digests_and_where_numbers_come_from(job: Path) -> None:
    seal = read_report_digests(job / "report.pdf")
    assert (seal.version, seal.revision, seal.replaces) == (2, 1, None)
    assert seal.job_sha256 == sha256(job / "job.toml")
    assert seal.wiring_sha256 == sha256(job / "wiring.toml")
    assert {entry.file: entry.sha256 for entry in seal.recordings} == {
        f"recordings/{path.name}": sha256(path) for path in (job / "recordings").iterdir()
    }
    files = {entry.file for entry in seal.recordings}
    pair = "recordings/001-as-found.h5 against recordings/002-as-left.h5"
    assert {one.source for one in seal.numbers} <= {*files, pair, "wiring.toml, as found", "diagnosis"}
    assert len({one.key for one in seal.numbers}) == len(seal.numbers)
    text = pypdf.PdfReader(job / "report.pdf").attachments["humproof-digests.json"][0].decode()
    assert json.loads(text)["seal_sha256"] == seal.seal_sha256 == seal_digest(json.loads(text))


def test_numbers_in_the_seal_are_those_of_the_commands(job: Path) -> None:
    told = {one.key: one for one in read_report_digests(job / "report.pdf").numbers}
    name, other = "recordings/001-as-found.h5", "recordings/002-as-left.h5"
    analysed = json.loads(call_humproof("analyse", job / name, "--json").stdout)
    for figure in analysed["figures"]:
        one = told[name, figure["quantity"], figure["channel"]]
        assert (one.value, one.uncertainty, one.unit) == (figure["value"], figure["uncertainty"], figure["unit"])
    floor = job / "recordings" / "003-instrument-floor.h5"
    compared = json.loads(call_humproof("compare", job / name, job / other, "--floor", floor, "--json").stdout)
    for change in compared["changes"]:
        for side in ("before", "after", "change"):
            assert (
                told[f"{name} against {other}", f"{change['quantity']} {side}", change["channel"]].value == change[side]
            )
    wired = json.loads(call_humproof("wiring", job / "wiring.toml", "--json", "--no-changes").stdout)
    for conductor in wired["conductors"]:
        one = told["wiring.toml, as found", f"conductors[{conductor['name']}].current_a", ""]
        assert one.value == conductor["current_a"]
    caused = json.loads(call_humproof("diagnose", job, "--json").stdout)["causes"]
    assert caused
    for cause in caused:
        assert told["diagnosis", cause["cause"], ""].value == cause["probability"]


def test_what_is_printed_is_in_the_seal_and_rounds_from_its_value(job: Path) -> None:
    """The text as poppler reads it, against the attachment; rounding is checked by arithmetic of its own."""
    if shutil.which("pdftotext") is None:
        pytest.skip("pdftotext (poppler-utils) is not installed")
    done = subprocess.run(["pdftotext", job / "report.pdf", "-"], capture_output=True, text=True, check=True)
    found = {"".join(match.group(0).split()) for match in NUMBER.finditer(done.stdout.replace("\u200b", ""))}
    numbers = read_report_digests(job / "report.pdf").numbers
    assert len(found) >= 10
    assert found <= {"".join(one.printed.split()) for one in numbers}
    for one in numbers:
        match = NUMBER.fullmatch(one.printed)
        if match and one.value is not None and one.uncertainty is not None:
            factor = FACTORS[match[3]]
            half = 0.5 * 10.0 ** -len(match[1].partition(".")[2]) * (1 + 1e-9)
            assert abs(float(match[1].replace("\u2212", "-")) - one.value / factor) <= half, one
            assert match[4] == one.unit


def test_the_pdf_holds_its_own_digest(job: Path) -> None:
    data = (job / "report.pdf").read_bytes()
    assert data.count(b"% humproof: SHA-256 of this file without this line: ") == 1
    assert as_if_issued(data) == data
    assert read_issued(job)[-1].sha256 == hashlib.sha256(data).hexdigest()


def test_pages_in_the_pdf_are_sealed_whatever_is_attached(composed: ComposedReport) -> None:
    """The same pages twice: the second time in a document with other attachments."""
    from report._digests import pages_sha256
    from report._typeset import typeset_pdf

    report = composed
    assert report.sealed is not None
    bare = typeset_pdf({**report.data, "attachments": []}, report.files)
    assert pages_sha256(bare) == pages_sha256(report.pdf) == report.sealed.seal.pages_sha256
    other = typeset_pdf({**report.data, "headline": "Something else."}, report.files)
    assert pages_sha256(other) != report.sealed.seal.pages_sha256


# ---------------------------------------------------------------- revisions


def test_a_change_makes_a_revision_that_names_the_old_report(tmp_path: Path, job: Path) -> None:
    folder = Path(shutil.copytree(job, tmp_path / "job"))
    old = sha256(folder / "report.pdf")
    add_take(open_job(folder), "as left", 2e-5, seed=5)
    seal = read_report_digests(make_report(folder))
    assert seal.revision == 2
    assert seal.replaces is not None
    assert (seal.replaces.revision, seal.replaces.sha256) == (1, old)
    issued = read_issued(folder)
    assert [(one.revision, one.file, one.sha256 == old) for one in issued] == [
        (1, "report.pdf", True),
        (2, "report.pdf", False),
    ]
    pages = "".join(page.extract_text() for page in pypdf.PdfReader(folder / "report.pdf").pages)
    assert "takes the place of the report with SHA-256" in " ".join(pages.split())
    assert old in "".join(pages.split())
    found = check_report(folder / "report.pdf")
    assert found.problems == ()
    # The old one is still what it was, and says that there is a newer one.
    shutil.copy(job / "report.pdf", folder / "old.pdf")
    found = check_report(folder / "old.pdf")
    assert [one.kind for one in found.problems] == ["job changed"]
    assert any("revision 2" in note for note in found.notes)


def test_the_same_again_is_the_same_revision(job: Path, composed: ComposedReport) -> None:
    assert composed.sealed is not None
    seal, issued = composed.sealed.seal, read_issued(job)
    later = seal.model_copy(update={"issued_utc": seal.issued_utc.replace(year=2040), "software": "humproof 9"})
    assert with_revision(later, issued).revision == 1
    second = issued[0].model_copy(update={"revision": 2, "made_from": "0" * 64, "sha256": "1" * 64})
    assert with_revision(later, (second, issued[0].model_copy(update={"revision": 3}))).replaces == Replaced(
        revision=2, issued_utc=second.issued_utc, sha256="1" * 64
    )
    changed = with_revision(seal.model_copy(update={"wiring_sha256": None}), issued)
    assert (changed.revision, changed.replaces and changed.replaces.sha256) == (2, issued[0].sha256)


def test_a_report_that_cannot_be_put_in_place_is_not_noted(
    tmp_path: Path, job: Path, composed: ComposedReport, monkeypatch: pytest.MonkeyPatch
) -> None:
    own = Path(shutil.copytree(job, tmp_path / "job"))
    before = (own / ISSUED).read_bytes()
    report = dataclasses.replace(composed, job=Job(own, composed.job.facts))
    replace = __import__("os").replace

    def refuse(source: Path, target: Path) -> None:
        if Path(target).suffix == ".pdf":
            raise OSError(28, "No space left on device")
        replace(source, target)

    monkeypatch.setattr("os.replace", refuse)
    with pytest.raises(ReportError, match="No space left on device"):
        report.write(own / "new.pdf")
    assert (own / ISSUED).read_bytes() == before
    assert not (own / "new.pdf").exists()


def test_a_revision_that_came_too_late_is_refused(tmp_path: Path, job: Path, composed: ComposedReport) -> None:
    own = Path(shutil.copytree(job, tmp_path / "job"))
    late = dataclasses.replace(composed, job=Job(own, composed.job.facts))
    note_issue(own, read_issued(own)[-1].model_copy(update={"revision": 2, "made_from": "0" * 64}))
    with pytest.raises(ReportError, match="another report was issued meanwhile"):
        late.write(own / "late.pdf")
    assert not (own / "late.pdf").exists()


@pytest.mark.parametrize("text", ["format = 3", "not TOML [", 'format = "humproof-reports"\nversion = 2\n'])
def test_a_damaged_list_of_reports_is_one_line(text: str, tmp_path: Path, job: Path) -> None:
    own = Path(shutil.copytree(job, tmp_path / "job"))
    (own / ISSUED).write_text(text)
    done = call_humproof("report", own)
    assert done.returncode == 1
    assert re.fullmatch(r"humproof: .*reports\.toml: .*\n", done.stderr)
