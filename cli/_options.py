"""Options that several commands share, so that they read the same everywhere."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

Json = Annotated[bool, typer.Option("--json", help="Print one JSON object on stdout.")]
JobFolder = Annotated[Path, typer.Argument(metavar="JOB", help="The job's folder.")]
Channel = Annotated[
    list[str],
    typer.Option("--channel", metavar="N=ROLE", help="What channel N (from 0, or by name) was connected to: supply, supply-amp, drop-positive, drop-ground, ground-offset, signal, speaker, current, tacho; perhaps with a point: 0=supply@rear-amp."),
]  # fmt: skip
Scale = Annotated[
    list[str],
    typer.Option("--scale", metavar="N=X", help="Volts (amperes for a current) that one unit of channel N stands for."),
]
ScaleUncertainty = Annotated[
    float | None,
    typer.Option("--scale-uncertainty", metavar="SHARE", help="How sure the given scales are (k = 2): 0.02 is 2 %."),
]
Coupling = Annotated[
    list[str], typer.Option("--coupling", metavar="N=DC|AC", help="Input coupling of channel N.")
]
Rate = Annotated[float | None, typer.Option("--rate", metavar="HZ", min=0.001, help="Samples a second.")]
State = Annotated[
    str, typer.Option("--state", help="as-found, as-left, or instrument-floor (inputs shorted at the clips).")
]
Step = Annotated[
    str, typer.Option("--step", help="Isolation step: what was disconnected or changed for this recording.")
]
Rpm = Annotated[float | None, typer.Option("--rpm", min=0, help="Engine speed; 0 is engine off.")]
Load = Annotated[list[str], typer.Option("--load", help="An electrical load that is on; repeat for more; 'none' for none.")]
Volume = Annotated[str | None, typer.Option("--volume", help="Where the volume control stands.")]
Gains = Annotated[str | None, typer.Option("--gains", help="Where the gains stand.")]
TestSignal = Annotated[str | None, typer.Option("--test-signal", help="What plays: 'dithered silence', 'bursts 50 Hz'.")]
Battery = Annotated[str | None, typer.Option("--battery", help="Battery type and state.")]
LaptopSupply = Annotated[str | None, typer.Option("--laptop-supply", help="own battery, or mains.")]
Temperature = Annotated[float | None, typer.Option("--temperature", help="Air temperature, degrees Celsius.")]
FullLevel = Annotated[
    float | None,
    typer.Option("--full-level", metavar="V", min=1e-9, help="V rms of a full-level tone at the signal's tap point: the reference of its signal-to-noise ratio."),
]  # fmt: skip
Note = Annotated[str | None, typer.Option("--note", help="Anything else worth keeping.")]
