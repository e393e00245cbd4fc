"""One vehicle's visit: what was asked, found, measured and done; a folder on disk."""

from job._errors import JobError
from job._job import (
    Job,
    Pair,
    add_recording,
    new_recording_path,
    open_job,
    open_or_create_job,
    pairs,
    save_job,
    verify_job,
)
from job._model import STATES, Entry, JobFile, Shop, State, Vehicle, Visit
from job._study import (
    BURST_MARK,
    Study,
    compare_studies,
    comparison_json,
    number,
    study_json,
    study_recording,
)

__all__ = [
    "BURST_MARK",
    "STATES",
    "Entry",
    "Job",
    "JobError",
    "JobFile",
    "Pair",
    "Shop",
    "State",
    "Study",
    "Vehicle",
    "Visit",
    "add_recording",
    "compare_studies",
    "comparison_json",
    "new_recording_path",
    "number",
    "open_job",
    "open_or_create_job",
    "pairs",
    "save_job",
    "study_json",
    "study_recording",
    "verify_job",
]
