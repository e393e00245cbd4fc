"""The document: numbers to the printed digit, hostile texts, digests, refusals."""

from __future__ import annotations

import hashlib
import json
import re
import shutil
import subprocess
import sys
from collections.abc import Iterator
from datetime import UTC, datetime
from html import unescape
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import pypdf
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from capture import Calibration, Conditions, RecordedChannel, RecordingInfo, RecordingWriter, SourceFacts
from job import (
    Job,
    JobError,
    JobFile,
    Shop,
    State,
    Vehicle,
    Visit,
    add_recording,
    compare_studies,
    comparison_json,
    decibels,
    fixed,
    measure_for,
    open_job,
    pairs,
    save_job,
    study_recording,
    two_digits,
    with_uncertainty,
)
from report import ReportError, make_files, make_report, read_report_digests, verify_report
from report._figures import Curve, Log, highest_per_column, mean_and_lowest
from sample_data import copy_sample_job

Floats = npt.NDArray[np.float64]

NOISE_RATE, SUPPLY_RATE = 8000.0, 2000.0
CALIBRATION = Calibration(date="2026-03-01", method="meter at 400 Hz", scale_uncertainty=0.01)
CONDITIONS = Conditions(
    engine_rpm=1500,
    loads=("blower", "headlamps"),
    volume="18 of 40",
    gains="unchanged",
    test_signal="silence",
    battery="70 Ah",
    temperature_c=-4.5,
    full_level_v=2.0,
)


# ---------------------------------------------------------------- small jobs of our own


def new_job(folder: Path, **visit: str) -> Job:
    """An empty job."""
    (folder / "recordings").mkdir(parents=True)
    facts = JobFile(
        format="humproof-job",
        version=1,
        visit=Visit(**({"number": "A-17", "title": "Whine in a delivery van"} | visit)),  # type: ignore[arg-type]
        vehicle=Vehicle(kind="van", description="white, long"),
        shop=Shop(name="Workshop", technician="T. Echnician"),
    )
    return save_job(Job(folder, facts))


def record(job: Job, state: State, channels: dict[str, Floats], rate: float = NOISE_RATE, **facts: Any) -> Job:
    """Write one recording whose channels are named by their roles."""
    path = job.folder / "recordings" / f"{len(job.facts.recordings) + 1:03d}-{state.replace(' ', '-')}.h5"
    bursts, inputs = facts.pop("bursts", ()), facts.pop("inputs", None)
    info = RecordingInfo(
        **{  # type: ignore[arg-type]
            "start_utc": datetime(2026, 3, 2, 9, len(job.facts.recordings), tzinfo=UTC),
            "rate_hz": rate,
            "channels": inputs or tuple(_channel(role) for role in channels),
            "source": SourceFacts(kind="synthetic", name="seeded numbers"),
            "software": "test",
            "simulated": False,
            "conditions": CONDITIONS,
        }
        | facts
    )
    with RecordingWriter(path, info, "<f8") as writer:
        writer.write(np.column_stack(list(channels.values())))
        for start, end in bursts:
            writer.mark("burst", round(start * rate), round((end - start) * rate))
    return add_recording(job, path, state)


def _channel(role: str) -> RecordedChannel:
    facts: dict[str, Any] = {"unit": "V", "coupling": "AC" if role.startswith("signal") else "DC"}
    return RecordedChannel(name=f"in {role}", role=role, calibration=CALIBRATION, **facts)


def whine(level_v: float, noise_v: float, seed: int, seconds: float = 4.0) -> Floats:
    """A line off every bin, in white noise."""
    time = np.arange(round(seconds * NOISE_RATE)) / NOISE_RATE
    noise = np.random.default_rng(seed).normal(0, noise_v, len(time))
    return np.asarray(np.sqrt(2) * level_v * np.sin(2 * np.pi * 413.37 * time) + noise)


BURSTS = ((0.7, 1.0), (1.9, 2.2), (3.1, 3.4))


