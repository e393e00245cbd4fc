"""One capture: arm, trigger, wait for its end, fetch every channel."""

from __future__ import annotations

import time
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from capture._oscilloscope._driver import Completion, Driver, filled
from capture._oscilloscope._faults import BadAnswerError, LateError, quoted
from capture._oscilloscope._samples import from_block, from_text, sample_bytes
from capture._oscilloscope._setup import Setup
from capture._oscilloscope._talk import Talk
from capture._oscilloscope._wishes import written


@dataclass(frozen=True, slots=True)
class Capture:
    """Counts of shape (points, channels), and when the first of them was taken by the computer's monotonic clock."""

    counts: npt.NDArray[Any]
    #: s, the middle of the time in which it can have been
    began_s: float
    #: s, half of that time
    uncertain_s: float


def take_capture(talk: Talk, driver: Driver, setup: Setup, timeout_s: float) -> Capture:
    """Take one; raises `BadAnswerError` when it cannot be used."""
    armed = time.monotonic()
    for command in (*driver.commands.arm, *driver.commands.trigger):
        talk.tell(filled(command, _values(setup)))
    _wait_for_end(talk, driver.completion, setup.duration_s + timeout_s)
    done = time.monotonic()
    _check(talk)
    columns = [_fetched(talk, driver, setup, index) for index in range(len(setup.channels))]
    _check(talk)
    # The trigger came after arming, and early enough for the capture to be over when the answer was there.
    latest = max(armed, done - setup.duration_s)
    return Capture(np.stack(columns, axis=1), (armed + latest) / 2, (latest - armed) / 2)


def _check(talk: Talk) -> None:
    said = talk.errors()
    if said:
        raise BadAnswerError(f"the instrument says {'; '.join(said)}")


def _wait_for_end(talk: Talk, completion: Completion, timeout_s: float) -> None:
    deadline = time.monotonic() + timeout_s
    if completion.way == "answer":
        answer = talk.ask(completion.query, timeout_s)
        if completion.query.upper() == "*OPC?" and answer.lstrip("+") != "1":
            raise BadAnswerError(f"'*OPC?' is answered by 1 (IEEE 488.2), not by {quoted(answer.encode('latin-1'))}")
        return
    while not _is_over(talk.ask(completion.query), completion):
        if time.monotonic() > deadline:
            raise LateError(
                f"'{completion.query}': the capture was not over within {timeout_s:g} s: does the trigger come? "
                "raise timeout_s when it needs longer"
            )
        time.sleep(completion.every_s)


def _is_over(answer: str, completion: Completion) -> bool:
    if completion.mask is None:
        return answer == completion.text
    try:
        return bool(int(float(answer)) & completion.mask)
    except (ValueError, OverflowError):
        shown = quoted(answer.encode("latin-1"))
        raise BadAnswerError(f"'{completion.query}' is answered by a number, not by {shown}") from None


def _values(setup: Setup) -> dict[str, object]:
    rate = setup.rate_hz
    return {"points": str(setup.points)} | written({"rate": rate, "interval": 1 / rate, "duration": setup.duration_s})


def _fetched(talk: Talk, driver: Driver, setup: Setup, index: int) -> npt.NDArray[Any]:
    query = filled(driver.commands.fetch, _values(setup) | {"channel": str(index + 1)})
    sample = driver.data.sample
    try:
        if sample == "ascii":
            samples = from_text(talk.ask(query))
        else:
            block = talk.ask_block(query, setup.points * sample_bytes(sample))
            samples = from_block(block, sample, driver.data.byte_order)
        if len(samples) != setup.points:
            raise BadAnswerError(f"{len(samples)} samples came where {setup.points} were due")
    except BadAnswerError as error:
        raise type(error)(f"channel {index + 1}: {error}") from error
    return samples
