"""A system seen from its ports: a network of resistances, in which sources stand with the resistance they have while
they deliver; what they do otherwise, and what the loads draw, are currents at the ports."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis.wiring._circuit import Circuit
from analysis.wiring._network import Network
from analysis.wiring._operating import settle, unloaded
from analysis.wiring._ports import Source
from analysis.wiring._system import Case, System

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class PortState:
    """Volts of the ports, and the elements' temperatures, °C."""

    ports: Floats
    celsius: Floats


@dataclass(frozen=True, slots=True)
class PortNetwork:
    """Ports in the order sources, amplifiers, other loads."""

    circuit: Circuit
    #: incidence of the ports, (points - 1, ports)
    columns: Floats

    @staticmethod
    def of(system: System, case: Case) -> PortNetwork:
        circuit = Circuit.of(system, case)
        pairs = [(one.positive, one.negative) for one in circuit.ports.owners]
        return PortNetwork(circuit, circuit.network.incidence(pairs))

    @property
    def system(self) -> System:
        return self.circuit.system

    @property
    def network(self) -> Network:
        return self.circuit.network

    @property
    def sources(self) -> tuple[Source, ...]:
        return self.circuit.ports.sources

    @property
    def emf(self) -> Floats:
        return self.circuit.ports.emf

    @property
    def source_ohm(self) -> Floats:
        return self.circuit.ports.source_ohm

    @property
    def power_w(self) -> Floats:
        """W of each load that draws constant power."""
        return self.circuit.ports.power_w

    def source_currents(self, volts: Floats) -> tuple[Floats, Floats]:
        """A that each source gives, and its conductance there."""
        return self.circuit.ports.source_currents(volts)

    def port_currents(self, volts: Floats, demand: float) -> tuple[Floats, Floats]:
        """A drawn at each port beyond the linear network, and the derivative by the port's volts (the last axis)."""
        count = len(self.sources)
        amps, conductance = self.source_currents(volts[..., :count])
        too_much = (self.emf - volts[..., :count]) / self.source_ohm - amps
        drawn, slope = self.circuit.ports.load_currents(volts[..., count:], demand)
        return (
            np.concatenate([too_much, drawn], axis=-1),
            np.concatenate([conductance - 1 / self.source_ohm, slope], axis=-1),
        )

    def spread(self, celsius: Floats, driven: Floats) -> Floats:
        """Volts of every point for currents `driven` (points - 1, n) into the linear network."""
        whole = np.zeros(self.columns.shape[1])
        whole[: len(self.sources)] = 1 / self.source_ohm
        factors = self.network.factorised(1 / self.network.resistances(celsius), self.columns, whole)
        return np.asarray(factors.solve(driven))

    def steady(self, demand: float) -> PortState | None:
        """The operating point; None where the supply collapses."""
        circuit = self.circuit
        volts = settle(circuit, demand, unloaded(circuit).volts)
        if volts is None:
            return None
        across = circuit.across(volts)
        drops = across[: circuit.first_source]
        amps = drops / circuit.heat.ohm(drops)
        ambient = np.full(len(drops), self.network.ambient_c)
        return PortState(
            across[circuit.first_source :],
            self.network.temperatures(amps) if circuit.case.self_heating else ambient,
        )
