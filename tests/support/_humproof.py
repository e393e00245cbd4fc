"""The program run as a person runs it: a subprocess, its exit code and what it printed."""

import io
import os
import subprocess
import sys
from collections.abc import Mapping
from contextlib import redirect_stderr, redirect_stdout
from pathlib import Path
from types import TracebackType

ROOT = Path(__file__).resolve().parents[2]
"""The repository's root."""

_ENTRY = "import sys; from cli import main; sys.exit(main())"


def run_humproof(
    *args: str | Path,
    env: Mapping[str, str] | None = None,
    cwd: Path | None = None,
    check: bool = False,
    timeout_s: float = 120.0,
) -> subprocess.CompletedProcess[str]:
    """Run ``humproof`` with these arguments to its end and return exit code, stdout and stderr.

    Parameters
    ----------
    args
        Arguments as typed.
    env
        Variables set on top of this process's environment.
    cwd
        Folder to stand in; the current one when omitted.
    check
        Fail, showing what was printed, unless the exit code is 0.
    timeout_s
        Seconds after which the program is killed.

    Raises
    ------
    AssertionError
        With ``check``, when the exit code is not 0.
    subprocess.TimeoutExpired
        When it ran for longer than ``timeout_s``.
    """
    done = subprocess.run(
        [*_program(), *map(str, args)],
        env=_environment(env),
        cwd=cwd,
        stdin=subprocess.DEVNULL,
        capture_output=True,
        encoding="utf-8",
        timeout=timeout_s,
        check=False,
    )
    if check and done.returncode != 0:
        shown = " ".join(map(str, args))
        raise AssertionError(f"humproof {shown}: exit code {done.returncode}\n{done.stdout}\n{done.stderr}")
    return done


def call_humproof(
    *args: str | Path,
    env: Mapping[str, str] | None = None,
    cwd: Path | None = None,
    check: bool = False,
) -> subprocess.CompletedProcess[str]:
    """As `run_humproof`, but within this process: a second less for each, for all that needs no process of its own."""
    from cli import main

    out, err = io.StringIO(), io.StringIO()
    before, stands = dict(os.environ), Path.cwd()
    os.environ.update(env or {})
    os.chdir(cwd or stands)
    try:
        with redirect_stdout(out), redirect_stderr(err):
            code = main(list(map(str, args)))
    finally:
        os.chdir(stands)
        os.environ.clear()
        os.environ.update(before)
    done = subprocess.CompletedProcess(list(map(str, args)), code, out.getvalue(), err.getvalue())
    if check and code != 0:
        raise AssertionError(f"humproof {done.args}: exit code {code}\n{done.stdout}\n{done.stderr}")
    return done


class _Started(subprocess.Popen[str]):
    """A program that a test's failure takes with it: otherwise the test would wait for it for ever."""

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if kind is not None:
            self.kill()
        super().__exit__(kind, error, trace)


def start_humproof(
    *args: str | Path, env: Mapping[str, str] | None = None, cwd: Path | None = None
) -> subprocess.Popen[str]:
    """Start ``humproof`` and return the running process, its stdout and stderr piped.

    Use it as a context manager after a kill or a signal, or call ``communicate``, so that no pipe stays open.
    """
    return _Started(
        [*_program(), *map(str, args)],
        env=_environment(env),
        cwd=cwd,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        encoding="utf-8",
    )


def _program() -> list[str]:
    """The console script beside this Python, else the function that it calls."""
    script = Path(sys.executable).with_name("humproof.exe" if os.name == "nt" else "humproof")
    return [str(script)] if script.exists() else [sys.executable, "-P", "-c", _ENTRY]


def _environment(changes: Mapping[str, str] | None) -> dict[str, str]:
    """This process's environment with the repository importable from any folder, and UTF-8 output."""
    environment = {**os.environ, "PYTHONUTF8": "1", **(changes or {})}
    paths = [str(ROOT), environment.get("PYTHONPATH", "")]
    environment["PYTHONPATH"] = os.pathsep.join(filter(None, paths))
    return environment
