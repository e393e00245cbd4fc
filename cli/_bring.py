"""import and verify: files that come from elsewhere, and files that have lain somewhere."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import typer

from cli import _options as options
from cli._groups import ChannelOptions, ConditionOptions, takes_groups
from cli._hints import with_option
from cli._shared import print_json, progress_bar, say, state_named

if TYPE_CHECKING:
    from capture import RecordingInfo
    from report import Verification


def register(app: typer.Typer) -> None:
    """Add this file's commands."""
    app.command("import")(import_files)
    app.command()(verify)


@takes_groups
def import_files(
    job: options.JobFolder,
    files: options.ForeignFiles,
    *,
    wired: ChannelOptions,
    rate: options.Rate = None,
    state: options.State = "as-found",
    step: options.Step = "baseline",
    held: ConditionOptions,
    played: options.Played = None,
    simulated: options.Simulated = False,
    json: options.Json = False,
) -> None:
    """Bring foreign files into a job as sealed recordings.

    Example: humproof import van-12 scope.csv --channel 0=supply --coupling 0=DC --scale 0=10 --rpm 1500
    """
    from capture import Stimulus, foreign_info, import_foreign, open_foreign
    from job import add_recording, new_recording_path, open_or_create_job, with_signal

    wishes, facts = wired.wishes(), with_signal(held.facts(), None, played)
    named_state = state_named(state)
    # Every file is looked at before the job is touched: nothing is brought in by halves.
    ready = []
    for file in files:
        foreign = open_foreign(file, rate)
        ready.append((foreign, foreign_info(foreign, wishes, facts, step, simulated)))
    folder = open_or_create_job(job)
    made: list[dict[str, Any]] = []
    for foreign, info in ready:
        path = new_recording_path(folder, named_state, step)
        stimulus = Stimulus.played_elsewhere(played) if played else None
        with progress_bar(f"reading {foreign.path.name}") as progress:
            import_foreign(foreign, path, info, progress, stimulus)
        folder = add_recording(folder, path, named_state)
        made.append(_facts(path, info, stimulus.warnings if stimulus else ()))
    if json:
        print_json({"recordings": made})
        return
    for row in made:
        print(f"{row['file']}: {row['channels']} channels, {row['rate_hz']:g} samples a second, from {row['original']}")
        for warning in row["warnings"]:
            say(f"warning: {with_option(warning)}")


def _facts(path: Path, info: RecordingInfo, warnings: tuple[str, ...]) -> dict[str, Any]:
    return {
        "file": str(path),
        "original": info.source.name,
        "rate_hz": info.rate_hz,
        "channels": len(info.channels),
        "warnings": [*info.warnings, *warnings],
    }


def verify(
    target: options.Sealed,
    folder: options.Beside = None,
    key: options.PublicKey = None,
    json: options.Json = False,
) -> int:
    """Recompute seals, digests and a report's numbers; exit code 1 when one differs. Example: humproof verify van.pdf

    A job's folder and a recording: their seals. A report with the recordings beside it, or a bundle: the PDF itself,
    its signature, which files still match, and every number from the raw samples.
    """
    from analysis import WrongUseError

    if target.suffix.lower() in (".pdf", ".zip") and not target.is_dir():
        return _verify_report(target, folder, key, json=json)
    if folder is not None or key is not None:
        raise WrongUseError(f"{target}: a folder and --key go with a report: name a PDF")
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
        return verify_job(job), f"{len(job.facts.recordings)} recordings, their seals and their digests in job.toml"
    verify_recording(target)
    return [], "the seal over samples and metadata"


def _verify_report(target: Path, folder: Path | None, key: Path | None, *, json: bool) -> int:
    from analysis import WrongUseError
    from report import check_bundle, check_report, printable, verification_json

    packed = target.suffix.lower() == ".zip"
    if packed and folder is not None:
        raise WrongUseError(f"{target}: a bundle holds its recordings: leave {folder} out")
    with progress_bar(f"checking {target.name}") as bar:

        def progress(fraction: float, text: str) -> None:
            bar(fraction)

        found = check_bundle(target, key, progress) if packed else check_report(target, folder, key, progress)
    if json:
        print_json(verification_json(found))
    else:
        _show(found)
    for problem in found.problems:
        say(f"humproof: {printable(problem.text)}")
    return 0 if found.sound else 1


def _show(found: Verification) -> None:
    from report import sound_line, verification_lines

    first, *others = verification_lines(found)
    print(first.text)
    for line in others:
        print(f"  {line.text}")
    if found.sound:
        print(sound_line(found))
