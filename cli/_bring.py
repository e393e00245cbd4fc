"""import and verify: files that come from elsewhere, and files that have lain somewhere."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from cli import _options as options
from cli._shared import conditions, print_json, progress_bar, say, state_named


def register(app: typer.Typer) -> None:
    """Add this file's commands."""
    app.command("import")(import_files)
    app.command()(verify)


def import_files(
    job: options.JobFolder,
    files: Annotated[list[Path], typer.Argument(metavar="FILE...", help="WAV, FLAC, RF64 or text of an oscilloscope or logger.")],
    channel: options.Channel = [],  # noqa: B006
    scale: options.Scale = [],  # noqa: B006
    scale_uncertainty: options.ScaleUncertainty = None,
    coupling: options.Coupling = [],  # noqa: B006
    rate: options.Rate = None,
    state: options.State = "as-found",
    step: options.Step = "baseline",
    rpm: options.Rpm = None,
    load: options.Load = [],  # noqa: B006
    volume: options.Volume = None,
    gains: options.Gains = None,
    test_signal: options.TestSignal = None,
    battery: options.Battery = None,
    laptop_supply: options.LaptopSupply = None,
    temperature: options.Temperature = None,
    full_level: options.FullLevel = None,
    note: options.Note = None,
    simulated: Annotated[bool, typer.Option("--simulated", help="The file was made by a simulation.")] = False,
    json: options.Json = False,
) -> None:  # fmt: skip
    """Bring foreign files into a job as sealed recordings.

    Example: humproof import van-12 scope.csv --channel 0=supply --coupling 0=DC --scale 0=10 --rpm 1500
    """
    from capture import foreign_info, import_foreign, open_foreign, parse_wishes
    from job import add_recording, new_recording_path, open_or_create_job

    wishes = parse_wishes(channel, scale, coupling, scale_uncertainty)
    named_state = state_named(state)
    facts = conditions(
        rpm, load, volume, gains, test_signal, battery, laptop_supply, temperature, full_level, note
    )
    # Every file is looked at before the job is touched: nothing is brought in by halves.
    ready = []
    for file in files:
        foreign = open_foreign(file, rate)
        ready.append((foreign, foreign_info(foreign, wishes, facts, step, simulated)))
    folder = open_or_create_job(job)
    made = []
    for foreign, info in ready:
        path = new_recording_path(folder, named_state, step)
        with progress_bar(f"reading {foreign.path.name}") as progress:
            import_foreign(foreign, path, info, progress)
        folder = add_recording(folder, path, named_state)
        made.append({"file": str(path), "original": foreign.path.name, "rate_hz": info.rate_hz, "channels": len(info.channels), "warnings": list(info.warnings)})  # fmt: skip
    if json:
        print_json({"recordings": made})
        return
    for row in made:
        print(f"{row['file']}: {row['channels']} channels, {row['rate_hz']:g} samples a second, from {row['original']}")
        for warning in row["warnings"]:  # type: ignore[attr-defined]
            say(f"warning: {warning}")


def verify(
    target: Annotated[Path, typer.Argument(metavar="JOB|FILE|FILE.pdf", help="A job's folder, a recording, or a report.")],
    json: options.Json = False,
) -> int:  # fmt: skip
    """Recompute seals and digests; exit code 1 when one does not match. Example: humproof verify van-12"""
    problems, checked = _check(target)
    if json:
        print_json({"target": str(target), "sound": not problems, "checked": checked, "problems": problems})
    elif not problems:
        print(f"{target}: {checked} match: unchanged since sealing")
    for problem in problems:
        say(f"humproof: {problem}")
    return 1 if problems else 0


def _check(target: Path) -> tuple[list[str], str]:
    from capture import verify_recording
    from job import open_job, verify_job

    if target.is_dir():
        job = open_job(target)
        return verify_job(job), f"the seals of {len(job.facts.recordings)} recordings and their digests in job.toml"
    if target.suffix.lower() == ".pdf":
        from report import verify_report

        return verify_report(target), "the digests in the report and the files beside it"
    verify_recording(target)
    return [], "the seal over samples and metadata"
