"""A system as one list of branches, each a law of its own volts: elements, sources, amplifiers, other loads.

Every law is a current that depends on the branch's volts alone, so the currents into the points are the gradient of a
potential, and their Jacobian is symmetric: a conductance matrix. Where it is positive definite the supply works.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis.wiring._conductance import Pattern
from analysis.wiring._network import HOTTEST_C, Network, compile_network
from analysis.wiring._ports import Ports
from analysis.wiring._system import Case, System

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Circuit:
    """Branches of a system in a case. Volts are those of all points, the reference last and 0."""

    system: System
    case: Case
    network: Network
    ports: Ports
    #: between which points each branch lies, (branches,)
    starts: Ints
    ends: Ints
    heat: Heat
    pattern: Pattern

    @staticmethod
    def of(system: System, case: Case) -> Circuit:
        network, ports = compile_network(system), Ports.of(system, case)
        plus = np.array([network.index[one.positive] for one in ports.owners])
        minus = np.array([network.index[one.negative] for one in ports.owners])
        last = len(network.points)
        starts = (np.concatenate([network.starts, plus]) - network.reference - 1) % last
        ends = (np.concatenate([network.ends, minus]) - network.reference - 1) % last
        heat = Heat.of(network, heating=case.self_heating)
        return Circuit(system, case, network, ports, starts, ends, heat, Pattern.of(starts, ends, last - 1))

    @property
    def first_source(self) -> int:
        return len(self.heat.cold)

    @property
    def first_load(self) -> int:
        return len(self.heat.cold) + len(self.ports.sources)

    def across(self, volts: Floats) -> Floats:
        """Volts of every branch, (branches,)."""
        return np.asarray(volts[self.starts] - volts[self.ends])

    def into(self, amps: Floats) -> Floats:
        """A that the branches together take from every point but the reference, (points - 1,)."""
        count = len(self.network.points)
        taken = np.bincount(self.starts, amps, count) - np.bincount(self.ends, amps, count)
        return np.asarray(taken[:-1])

    def incidence(self, branch: int) -> Floats:
        """+1 at the point where a branch begins, -1 where it ends, (points - 1,)."""
        whole = np.zeros(len(self.network.points))
        whole[self.starts[branch]], whole[self.ends[branch]] = 1.0, -1.0
        return whole[:-1]

    def law(self, across: Floats, demand: float) -> tuple[Floats, Floats]:
        """A through every branch, and the slope of it, S."""
        source, load = self.first_source, self.first_load
        amps, slope = np.empty(len(across)), np.empty(len(across))
        amps[:source], slope[:source] = self.heat.currents(across[:source])
        given, slope[source:load] = self.ports.source_currents(across[source:load])
        amps[source:load] = -given
        amps[load:], slope[load:] = self.ports.load_currents(across[load:], demand)
        return amps, slope

    def growth(self, across: Floats) -> Floats:
        """A per unit of demand into every point but the reference, (points - 1,)."""
        amps = np.zeros(len(across))
        amps[self.first_load :] = self.ports.growth(across[self.first_load :])
        return self.into(amps)

    def delivered(self, across: Floats, demand: float) -> float:
        """W that all amplifiers together draw."""
        volts = across[self.first_load :]
        return float(demand * (self.ports.power_w + self.ports.siemens * volts**2).sum())


@dataclass(frozen=True, slots=True)
class Heat:
    """Elements as resistors that their own current warms.

    In steady state T - Ta = theta I² R and R = R20 (1 + alpha (T - 20)), so R = cold / (1 - k I²) with
    k = R20 alpha theta; with I = U / R a quadratic equation for I, whose root grows with U whatever U: however a cable
    runs away under a given current, under given volts it has one steady state.
    """

    #: ohm in air's temperature, and at `HOTTEST_C`
    cold: Floats
    hottest: Floats
    #: k, 1/A²
    runaway: Floats
    #: V that make a cable `HOTTEST_C` hot; infinite for what does not warm
    hottest_v: Floats

    @staticmethod
    def of(network: Network, *, heating: bool) -> Heat:
        every = np.ones(len(network.ohm))
        cold = network.resistances(every * network.ambient_c)
        hottest = np.maximum(network.resistances(every * HOTTEST_C), cold)
        runaway = network.ohm * network.alpha * network.heating if heating else 0 * every
        squared = np.full(len(cold), np.inf)
        np.divide(hottest * (hottest - cold), runaway, out=squared, where=runaway > 0)
        return Heat(cold, hottest, runaway, np.sqrt(squared))

    def currents(self, volts: Floats) -> tuple[Floats, Floats]:
        """A, and dI/dU in S, of every element; both grow no less than at `HOTTEST_C`."""
        root = np.sqrt(self.cold**2 + 4 * self.runaway * volts**2)
        half = (self.cold + root) / 2
        ohm = np.minimum(half, self.hottest)
        return volts / ohm, np.where(half > self.hottest, 1 / self.hottest, self.cold / (half * root))

    def ohm(self, volts: Floats) -> Floats:
        """Resistance under volts."""
        return np.minimum((self.cold + np.sqrt(self.cold**2 + 4 * self.runaway * volts**2)) / 2, self.hottest)