def loaded(sag_v: float, seed: int, seconds: float = 4.0) -> Floats:
    """A battery that sags while bursts play."""
    time = np.arange(round(seconds * SUPPLY_RATE)) / SUPPLY_RATE
    volts = 13.2 + np.random.default_rng(seed).normal(0, 0.002, len(time))
    for start, end in BURSTS:
        volts[(time >= start) & (time < end)] -= sag_v
    return np.asarray(volts)


def full_job(folder: Path, **visit: str) -> Job:
    """A noise pair, a supply pair and a floor."""
    job = new_job(folder, **visit)
    supply = whine(0.012, 1e-3, 5) + 13.2
    job = record(job, "as found", {"signal@rear": whine(3.1e-3, 2e-5, 1), "supply": supply})
    job = record(job, "as left", {"signal@rear": whine(4.7e-5, 2e-5, 2), "supply": supply + whine(0, 1e-3, 6)})
    job = record(job, "instrument floor", {"signal@rear": whine(0, 2e-6, 3), "supply": whine(0, 1e-5, 7)})
    facts: dict[str, Any] = {
        "rate": SUPPLY_RATE,
        "bursts": BURSTS,
        "conditions": CONDITIONS.model_copy(update={"test_signal": "bursts"}),
    }
    job = record(job, "as found", {"supply": loaded(0.33, 8), "supply-amp": loaded(1.7, 9)}, **facts)
    return record(job, "as left", {"supply": loaded(0.33, 10), "supply-amp": loaded(0.6, 11)}, **facts)


def tiny_job(folder: Path, **visit: str) -> Job:
    """The smallest job with a pair: quick to make."""
    job = new_job(folder, **visit)
    job = record(job, "as found", {"signal": whine(1e-3, 2e-5, 1, 1.2)})
    return record(job, "as left", {"signal": whine(1e-4, 2e-5, 2, 1.2)})


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """A full job and its report."""
    folder = tmp_path_factory.mktemp("job") / "van"
    full_job(folder)
    return folder, make_report(folder)


