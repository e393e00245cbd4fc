"""What each part does to what the amplifiers get: its share of the drop, how much its ohm matters, what is uncertain.

Shares are Tellegen's theorem between the solved network and an adjoint one, in which only a unit current is drawn at an
amplifier's terminals, every element has the resistance it has and every source the one at which it works. Sensitivities
are the adjoint method on the Jacobian, so they contain what loads, sources and warming cables do in answer.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis.wiring._circuit import Circuit
from analysis.wiring._solution import Solution
from analysis.wiring._system import System

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Influence:
    """For amplifiers, elements and sources by name.

    At a collapse the least change decides everything: `volts_uncertainty` is then None, the sensitivities and the
    elements' uncertainties are empty.
    """

    #: V that each element or source takes off; they add up to `emf_seen` less the amplifier's volts
    shares: dict[str, dict[str, float]]
    #: V that an amplifier would have if no current flowed: the sources' emf, weighted as they share its current
    emf_seen: dict[str, float]
    #: V, k = 2, from the tolerances of elements and sources
    volts_uncertainty: dict[str, float | None]
    #: V that an amplifier gets more for each ohm more in an element (mostly below 0)
    ohm_sensitivity: dict[str, dict[str, float]]
    #: A and V of every element, k = 2, from the same tolerances
    amps_uncertainty: dict[str, float]
    drop_uncertainty: dict[str, float]
    #: W that become heat in each element or source
    losses_w: dict[str, float]
    #: the element in which most is lost
    bottleneck: str


@dataclass(frozen=True, slots=True)
class _Point:
    """An operating point as arrays over branches."""

    circuit: Circuit
    across: Floats
    amps: Floats
    #: dI/dU, S
    slope: Floats

    @staticmethod
    def of(system: System, solution: Solution) -> _Point:
        circuit = Circuit.of(system, solution.case)
        reference = circuit.network.reference
        volts = np.roll(np.array([solution.volts[point] for point in circuit.network.points]), -reference - 1)
        across = circuit.across(volts)
        return _Point(circuit, across, *circuit.law(across, solution.demand))

    @property
    def ports(self) -> slice:
        """The amplifiers among the branches."""
        first = self.circuit.first_load
        return slice(first, first + len(self.circuit.system.amplifiers))

    @property
    def chords(self) -> Floats:
        """S of elements and sources, without what they would do if volts were others; 0 of loads."""
        source, load = self.circuit.first_source, self.circuit.first_load
        chords = np.zeros(len(self.across))
        chords[:source] = 1 / self.circuit.heat.ohm(self.across[:source])
        chords[source:load] = self.slope[source:load]
        return chords

    @property
    def lost_volts(self) -> Floats:
        """V by which each element drops, and each source stays below its emf, (elements + sources,)."""
        source, load = self.circuit.first_source, self.circuit.first_load
        return np.concatenate([self.across[:source], self.circuit.ports.emf - self.across[source:load]])


def influence(system: System, solution: Solution) -> Influence:
    """Of every part of a solved system; `solution` is of the same system. Raises as `solve`."""
    point = _Point.of(system, solution)
    source = point.circuit.first_source
    names = [one.name for one in (*system.elements, *point.circuit.ports.sources)]
    amplifiers = [one.name for one in system.amplifiers]
    currents, losses, slopes = _adjoint_currents(point), _losses(point), _Slopes.of(point)
    volts, drops, amps = (None, None, None) if slopes is None else slopes.deviations()
    sensitivity = np.zeros((len(amplifiers), 0)) if slopes is None else slopes.ohm[point.ports, :source]
    return Influence(
        shares={name: _named(names, row) for name, row in zip(amplifiers, currents * point.lost_volts, strict=True)},
        emf_seen=_named(amplifiers, currents[:, source:] @ point.circuit.ports.emf),
        volts_uncertainty=dict.fromkeys(amplifiers) if volts is None else {**_named(amplifiers, volts)},
        ohm_sensitivity={name: _named(names, row) for name, row in zip(amplifiers, sensitivity, strict=True)},
        amps_uncertainty={} if amps is None else _named(names[:source], amps),
        drop_uncertainty={} if drops is None else _named(names[:source], drops),
        losses_w=_named(names, losses),
        bottleneck=names[int(np.argmax(losses[:source]))] if source else "",
    )


def _named(names: list[str], values: Floats) -> dict[str, float]:
    return dict(zip(names, values.tolist(), strict=False))


def _incidences(point: _Point, branches: slice) -> Floats:
    """Columns of the incidence matrix, (points - 1, branches)."""
    numbers = np.arange(len(point.across))[branches]
    columns = [point.circuit.incidence(int(number)) for number in numbers]
    return np.array(columns, dtype=np.float64).reshape(len(numbers), point.circuit.pattern.size).T


def _adjoint_currents(point: _Point) -> Floats:
    """A in every element, and out of every source, for one ampere drawn by each amplifier: (amplifiers, parts).

    Tellegen: the volts of one network times the currents of the other, summed over all branches, are 0.
    """
    load, source = point.circuit.first_load, point.circuit.first_source
    drawn = _incidences(point, point.ports)
    solve = point.circuit.pattern.positive(point.chords)
    if solve is None or not drawn.size:
        return np.zeros((drawn.shape[1], load))
    volts = np.vstack([-solve(drawn), np.zeros(drawn.shape[1])])
    across = (volts[point.circuit.starts[:load]] - volts[point.circuit.ends[:load]]).T
    currents = point.chords[:load] * across
    currents[:, source:] *= -1
    return np.asarray(currents)


def _losses(point: _Point) -> Floats:
    """W of elements and sources; a source of current has none of its own."""
    source, load = point.circuit.first_source, point.circuit.first_load
    losses = point.lost_volts * np.concatenate([point.amps[:source], -point.amps[source:load]])
    losses[source:][point.slope[source:load] == 0] = 0.0
    return np.asarray(losses)


@dataclass(frozen=True, slots=True)
class _Slopes:
    """Derivatives of every branch' volts, (branches, parts), parts being elements and sources."""

    point: _Point
    #: by an ohm in series with a part
    ohm: Floats
    #: by a source's emf, (branches, sources)
    emf: Floats

    @staticmethod
    def of(point: _Point) -> _Slopes | None:
        """None where the point has no neighbours, or the tolerances reach beyond what a slope tells: a collapse."""
        circuit, load = point.circuit, point.circuit.first_load
        solve = circuit.pattern.positive(point.slope)
        if solve is None:
            return None
        answer = np.vstack([solve(_incidences(point, slice(load))), np.zeros(load)])
        mutual = answer[circuit.starts] - answer[circuit.ends]
        # An ohm more in series takes slope x amps off a part's current, a volt more of emf adds the slope.
        ohm = mutual * (point.slope * point.amps)[:load]
        found = _Slopes(point, ohm, mutual[:, circuit.first_source :] * point.slope[circuit.first_source : load])
        reach = found.deviations()[0] < point.across[point.ports]
        return found if reach.all() else None

    def deviations(self) -> tuple[Floats, Floats, Floats]:
        """Of amplifiers' volts, elements' volts and elements' amperes; k = 2, tolerances in quadrature."""
        point, source = self.point, self.point.circuit.first_source
        slopes = np.concatenate([self.ohm * self._ohm_deviations(), self.emf * self._emf_deviations()], axis=1)
        drops = slopes[:source]
        amps = drops * point.slope[:source, None]
        own = np.arange(source)
        amps[own, own] -= (point.slope * point.amps)[:source] * self._ohm_deviations()[:source]
        ports, elements, currents = (np.sqrt((one**2).sum(axis=1)) for one in (slopes[point.ports], drops, amps))
        return ports, elements, currents

    def _ohm_deviations(self) -> Floats:
        circuit, slope = self.point.circuit, self.point.slope
        tolerance = np.array([one.tolerance for one in (*circuit.system.elements, *circuit.ports.sources)])
        ohm = np.zeros(circuit.first_load)
        np.divide(1.0, self.point.chords[: circuit.first_load], out=ohm, where=slope[: circuit.first_load] > 0)
        return np.asarray(ohm * tolerance)

    def _emf_deviations(self) -> Floats:
        return np.array([one.volts_uncertainty for one in self.point.circuit.ports.sources])
