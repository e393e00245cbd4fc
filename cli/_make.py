"""demo, report, gui: the whole job, its document, its window."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import typer

from cli import _keys
from cli import _options as options
from cli._shared import print_json, progress_bar, say

if TYPE_CHECKING:
    from analysis import Comparison
    from job import Job, JobDiagnosis, Study
    from report import Paper


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
    """The whole main job on the bundled sample job: verify, analyse, find the cause, compare, hand over the PDF.

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
    from job import comparison_json, diagnosis_json, verify_job
    from sample_data import copy_sample_job

    job = copy_sample_job(out)
    problems = verify_job(job)
    for problem in problems:
        say(f"humproof: {problem}")
    if problems:
        return 1
    found = _find_cause(job)
    compared = _compare_pairs(job)
    pdf = _make_report(job.folder, None)
    if json:
        comparisons = [comparison_json(comparison) for comparison, _, _ in compared]
        told = {"diagnosis": diagnosis_json(found), "comparisons": comparisons}
        print_json({"job": str(job.folder), **told, "report": str(pdf)})
        return 0
    from cli._look import show_comparison
    from cli._look_cause import show_search

    print(f"{job.facts.visit.title}: simulated; all figures come from {len(job.facts.recordings)} sealed recordings")
    show_search(found)
    for comparison, before, after in compared:
        show_comparison(comparison, before, after)
    print(f"The document for the customer: {pdf}")
    print(f"Look at it on screen with: humproof gui {job.folder}")
    return 0


def _find_cause(job: Job) -> JobDiagnosis:
    from job import diagnose_job, study_kept

    with progress_bar("weighing the causes by every isolation step") as progress:
        return diagnose_job(job, progress=progress, study=study_kept)


def _compare_pairs(job: Job) -> list[tuple[Comparison, Study, Study]]:
    from job import compare_studies, pairs, study_kept

    compared = []
    for pair in pairs(job):
        with progress_bar("analysing before, after and floor") as progress:
            before = study_kept(job.path(pair.before), lambda part: progress(part / 3))
            after = study_kept(job.path(pair.after), lambda part: progress((1 + part) / 3))
            floor = None
            if pair.floor:
                floor = study_kept(job.path(pair.floor), lambda part: progress((2 + part) / 3))
        compared.append((compare_studies(before, after, floor), before, after))
    return compared


def _make_report(folder: Path, output: Path | None) -> Path:
    from report import make_report

    with progress_bar("typesetting the report") as progress:
        return make_report(folder, output, progress=lambda fraction, text: progress(fraction))


def report(
    job: options.JobToReport = None,
    output: options.Pdf = None,
    csv: options.Csv = None,
    bom: options.Bom = False,
    clips: options.Clips = None,
    bundle: options.Bundle = None,
    sign: options.Sign = None,
    new_key: options.NewKey = None,
    paper: options.Paper = None,
    units: options.ReportUnits = None,
    letterhead: options.Letterhead = None,
    json: options.Json = False,
) -> None:
    """Make the before/after document of a job: a PDF or one HTML file, and what goes beside it.

    Example: humproof report van-12 -o van-12.pdf --csv van-12.csv --clips listen
    """
    if new_key is not None:
        _keys.make(new_key, json=json)
        return
    if job is None:
        from analysis import WrongUseError

        raise WrongUseError("JOB is missing: name the job's folder, or make a key with: humproof report --new-key FILE")
    from report import make_files

    signer = _keys.signer(sign, job) if sign is not None else None
    with progress_bar("typesetting the report") as progress:
        document, *beside = make_files(
            job,
            output,
            lambda fraction, text: progress(fraction),
            csv=csv,
            byte_order_mark=bom,
            clips=clips,
            bundle=bundle,
            signer=signer,
            paper=_paper(letterhead, paper, units),
        )
    if json:
        also = {"beside": [str(path) for path in beside]} if beside else {}
        print_json({"job": str(job), "report": str(document)} | also)
    else:
        for path in (document, *beside):
            print(f"{path}: made")


def _paper(shop: Path | None, size: str | None, units: str | None) -> Paper:
    """The shop's file, and what was asked for just now in its place."""
    from dataclasses import replace

    from analysis import WrongUseError
    from report import PAPER_SIZES, UNITS, shop_paper

    for name, value, known in (("paper", size, PAPER_SIZES), ("units", units, UNITS)):
        if value is not None and value not in known:
            raise WrongUseError(f"--{name} {value} is not known: choose {' or '.join(known)}")
    asked: dict[str, Any] = {"size": size, "units": units}
    return replace(shop_paper(shop), **{key: value for key, value in asked.items() if value is not None})


def gui(job: options.JobToShow = None) -> int:
    """Open the window. Example: humproof gui van-12"""
    from gui import run

    return run(job)
