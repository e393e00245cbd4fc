"""Every number of the sample job's PDF, read back by poppler's pdftotext, is a number of the commands' JSON.

A printed "947.4 ± 4.7 µV" agrees with a value and its uncertainty when both lie within half of their last digit; units
are told from the JSON's keys, so that an ampere never proves a volt.
"""

from __future__ import annotations

import re
import shutil
import subprocess
from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from job import (
    Job,
    Study,
    compare_studies,
    comparison_json,
    diagnose_job,
    diagnosis_json,
    open_job,
    pairs,
    read_wiring_file,
    study_json,
    study_recording,
    wiring_json,
    wiring_study,
    with_floor,
)
from report import compose_report
from sample_data import SAMPLE_JOB

FACTORS = {"k": 1e3, "": 1.0, "m": 1e-3, "µ": 1e-6, "n": 1e-9}
_UNIT = r"(?P<prefix>[kmµn]?)(?P<unit>V|dB|Hz|Ω|W|A|s)(?![\w²])"
PAIR = re.compile(rf"(?P<value>[+−]?\d+(?:\.\d+)?)\s±\s(?P<spread>\d+(?:\.\d+)?)\s{_UNIT}")
ALONE = re.compile(rf"(?<![\w.±–])(?P<value>[+−]?\d+(?:\.\d+)?)\s(?:{_UNIT}|(?P<other>%|mm²|m)(?![\w²]))")
#: settings and rules, no figures of this job: resolution, a limit, a confidence, a plotting step; and what `PAIR` has
_FIXED = re.compile(
    r"resolution [\d.]+\sHz|noise bandwidth [\d.]+\sHz|rms in [\d.]+\sHz|limit at (?:most|least) [^\n]*"
    r"|at least 95 %|about 95 %|lowest \d+ ms mean|±\s[\d.]+\s\S+"
)
_SUFFIXES = {
    "_a": "A", "amps": "A", "_w": "W", "_v": "V", "volts": "V", "_ohm": "Ω", "_mm2": "mm²", "_m": "m", "_hz": "Hz",
    "_s": "s", "_db": "dB", "probability": "%", "share": "%", "power": "%", "demand": "%",
}  # fmt: skip
#: keys whose unit stands beside them
_VALUES = ("value", "rms", "before", "after", "change", "figure", "limit", "uncertainty")


class Numbers:
    """Every number of some JSON by its unit, with the uncertainties that stand beside it; and its words."""

    def __init__(self) -> None:
        self.alone: defaultdict[str, set[float]] = defaultdict(set)
        self.pairs: defaultdict[str, set[tuple[float, float]]] = defaultdict(set)
        self.words: list[str] = []

    def take(self, value: Any) -> None:
        """All of it, at any depth."""
        if isinstance(value, dict):
            self._object(value)
        for one in value.values() if isinstance(value, dict) else value if isinstance(value, (list, tuple)) else ():
            self.take(one)
        if isinstance(value, str):
            self.words.append(" ".join(value.split()))

    def _object(self, value: dict[str, Any]) -> None:
        spreads = [float(one) for key, one in value.items() if "uncertainty" in key and _is_number(one)]
        for key, one in value.items():
            for number in one if isinstance(one, list) else [one]:
                unit = _unit_of(key, value)
                if unit and _is_number(number):
                    self.alone[unit].add(float(number))
                    self.pairs[unit] |= {(float(number), spread) for spread in spreads}

    def has_pair(self, found: re.Match[str]) -> bool:
        """Whether value and uncertainty belong together somewhere, or stand so in a sentence of the JSON."""
        factor = FACTORS[found["prefix"]]
        return self._in_words(found) or any(
            agrees(found["value"], factor, value) and agrees(found["spread"], factor, spread)
            for value, spread in self.pairs[found["unit"]]
        )

    def _in_words(self, found: re.Match[str]) -> bool:
        return any(" ".join(found[0].split()) in words for words in self.words)

    def has(self, found: re.Match[str]) -> bool:
        """Whether there is such a number, or the very words."""
        unit = found["other"] or found["unit"]
        factor = 0.01 if unit == "%" else FACTORS[found["prefix"] or ""]
        return self._in_words(found) or any(agrees(found["value"], factor, value) for value in self.alone[unit])


def _is_number(value: Any) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool)


def _unit_of(key: str, value: dict[str, Any]) -> str:
    if key in _VALUES and isinstance(value.get("unit"), str):
        return str(value["unit"])
    return next((unit for suffix, unit in _SUFFIXES.items() if key.endswith(suffix)), "")


def agrees(printed: str, factor: float, value: float) -> bool:
    """True when `value` rounds to what is printed: they differ by no more than half of the last digit."""
    number = printed.replace("−", "-")
    last = 10.0 ** -len(number.partition(".")[2])
    return abs(float(number) - value / factor) <= 0.5 * last * (1 + 1e-9) + 1e-12


# ---------------------------------------------------------------- the sample job