@pytest.fixture(scope="module")
def sample(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The sample job's report."""
    # A copy: the report is noted in the job's folder.
    place = tmp_path_factory.mktemp("sample")
    return make_report(copy_sample_job(place / "van").folder, place / "van.pdf")


def text_of(pdf: Path) -> str:
    """The PDF's text, with every kind of white space turned into one blank and break marks taken out."""
    pages = (page.extract_text() for page in pypdf.PdfReader(pdf).pages)
    return " ".join("\n".join(pages).replace("\u200b", "").split())


def squeezed(text: str) -> str:
    """Without any white space: where lines broke does not matter."""
    return "".join(text.split())


# ---------------------------------------------------------------- numbers


NUMBER = re.compile(r"([+\u2212]?\d+(?:\.\d+)?) ± (\d+(?:\.\d+)?) ([kmµn]?)(V|dB|Hz|Ω|s)(?![a-z])")
FACTORS = {"k": 1e3, "": 1.0, "m": 1e-3, "µ": 1e-6, "n": 1e-9}


def printed_numbers(text: str) -> list[tuple[str, str, str, str]]:
    """Every "value ± uncertainty unit" in the order of the text."""
    return NUMBER.findall(text)


def agrees(printed: str, factor: float, value: float) -> bool:
    """True when `value` rounds to what is printed: they differ by no more than half of the last digit."""
    last = 10.0 ** -len(printed.partition(".")[2])
    return abs(float(printed.replace("\u2212", "-")) - value / factor) <= 0.5 * last * (1 + 1e-9)


def test_every_figure_of_the_comparison_is_printed_to_its_digit(made: tuple[Path, Path]) -> None:
    folder, pdf = made
    job = open_job(folder)
    found = printed_numbers(text_of(pdf))
    position = 0
    for pair in pairs(job):
        before, after = (study_recording(job.path(entry)) for entry in (pair.before, pair.after))
        floor = study_recording(job.path(pair.floor)) if pair.floor else None
        comparison = compare_studies(before, after, floor)
        for change, row in zip(comparison.changes, comparison_json(comparison)["changes"], strict=True):
            values = [row["before"], row["after"], row["change"]]
            spreads = [change.before_uncertainty, change.after_uncertainty, row["uncertainty"]]
            position = _find_row(found, position, values, spreads) + 3


def _find_row(
    found: list[tuple[str, str, str, str]], start: int, values: list[float], spreads: list[float | None]
) -> int:
    for index in range(start, len(found) - 2):
        row = found[index : index + 3]
        one_unit = len({(prefix, unit) for _, _, prefix, unit in row}) == 1
        if one_unit and all(
            spread is not None
            and agrees(number, FACTORS[prefix], value)
            and agrees(uncertainty, FACTORS[prefix], spread)
            and len(uncertainty.replace(".", "").lstrip("0")) == 2
            for (number, uncertainty, prefix, _), value, spread in zip(row, values, spreads, strict=True)
        ):
            return index
    raise AssertionError(f"{values} ± {spreads} is not printed as a row after number {start} of {found}")


def test_the_change_in_decibels_is_printed(made: tuple[Path, Path]) -> None:
    # A closed form: 20 log10(1.7 / 0.6) of the sags that were put in.
    assert f"\u2212{20 * np.log10(1.7 / 0.6):.1f} dB" in text_of(made[1])


@pytest.mark.parametrize(
    "value, uncertainty, unit, text",
    [
        # JCGM 100:2008, 7.2.6: 10.05762 ohm with 27 mohm is to be given as 10.058 ohm
        (10.05762, 0.027, "Ω", "10.058 ± 0.027 Ω"),
        # JCGM 100:2008, 7.2.4: (100.02147 ± 0.00079) g
        (100.02147, 0.00079, "g", "100.02147 ± 0.00079 g"),
        (0.0009474, 4.7e-6, "V", "947.4 ± 4.7 µV"),
        (1234.0, 118.0, "V", "1.23 ± 0.12 kV"),
        (0.0, 0.00262, "V", "0.0000 ± 0.0026 V"),
        (0.5, 1.0, "V", "500 ± 1000 mV"),
        (0.123, 0.00996, "V", "123 ± 10 mV"),
        (-3.0004, 0.051, "dB", "\u22123.000 ± 0.051 dB"),
        (-0.0001, 0.1, "dB", "0.00 ± 0.10 dB"),
        (0.1234567, None, "V", "123 mV (± unknown)"),
        (0.02, 0.001, "FS", "0.0200 ± 0.0010 FS"),
    ],
)
def test_two_digits_of_uncertainty(value: float, uncertainty: float | None, unit: str, text: str) -> None:
    assert with_uncertainty(value, uncertainty, measure_for(unit, value)).replace("\u00a0", " ") == text


@given(
    st.floats(-1e4, 1e4),
    st.floats(1e-6, 1e3),
)
def test_what_is_printed_lies_within_half_a_digit(value: float, uncertainty: float) -> None:
    measure = measure_for("V", value)
    [(number, spread, prefix, _)] = printed_numbers(" ".join(with_uncertainty(value, uncertainty, measure).split()))
    last = 10.0 ** -len(spread.partition(".")[2]) if "." in spread else 10.0 ** (len(spread) - 2)
    assert abs(float(number.replace("\u2212", "-")) * FACTORS[prefix] - value) <= 0.5001 * last * FACTORS[prefix]
    assert abs(float(spread) * FACTORS[prefix] - uncertainty) <= 0.0501 * uncertainty


def test_decibels_are_not_finer_than_the_figures() -> None:
    assert decibels(-26.04, 1.0, 0.05, (0.01, 0.001)).replace("\u00a0", " ") == "\u221226.0 dB"
    assert decibels(-26.04, 1.0, 0.05, (0.01, 0.06)).replace("\u00a0", " ") == "\u221226 dB"
    assert decibels(None, 1.0, 0.0, (0.01, 0.06)) == ""


def test_small_printed_things() -> None:
    assert fixed(0.04, 1, signed=True) == "0.0"
    assert fixed(0.06, 1, signed=True) == "+0.1"
    assert two_digits(0.0004, "V").replace("\u00a0", " ") == "400 µV"
    assert two_digits(0.5, "%").replace("\u00a0", " ") == "0.50 %"
    assert two_digits(0.0, "V").replace("\u00a0", " ") == "0 V"


# ---------------------------------------------------------------- pictures


def test_no_line_is_lost_between_plotting_columns() -> None:
    rms = np.full(40_001, 1e-6)
    lonely = [1234, 17_777, 40_000]
    rms[lonely] = [3e-3, 2e-3, 1e-3]
    frequency, drawn = highest_per_column(Curve("before", np.arange(40_001.0) * 0.6, rms))
    assert len(drawn) < 400
    assert set(np.array(lonely) * 0.6) <= set(frequency)
    assert sorted(drawn)[-3:] == [1e-3, 2e-3, 3e-3]


@pytest.mark.parametrize("steps", [1, 399, 400, 1_201, 1_600])
def test_trace_columns_keep_the_lowest_and_the_last_sample(steps: int) -> None:
    values = np.random.default_rng(steps).normal(13, 0.1, steps)
    _, mean, low = mean_and_lowest(Log("after", 0.001, values, (), 0.0, 0.0))
    assert low.min() == values.min()
    changed = values.copy()
    changed[-1] -= 5
    _, other_mean, other_low = mean_and_lowest(Log("after", 0.001, changed, (), 0.0, 0.0))
    assert other_low[-1] == changed[-1]
    assert other_mean[-1] < mean[-1]


def test_missing_samples_leave_a_hole_in_the_trace() -> None:
    values = np.full(1_200, 13.0)
    values[300:330] = np.nan
    time, mean, low = mean_and_lowest(Log("before", 0.001, values, (), 0.0, 0.0))
    hole = np.isnan(mean)
    assert np.array_equal(hole, np.isnan(low))
    assert time[hole].min() == pytest.approx(0.3015)
    assert time[hole].max() == pytest.approx(0.3285)


def test_both_pictures_are_there_with_their_settings(made: tuple[Path, Path]) -> None:
    text = text_of(made[1])
    for words in (
        "Spectrum at the amplifier's input (rear)",
        "Spectrum at the battery posts",
        "Supply at the amplifier's supply terminals",
        "Seconds from the first burst's start",
        "instrument's floor",
        # 8000 Hz in segments of 4096; a Hann window's noise bandwidth is 1.5 bins (Harris 1978, table 1).
        "Hann window, resolution 1.95 Hz",
        "V rms in 2.93 Hz",
    ):
        assert words in text, words
    # The line that was put in, as the caption names it.
    assert "Strongest line before: 413.3" in text


# ---------------------------------------------------------------- the page


def test_the_sample_job_makes_six_pages_marked_as_simulated(sample: Path) -> None:
    pages = [" ".join(page.extract_text().split()) for page in pypdf.PdfReader(sample).pages]
    assert len(pages) == 6
    for number, page in enumerate(pages, 1):
        assert "SIMULATED" in page
        assert f"Page {number} of 6" in page
    assert "eliminated" not in " ".join(pages)


def test_what_was_really_measured_is_not_called_simulated(made: tuple[Path, Path]) -> None:
    assert "SIMULATED" not in text_of(made[1])


def test_identity_and_conditions_stand_in_the_report(made: tuple[Path, Path]) -> None:
    text = text_of(made[1])
    for words in (
        "A-17",
        "Whine in a delivery van",
        "Relates only to this vehicle as tested",
        "van, white, long",
        "T. Echnician",
        "1500 rpm",
        "blower, headlamps",
        "18 of 40",
        "\u22124.5 °C",
        "2026-03-02 09:00:00 UTC",
        "8000 Hz, 4.000 s",
        "meter at 400 Hz, scale ± 1.0 %",
        "k = 2",
        "local codes",
        "End of report",
    ):
        assert words in text, words


def test_nothing_runs_off_the_page(made: tuple[Path, Path], sample: Path, tmp_path: Path) -> None:
    tiny_job(tmp_path / "long", title="W" * 300, complaint="ж" * 3000, number="9" * 500)
    for pdf in (made[1], sample, make_report(tmp_path / "long")):
        for width, words in _boxes(pdf):
            outside = [word for word, left, right in words if left < 40 or right > width - 40]
            assert not outside, (pdf, outside)


def _boxes(pdf: Path) -> Iterator[tuple[float, list[tuple[str, float, float]]]]:
    """Per page its width and every word's left and right edge, as poppler's pdftotext sees them."""
    if shutil.which("pdftotext") is None:
        pytest.skip("pdftotext is not installed")
    command = ["pdftotext", "-bbox", str(pdf), "-"]
    html = subprocess.run(command, check=True, capture_output=True, text=True).stdout
    for part in html.split("<page ")[1:]:
        found = re.findall(r'<word xMin="([\d.-]+)".*?xMax="([\d.-]+)".*?>(.*?)</word>', part)
        width = float(part.split('width="')[1].split('"')[0])
        yield width, [(unescape(word), float(left), float(right)) for left, right, word in found]


def test_progress_rises_to_one(tmp_path: Path) -> None:
    tiny_job(tmp_path / "job")
    seen: list[tuple[float, str]] = []
    make_report(tmp_path / "job", progress=lambda fraction, text: seen.append((fraction, text)))
    fractions = [fraction for fraction, _ in seen]
    assert fractions == sorted(fractions)
    assert fractions[0] == 0
    assert fractions[-1] == 1
    assert all(text for _, text in seen)


# ---------------------------------------------------------------- hostile texts


HOSTILE = (
    '#set page(fill: red) #eval("1+1") $x^2$ *b* _i_ `r` <l> @ref // /* */ [x] #{panic()} = h',
    '\\n \\u{41} %s {0} {{x}} ${HOME} \'; DROP "quoted" & <b>bold</b>',
    "Größe 4,7 kΩ → µV ≤ 3 · naïve Œuvre Łódź Ελλάδα Київ",
    "🚐🎵 no sound",
    "../../etc/passwd C:\\x\\y",
)


@pytest.mark.parametrize("words", HOSTILE)
def test_texts_stand_as_typed(words: str, tmp_path: Path) -> None:
    job = tiny_job(tmp_path / "job", title=words, complaint=words, number=words, done=words)
    path = job.folder / "recordings" / "odd.h5"
    info = study_recording(job.path(job.facts.recordings[0])).info
    channel = info.channels[0].model_copy(update={"role": f"signal@{words}", "name": words})
    conditions = CONDITIONS.model_copy(update={"volume": words, "loads": (words,)})
    for state in ("as found", "as left"):
        path = path.with_name(f"{state}.h5")
        with RecordingWriter(path, info.changed(channels=(channel,), conditions=conditions), "<f8") as writer:
            writer.write(whine(1e-3, 1e-5, len(state), 1.2)[:, None])
        job = add_recording(job, path, state)
    reader = pypdf.PdfReader(make_report(job.folder))
    text = squeezed("".join(page.extract_text() for page in reader.pages)).replace("\u200b", "")
    # Title, number, complaint, done, volume, loads, place and channel name; as typed, or by code where no font has it.
    shown = words if squeezed(words) in text else words.replace("🚐🎵", "[U+1F690 U+1F3B5]")
    assert text.count(squeezed(shown)) >= 7
    assert reader.metadata is not None
    assert reader.metadata.title == words


def test_right_to_left_words_are_there(tmp_path: Path) -> None:
    tiny_job(tmp_path / "job", complaint="הרדיו מזמזם والراديو صامت", title="שלום")
    text = text_of(make_report(tmp_path / "job"))
    for word in ("הרדיו", "מזמזם", "صامت", "שלום"):
        assert word in text or word[::-1] in text, word


def test_ten_thousand_characters_without_a_blank(tmp_path: Path) -> None:
    tiny_job(tmp_path / "job", complaint="ж" * 10_000)
    assert text_of(make_report(tmp_path / "job")).count("ж") == 10_000


@settings(max_examples=12, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.text(st.characters(exclude_categories=["Cs", "Cc", "Cf", "Co", "Cn"]), max_size=200))
def test_any_text_compiles(tmp_path: Path, words: str) -> None:
    folder = tmp_path / hashlib.sha256(words.encode()).hexdigest()
    if not folder.exists():
        tiny_job(folder, complaint=words, title=words[:80])
    assert len(pypdf.PdfReader(make_report(folder)).pages) >= 1


# ---------------------------------------------------------------- digests


def test_digests_are_those_of_the_files(made: tuple[Path, Path]) -> None:
    folder, pdf = made
    digests, text = read_report_digests(pdf), text_of(pdf)
    assert digests.job_number == "A-17"
    assert digests.job_sha256 == _sha256(folder / "job.toml")
    assert len(digests.recordings) == 5
    for entry in digests.recordings:
        assert entry.sha256 == _sha256(folder / entry.file)
        assert entry.sha256 in text
    assert digests.job_sha256 in text


def test_digests_can_be_copied_whole(made: tuple[Path, Path]) -> None:
    words = {word for _, page in _boxes(made[1]) for word, _, _ in page}
    assert {entry.sha256 for entry in read_report_digests(made[1]).recordings} <= words


def _sha256(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


def test_another_program_finds_the_same_attachment(made: tuple[Path, Path], tmp_path: Path) -> None:
    if shutil.which("pdfdetach") is None:
        pytest.skip("pdfdetach (poppler-utils) is not installed")
    out = tmp_path / "digests.json"
    subprocess.run(["pdfdetach", "-save", "1", "-o", str(out), str(made[1])], check=True, capture_output=True)
    found = json.loads(out.read_text(encoding="utf-8"))
    assert found["format"] == "humproof-report"
    assert found["recordings"][0]["sha256"] == _sha256(made[0] / found["recordings"][0]["file"])


@pytest.fixture
def copied(made: tuple[Path, Path], tmp_path: Path) -> Path:
    """A copy of the full job, to be tampered with."""
    return Path(shutil.copytree(made[0], tmp_path / "copy"))


def test_untouched_files_verify(copied: Path, tmp_path: Path) -> None:
    assert verify_report(copied / "report.pdf") == []
    # The recordings alone beside the PDF are enough.
    flat = tmp_path / "flat"
    flat.mkdir()
    for path in [*(copied / "recordings").iterdir(), copied / "report.pdf"]:
        shutil.copy(path, flat)
    assert verify_report(flat / "report.pdf") == []
    assert verify_report(flat / "report.pdf", copied) == []


def test_one_flipped_bit_is_named(copied: Path) -> None:
    path = copied / "recordings" / "002-as-left.h5"
    data = bytearray(path.read_bytes())
    data[len(data) // 2] ^= 1
    path.write_bytes(data)
    [complaint] = verify_report(copied / "report.pdf")
    assert complaint.startswith(f"{path}: is not the file")


def test_swapped_and_missing_recordings_are_named(copied: Path) -> None:
    first, second, third = (
        copied / "recordings" / name for name in ("001-as-found.h5", "002-as-left.h5", "003-instrument-floor.h5")
    )
    third.unlink()
    first.rename(third.with_suffix(".tmp"))
    second.rename(first)
    third.with_suffix(".tmp").rename(second)
    complaints = verify_report(copied / "report.pdf")
    assert [text.partition(": ")[0] for text in complaints] == [str(first), str(second), str(third)]
    assert "is missing" in complaints[2]


def test_a_changed_job_file_is_named(copied: Path) -> None:
    file = copied / "job.toml"
    file.write_text(file.read_text(encoding="utf-8") + "\n", encoding="utf-8")
    assert [text.partition(": ")[0] for text in verify_report(copied / "report.pdf")] == [str(file)]


def test_files_that_are_no_report_are_refused(tmp_path: Path) -> None:
    other = tmp_path / "other.pdf"
    writer = pypdf.PdfWriter()
    writer.add_blank_page(72, 72)
    writer.write(other)
    (tmp_path / "text.pdf").write_text("no PDF")
    (tmp_path / "empty.pdf").touch()
    _refused(lambda: verify_report(other), "other.pdf: is not a report of humproof")
    _refused(lambda: verify_report(tmp_path / "text.pdf"), "text.pdf: is not a PDF")
    _refused(lambda: verify_report(tmp_path / "empty.pdf"), "empty.pdf: is not a PDF")
    _refused(lambda: verify_report(tmp_path / "none.pdf"), "none.pdf: there is no such file")


@pytest.mark.parametrize(
    "change, words",
    [
        (
            {"recordings": [{"file": "../../secret", "state": "as left", "sha256": "0" * 64}]},
            "does not lie in",
        ),
        ({"job_sha256": "abc"}, "job_sha256"),
        ({"version": 3}, "version 3"),
        ({"format": "other"}, "format"),
    ],
)
def test_forged_digests_are_refused(copied: Path, change: dict[str, Any], words: str) -> None:
    facts = json.loads(read_report_digests(copied / "report.pdf").model_dump_json()) | change
    forged = copied / "forged.pdf"
    writer = pypdf.PdfWriter()
    writer.add_blank_page(72, 72)
    writer.add_attachment("humproof-digests.json", json.dumps(facts).encode())
    writer.write(forged)
    _refused(lambda: verify_report(forged), words)


# ---------------------------------------------------------------- jobs that are not whole


def test_only_before_makes_a_page_without_a_claim(tmp_path: Path) -> None:
    job = new_job(tmp_path / "job")
    record(job, "as found", {"signal": whine(1e-3, 2e-5, 1)})
    text = text_of(make_report(job.folder))
    assert "No change is claimed, because only one side was recorded." in text
    assert "Nothing was recorded as left" in text
    assert "Noise, A-weighted" in text
    for word in ("improved", "worse", "better than before"):
        assert word not in text, word


def test_only_after_says_that_the_state_before_is_unknown(tmp_path: Path) -> None:
    job = new_job(tmp_path / "job")
    record(job, "as left", {"signal": whine(1e-3, 2e-5, 1)})
    text = text_of(make_report(job.folder))
    assert "Nothing was recorded as found" in text
    assert "improved" not in text


def test_both_sides_without_a_partner(tmp_path: Path) -> None:
    job = new_job(tmp_path / "job")
    job = record(job, "as found", {"signal": whine(1e-3, 2e-5, 1)})
    record(job, "as left", {"speaker": whine(1e-4, 2e-5, 2)})
    text = text_of(make_report(job.folder))
    assert "No change is claimed, because no as-found recording has a partner." in text
    assert "No as-found recording has an as-left partner" in text


def test_only_the_floor_was_recorded(tmp_path: Path) -> None:
    job = new_job(tmp_path / "job")
    record(job, "instrument floor", {"signal": whine(0, 2e-6, 1)})
    assert "Nothing was recorded as found" in text_of(make_report(job.folder))


def test_an_unpaired_recording_beside_a_pair_is_named(tmp_path: Path) -> None:
    job = tiny_job(tmp_path / "job")
    record(job, "as found", {"signal": whine(1e-3, 2e-5, 1)}, isolation_step="signal leads off")
    text = text_of(make_report(job.folder))
    assert "Not compared" in text
    assert "003-as-found.h5" in text


def test_different_engine_speeds_carry_no_claim(tmp_path: Path) -> None:
    job = new_job(tmp_path / "job")
    job = record(job, "as found", {"signal": whine(1e-3, 2e-5, 1)})
    faster = CONDITIONS.model_copy(update={"engine_rpm": 2000.0})
    record(job, "as left", {"signal": whine(1e-4, 2e-5, 2)}, conditions=faster)
    text = text_of(make_report(job.folder))
    assert "No change is claimed, because the two sides are not comparable: engine speeds differ" in text
    assert "Not comparable: the figures below stand side by side without a claim" in text
    assert "better than before" not in text
    assert "improved" not in text.replace("Improved or worse is said only", "")


def test_the_same_samples_on_both_sides_show_no_change(tmp_path: Path) -> None:
    job = new_job(tmp_path / "job")
    for state in ("as found", "as left"):
        job = record(job, state, {"signal": whine(1e-3, 2e-5, 1)})
    assert "No change is shown: no figure moved by more than its uncertainty." in text_of(make_report(job.folder))


def test_a_change_for_the_worse_stands_on_top(tmp_path: Path) -> None:
    job = new_job(tmp_path / "job")
    job = record(job, "as found", {"signal": whine(1e-4, 2e-5, 1)})
    record(job, "as left", {"signal": whine(1e-3, 2e-5, 2)})
    text = text_of(make_report(job.folder))
    assert re.search(r"at the amplifier's input rose from .*?, worse than before\.", text)
    assert "Worse: " in text


def test_uncalibrated_shares_of_full_scale_and_no_role(tmp_path: Path) -> None:
    job = new_job(tmp_path / "job")
    channel = RecordedChannel(name="left", unit="FS", coupling="unknown")
    for state, level in (("as found", 0.1), ("as left", 0.01)):
        signal = whine(level, 1e-4, 1)
        job = record(job, state, {"signal": signal}, inputs=(channel,))  # type: ignore[arg-type]
    text = text_of(make_report(job.folder))
    assert "Spectrum on channel left" in text
    assert "FS rms in" in text
    assert "Not calibrated" in text


# ---------------------------------------------------------------- refusals


def _refused(call: Any, words: str) -> None:
    with pytest.raises(ReportError) as caught:
        call()
    message = str(caught.value)
    assert words in message
    assert "\n" not in message


def _listing(folder: Path) -> set[Path]:
    return set(folder.rglob("*"))


def test_a_job_without_a_recording_is_refused(tmp_path: Path) -> None:
    job = new_job(tmp_path / "job")
    before = _listing(job.folder)
    _refused(lambda: make_report(job.folder), f"{job.folder}: has no recording yet")
    assert _listing(job.folder) == before


def test_a_missing_recording_is_refused(copied: Path) -> None:
    path = copied / "recordings" / "002-as-left.h5"
    path.unlink()
    old = (copied / "report.pdf").read_bytes()
    _refused(lambda: make_report(copied), f"{path}: is missing")
    assert (copied / "report.pdf").read_bytes() == old


def test_a_changed_recording_is_refused(copied: Path) -> None:
    path = copied / "recordings" / "003-instrument-floor.h5"
    data = bytearray(path.read_bytes())
    data[-100] ^= 4
    path.write_bytes(data)
    _refused(lambda: make_report(copied), str(path))


def test_a_folder_that_is_no_job_is_refused(tmp_path: Path) -> None:
    with pytest.raises(JobError, match=r"no job\.toml"):
        make_report(tmp_path)


def test_outputs_that_cannot_be_are_refused(copied: Path) -> None:
    recording = copied / "recordings" / "001-as-found.h5"
    before = _listing(copied)
    _refused(lambda: make_report(copied, recording), "exists and is not a PDF")
    _refused(lambda: make_report(copied, copied / "recordings"), "is a folder")
    _refused(lambda: make_report(copied, copied / "nowhere" / "x.pdf"), "there is no folder")
    _refused(lambda: make_files(copied, copied / "report.docx"), "end its name in .pdf or .html")
    assert _listing(copied) == before
    assert verify_report(copied / "report.pdf") == []


def test_a_failure_while_typesetting_leaves_the_old_report(copied: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(*_: object) -> bytes:
        raise ReportError("no")

    before, old = _listing(copied), (copied / "report.pdf").read_bytes()
    monkeypatch.setattr("report._typeset._compile", fail)
    _refused(lambda: make_report(copied), "no")
    assert _listing(copied) == before
    assert (copied / "report.pdf").read_bytes() == old


def test_a_full_disk_leaves_the_old_report(copied: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    before, old = _listing(copied), (copied / "report.pdf").read_bytes()
    monkeypatch.setattr("os.fsync", full)
    _refused(lambda: make_report(copied), "report.pdf: cannot be written: No space left on device")
    assert _listing(copied) == before
    assert (copied / "report.pdf").read_bytes() == old


def test_importing_the_room_loads_no_drawing_and_no_typesetting() -> None:
    code = "import report, sys; print(sorted({'matplotlib', 'typst', 'pypdf', 'PyQt6'} & set(sys.modules)))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=Path.cwd())
    assert done.stdout.strip() == "[]"
