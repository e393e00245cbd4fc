"""A system in which one element has more resistance than described: its volts, and how they move with all else.

The network without ports' currents is a matrix of transfer resistances, M = D' G^-1 D over ports and elements. An
excess x in element e, of resistance r, changes it by a matrix of rank one (Sherman and Morrison):
M + f m m', m the element's column and f = x / (r² + x (r - m_e)). So the operating point of every element's every
excess needs only the few equations of the ports, u = Z j(u), which Newton's method solves for all at once. The
network reduced by its loads' own slopes (adjoint network, Tellegen) then gives every volt's derivative by every
resistance, emf and demand.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from analysis._errors import AnalysisError
from analysis.wiring._many_points import operating_points, reduction
from analysis.wiring._port_network import PortNetwork
from analysis.wiring._system import Battery, Case, System

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

#: states worked on at once hold about so many numbers
_BATCH = 4_000_000


@dataclass(frozen=True, slots=True)
class Unknowns:
    """How far a real system may differ from its description besides its elements' tolerances; k = 2."""

    #: V of a battery at rest: state of charge and temperature are not known well
    open_volts: float = 0.3
    #: V that an alternator holds, which follows a short burst late; relative, of its droop and of its most amperes
    alternator_volts: float = 1.0
    droop: float = 1.0
    alternator_amps: float = 0.3
    #: relative, of what an amplifier draws: its efficiency and the burst's level
    demand: float = 0.1
    #: relative, of what draws besides
    other_loads: float = 0.3


@dataclass(frozen=True, slots=True)
class Rows:
    """What is read, as columns: volts between two points, perhaps turned into a current; shapes (m, ...)."""

    #: transfer resistances to every port and element, (m, ports + elements)
    transfer: Floats
    #: element or port (after the elements) whose current a row is; -1 for volts
    current_of: Ints


@dataclass(frozen=True, slots=True)
class FaultModel:
    """A system under a case, with its unknowns; elements in the order of `System.elements`."""

    system: System
    problem: PortNetwork
    #: ohm at the temperatures of the case, (elements,)
    ohm: Floats
    #: volts of every point per ampere into a port or an element, (points - 1, ports + elements)
    spread: Floats
    #: transfer resistances M, (ports + elements, ports + elements)
    transfer: Floats
    #: volts of the ports without a fault, (ports,)
    ports: Floats
    #: variance of every unknown: elements' ohm, sources' emf, sources' ohm, sources' most amperes, loads' demand
    variance: Floats

    @property
    def port_count(self) -> int:
        return len(self.ports)

    def rows(self, pairs: list[tuple[str, str]], currents: list[str]) -> Rows:
        """Volts between pairs of points, then currents of named elements, amplifiers or sources."""
        names, ports, elements = self._current_names(), self.port_count, len(self.ohm)
        index = self.problem.network.index
        for point in (point for pair in pairs for point in pair):
            if point not in index:
                raise AnalysisError(f"'{point}' is no point of wiring '{self.system.name}': take one of its points")
        for name in currents:
            if name not in names:
                raise AnalysisError(f"'{name}' is no element, amplifier or battery of wiring '{self.system.name}'")
        volts = self.problem.network.incidence(pairs).T @ self.spread if pairs else np.zeros((0, ports + elements))
        numbers = np.array([names[name] for name in currents], dtype=np.int64)
        columns = np.where(numbers < elements, ports + numbers, numbers - elements)
        return Rows(
            np.concatenate([volts, self.transfer[columns]]),
            np.concatenate([np.full(len(pairs), -1, dtype=np.int64), numbers]),
        )

    def _current_names(self) -> dict[str, int]:
        problem = self.problem
        owners = (*self.system.elements, *problem.sources, *self.system.amplifiers, *self.system.other_loads)
        return {owner.name: number for number, owner in enumerate(owners)}

    def states(self, element: Ints, excess: Floats) -> States:
        """The operating points with `excess` ohm in elements of those numbers; both (states,)."""
        ohm = self.ohm[element]
        own = self.transfer[self.port_count + element]
        itself = own[np.arange(len(element)), self.port_count + element]
        factor = excess / (ohm**2 + excess * (ohm - itself))
        z = self.transfer[: self.port_count, : self.port_count] + np.einsum(
            "b,bi,bj->bij", factor, own[:, : self.port_count], own[:, : self.port_count]
        )
        volts, works = operating_points(self.problem, z, self.ports)
        drawn, slope = self.problem.port_currents(volts, 1.0)
        injected = -drawn
        count = len(self.problem.sources)
        injected[:, :count] += self.problem.emf / self.problem.source_ohm
        return States(self, element, excess, factor, own, volts, injected, slope, reduction(z, slope), works)


