"""The simulated vehicle as a source: seeded, marked as simulated, kept at the pace of a real instrument."""

from __future__ import annotations

import dataclasses
import math
from collections import deque
from collections.abc import Mapping
from itertools import pairwise
from typing import Any, Protocol

import numpy as np
import numpy.typing as npt
from pydantic import Field

from analysis import WrongUseError, find_step, role_problem
from capture._errors import SourceError
from capture._kind import Asked, Settings, SourceKind
from capture._model import Block, Calibration, Ended, Gap, Item, Mark, RecordedChannel, SourceFacts
from capture._pace import Pace
from capture._simulated_system import (
    LIBRARY_VAN,
    SYSTEM_RANGES,
    OperatingPoint,
    SystemModel,
    cured,
    noise_seed,
    random_vehicle,
    rpm_before,
)
from capture._source import Source, SourceDescription
from capture._vehicle import LIBRARY_VAN_FOUND, LIBRARY_VAN_LEFT

Floats = npt.NDArray[np.float64]

#: full scale of the simulated 16-bit converter by role, V or A, and its own noise in V or A rms
RANGES = {
    "supply": (20.0, 0.5e-3),
    "supply-amp": (20.0, 0.5e-3),
    "drop-positive": (4.0, 0.1e-3),
    "drop-ground": (4.0, 0.1e-3),
    "current": (200.0, 10e-3),
    "signal": (0.05, 2e-6),
}
_VAN_ROLES = ("supply", "supply-amp", "signal")
_SYSTEM_ROLES = ("supply", "speaker", "signal", "ground-offset")
#: of the library van's network; its `current` would be that of a shield, not the supply's
_VAN_RANGES = {role: known for role, known in (SYSTEM_RANGES | RANGES).items() if role != "current"}
#: The counting channel holds the row number modulo this. It is the largest prime below 2^15, so that no whole number
#: of buffers goes missing unnoticed, whatever their size: a power of two would hide the loss of some.
COUNTER_MODULUS = 32749
_AC_COUPLED = ("signal", "speaker")
COUNTER = "counter"
SIMULATED_LOSS = "simulated loss"
_MOST_LOST = 1 << 18
_BLOCKS_A_SECOND = 20
#: the generator's own noise repeats in no recording and does not depend on the size of blocks
_NOISE_ROWS = 4096


class Model(Protocol):
    """What can be sampled: every role's value without noise, the noise of its own, and when test bursts begin."""

    @property
    def tone_hz(self) -> float: ...
    @property
    def burst_on_s(self) -> float: ...
    @property
    def burst_every_s(self) -> float: ...
    @property
    def first_burst_s(self) -> float: ...
    def noise_free(self, time_s: Floats, below_hz: float, bursts: bool) -> dict[str, Floats]: ...
    def own_noise(self, role: str, below_hz: float) -> float: ...


