"""What a recording of the job says of itself: from its study, or from the file where it was not studied."""

from __future__ import annotations

from capture import Recording, RecordingInfo
from job import Entry, Job
from report._sheets import Contents


def recorded(job: Job, entry: Entry, contents: Contents) -> tuple[RecordingInfo, float]:
    """Its facts, and its length in seconds."""
    told = contents.told.get(entry.file)
    if told is not None:
        return told
    with Recording(job.path(entry)) as recording:
        return recording.info, recording.duration_s
