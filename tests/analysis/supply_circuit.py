"""Battery, wires, alternator ripple and an amplifier's bursts as a circuit that ngspice solves and measures."""

from __future__ import annotations

import re
import shutil
import subprocess
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest

Floats = npt.NDArray[np.float64]

_MEASURED = re.compile(r"^(\w+)\s+=\s+([-+0-9.eE]+)", re.MULTILINE)
NODES = ("supply", "supply-amp", "drop-positive", "drop-ground", "current")


@dataclass(frozen=True)
class Circuit:
    """Series R0 and R1 || C1 behind an emf with alternator ripple; two sides of wiring; bursts of current."""

    emf_v: float = 12.8
    r0_ohm: float = 0.009
    r1_ohm: float = 0.004
    tau_s: float = 0.27
    positive_ohm: float = 0.0031
    ground_ohm: float = 0.0047
    idle_a: float = 1.3
    burst_a: float = 52.0
    #: 0 draws the burst's current evenly, else |sin| of this frequency
    tone_hz: float = 0.0
    ripple_v: float = 0.0
    ripple_hz: float = 320.0
    starts_s: tuple[float, ...] = (1.0, 5.0)
    length_s: float = 1.5
    stop_s: float = 8.0
    step_s: float = 1e-4
    #: further measurements, as ngspice writes them
    measures: tuple[str, ...] = field(default=())

    def deck(self) -> str:
        """For batch mode; `quit 0` hides failures, so what it says is read."""
        edges = " ".join(
            f"{start} 0 {start + 1e-5} 1 {start + self.length_s} 1 {start + self.length_s + 1e-5} 0"
            for start in self.starts_s
        )
        shape = f"*abs(sin({2 * np.pi * self.tone_hz}*time))" if self.tone_hz else ""
        return "\n".join(
            [
                "burst on a supply",
                f"Vemf e 0 DC {self.emf_v}",
                f"Vripple e r SIN(0 {self.ripple_v} {self.ripple_hz})",
                f"R0 r x {self.r0_ohm}",
                f"R1 x bat {self.r1_ohm}",
                f"C1 x bat {self.tau_s / self.r1_ohm}",
                f"Rpositive bat ap {self.positive_ohm}",
                f"Rground an 0 {self.ground_ohm}",
                "Vclamp ap load DC 0",
                f"Venv env 0 PWL(0 0 {edges})",
                f"Bload load an I = {self.idle_a} + {self.burst_a}*v(env){shape}",
                ".control",
                f"tran {self.step_s} {self.stop_s} 0 {self.step_s}",
                "let vamp = v(ap)-v(an)",
                "let vpositive = v(bat)-v(ap)",
                "let amps = i(vclamp)",
                *(f"meas tran {line}" for line in self.measures),
                "wrdata out.txt v(bat) vamp vpositive v(an) amps",
                "quit 0",
                ".endc",
                ".end",
                "",
            ]
        )


def solve(circuit: Circuit, folder: Path, rate_hz: float) -> tuple[Floats, dict[str, float]]:
    """Rows in the order of `NODES` at an even rate, and what ngspice measured itself."""
    program = shutil.which("ngspice")
    if program is None:
        pytest.skip("ngspice is not installed")
    (folder / "deck.cir").write_text(circuit.deck())
    done = subprocess.run(
        [program, "-b", "-n", "deck.cir"], cwd=folder, capture_output=True, text=True, timeout=60, check=False
    )
    said = done.stdout + done.stderr
    assert not re.search(r"\bError\b|singular|aborted|failed", said), said
    table = np.loadtxt(folder / "out.txt")
    times = np.arange(round(circuit.stop_s * rate_hz)) / rate_hz
    rows = np.stack([np.interp(times, table[:, 0], table[:, 2 * at + 1]) for at in range(len(NODES))], axis=1)
    measured = {name: float(value) for name, value in _MEASURED.findall(done.stdout)}
    missing = [line for line in circuit.measures if line.split()[0] not in measured]
    assert not missing, said
    return rows, measured
