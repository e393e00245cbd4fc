"""The simulated vehicle as a source: seeded, marked as simulated, kept at the pace of a real instrument."""

from __future__ import annotations

import dataclasses
from typing import Any

import numpy as np
import numpy.typing as npt
from pydantic import Field

from analysis import role_problem
from capture._errors import SourceError
from capture._kind import Asked, Settings, SourceKind
from capture._model import Block, Calibration, Ended, Item, Mark, RecordedChannel, SourceFacts
from capture._pace import Pace
from capture._source import Source, SourceDescription
from capture._vehicle import LIBRARY_VAN_FOUND, LIBRARY_VAN_LEFT, VehicleModel

#: full scale of the simulated 16-bit converter by role, V or A, and its own noise in V or A rms
RANGES = {
    "supply": (20.0, 0.5e-3),
    "supply-amp": (20.0, 0.5e-3),
    "drop-positive": (4.0, 0.1e-3),
    "drop-ground": (4.0, 0.1e-3),
    "current": (200.0, 10e-3),
    "signal": (0.05, 2e-6),
}
_BLOCKS_A_SECOND = 20
#: the generator's own noise repeats in no recording and does not depend on the size of blocks
_NOISE_ROWS = 4096


class SimulatedVehicleSource:
    """Delivers 16-bit samples of a `VehicleModel`.

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
    """

    def __init__(
        self,
        model: VehicleModel,
        roles: tuple[str, ...] = ("supply", "supply-amp", "signal"),
        rate_hz: float = 48_000.0,
        *,
        bursts: bool = False,
        shorted: bool = False,
        seed: int = 1,
        live: bool = True,
    ) -> None:
        self._model, self._roles, self._rate_hz = model, roles, rate_hz
        self._bursts, self._shorted, self._seed, self._live = bursts, shorted, seed, live
        self._row = 0
        self._running = False
        self._marks: list[float] = []

    def prepare(self) -> SourceDescription:
        """Check the roles and the rate."""
        for role in self._roles:
            problem = role_problem(role)
            if problem is None and role.partition("@")[0] not in RANGES:
                problem = f"the simulated vehicle has no '{role}': it has {', '.join(RANGES)}"
            if problem:
                raise SourceError(f"simulated-vehicle: {problem}")
        if not 1000 <= self._rate_hz <= 768_000:
            raise SourceError(
                f"simulated-vehicle: {self._rate_hz:g} samples a second are not offered: 1000 to 768000 are"
            )
        return SourceDescription(
            facts=SourceFacts(kind="simulated-vehicle", name="simulated vehicle", note=f"seed {self._seed}"),
            rate_hz=self._rate_hz,
            channels=tuple(_channel(role) for role in self._roles),
            dtype=np.dtype("<i2"),
            simulated=True,
            live=self._live,
        )

    def start(self) -> None:
        """Begin at time 0 of the model."""
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
        rows = max(1, round(self._rate_hz / _BLOCKS_A_SECOND))
        if not self._pace.wait_for(self._row + rows, timeout_s):
            return None
        block = Block(self._row, self._counts(self._row, rows))
        self._row += rows
        return block

    def _due_mark(self) -> Mark | None:
        start = self._next_burst
        if not self._bursts or start * self._rate_hz >= self._row:
            return None
        self._next_burst += self._model.burst_every_s
        text = f"burst {self._model.tone_hz:g} Hz {self._model.burst_on_s:g} s"
        return Mark(round(start * self._rate_hz), text, round(self._model.burst_on_s * self._rate_hz))

    def _counts(self, first: int, rows: int) -> npt.NDArray[Any]:
        time_s = np.arange(first, first + rows) / self._rate_hz
        noise = self._noise.take(rows)
        columns = [self._column(role, time_s, noise[:, 2 * i : 2 * i + 2]) for i, role in enumerate(self._roles)]
        return np.stack(columns, axis=1)

    def _column(self, role: str, time_s: npt.NDArray[np.float64], noise: npt.NDArray[np.float64]) -> npt.NDArray[Any]:
        kind = role.partition("@")[0]
        full_scale, own_noise = RANGES[kind]
        value = own_noise * noise[:, 0]
        if not self._shorted:
            value = value + self._clean(kind, time_s, noise[:, 1])
        return np.clip(np.rint(value / full_scale * 32768), -32768, 32767).astype("<i2")

    def _clean(
        self, kind: str, time_s: npt.NDArray[np.float64], white: npt.NDArray[np.float64]
    ) -> npt.NDArray[np.float64]:
        half = self._rate_hz / 2
        if kind == "signal":
            return self._model.signal(time_s, half, white)
        return self._model.supply(time_s, half, self._bursts)[kind]

    def stop(self) -> None:
        """Nothing is held open."""
        self._running = False


class _Noise:
    """Unit white noise in fixed portions, so that the size of blocks does not change it."""

    def __init__(self, seed: int, channels: int) -> None:
        self._generator = np.random.default_rng(seed)
        self._width = 2 * channels
        self._rest = np.empty((0, self._width))

    def take(self, rows: int) -> npt.NDArray[np.float64]:
        parts = [self._rest]
        have = len(self._rest)
        while have < rows:
            parts.append(self._generator.standard_normal((_NOISE_ROWS, self._width)))
            have += _NOISE_ROWS
        pool = np.concatenate(parts)
        self._rest = pool[rows:]
        return pool[:rows]


def _channel(role: str) -> RecordedChannel:
    kind = role.partition("@")[0]
    return RecordedChannel(
        name=role,
        role=role,
        unit="A" if kind == "current" else "V",
        scale=RANGES[kind][0] / 32768,
        coupling="AC" if kind == "signal" else "DC",
        limits_counts=(-32768, 32767),
        step_counts=1,
        calibration=Calibration(
            date="invented",
            method="simulated converter: exact by construction, uncertainty invented",
            scale_uncertainty=0.005,
            offset_uncertainty=0.0 if kind == "signal" else RANGES[kind][0] * 1e-4,
        ),
    )


class _SimulatedSettings(Settings):
    seed: int = Field(1, ge=0, description="the same seed gives the same samples")


def _make(target: str, asked: Asked, settings: _SimulatedSettings) -> Source:
    """The library van in the asked state, its engine at the asked speed."""
    facts = asked.conditions
    model = LIBRARY_VAN_LEFT if asked.state == "as left" else LIBRARY_VAN_FOUND
    if facts.engine_rpm is not None:
        model = dataclasses.replace(model, engine_rpm=facts.engine_rpm)
    return SimulatedVehicleSource(
        model,
        asked.roles or ("supply", "supply-amp", "signal"),
        asked.rate_hz or 48_000.0,
        bursts="burst" in (facts.test_signal or "").lower(),
        shorted=asked.state == "instrument floor",
        seed=settings.seed,
    )


SIMULATED_VEHICLE = SourceKind(
    "simulated-vehicle",
    "the library van of the sample job, simulated",
    _make,
    settings=_SimulatedSettings,
    simulated=True,
)