@pytest.fixture(scope="module")
def studies() -> dict[Path, Study]:
    """Every recording, as `humproof analyse` studies it."""
    job = open_job(SAMPLE_JOB)
    return {job.path(entry): study_recording(job.path(entry)) for entry in job.facts.recordings}


@pytest.fixture(scope="module")
def page(studies: dict[Path, Study], tmp_path_factory: pytest.TempPathFactory) -> str:
    """The PDF's text."""
    if shutil.which("pdftotext") is None:
        pytest.skip("pdftotext (poppler-utils) is not installed")
    pdf = tmp_path_factory.mktemp("numbers") / "van.pdf"
    report = compose_report(SAMPLE_JOB, study=lambda job, entry, progress: studies[job.path(entry)])
    pdf.write_bytes(report.pdf)
    command = ["pdftotext", "-layout", "-enc", "UTF-8", str(pdf), "-"]
    return subprocess.run(command, check=True, capture_output=True).stdout.decode()


@pytest.fixture(scope="module")
def told(studies: dict[Path, Study]) -> Numbers:
    """The JSON of analyse, compare, wiring and diagnose."""
    numbers, job = Numbers(), open_job(SAMPLE_JOB)
    for one in _objects(job, studies):
        numbers.take(one)
    return numbers


def _objects(job: Job, studies: dict[Path, Study]) -> Iterator[dict[str, Any]]:
    for study in studies.values():
        yield study_json(study)
    for pair in pairs(job):
        before, after = studies[job.path(pair.before)], studies[job.path(pair.after)]
        floor = studies[job.path(pair.floor)] if pair.floor else None
        yield comparison_json(compare_studies(before, after, floor))
        for study in (before, after) if floor else ():
            yield study_json(with_floor(study, floor))
    yield diagnosis_json(diagnose_job(job, study=lambda path, progress: studies[path]))
    for state in read_wiring_file(job.folder / "wiring.toml").states():
        yield wiring_json(wiring_study(job.folder / "wiring.toml", state, changes=False))


def results(page: str) -> str:
    """Everything that says what was measured or reckoned: until the method, without the job's own dates and names."""
    return _FIXED.sub(" ", page.partition("Method: what was recorded")[0])


# ---------------------------------------------------------------- the tests


def test_every_number_with_its_uncertainty_is_one_of_the_json(page: str, told: Numbers) -> None:
    found = list(PAIR.finditer(page.partition("Method: what was recorded")[0]))
    assert [one[0] for one in found if not told.has_pair(one)] == []
    # Headline and its numbers 8, two sheets 10 rows of three and two floors, captions 8, losses 8, ledger 14, power 2.
    assert len(found) >= 68


def test_the_losses_are_those_of_the_split_row_by_row(page: str, studies: dict[Path, Study]) -> None:
    part = page.partition("Where the volts went")[2].partition("Rule of the verdicts")[0]
    cells = list(PAIR.finditer(part))
    [pair] = [pair for pair in pairs(open_job(SAMPLE_JOB)) if "bursts" in pair.before.file]
    sides = [study_json(studies[SAMPLE_JOB / one.file])["supply"]["splits"][0] for one in (pair.before, pair.after)]
    rows = zip(*([*side["parts"], side["remainder"]] for side in sides), strict=True)
    expected = [one for both in rows for one in both]
    assert len(cells) == len(expected) == 8
    for cell, one in zip(cells, expected, strict=True):
        factor = FACTORS[cell["prefix"]]
        assert cell["unit"] == "V"
        assert agrees(cell["value"], factor, one["volts"]), cell[0]
        assert agrees(cell["spread"], factor, one["uncertainty"]), cell[0]
    # Beside the bars the same values stand alone.
    labels = re.findall(r"(?:before|after)\s+(\S+)\smV", part)
    assert sorted(labels) == sorted(cell["value"] for cell in cells)


def test_every_other_number_with_a_unit_is_one_of_the_json(page: str, told: Numbers) -> None:
    found = list(ALONE.finditer(results(page)))
    assert [one[0] for one in found if not told.has(one)] == []
    assert len(found) >= 150


def test_a_wrong_digit_would_be_found(page: str, told: Numbers) -> None:
    wrong = 0
    found = list(PAIR.finditer(page.partition("Method: what was recorded")[0]))
    for one in found:
        last = one["value"][-1]
        changed = one[0].replace(one["value"], one["value"][:-1] + str((int(last) + 3) % 10), 1)
        match = PAIR.fullmatch(changed)
        assert match
        wrong += not told.has_pair(match)
    assert wrong >= 0.95 * len(found)


def test_a_unit_is_not_proven_by_another(told: Numbers) -> None:
    volts = PAIR.fullmatch("947.4 ± 4.7 µV")
    amperes = PAIR.fullmatch("947.4 ± 4.7 µA")
    millivolts = PAIR.fullmatch("947.4 ± 4.7 mV")
    assert volts
    assert amperes
    assert millivolts
    assert told.has_pair(volts)
    assert not told.has_pair(amperes)
    assert not told.has_pair(millivolts)
