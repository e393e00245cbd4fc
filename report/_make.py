"""From a job folder to a document: check, study, draw, typeset, put in place."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from capture import file_sha256
from job import Entry, Job, Study, damage_of, open_job, study_ahead, study_kept
from report._composed import ComposedReport, check_target, stamps_of
from report._errors import ReportError
from report._left_out import left_out
from report._page import page_data
from report._paper import PLAIN_PAPER, Paper
from report._revision import read_issued
from report._seal import collect_digests
from report._sealing import complete_seal, seal_words, typeset_sealed
from report._sheets import Studier, gather
from report._signature import Signer

Progress = Callable[[float, str], None]

DEFAULT_NAME = "report.pdf"
#: of the progress: until recordings were studied several at once, where they are; until all is studied
_AHEAD, _GATHERED = 0.5, 0.6


def study_once(job: Job, entry: Entry, progress: Callable[[float], None]) -> Study:
    """Read and analyse the file, unless this computer studied the same bytes before."""
    return study_kept(job.path(entry), progress)


def make_report(
    folder: Path,
    output: Path | None = None,
    progress: Progress = lambda fraction, text: None,
    signer: Signer | None = None,
    paper: Paper = PLAIN_PAPER,
) -> Path:
    """Make the document of a job and return where it stands.

    Parameters
    ----------
    folder
        The job folder.
    output
        Where the PDF goes; `report.pdf` in the job folder when not given. A PDF that is there is replaced, in
        one step and only once the new one is whole.
    progress
        Called now and then with the fraction done, 0 to 1, and what is being done.
    signer
        The shop's private key, when the report is to be signed.
    paper
        Sheet of paper, units, limits and letterhead.

    Raises
    ------
    ReportError
        When there is no recording, one is missing or was changed, or the PDF cannot be written.
    JobError, RecordingError
        When the job or a recording cannot be read.
    """
    open_job(folder)
    target = output or folder / DEFAULT_NAME
    check_target(target)
    compose_report(folder, progress, signer=signer, paper=paper).write(target)
    progress(1.0, "done")
    return target


def compose_report(
    folder: Path,
    progress: Progress = lambda fraction, text: None,
    study: Studier = study_once,
    signer: Signer | None = None,
    paper: Paper = PLAIN_PAPER,
) -> ComposedReport:
    """Make the document of a job without writing it anywhere.

    Parameters
    ----------
    folder
        The job folder.
    progress
        As for `make_report`; may raise to stop the work.
    study
        Gives the study of a recording of the job and tells how far it is, 0 to 1: for those who keep studies.
    signer, paper
        As for `make_report`.

    Raises
    ------
    ReportError
        When there is no recording, or one is missing or was changed.
    JobError, RecordingError
        When the job or a recording cannot be read.
    """
    job = open_job(folder)
    stamps = stamps_of(job)
    # Before anything is read: a file that changes meanwhile then no longer matches.
    digests, issued = collect_digests(job, file_sha256(job.file)), read_issued(folder)
    ahead = study_ahead(job, lambda part: progress(_AHEAD * part, "analysing the recordings"), seals=True)
    begun = _AHEAD if ahead else 0.0
    checked = begun + (_GATHERED - begun) / 6
    checking, gathering = _between(progress, begun, checked), _between(progress, checked, _GATHERED)
    _check_recordings(job, lambda part: checking(part, "checking the recordings"))
    contents = gather(job, gathering, study)
    progress(_GATHERED, "drawing")
    seal = complete_seal(digests, issued, job, contents, signer)
    data, drawings = page_data(job, contents, seal, paper, lambda part: progress(_GATHERED + 0.3 * part, "drawing"))
    data |= seal_words(seal)
    progress(0.9, "typesetting")
    pdf, files, sealed = typeset_sealed(data, drawings, seal, signer)
    missing = tuple(left_out(job, contents))
    return ComposedReport(job, pdf, data["headline"], missing, data["simulated"], stamps, data, files, sealed, contents)


def _between(progress: Progress, start: float, end: float) -> Progress:
    return lambda part, text: progress(min(end, start + (end - start) * part), text)


def _share(progress: Callable[[float], None], index: int, count: int) -> Callable[[float], None]:
    return lambda part: progress((index + part) / count)


def _check_recordings(job: Job, progress: Callable[[float], None]) -> None:
    """Every recording that job.toml names must be there, sealed and unchanged."""
    entries = job.facts.recordings
    if not entries:
        progress(0.0)
        raise ReportError(
            f"{job.folder}: has no recording yet, so there is nothing to report: record or import one first"
        )
    # A stray file in the folder is a question for `verify`, not a reason to refuse the report.
    problems: list[str] = []
    for index, entry in enumerate(entries):
        progress(index / len(entries))
        problems += damage_of(job, entry, _share(progress, index, len(entries)))
    if problems:
        more = f" (and {len(problems) - 1} more)" if problems[1:] else ""
        raise ReportError(f"{problems[0]}; put back the file that was entered, then make the report again{more}")
