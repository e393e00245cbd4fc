"""The bundled sample job: an invented mobile library van, simulated, with the true values beside it."""

from __future__ import annotations

import shutil
from pathlib import Path

from job import Job, JobError, open_job

__all__ = ["SAMPLE_JOB", "copy_sample_job"]

SAMPLE_JOB = Path(__file__).parent / "library-van"


def copy_sample_job(target: Path) -> Job:
    """A copy of the sample job in a new folder, or the copy that is there from an earlier time."""
    if target.exists() and not (target / "job.toml").exists():
        raise JobError(f"{target}: holds something else and no job.toml; choose another folder with --out")
    if not target.exists():
        try:
            shutil.copytree(SAMPLE_JOB, target)
        except OSError as error:
            raise JobError(f"{target}: cannot be created: {error.strerror or error}") from error
    return open_job(target)
