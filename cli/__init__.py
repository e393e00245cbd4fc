"""The commands: thin, each in its own file; everything heavy is imported when a command needs it."""

from cli._main import main

__all__ = ["main"]
