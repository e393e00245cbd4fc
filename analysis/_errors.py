"""The root of every error that humproof raises on purpose."""


class HumproofError(Exception):
    """Something the user can put right: the message names what, where and the remedy in one line."""


class AnalysisError(HumproofError, ValueError):
    """A figure was asked for that the samples cannot give."""


class WrongUseError(HumproofError):
    """The command itself was asked wrongly (exit code 2)."""