class SimulatedVehicleSource:
    """Delivers 16-bit samples of a `VehicleModel`, or of a whole `SystemModel`.

    Parameters
    ----------
    model, roles, rate_hz
        The vehicle, one channel for each role, samples a second.
    bursts
        True: test bursts play; False: silence plays.
    shorted
        True: every input is shorted at its clips, so that only the converter's own noise is left.
    seed
        The same seed gives the same samples.
    live
        False delivers as fast as the machine can, for making files.
    counter
        True adds a last channel that holds the row number modulo `COUNTER_MODULUS`: what is lost shows in it.
    ranges
        Full scale and own noise of the converter by role.
    about
        What the recording's source note says beside the seed.
    losses
        Rows that are counted on but not delivered: a `Gap` comes in their place. In order, none touching another.
    """

    def __init__(
        self,
        model: Model,
        roles: tuple[str, ...] = _VAN_ROLES,
        rate_hz: float = 48_000.0,
        *,
        bursts: bool = False,
        shorted: bool = False,
        seed: int = 1,
        live: bool = True,
        counter: bool = False,
        losses: tuple[Gap, ...] = (),
        ranges: Mapping[str, tuple[float, float]] = RANGES,
        about: str = "",
    ) -> None:
        self._model, self._roles, self._rate_hz = model, roles, rate_hz
        self._bursts, self._shorted, self._seed, self._live = bursts, shorted, seed, live
        self._counter, self._losses = counter, losses
        self._ranges, self._about = ranges, about
        self._row = 0
        self._running = False
        self._marks: list[float] = []

    def prepare(self) -> SourceDescription:
        """Check the roles and the rate."""
        for role in self._roles:
            problem = role_problem(role)
            if problem is None and role.partition("@")[0] not in self._ranges:
                problem = f"the simulated vehicle has no '{role}': it has {', '.join(self._ranges)}"
            if problem:
                raise SourceError(f"simulated-vehicle: {problem}")
        _check_losses(self._losses)
        if not 1000 <= self._rate_hz <= 768_000:
            raise SourceError(
                f"simulated-vehicle: {self._rate_hz:g} samples a second are not offered: 1000 to 768000 are"
            )
        return SourceDescription(
            facts=SourceFacts(kind="simulated-vehicle", name="simulated vehicle", note=self._note()),
            rate_hz=self._rate_hz,
            channels=tuple(_channel(role, self._ranges) for role in self._roles) + (_COUNTER_CHANNEL,) * self._counter,
            dtype=np.dtype("<i2"),
            simulated=True,
            live=self._live,
        )

    def _note(self) -> str:
        counted = [f"{COUNTER}: row number modulo {COUNTER_MODULUS}"] if self._counter else []
        lost = [f"{len(self._losses)} simulated losses"] if self._losses else []
        about = [self._about] if self._about else [f"seed {self._seed}"]
        return "; ".join([*about, *counted, *lost])

    def start(self) -> None:
        """Begin at time 0 of the model."""
        self._to_lose = deque(self._losses)
        self._row, self._running = 0, True
        self._next_burst = self._model.first_burst_s
        self._noise = _Noise(self._seed, len(self._roles))
        self._pace = Pace(self._rate_hz, self._live)

    def wait(self, timeout_s: float) -> Item | None:
        """The next twentieth of a second, behind it the mark of a burst that began in it."""
        if not self._running:
            return Ended()
        mark = self._due_mark()
        if mark:
            return mark
        loss = self._to_lose[0] if self._to_lose else None
        lost = loss is not None and loss.first <= self._row
        rows = self._rows_to(None if loss is None else loss.stop if lost else loss.first)
        if not self._pace.wait_for(self._row + rows, timeout_s):
            return None
        return self._lose(rows) if lost else self._deliver(rows)

    def _rows_to(self, edge: int | None) -> int:
        """Rows of the next item: a twentieth of a second, or fewer up to where a loss begins or ends."""
        rows = max(1, round(self._rate_hz / _BLOCKS_A_SECOND))
        return rows if edge is None else min(rows, edge - self._row)

    def _deliver(self, rows: int) -> Block:
        block = Block(self._row, self._counts(self._row, rows))
        self._row = block.stop
        return block

    def _lose(self, rows: int) -> Gap:
        loss = self._to_lose[0]
        gap = Gap(self._row, rows, loss.cause)
        self._noise.take(rows)  # the samples behind a loss are those that would have come without it
        self._row = gap.stop
        if self._row == loss.stop:
            self._to_lose.popleft()
        return gap

    def _due_mark(self) -> Mark | None:
        start = self._next_burst
        if not self._bursts or start * self._rate_hz >= self._row:
            return None
        self._next_burst += self._model.burst_every_s
        text = f"burst {self._model.tone_hz:g} Hz {self._model.burst_on_s:g} s"
        return Mark(round(start * self._rate_hz), text, round(self._model.burst_on_s * self._rate_hz))

    def _counts(self, first: int, rows: int) -> npt.NDArray[Any]:
        counts = np.empty((rows, len(self._roles) + self._counter), "<i2")
        places = np.arange(first, first + rows)
        # Worked out once for all channels: several may be of the same role, and all share the ripple.
        clean = {} if self._shorted else self._model.noise_free(places / self._rate_hz, self._half_hz, self._bursts)
        noise = self._noise.take(rows)
        for index, role in enumerate(self._roles):
            counts[:, index] = self._column(role.partition("@")[0], clean, noise[2 * index : 2 * index + 2])
        if self._counter:
            counts[:, -1] = places % COUNTER_MODULUS
        return counts

    def _column(self, kind: str, clean: dict[str, Floats], noise: Floats) -> Floats:
        """One channel's counts; `noise` has shape (2, rows): the converter's, and the amplifier input's."""
        full_scale, own_noise = self._ranges[kind]
        value = own_noise * noise[0]
        if clean:
            value += self._at_the_clip(kind, clean[kind], noise[1])
        value /= full_scale
        value *= 32768
        np.rint(value, out=value)
        clipped: Floats = value.clip(-32768, 32767, out=value)
        return clipped

    def _at_the_clip(self, kind: str, clean: Floats, white: Floats) -> Floats:
        """With the noise that is there before the converter."""
        own = self._model.own_noise(kind, self._half_hz)
        return clean + own * white if own else clean

    @property
    def _half_hz(self) -> float:
        return self._rate_hz / 2

    def stop(self) -> None:
        """Nothing is held open."""
        self._running = False


