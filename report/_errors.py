"""What can go wrong between a job and its document."""

from analysis import HumproofError


class ReportError(HumproofError, ValueError):
    """A report cannot be made, read or trusted."""
