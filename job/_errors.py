"""What can go wrong with a job folder."""

from analysis import HumproofError


class JobError(HumproofError, ValueError):
    """A job folder or its job.toml cannot be read, trusted or written."""
