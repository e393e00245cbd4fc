"""demo, report, gui: the whole job, its document, its window."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import typer

from cli import _options as options
from cli._shared import print_json, progress_bar, say

if TYPE_CHECKING:
    from analysis import Comparison
    from job import Job, Study


def register(app: typer.Typer) -> None:
    """Add this file's commands."""
    app.command()(demo)
    app.command()(report)
    app.command()(gui)


def demo(
    out: options.Out = Path("humproof-demo"),
    fault: options.Fault = None,
    seed: options.Seed = 1,
    by_hand: options.ByHand = False,
    reveal: options.Reveal = False,
    json: options.Json = False,
) -> int:
    """The whole main job on the bundled sample job: verify, analyse, compare, hand over the PDF.

    Example: humproof demo --out try-it

    With --fault a simulated vehicle to practise on, whose fault is to be found. Example: humproof demo --fault random
    """
    if fault is not None:
        from cli import _practice

        if by_hand:
            return _practice.by_hand(fault, seed, json=json)
        if reveal:
            return _practice.reveal(fault, seed, json=json)
        return _practice.practice(out, fault, seed, json=json)
    return _sample_job(out, json)


def _sample_job(out: Path, json: bool) -> int:
    from job import comparison_json, verify_job
    from sample_data import copy_sample_job

    job = copy_sample_job(out)
    problems = verify_job(job)
    for problem in problems:
        say(f"humproof: {problem}")
    if problems:
        return 1
    compared = _compare_pairs(job)
    pdf = _make_report(job.folder, None)
    if json:
        comparisons = [comparison_json(comparison) for comparison, _, _ in compared]
        print_json({"job": str(job.folder), "comparisons": comparisons, "report": str(pdf)})
        return 0
    from cli._look import show_comparison

    print(f"{job.facts.visit.title}: simulated; all figures come from {len(job.facts.recordings)} sealed recordings")
    for comparison, before, after in compared:
        show_comparison(comparison, before, after)
    print(f"The document for the customer: {pdf}")
    print(f"Look at it on screen with: humproof gui {job.folder}")
    return 0


def _compare_pairs(job: Job) -> list[tuple[Comparison, Study, Study]]:
    from job import compare_studies, pairs, study_recording

    compared = []
    for pair in pairs(job):
        with progress_bar("analysing before, after and floor") as progress:
            before = study_recording(job.path(pair.before), lambda part: progress(part / 3))
            after = study_recording(job.path(pair.after), lambda part: progress((1 + part) / 3))
            floor = None
            if pair.floor:
                floor = study_recording(job.path(pair.floor), lambda part: progress((2 + part) / 3))
        compared.append((compare_studies(before, after, floor), before, after))
    return compared


def _make_report(folder: Path, output: Path | None) -> Path:
    from report import make_report

    with progress_bar("typesetting the report") as progress:
        return make_report(folder, output, progress=lambda fraction, text: progress(fraction))


def report(job: options.JobFolder, output: options.Pdf = None, json: options.Json = False) -> None:
    """Make the before/after document of a job. Example: humproof report van-12 -o van-12.pdf"""
    pdf = _make_report(job, output)
    if json:
        print_json({"job": str(job), "report": str(pdf)})
    else:
        print(f"{pdf}: made")


def gui(job: options.JobToShow = None) -> int:
    """Open the window. Example: humproof gui van-12"""
    from gui import run

    return run(job)
