"""A simulated vehicle with a fault to be found: a job with its baseline, and how to go on from there."""

from __future__ import annotations

from pathlib import Path

from cli._shared import print_json, say

_RECORDED_S = 12.0
_RPM = 1500.0


def practice(folder: Path, fault: str, seed: int, *, json: bool) -> int:
    """Record the baseline of a vehicle of that seed and say which commands find its fault."""
    from capture import Asked, ChannelWishes, Conditions, make_sources
    from job import Plan, Taking, open_sources

    facts = Conditions(
        engine_rpm=_RPM, loads=("lamps",), volume="half", gains="as found", test_signal="dithered silence"
    )
    settings = {"fault": fault, "seed": str(seed), "live": "no"}
    inputs = open_sources(make_sources(["simulated-vehicle"], Asked(conditions=facts), settings), ChannelWishes())
    taking = Taking(folder, inputs, Plan("as found", "baseline", facts, _RECORDED_S))
    taking.start()
    taken = taking.taken()
    faults = [*(track.fault for track in taken.outcomes if track.fault), *taken.problems]
    for text in faults:
        say(f"humproof: {text}")
    if json:
        print_json({"job": str(folder), "simulated": True, "fault": fault, "seed": seed})
    elif not faults:
        _tell(folder, fault, seed)
    return 1 if faults else 0


def _tell(folder: Path, fault: str, seed: int) -> None:
    vehicle = f"--source simulated-vehicle --setting fault={fault} --setting seed={seed}"
    held = f'--rpm {_RPM:g} --load lamps --volume half --gains "as found" --test-signal "dithered silence"'
    print(f"{folder}: a simulated vehicle whose sound system is noisy; what is wrong is for you to find.")
    print(f"  humproof diagnose {folder}")
    print("tells the likeliest causes and the step that would tell most next. Do it, in its words, and ask again:")
    print(f'  humproof record {folder} {vehicle} {held} --duration {_RECORDED_S:g} --step "..."')
    print("What ear, eye and a meter tell of it, for the questions that no recording answers:")
    print(f"  humproof demo --fault {fault} --seed {seed} --by-hand")
    print(f"What it was in truth: humproof demo --fault {fault} --seed {seed} --reveal")


def by_hand(fault: str, seed: int, *, json: bool) -> int:
    """Say what ear, eye and a meter tell of the vehicle of that seed, as `diagnose` takes it."""
    import numpy as np

    from capture import random_vehicle
    from job import practice_answers

    told = practice_answers(random_vehicle(seed, fault), np.random.default_rng(seed))
    answers = {one.item: f"{one.reading:.3g}" if one.reading is not None else one.said for one in told}
    if json:
        print_json({"seed": seed, "answers": answers})
        return 0
    for item, answer in answers.items():
        print(f"--answer {item}={answer}")
    return 0


def reveal(fault: str, seed: int, *, json: bool) -> int:
    """Say what is wrong with the vehicle of that seed."""
    from analysis import CAUSE_BY_SLUG
    from capture import random_vehicle

    causes = random_vehicle(seed, fault).causes
    if json:
        print_json({"seed": seed, "causes": list(causes)})
        return 0
    for slug in causes:
        print(f"{slug}: {CAUSE_BY_SLUG[slug].words}; first cure: {CAUSE_BY_SLUG[slug].first_cure}")
    return 0
