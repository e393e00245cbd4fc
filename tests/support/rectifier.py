"""A three-phase alternator, its bridge, battery and load as a circuit that ngspice solves."""

from __future__ import annotations

import re
import shutil
import subprocess
from pathlib import Path
from typing import Literal

import numpy as np
import numpy.typing as npt
import pytest

Fault = Literal["none", "diode open", "diode shorted", "phase open", "single-phase"]

_PHASES = (("a", 0), ("b", -120), ("c", 120))


def run_ngspice(deck: str, folder: Path) -> None:
    """Run a deck in batch; a failed run too may exit with 0, so its words are read."""
    program = shutil.which("ngspice")
    if program is None:
        pytest.skip("ngspice is not installed")
    (folder / "deck.cir").write_text(deck)
    done = subprocess.run(
        [program, "-b", "-n", "deck.cir"], cwd=folder, capture_output=True, text=True, timeout=60, check=False
    )
    said = done.stdout + done.stderr
    assert not re.search(r"\bError\b|singular|aborted", said), said
    assert (folder / "out.txt").is_file(), said


def alternator_deck(electrical_hz: float, fault: Fault = "none", battery_ohm: float = 0.012) -> str:
    """Star of three sources with winding resistance and inductance, six diodes, a battery and a load.

    The machine's voltage lies 15 % above what the battery asks, so that it delivers current as in driving.
    """
    phases = [name for name, _ in _PHASES if not (name == "c" and fault in ("phase open", "single-phase"))]
    lines = ["alternator"]
    for name, angle in _PHASES:
        lines.append(f"V{name} e{name} star SIN(0 9.6 {electrical_hz} 0 0 {angle})")
        lines += [f"L{name} e{name} w{name} 30u", f"R{name} w{name} {name} 40m", f"Rs{name} {name} star 1k"]
    for name in phases:
        # one diode up to the supply, one down to ground, per phase
        up = f"Dup{name} {name} bat rect" if not (name == "a" and fault == "diode open") else ""
        up = f"Rup{name} {name} bat 2m" if name == "a" and fault == "diode shorted" else up
        lines += [line for line in (up, f"Ddown{name} 0 {name} rect") if line]
    lines += [
        ".model rect D(IS=1e-9 N=1.2 RS=2m CJO=1n)",
        f"Rbat bat emf {battery_ohm}",
        "Vbat emf 0 DC 12.9",
        "Rload bat 0 0.6",
        "Rstar star 0 10k",
        ".control",
        f"tran 4u {24 / electrical_hz} {12 / electrical_hz} 4u",
        "wrdata out.txt v(bat)",
        "quit 0",
        ".endc",
        ".end",
        "",
    ]
    return "\n".join(lines)


def ideal_bridge_deck(electrical_hz: float) -> str:
    """What an ideal six-pulse bridge gives: the highest of three phases less the lowest."""
    sines = "\n".join(f"V{name} {name} 0 SIN(0 8.5 {electrical_hz} 0 0 {angle})" for name, angle in _PHASES)
    return f"""six pulses
{sines}
Bdc out 0 V = max(max(v(a),v(b)),v(c)) - min(min(v(a),v(b)),v(c))
Rload out 0 1k
.control
tran 2u {12 / electrical_hz} {4 / electrical_hz} 2u
wrdata out.txt v(out)
quit 0
.endc
.end
"""


def supply_by_ngspice(
    deck: str, electrical_hz: float, rate_hz: float, seconds: float, folder: Path
) -> npt.NDArray[np.float64]:
    """Volts, shape (n,): the deck's last eight electrical cycles over and over, which a steady alternator gives."""
    run_ngspice(deck, folder)
    table = np.loadtxt(folder / "out.txt")
    cycles = 8 / electrical_hz
    end = table[-1, 0]
    place = end - cycles + (np.arange(round(seconds * rate_hz)) / rate_hz) % cycles
    return np.asarray(np.interp(place, table[:, 0], table[:, 1]))
