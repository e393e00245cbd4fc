"""Systems as decks for ngspice: the outside referee of the solver (ngspice 39, Debian package `ngspice`).

Loads are current sources of their own volts, driven by a demand that is a voltage; a capacitor at every port lets the
deck run as a ramp in time. So ngspice goes where a real supply goes: it stays on the operating branch while there is
one, and when the demand passes the limit there is no resting point and the volts run away. A bare operating point would
not do: from its zero start Newton's method may land on another branch, or fail where there is a solution.
"""

from __future__ import annotations

import re
import shutil
import subprocess
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest

from analysis.wiring import Alternator, Battery, Case, Conductor, System

needs_ngspice = pytest.mark.skipif(shutil.which("ngspice") is None, reason="ngspice is not installed")

#: below this an amplifier draws no more than at it, so that a collapsed deck comes to rest
FLOOR_V = 1.0
FARAD = 1e-3


@dataclass(frozen=True)
class Ramp:
    """Demand over time: (seconds, demand) corners; what is kept are the seconds from `kept_from` on."""

    corners: tuple[tuple[float, float], ...]
    kept_from: float


@dataclass(frozen=True)
class Run:
    """Volts of every point of a system over time."""

    seconds: npt.NDArray[np.float64]
    volts: dict[str, npt.NDArray[np.float64]]

    def at(self, second: float, point: str) -> float:
        return float(np.interp(second, self.seconds, self.volts[point]))


def deck(system: System, case: Case, ramp: Ramp) -> tuple[str, dict[str, str]]:
    """The deck of a system in air's temperature, and the node of every point."""
    nodes = {point: f"n{number}" for number, point in enumerate(dict.fromkeys(system.points()))}
    nodes[system.batteries[0].negative] = "0"
    lines = [f"* {system.name}"]
    for number, element in enumerate(system.elements):
        ohm = _ohm(element, system.ambient_c) if isinstance(element, Conductor) else element.ohm
        lines.append(f"R{number} {nodes[element.start]} {nodes[element.end]} {ohm:.17g}")
    sources = (*system.batteries, *(system.alternators if case.engine != "off" else ()))
    for number, source in enumerate(sources):
        plus, minus = nodes[source.positive], nodes[source.negative]
        lines.append(f"Bs{number} {minus} {plus} I = {_given(source, case, plus, minus)}")
        lines.append(f"Cs{number} {plus} {minus} {FARAD} IC=12")
    for number, amplifier in enumerate(system.amplifiers):
        plus, minus = nodes[amplifier.positive], nodes[amplifier.negative]
        watts, volts = amplifier.input_w(case.level), f"v({plus},{minus})"
        law = f"{watts:.17g}/max({volts},{FLOOR_V})" if amplifier.regulated else (
            f"{watts / amplifier.at_volts**2:.17g}*{volts}"
        )  # fmt: skip
        lines.append(f"Ba{number} {plus} {minus} I = v(demand)*{law}")
        lines.append(f"Ca{number} {plus} {minus} {FARAD} IC=12")
    for number, load in enumerate(system.other_loads):
        lines.append(f"Io{number} {nodes[load.positive]} {nodes[load.negative]} {load.amps:.17g}")
    corners = " ".join(f"{second:g} {demand:.17g}" for second, demand in ramp.corners)
    lines += [f"Vdemand demand 0 PWL({corners})", ".options reltol=1e-6 vntol=1e-7 abstol=1e-6 method=gear", ".end"]
    return "\n".join(lines) + "\n", nodes


def _ohm(cable: Conductor, celsius: float) -> float:
    """Of all runs, from resistivity, length and area, at a temperature."""
    rho = cable.material.resistivity_ohm_m * (1 + cable.material.alpha_per_k * (celsius - 20))
    return rho * cable.size.lay * cable.length_m / (cable.size.area_mm2 * 1e-6) / cable.runs


def _given(source: Battery | Alternator, case: Case, plus: str, minus: str) -> str:
    left = f"({source.open_volts if isinstance(source, Battery) else source.volts:.17g}-v({plus},{minus}))"
    if isinstance(source, Battery):
        return f"max({left},0)/{source.ohm:.17g}+min({left},0)/{source.charging_ohm:.17g}"
    most = source.idle_a if case.engine == "idle" else source.rated_a
    return f"max(0,min({left}/{source.ohm:.17g},{most:.17g}))"


def run_decks(folder: Path, systems: Sequence[tuple[System, Case, Ramp]]) -> list[Run]:
    """All of them in one process of ngspice."""
    control, maps = ["* all", ".control", "set filetype=binary"], []
    for number, (system, case, ramp) in enumerate(systems):
        text, nodes = deck(system, case, ramp)
        (folder / f"deck{number}.cir").write_text(text)
        maps.append(nodes)
        end = ramp.corners[-1][0]
        control += [f"source deck{number}.cir", f"tran {end / 200:g} {end:g} {ramp.kept_from:g} {end / 200:g} uic",
                    f"write deck{number}.raw", "destroy all", "remcirc"]  # fmt: skip
    (folder / "all.cir").write_text("\n".join([*control, "quit 0", ".endc", ".end"]) + "\n")
    said = subprocess.run(
        ["ngspice", "-b", "-n", "all.cir"], cwd=folder, capture_output=True, text=True, timeout=300, check=False
    )
    complaints = re.findall(r"(?im)^.*(?:error|singular|aborted|too small).*$", said.stdout + said.stderr)
    assert not complaints, complaints[:5]
    return [_read(folder / f"deck{number}.raw", nodes) for number, nodes in enumerate(maps)]


def _read(path: Path, nodes: dict[str, str]) -> Run:
    """ngspice's binary raw file: a header of text, then float64 rows."""
    header, _, body = path.read_bytes().partition(b"Binary:\n")
    text = header.decode()
    names = re.findall(r"(?m)^\s+\d+\s+(\S+)\s+\S+", text.split("\nVariables:")[1])
    rows = np.frombuffer(body, dtype=np.float64).reshape(-1, len(names))
    columns = {name: rows[:, number] for number, name in enumerate(names)}
    ground = np.zeros(len(rows))
    return Run(columns["time"], {p: ground if n == "0" else columns[f"v({n})"] for p, n in nodes.items()})