class _Noise:
    """Unit white noise in fixed portions, so that the size of blocks does not change it."""

    def __init__(self, seed: int, channels: int) -> None:
        self._generator = np.random.default_rng(seed)
        self._width = 2 * channels
        self._rest = np.empty((0, self._width))

    def take(self, rows: int) -> Floats:
        """The next `rows` of every channel's two noises, shape (2 * channels, rows), each in one piece of memory."""
        parts = [self._rest]
        have = len(self._rest)
        while have < rows:
            parts.append(self._generator.standard_normal((_NOISE_ROWS, self._width)))
            have += _NOISE_ROWS
        pool = np.concatenate(parts)
        self._rest = pool[rows:]
        return np.ascontiguousarray(pool[:rows].T)


def simulated_losses(count: int, rows: int, seed: int) -> tuple[Gap, ...]:
    """`count` losses of random lengths at random places in the first `rows`, none touching another.

    Each lies in its own share of the rows; lengths go from 1 to half a share, all orders of magnitude alike.
    Raises `WrongUseError` when there are more losses than the rows have room for.
    """
    share = rows // max(count, 1)
    if count and share < 4:
        raise WrongUseError(f"{count} losses have no room in {rows} rows: ask for fewer, or spread them over more")
    # Another stream than the noise, which must not change when rows are lost.
    generator = np.random.default_rng([seed, count, rows])
    longest = math.log(min(share // 2, _MOST_LOST))
    lengths = [round(math.exp(generator.uniform(0, longest))) for _ in range(count)]
    return tuple(
        Gap(index * share + int(generator.integers(1, share - length)), length, SIMULATED_LOSS)
        for index, length in enumerate(lengths)
    )


def _check_losses(losses: tuple[Gap, ...]) -> None:
    wrong = [loss for loss in losses if loss.first < 0 or loss.length < 1]
    wrong += [after for before, after in pairwise(losses) if after.first <= before.stop]
    if wrong:
        raise SourceError(
            f"simulated-vehicle: the loss of {wrong[0].length} rows at row {wrong[0].first} is none, "
            "is out of order, or touches the one before"
        )


_COUNTER_CHANNEL = RecordedChannel(name=COUNTER, scale=1 / 32768, step_counts=1)


def _channel(role: str, ranges: Mapping[str, tuple[float, float]]) -> RecordedChannel:
    kind = role.partition("@")[0]
    return RecordedChannel(
        name=role,
        role=role,
        unit="A" if kind == "current" else "V",
        scale=ranges[kind][0] / 32768,
        coupling="AC" if kind in _AC_COUPLED else "DC",
        limits_counts=(-32768, 32767),
        step_counts=1,
        calibration=Calibration(
            date="invented",
            method="simulated converter: exact by construction, uncertainty invented",
            scale_uncertainty=0.005,
            offset_uncertainty=0.0 if kind in _AC_COUPLED else ranges[kind][0] * 1e-4,
        ),
    )


class _SimulatedSettings(Settings):
    seed: int = Field(1, ge=0, description="the same seed gives the same samples")
    counter: bool = Field(False, description=f"yes adds a channel of row numbers modulo {COUNTER_MODULUS}")
    faults: int = Field(0, ge=0, description="how many losses to simulate")
    faults_span_s: float = Field(600.0, gt=0, le=1e6, description="the seconds they are spread over")
    live: bool = Field(True, description="no delivers as fast as the machine can")
    fault: str = Field("", description="random, none or a cause: a whole sound system of that seed, to find it in")
    step: str = Field("", description="the isolation step of that system, where --step does not say it")
    take: int = Field(1, ge=1, description="another take of the same differs as two runs of a vehicle do")


def _make(target: str, asked: Asked, settings: _SimulatedSettings) -> Source:
    """The library van in the asked state, its engine at the asked speed; or another vehicle with a fault."""
    if settings.fault:
        return _system_source(asked, settings)
    if settings.step:
        raise WrongUseError("--setting step=...: only a vehicle with a fault has isolation steps: add fault=random")
    step = _van_step(asked, settings)
    if step:
        return _van_under(step, asked, settings)
    facts = asked.conditions
    model = LIBRARY_VAN_LEFT if asked.state == "as left" else LIBRARY_VAN_FOUND
    if facts.engine_rpm is not None:
        model = dataclasses.replace(model, engine_rpm=facts.engine_rpm)
    return _source_of(model, asked, settings, _VAN_ROLES, RANGES, settings.seed)


def _van_step(asked: Asked, settings: _SimulatedSettings) -> str:
    """The isolation step, or the second take, that only the van's network can show; empty where there is none."""
    known = find_step(asked.step)
    if known is None or asked.state == "instrument floor" or _bursts_asked(asked):
        return ""
    return known.slug if settings.take > 1 or known.slug not in ("baseline", "after-fix") else ""


def _van_under(step: str, asked: Asked, settings: _SimulatedSettings) -> Source:
    """The library van as a network: it knows isolation steps, and that no two runs are alike."""
    van = cured(LIBRARY_VAN) if asked.state == "as left" else LIBRARY_VAN
    model = SystemModel(van, step, _point_held(van.point, asked, step), settings.take)
    about = f"library van, seed {settings.seed}, take {settings.take}"
    return _source_of(model, asked, settings, _VAN_ROLES, _VAN_RANGES, settings.seed, about)


def _system_source(asked: Asked, settings: _SimulatedSettings) -> Source:
    """A vehicle of that seed and fault under the asked isolation step; after the work it is without the fault.

    The note does not tell which fault was drawn: that is to be found.
    """
    floor = asked.state == "instrument floor"
    step = "baseline" if floor else settings.step or asked.step
    vehicle = random_vehicle(settings.seed, settings.fault)
    vehicle = cured(vehicle) if asked.state == "as left" else vehicle
    model = SystemModel(vehicle, step, _point_held(vehicle.point, asked, step), settings.take)
    about = f"vehicle of seed {settings.seed}, fault {settings.fault}, take {settings.take}"
    seed = noise_seed(settings.seed, step, settings.take)
    return _source_of(model, asked, settings, _SYSTEM_ROLES, SYSTEM_RANGES, seed, about)


def _source_of(
    model: Model,
    asked: Asked,
    settings: _SimulatedSettings,
    roles: tuple[str, ...],
    ranges: Mapping[str, tuple[float, float]],
    seed: int,
    about: str = "",
) -> Source:
    """The model as a source; `roles` where none were asked for."""
    rate_hz = asked.rate_hz or 48_000.0
    return SimulatedVehicleSource(
        model,
        asked.roles or roles,
        rate_hz,
        bursts=_bursts_asked(asked),
        shorted=asked.state == "instrument floor",
        seed=seed,
        live=settings.live,
        counter=settings.counter,
        losses=simulated_losses(settings.faults, round(settings.faults_span_s * rate_hz), settings.seed),
        ranges=ranges,
        about=about,
    )


def _bursts_asked(asked: Asked) -> bool:
    return "burst" in (asked.conditions.test_signal or "").lower()


def _point_held(usual: OperatingPoint, asked: Asked, step: str) -> OperatingPoint:
    """The operating point that the conditions describe; what they leave open is as usual.

    An engine speed that was typed is the one held during this recording: the step "second engine speed" then adds
    nothing to it.
    """
    facts = asked.conditions
    loads = None if facts.loads is None else " ".join(facts.loads).lower()
    point = usual if loads is None else dataclasses.replace(usual, lamps="lamp" in loads, blower="blower" in loads)
    return point if facts.engine_rpm is None else dataclasses.replace(point, rpm=rpm_before(step, facts.engine_rpm))


SIMULATED_VEHICLE = SourceKind(
    "simulated-vehicle",
    "the library van of the sample job, simulated",
    _make,
    settings=_SimulatedSettings,
    simulated=True,
)
