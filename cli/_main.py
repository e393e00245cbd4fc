"""Runs a command and turns whatever goes wrong into one line on stderr and an exit code: 0, 1, or 2 for usage."""

from __future__ import annotations

import os
import sys

import typer
from typer.exceptions import TyperException

from cli import _bring, _calibrate, _diagnose, _look, _make, _record, _signal, _take, _wiring

app = typer.Typer(
    name="humproof",
    help="Find, put right and prove noise and supply faults of sound systems in vehicles.",
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"]},
)
for command_file in (_make, _take, _record, _signal, _calibrate, _bring, _look, _wiring, _diagnose):
    command_file.register(app)


def main(arguments: list[str] | None = None) -> int:
    """Run one command line; returns the exit code."""
    # Small matrices: threads would only wait for each other, and sum in another order than the workers of
    # `study_ahead`, so that last bits would differ. It counts where numpy is not loaded yet.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    try:
        asked = sys.argv[1:] if arguments is None else arguments
        result = app(args=asked or ["--help"], standalone_mode=False, prog_name="humproof")
        return result if isinstance(result, int) else 0
    except BrokenPipeError:
        # Whoever read our output has gone; closing it again must not complain.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except Exception as error:  # the last place: a user never sees a traceback
        if os.environ.get("HUMPROOF_TRACE"):
            raise
        return _say(error)
    except KeyboardInterrupt:
        print("humproof: stopped", file=sys.stderr)
        return 1


def _say(error: Exception) -> int:
    text, code = _line(error)
    if text:
        print(f"humproof: {' '.join(text.split())}", file=sys.stderr)
    return code


def _line(error: Exception) -> tuple[str, int]:
    # Imported only now: it brings the whole of the analysis along, and --help must answer at once.
    from analysis import HumproofError, WrongUseError

    if isinstance(error, typer.Exit):
        return "", error.exit_code
    if isinstance(error, typer.Abort):
        return "stopped", 1
    if isinstance(error, TyperException):
        return _usage(error)
    if isinstance(error, WrongUseError):
        return str(error), 2
    if isinstance(error, HumproofError):
        return str(error), 1
    if isinstance(error, OSError):
        return f"{error.filename or 'file'}: {error.strerror or error}", 1
    return f"a fault of the program itself ({type(error).__name__}: {error}); HUMPROOF_TRACE=1 shows where", 1


def _usage(error: TyperException) -> tuple[str, int]:
    """A wrong command line, in the words of the library that reads it, and where its help is."""
    context = getattr(error, "ctx", None)
    where = context.command_path if context else "humproof"
    return f"{error.format_message()} See: {where} --help", 2
