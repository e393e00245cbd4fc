"""From a job folder to a PDF: check, study, draw, typeset, put in place."""

from __future__ import annotations

import json
import os
import tempfile
from collections.abc import Callable
from contextlib import suppress
from importlib import metadata, resources
from pathlib import Path
from typing import Any

from capture import file_sha256
from job import Job, damaged_recordings, open_job
from report._digests import ATTACHMENT, as_json, collect_digests
from report._errors import ReportError
from report._page import page_data
from report._sheets import gather

Progress = Callable[[float, str], None]

DEFAULT_NAME = "report.pdf"
_TEMPLATE = "report.typ"


def make_report(folder: Path, output: Path | None = None, progress: Progress = lambda fraction, text: None) -> Path:
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

    Raises
    ------
    ReportError
        When there is no recording, one is missing or was changed, or the PDF cannot be written.
    JobError, RecordingError
        When the job or a recording cannot be read.
    """
    job = open_job(folder)
    target = output or folder / DEFAULT_NAME
    _check_target(target)
    job_sha256 = file_sha256(job.file)
    progress(0.0, "checking the recordings")
    _check_recordings(job)
    contents = gather(job, lambda part, text: progress(0.1 + 0.7 * part, text))
    progress(0.8, "drawing")
    digests = collect_digests(job, job_sha256, _software())
    data, drawings = page_data(job, contents, digests)
    progress(0.9, "typesetting")
    data["attachment"] = ATTACHMENT
    _put(target, _typeset(data, {**drawings, ATTACHMENT: as_json(digests)}))
    progress(1.0, "done")
    return target


def _check_target(target: Path) -> None:
    """Refuse early, and never write over what is not a PDF."""
    if target.is_dir():
        raise ReportError(f"{target}: is a folder; give the name of a PDF file")
    if not target.parent.is_dir():
        raise ReportError(f"{target}: there is no folder {target.parent} to put it in")
    if target.exists() and not _is_pdf(target):
        raise ReportError(f"{target}: exists and is not a PDF; it is left alone, choose another name")


def _is_pdf(path: Path) -> bool:
    try:
        with path.open("rb") as file:
            return file.read(5) == b"%PDF-"
    except OSError as error:
        raise ReportError(f"{path}: cannot be read: {error.strerror}") from error


def _check_recordings(job: Job) -> None:
    """Every recording that job.toml names must be there, sealed and unchanged."""
    if not job.facts.recordings:
        raise ReportError(
            f"{job.folder}: has no recording yet, so there is nothing to report: record or import one first"
        )
    # A stray file in the folder is a question for `verify`, not a reason to refuse the report.
    problems = damaged_recordings(job)
    if problems:
        more = f" (and {len(problems) - 1} more)" if problems[1:] else ""
        raise ReportError(f"{problems[0]}; put back the file that was entered, then make the report again{more}")


def _software() -> str:
    try:
        return f"humproof {metadata.version('humproof')}"
    except metadata.PackageNotFoundError:
        return "humproof, run from its source folder"


def _typeset(data: dict[str, Any], files: dict[str, str]) -> bytes:
    """Compile the template in a folder of its own: typst sees nothing else, and no text becomes markup."""
    with tempfile.TemporaryDirectory(prefix="humproof-") as name:
        root = Path(name)
        for file, text in {**files, "data.json": json.dumps(data, ensure_ascii=False)}.items():
            (root / file).write_text(text, encoding="utf-8")
        template = root / _TEMPLATE
        template.write_bytes(resources.files("report").joinpath(_TEMPLATE).read_bytes())
        return _compile(template, root)


def _compile(template: Path, root: Path) -> bytes:
    import matplotlib
    import typst

    fonts = Path(matplotlib.get_data_path()) / "fonts" / "ttf"
    try:
        # Without the system's fonts the pages look the same on every machine.
        return typst.compile(str(template), root=str(root), font_paths=[str(fonts)], ignore_system_fonts=True)
    except typst.TypstError as error:
        raise ReportError(f"the report could not be typeset: {' '.join(str(error).split())}") from error


def _put(target: Path, pdf: bytes) -> None:
    """Write beside the target, make it safe, then put it in place in one step."""
    part = target.with_name(f".{target.name}.{os.getpid()}.part")
    try:
        with part.open("wb") as file:
            file.write(pdf)
            file.flush()
            os.fsync(file.fileno())
        os.replace(part, target)
    except OSError as error:
        raise ReportError(
            f"{target}: cannot be written: {error.strerror}; what stood there before still stands"
        ) from error
    finally:
        with suppress(OSError):
            part.unlink(missing_ok=True)
