"""What several commands do the same way."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Callable

    from capture import Conditions
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


def conditions(
    rpm: float | None,
    load: list[str],
    volume: str | None,
    gains: str | None,
    test_signal: str | None,
    battery: str | None,
    laptop_supply: str | None,
    temperature: float | None,
    full_level: float | None,
    note: str | None,
) -> Conditions:
    """The conditions as typed; what was not typed is not known."""
    from capture import Conditions

    loads = tuple(text for text in load if text.strip().lower() != "none") if load else None
    return Conditions(
        engine_rpm=rpm,
        loads=loads,
        volume=volume,
        gains=gains,
        test_signal=test_signal,
        battery=battery,
        laptop_supply=laptop_supply,
        temperature_c=temperature,
        full_level_v=full_level,
        note=note,
    )


def show_cautions() -> None:
    """The usual cautions, before anybody stands at a running engine."""
    from job import CAUTIONS

    say("Before you record:")
    for caution in CAUTIONS:
        say(f"  - {caution}")
