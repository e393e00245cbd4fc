"""The arguments and options of all commands, so that they read the same everywhere."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

# ---------------------------------------------------------------- what is looked at

Json = Annotated[bool, typer.Option("--json", help="Print one JSON object on stdout.")]
JobFolder = Annotated[Path, typer.Argument(metavar="JOB", help="The job's folder.")]
JobToShow = Annotated[Path | None, typer.Argument(metavar="[JOB]", help="A job to open at once.")]
Files = Annotated[list[Path], typer.Argument(metavar="FILE...", help="Recordings, WAV, FLAC, RF64 or text files.")]
ForeignFiles = Annotated[
    list[Path],
    typer.Argument(metavar="FILE...", help="WAV, FLAC, RF64, or text of an oscilloscope or logger."),
]
Interrupted = Annotated[Path, typer.Argument(metavar="FILE", help="An interrupted recording.")]
Sealed = Annotated[
    Path,
    typer.Argument(
        metavar="JOB|FILE|FILE.pdf|FILE.zip", help="A job's folder, a recording, a report, or a bundle of all of them."
    ),
]
Beside = Annotated[
    Path | None,
    typer.Argument(metavar="[FOLDER]", help="Where a report's recordings lie; without it the folder the PDF is in."),
]
PublicKey = Annotated[
    Path | None,
    typer.Option("--key", metavar="FILE.pub", help="The shop's public key: the report must be signed with it."),
]
Before = Annotated[Path, typer.Argument(metavar="BEFORE", help="As found.")]
After = Annotated[Path, typer.Argument(metavar="AFTER", help="As left.")]
Floor = Annotated[
    Path | None, typer.Option("--floor", help="A recording of the instrument alone, inputs shorted at the clips.")
]
Out = Annotated[Path, typer.Option("--out", metavar="DIR", help="Where the sample job is copied to.")]
Fault = Annotated[
    str | None,
    typer.Option("--fault", metavar="random|CAUSE", help="A simulated vehicle with a fault to be found, instead."),
]
Seed = Annotated[int, typer.Option("--seed", min=0, help="Of that vehicle: the same seed is the same vehicle.")]
ByHand = Annotated[
    bool, typer.Option("--by-hand", help="Only say what ear, eye and a meter tell of that vehicle, for: diagnose.")
]
Reveal = Annotated[bool, typer.Option("--reveal", help="Only say what is wrong with that vehicle.")]
Pdf = Annotated[
    Path | None,
    typer.Option(
        "-o",
        "--output",
        metavar="FILE.pdf|FILE.html",
        help="A PDF, or one HTML file to send by message. Without it: report.pdf in the job's folder.",
    ),
]
Csv = Annotated[
    Path | None, typer.Option("--csv", metavar="FILE.csv", help="Also all figures as a table for spreadsheets.")
]
Bom = Annotated[bool, typer.Option("--bom", help="Begin that table with a byte order mark, as some spreadsheets want.")]
Clips = Annotated[
    Path | None,
    typer.Option("--clips", metavar="FOLDER", help="Also before and after to listen to, at one gain: WAV and FLAC."),
]

JobToReport = Annotated[Path | None, typer.Argument(metavar="JOB", help="The job's folder.")]
Bundle = Annotated[
    Path | None,
    typer.Option("--bundle", metavar="FILE.zip", help="Also job, recordings and report in one file to be checked."),
]
Sign = Annotated[
    Path | None, typer.Option("--sign", metavar="KEY", help="Sign with the shop's private key: docs/proof.md.")
]
NewKey = Annotated[
    Path | None,
    typer.Option("--new-key", metavar="KEY", help="Make the shop's key, and KEY.pub to hand out; no report is made."),
]

Paper = Annotated[str | None, typer.Option(metavar="a4|letter", help="Sheet of the report; the shop file's, else a4.")]
ReportUnits = Annotated[
    str | None,
    typer.Option("--units", metavar="metric|us", help="Of lengths, wires, temperatures; the shop file's, else metric."),
]
Letterhead = Annotated[
    Path | None,
    typer.Option(
        metavar="SHOP.toml", help="Shop file with letterhead, paper, units and limits; else that in your settings."
    ),
]

# ---------------------------------------------------------------- what a source and its channels are

Sources = Annotated[
    list[str],
    typer.Option(
        "--source",
        metavar="KIND[:TARGET]",
        help="What is recorded, such as sound-card, oscilloscope:192.0.2.7:5025 or simulated-vehicle; all: humproof "
        "sources. Repeat it to record several together, a recording each; their channels are numbered on.",
    ),
]
Setting = Annotated[
    list[str],
    typer.Option(
        "--setting",
        metavar="NAME=VALUE",
        default_factory=list,
        show_default=False,
        help="A setting of the source, such as baud=115200; which there are: humproof sources.",
    ),
]
Duration = Annotated[
    float | None,
    typer.Option("--duration", min=0.01, max=10_000_000, metavar="S", help="Seconds; else until Ctrl-C."),
]
Channels = Annotated[int | None, typer.Option("--channels", min=1, max=64, help="How many channels of the source.")]
Channel = Annotated[
    list[str],
    typer.Option(
        "--channel",
        metavar="N=ROLE",
        default_factory=list,
        show_default=False,
        help="What channel N (from 0, or by name) was connected to: supply, supply-amp, drop-positive, drop-ground, "
        "ground-offset, signal, speaker, current, tacho; perhaps with a point: 0=supply@rear-amp.",
    ),
]
Scale = Annotated[
    list[str],
    typer.Option(
        "--scale",
        metavar="N=X",
        default_factory=list,
        show_default=False,
        help="Volts (amperes for a current) that one unit of channel N stands for.",
    ),
]
ScaleUncertainty = Annotated[
    float | None,
    typer.Option("--scale-uncertainty", metavar="SHARE", help="How sure the given scales are (k = 2): 0.02 is 2 %."),
]
Coupling = Annotated[
    list[str],
    typer.Option(
        "--coupling", metavar="N=DC|AC", default_factory=list, show_default=False, help="Input coupling of channel N."
    ),
]
Calibration = Annotated[
    list[str],
    typer.Option(
        "--calibration",
        metavar="N=NAME",
        default_factory=list,
        show_default=False,
        help="Stored calibration of channel N; see: humproof calibrate --help",
    ),
]
Rate = Annotated[float | None, typer.Option("--rate", metavar="HZ", min=0.001, help="Samples a second.")]

# ---------------------------------------------------------------- what was held fixed

State = Annotated[
    str, typer.Option("--state", help="as-found, as-left, or instrument-floor (inputs shorted at the clips).")
]
Step = Annotated[
    str, typer.Option("--step", help="Isolation step: what was disconnected or changed for this recording.")
]
Rpm = Annotated[float | None, typer.Option("--rpm", min=0, help="Engine speed; 0 is engine off.")]
Load = Annotated[
    list[str],
    typer.Option(
        "--load",
        default_factory=list,
        show_default=False,
        help="An electrical load that is on; repeat for more; 'none' for none.",
    ),
]
Volume = Annotated[str | None, typer.Option("--volume", help="Where the volume control stands.")]
Gains = Annotated[str | None, typer.Option("--gains", help="Where the gains stand.")]
TestSignal = Annotated[
    str | None, typer.Option("--test-signal", help="What plays: 'dithered silence', 'bursts 50 Hz'.")
]
Battery = Annotated[str | None, typer.Option("--battery", help="Battery type and state.")]
LaptopSupply = Annotated[str | None, typer.Option("--laptop-supply", help="own battery, or mains.")]
Temperature = Annotated[float | None, typer.Option("--temperature", help="Air temperature, degrees Celsius.")]
Wheel = Annotated[
    str | None,
    typer.Option(
        "--wheel",
        metavar="TEETH-MISSING",
        help="What a tacho channel counts: 60-2, 36-1 cam, or pulses a turn.",
    ),
]
FullLevel = Annotated[
    float | None,
    typer.Option(
        "--full-level",
        metavar="V",
        min=1e-9,
        help="V rms of a full-level tone at the signal's tap point: the reference of its signal-to-noise ratio.",
    ),
]
Note = Annotated[str | None, typer.Option("--note", help="Anything else worth keeping.")]
Played = Annotated[
    Path | None,
    typer.Option("--played", metavar="FILE.wav", help="What the vehicle's own player played: its bursts are found."),
]
Simulated = Annotated[bool, typer.Option("--simulated", help="The file was made by a simulation.")]
