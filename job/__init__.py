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
    study_file,
    study_json,
    study_recording,
)
from job._words import (
    CAUTIONS,
    change_text,
    level_text,
    plain_quantity,
    plain_role,
    si_scale,
    value_text,
)

__all__ = [
    "BURST_MARK",
    "CAUTIONS",
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
    "change_text",
    "compare_studies",
    "comparison_json",
    "level_text",
    "new_recording_path",
    "number",
    "open_job",
    "open_or_create_job",
    "pairs",
    "plain_quantity",
    "plain_role",
    "save_job",
    "si_scale",
    "study_file",
    "study_json",
    "study_recording",
    "value_text",
    "verify_job",
]