@dataclass(frozen=True, slots=True)
class States:
    """Operating points, one per fault; B states, K ports, E elements."""

    model: FaultModel
    element: Ints
    excess: Floats
    factor: Floats
    #: the faulty element's transfer resistances, (B, K + E)
    own: Floats
    #: volts at the ports, and amperes put in beyond the linear network, (B, K)
    volts: Floats
    injected: Floats
    slope: Floats
    #: what the loads' slopes take off the transfer matrix, (B, K, K)
    reduction: Floats
    #: False where the supply collapses, (B,)
    works: npt.NDArray[np.bool_]

    def read(self, rows: Rows) -> tuple[Floats, Floats]:
        """Values (B, m), and their derivatives by every unknown, (B, m, unknowns)."""
        wide = max(1, _BATCH // max(1, rows.transfer.size))
        pieces = [self._read(rows, slice(at, at + wide)) for at in range(0, len(self.element), wide)]
        return np.concatenate([value for value, _ in pieces]), np.concatenate([slope for _, slope in pieces])

    def _read(self, rows: Rows, part: slice) -> tuple[Floats, Floats]:
        model, ports = self.model, self.model.port_count
        own, factor, injected = self.own[part], self.factor[part], self.injected[part]
        element = self.element[part]
        seen = rows.transfer[:, ports + element].T
        transfer = rows.transfer + np.einsum("b,bm,bj->bmj", factor, seen, own)
        inner = model.transfer[:ports] + np.einsum("b,bk,bj->bkj", factor, own[:, :ports], own)
        values = np.einsum("bmk,bk->bm", transfer[:, :, :ports], injected)
        resting = transfer - transfer[:, :, :ports] @ (self.reduction[part] @ inner)
        ohm = self._ohm(part)
        amps = np.einsum("bke,bk->be", inner[:, :, ports:], injected) / ohm
        by_ohm = resting[:, :, ports:] * (amps / ohm)[:, None, :]
        by_ports = self._by_ports(part, resting[:, :, :ports])
        return self._currents(rows, part, values, np.concatenate([by_ohm, by_ports], axis=2), ohm)

    def _ohm(self, part: slice) -> Floats:
        """Of every element with the fault in it, (B, E)."""
        element = self.element[part]
        ohm = np.tile(self.model.ohm, (len(element), 1))
        ohm[np.arange(len(element)), element] += self.excess[part]
        return ohm

    def _by_ports(self, part: slice, resting: Floats) -> Floats:
        """By sources' emf, ohm and most amperes, and by loads' demand."""
        sources = (self._emf(part), self._source_ohm(part), self._limit(part))
        direct = np.concatenate([*sources, self._demand(part)], axis=1)
        own = resting[:, :, : len(self.model.problem.sources)]
        return np.asarray(np.concatenate([own, own, resting], axis=2) * direct[:, None, :])

    def _sources(self, part: slice) -> tuple[Floats, Floats]:
        return self.model.problem.source_currents(self.volts[part][:, : len(self.model.problem.sources)])

    def _emf(self, part: slice) -> Floats:
        return self._sources(part)[1]

    def _source_ohm(self, part: slice) -> Floats:
        amps, conductance = self._sources(part)
        ohm = self.model.problem.source_ohm
        return np.where(np.isclose(conductance * ohm, 1.0), -amps / ohm, 0.0)

    def _limit(self, part: slice) -> Floats:
        """By the share by which it differs; only of a source that gives all it can."""
        amps, conductance = self._sources(part)
        return np.where((conductance == 0) & (amps > 0), amps, 0.0)

    def _demand(self, part: slice) -> Floats:
        return self.injected[part][:, len(self.model.problem.sources) :]

    def _currents(self, rows: Rows, part: slice, values: Floats, slopes: Floats, ohm: Floats) -> tuple[Floats, Floats]:
        """Rows that are currents made from the volts of their element or port."""
        elements, count = len(self.model.ohm), len(self.model.problem.sources)
        for row, number in enumerate(rows.current_of):
            if number < 0:
                continue
            if number < elements:
                values[:, row] /= ohm[:, number]
                slopes[:, row] /= ohm[:, number, None]
                slopes[:, row, number] -= values[:, row] / ohm[:, number]
                continue
            port = int(number) - elements
            if port < count:
                amps, conductance = self._sources(part)
                values[:, row] = amps[:, port]
                slopes[:, row] *= -conductance[:, port, None]
                slopes[:, row, elements + port] += self._emf(part)[:, port]
                slopes[:, row, elements + count + port] += self._source_ohm(part)[:, port]
                slopes[:, row, elements + 2 * count + port] += self._limit(part)[:, port]
            else:
                values[:, row] = -self.injected[part][:, port]
                slopes[:, row] *= self.slope[part][:, port, None]
                slopes[:, row, elements + 2 * count + port] += values[:, row]
        return values, slopes


@lru_cache(maxsize=4)
def fault_model(system: System, case: Case, unknowns: Unknowns) -> FaultModel:
    """Compile; raises `AnalysisError` when the supply as described collapses in this case."""
    problem = PortNetwork.of(system, case)
    state = problem.steady(1.0)
    if state is None:
        raise AnalysisError(
            f"wiring '{system.name}' as described collapses under this demand: measure at a lower level, or correct it"
        )
    network = problem.network
    branches = network.incidence([(element.start, element.end) for element in system.elements])
    driven = np.concatenate([problem.columns, branches], axis=1)
    spread = problem.spread(state.celsius, driven)
    return FaultModel(
        system=system,
        problem=problem,
        ohm=network.resistances(state.celsius),
        spread=spread,
        transfer=driven.T @ spread,
        ports=state.ports,
        variance=_variances(problem, network.resistances(state.celsius), unknowns),
    )


def _variances(problem: PortNetwork, ohm: Floats, unknowns: Unknowns) -> Floats:
    system = problem.system
    batteries = np.array([isinstance(one, Battery) for one in problem.sources])
    ohm_shares = [one.tolerance if isinstance(one, Battery) else unknowns.droop for one in problem.sources]
    deviations = np.concatenate(
        [
            ohm * [element.tolerance for element in system.elements],
            np.where(batteries, unknowns.open_volts, unknowns.alternator_volts),
            problem.source_ohm * ohm_shares,
            np.where(batteries, 0.0, unknowns.alternator_amps),
            [unknowns.demand] * len(system.amplifiers) + [unknowns.other_loads] * len(system.other_loads),
        ]
    )
    return (deviations / 2) ** 2
