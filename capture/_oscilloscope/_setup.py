"""What an instrument made of its set-up, read back from it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from capture._errors import SourceError
from capture._model import RecordedChannel
from capture._oscilloscope._driver import Driver
from capture._oscilloscope._faults import BadAnswerError, quoted
from capture._oscilloscope._reading import Reading
from capture._oscilloscope._talk import Talk
from capture._oscilloscope._wishes import Wishes, at_input_or_none, values_of

Coupling = Literal["DC", "AC", "unknown"]


@dataclass(frozen=True, slots=True)
class Setup:
    """What an instrument does, by its own account where it tells."""

    identity: str
    rate_hz: float
    points: int
    channels: tuple[RecordedChannel, ...]
    #: for the recording, such as range and coupling
    settings: tuple[tuple[str, str], ...]
    warnings: tuple[str, ...]

    @property
    def duration_s(self) -> float:
        """One capture's length."""
        return self.points / self.rate_hz


def read_setup(talk: Talk, driver: Driver, wishes: Wishes) -> Setup:
    """What the instrument says it does."""
    identity = " ".join(talk.ask(driver.commands.identify).split())
    common = Reading(talk, values_of(driver, wishes, None))
    rate = _rate(common, driver, wishes)
    told = driver.read_back.points
    points = wishes.points if told is None else round(common.number(told, "the number of points"))
    if points < 1:
        raise BadAnswerError(f"it says that one capture has {points} points")
    read = [_channel(talk, driver, wishes, index) for index in range(len(wishes.probes))]
    warnings = _differences(wishes, rate, points) + [text for one in read for text in one.warnings]
    return Setup(
        identity=identity if identity.isprintable() else quoted(identity.encode("latin-1", "replace"), 200),
        rate_hz=rate,
        points=points,
        channels=tuple(one.channel for one in read),
        settings=_settings(driver, wishes, points, read),
        warnings=tuple(warnings),
    )


def _rate(reading: Reading, driver: Driver, wishes: Wishes) -> float:
    back = driver.read_back
    if back.rate is not None:
        rate = reading.number(back.rate, "the rate")
    elif back.interval is not None:
        interval = reading.number(back.interval, "the time between samples")
        rate = 1 / interval if interval > 0 else math.nan
    elif wishes.rate_hz is not None:
        return wishes.rate_hz
    else:
        raise SourceError("its rate cannot be read back: give --rate HZ")
    if not 0 < rate < math.inf:
        raise BadAnswerError(f"it says that it takes {rate:g} samples a second")
    # An interval is written with few digits: 2.0833333E-05 s is 48 kHz.
    asked = wishes.rate_hz
    return asked if asked is not None and math.isclose(rate, asked, rel_tol=1e-6) else rate


def _differences(wishes: Wishes, rate: float, points: int) -> list[str]:
    found = []
    if wishes.rate_hz is not None and not math.isclose(rate, wishes.rate_hz, rel_tol=1e-6):
        found.append(f"{wishes.rate_hz:g} samples a second were asked for; the instrument takes {rate:.7g}")
    if points != wishes.points:
        found.append(f"{wishes.points} points in one capture were asked for; the instrument takes {points}")
    return found


@dataclass(frozen=True, slots=True)
class _Read:
    channel: RecordedChannel
    range_v: float | None
    warnings: list[str]


def _channel(talk: Talk, driver: Driver, wishes: Wishes, index: int) -> _Read:
    values, probe = values_of(driver, wishes, index), wishes.probes[index]
    name = f"channel {index + 1}"
    # What the instrument does not know is done here: its volts are at its input, ours at the probe's tip.
    ours = 1.0 if driver.commands.probe else probe
    own_range = _own_range(Reading(talk, values), driver, wishes, index)
    reading = Reading(talk, values, own_range)
    _check_probe(reading, driver, name, probe if driver.commands.probe else 1.0)
    coupling, warnings = _coupling(reading, driver, wishes, name)
    tip_range = None if own_range is None else own_range * ours
    asked = wishes.ranges_v[index]
    if asked is not None and tip_range is not None and not math.isclose(asked, tip_range, rel_tol=1e-3):
        warnings.append(f"{name}: a range of {asked:g} V was asked for; the instrument has {tip_range:g} V")
    scaling = driver.scaling
    increment = reading.number(scaling.increment, f"{name}: the increment", scaling.query)
    reference = reading.number(scaling.reference, f"{name}: the reference", scaling.query)
    origin = reading.number(scaling.origin, f"{name}: the origin", scaling.query)
    if increment == 0:
        raise BadAnswerError(f"{name}: it says that one count is 0 V")
    channel = RecordedChannel(
        name=name,
        unit="V",
        scale=increment * ours,
        offset=(origin - reference * increment) * ours,
        coupling=coupling,
        limits_counts=_limits(driver, own_range, wishes.offsets_v[index]),
        step_counts=_step(driver),
    )
    return _Read(channel, tip_range, warnings)


def _own_range(reading: Reading, driver: Driver, wishes: Wishes, index: int) -> float | None:
    term = driver.read_back.range
    if term is None:
        return at_input_or_none(driver, wishes, index, wishes.ranges_v[index])
    return abs(reading.number(term, f"channel {index + 1}: the range"))


def _check_probe(reading: Reading, driver: Driver, name: str, expected: float) -> None:
    if driver.read_back.probe is None:
        return
    own = reading.number(driver.read_back.probe, f"{name}: the probe factor")
    if not math.isclose(own, expected, rel_tol=1e-6):
        raise SourceError(
            f"{name}: the instrument itself counts with a probe factor of {own:g}, not {expected:g}, so its volts "
            "would be wrong: set it on the instrument"
        )


def _coupling(reading: Reading, driver: Driver, wishes: Wishes, name: str) -> tuple[Coupling, list[str]]:
    query = driver.read_back.coupling
    if query is None:
        return (wishes.coupling if driver.commands.coupling else "unknown"), []
    answer = reading.text(query).upper()
    if answer == wishes.coupling:
        return wishes.coupling, []
    taken: Coupling = "DC" if answer == "DC" else "AC" if answer == "AC" else "unknown"
    shown = quoted(answer.encode("latin-1", "replace"))
    return taken, [f"{name}: {wishes.coupling} coupling was asked for; the instrument says {shown}"]


def _limits(driver: Driver, own_range: float | None, offset: float | None) -> tuple[float, float] | None:
    data = driver.data
    if data.lowest is not None and data.highest is not None:
        return data.lowest, data.highest
    # With an offset the window lies somewhere else, and which way is the instrument's own affair.
    if data.range_is_limit and own_range and not offset:
        return -own_range, own_range
    return None


def _step(driver: Driver) -> float:
    if driver.data.step is not None:
        return driver.data.step
    return 1.0 if "int" in driver.data.sample else 0.0


def _settings(driver: Driver, wishes: Wishes, points: int, read: list[_Read]) -> tuple[tuple[str, str], ...]:
    def listed(values: list[str]) -> str:
        return values[0] if len(set(values)) == 1 else ", ".join(values)

    return (
        ("driver", driver.name),
        ("range", listed(["unknown" if one.range_v is None else f"{one.range_v:g} V" for one in read])),
        ("offset", listed(["own" if volts is None else f"{volts:g} V" for volts in wishes.offsets_v])),
        ("coupling", listed([one.channel.coupling for one in read])),
        ("probe", listed([f"{probe:g}" for probe in wishes.probes])),
        ("points", str(points)),
    )
