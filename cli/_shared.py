"""What several commands do the same way."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

import typer

from cli._hints import with_option

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from capture import Conditions, SourceDescription
    from job import State

_STATES: dict[str, State] = {
    "as-found": "as found",
    "as-left": "as left",
    "instrument-floor": "instrument floor",
}


def print_json(value: dict[str, Any]) -> None:
    """One JSON object on stdout."""
    print(json.dumps(value, ensure_ascii=False, indent=2, allow_nan=False))


def say(text: str) -> None:
    """A remark for the person at the keyboard, on stderr, so that stdout stays what was asked for."""
    print(text, file=sys.stderr)


@contextmanager
def progress_bar(title: str) -> Iterator[Callable[[float], None]]:
    """A bar on stderr while something takes longer; silent when stderr is no terminal."""
    if not sys.stderr.isatty():
        yield lambda fraction: None
        return
    from rich.console import Console
    from rich.progress import Progress

    with Progress(console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task(title, total=1.0)
        yield lambda fraction: bar.update(task, completed=fraction)


def state_named(text: str) -> State:
    """A state as typed; raises `WrongUseError`."""
    from analysis import WrongUseError

    state = _STATES.get(text.strip().lower().replace(" ", "-"))
    if state is None:
        raise WrongUseError(f"--state {text}: use one of {', '.join(_STATES)}")
    return state


def pairs_typed(option: str, texts: list[str], example: str) -> dict[str, str]:
    """`NAME=VALUE` as typed, several times; raises `WrongUseError`."""
    from analysis import WrongUseError

    pairs = [text.partition("=") for text in texts]
    for (name, equals, _), text in zip(pairs, texts, strict=True):
        if not equals or not name.strip():
            raise WrongUseError(f"{option} {text}: write it as name=value, for example {option} {example}")
    return {name.strip(): value.strip() for name, _, value in pairs}


def show_before_recording(
    devices: Sequence[SourceDescription], facts: Conditions, duration_s: float | None, *, quiet: bool
) -> None:
    """Cautions and advice before anybody stands at a running engine; where something can be damaged, ask first."""
    from job import CAUTIONS, advice_before_recording

    if quiet:
        return
    advice = advice_before_recording(devices, facts, duration_s)
    warnings = [warning for device in devices for warning in device.warnings]
    for heading, texts in (
        ("Before you record:", CAUTIONS),
        ("For this recording:", [*(one.text for one in advice), *warnings]),
    ):
        if texts:
            say(heading)
        for text in texts:
            say(f"  - {with_option(text)}")
    if any(one.danger for one in advice) and sys.stdin.isatty():
        typer.confirm("Is it safe to go on?", abort=True, err=True)
