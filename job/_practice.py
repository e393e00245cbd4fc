"""The practice ground: what every isolation step shows of simulated vehicles, and a likelihood table fitted on them.

A vehicle's pictures come from a network of wires, boxes and fields, never from a likelihood table; the answers of its
technician too. Fitted numbers are those of a simulation whose ranges were invented: no vehicle was measured.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from analysis import Answer, FinishedJob, LikelihoodTable, Observation, Said, draw_evidence, refit, strengths
from capture import FaultyVehicle, answers, picture, random_vehicle

Floats = npt.NDArray[np.float64]

#: what a simulated vehicle counts for beside a job of a real one: the expert then keeps a third of the say
SIMULATED_WEIGHT = 0.2
#: found on vehicles of other seeds (0 to 2000): with it the probabilities are those with which it is right
PRACTICE_TEMPER = 1.2
#: an ohmmeter reads a shell as open from here on
_OPEN_OHM = 1.0
#: a meter's own error, 1 sigma
_METER = 0.02
#: which of the vehicle's meter readings belongs to which item
_READINGS = {
    "between-grounds-over-limit": ("between-grounds-v",),
    "box-ground-drop": ("source-ground-drop-v", "processor-ground-drop-v"),
    "amplifier-ground-drop": ("amplifier-ground-drop-v",),
    "shield-current-over-limit": ("shield-current-a",),
}


def practice_observations(vehicle: FaultyVehicle, steps: Iterable[str], rng: np.random.Generator) -> list[Observation]:
    """One recording a step at the speaker terminals, the baseline first."""
    wanted = dict.fromkeys(("baseline", *steps))
    return [Observation(step, step, picture(vehicle, step, rng=rng), tap="speaker") for step in wanted]


def practice_answers(vehicle: FaultyVehicle, rng: np.random.Generator) -> list[Answer]:
    """What its technician says and reads off a meter."""
    said = answers(vehicle)
    readings = [
        Answer(item, "not done", max(float(said[name]) for name in names) * float(1 + _METER * rng.standard_normal()))
        for item, names in _READINGS.items()
    ]
    return [
        Answer("heard-without-amplifier", _yes(bool(said["heard-with-amplifier-unpowered"]))),
        Answer("intermittent", _yes(bool(said["changes-when-wiggled"]))),
        Answer("shell-open", _yes(_shell_open(said))),
        *readings,
    ]


def _shell_open(said: dict[str, bool | float]) -> bool:
    return any(
        said[f"{box}-shell-to-case-ohm"] > _OPEN_OHM and not said[f"{box}-output-isolated"]
        for box in ("source", "processor")
    )


def _yes(true: bool) -> Said:
    return "yes" if true else "no"


def practice_strengths(table: LikelihoodTable, vehicle: FaultyVehicle) -> Floats:
    """The strengths of all items with every step done, shape (items,); the vehicle's seed makes its scatter."""
    rng = np.random.default_rng([vehicle.seed, 0xD1A6])
    recorded = [item.step for item in table.items if item.kind not in ("answer", "reading", "shield coherence")]
    observations = practice_observations(vehicle, recorded, rng)
    return np.array(strengths(table.items, draw_evidence(table.items, observations, practice_answers(vehicle, rng))))


def practice_trials(table: LikelihoodTable, seeds: Sequence[int]) -> tuple[npt.NDArray[np.intp], Floats]:
    """Random vehicles with one fault: which it was, shape (seeds,), and their strengths, shape (seeds, items)."""
    vehicles = [random_vehicle(seed) for seed in seeds]
    truth = np.array([table.causes.index(vehicle.causes[0]) for vehicle in vehicles], dtype=np.intp)
    return truth, np.array([practice_strengths(table, vehicle) for vehicle in vehicles])


def fit_on_practice(table: LikelihoodTable, seeds: range, version: str) -> LikelihoodTable:
    """The table after simulated vehicles of these seeds; its priors are left, for they are those of real shops."""
    truth, strength = practice_trials(table, seeds)
    jobs = [FinishedJob(table.causes[cause], row) for cause, row in zip(truth, strength, strict=True)]
    note = (
        f"fitted on simulated vehicles, seeds {seeds.start} to {seeds.stop - 1}, {SIMULATED_WEIGHT:g} of a job each; "
        f"the numbers of table '{table.version}' are kept as {table.worth:g} pseudo-counts; no vehicle was measured"
    )
    fitted = refit(table, jobs, version, note, SIMULATED_WEIGHT)
    return replace(fitted, priors=table.priors, temper=PRACTICE_TEMPER)
