"""A whole visit with keyboard and mouse only, in the real window, through a real sound server and down to the PDF."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
import tomllib
from pathlib import Path
from typing import Any

import pytest

from capture import Recording, verify_recording
from job import open_job
from tests.gui.visit_driver import RIPPLE_HZ, RPM, WHINE_V
from tests.support import ROOT, NullSink, VirtualScreen, run_humproof

#: what each of the six recordings is, in the order of the visit
STRAP = "strap from processor case to amplifier ground"
TAKES = [
    ("as found", "baseline"),
    ("as found", STRAP),
    ("as found", "baseline"),
    ("as found", STRAP),
    ("instrument floor", "inputs shorted at the clips"),
    ("as left", "baseline"),
]


@pytest.fixture(scope="module")
def visit(null_sink: NullSink, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder of the job that a person at the window made, on a screen as small as a shop's laptop."""
    folder = tmp_path_factory.mktemp("visit")
    command = [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", "-p", "no:xdist"]
    with VirtualScreen(1366, 768) as screen:
        environment = {**null_sink.environment, **screen.variables, "HUMPROOF_VISIT": str(folder)}
        environment = {name: value for name, value in environment.items() if not name.startswith("PYTEST_")}
        done = subprocess.run(
            [*command, "tests/gui/visit_driver.py"],
            cwd=ROOT, env=environment, capture_output=True, text=True, check=False, timeout=240,
        )  # fmt: skip
    assert done.returncode == 0, f"{done.stdout[-6000:]}\n{done.stderr[-2000:]}\npictures are in {folder}"
    return folder / "Ferry shuttle whine"


def test_everything_that_was_recorded_is_whole(visit: Path) -> None:
    job = open_job(visit)
    entries = job.facts.recordings
    for entry, (state, step) in zip(entries, TAKES, strict=True):
        verify_recording(job.path(entry))
        with Recording(job.path(entry)) as recording:
            info = recording.info
            assert (entry.state, info.isolation_step) == (state, step)
            assert recording.gaps == []
            assert recording.frames == 3 * NullSink.rate_hz
        assert (info.source.kind, info.simulated) == ("sound-card", False)
        assert [(one.role, one.unit, one.coupling) for one in info.channels] == [
            ("supply", "V", "DC"),
            ("signal", "V", "AC"),
        ]
        held = info.conditions
        assert (held.engine_rpm, held.loads, held.volume) == (RPM, ("headlamps",), "21 of 40")


def test_the_noise_that_was_heard_is_what_was_played(visit: Path) -> None:
    """Least squares of the whine's own frequency: what a voltmeter tuned to it would show."""
    job = open_job(visit)
    played = [WHINE_V[name] for name in ("found", "strapped", "found", "strapped")]
    for entry, whine in zip(job.facts.recordings, [*played, 0.0, WHINE_V["left"]], strict=True):
        with Recording(job.path(entry)) as recording:
            volts = recording.values()
        assert _rms_of_line(volts[:, 1]) == pytest.approx(whine, rel=0.01, abs=2e-7)
        if entry.state != "instrument floor":
            assert volts[:, 0].mean() == pytest.approx(13.8, rel=1e-4)


def _rms_of_line(volts: Any) -> float:
    import numpy as np

    angle = 2 * np.pi * RIPPLE_HZ * np.arange(len(volts)) / NullSink.rate_hz
    cosine, sine = (2 * np.mean(volts * wave(angle)) for wave in (np.cos, np.sin))
    return float(np.hypot(cosine, sine) / np.sqrt(2))


def test_the_job_says_what_was_typed(visit: Path) -> None:
    facts = tomllib.loads((visit / "job.toml").read_text(encoding="utf-8"))
    assert facts["visit"]["title"] == "Ferry shuttle: whine"
    assert facts["visit"]["complaint"] == "Whine that follows the engine"
    assert facts["vehicle"]["kind"] == "bus"
    assert facts["outcome"]["cause"] == "shield-loop"
    assert [answer["reading"] for answer in facts["answers"]] == [0.03]
    assert tomllib.loads((visit / "wiring.toml").read_text(encoding="utf-8"))["format"] == "humproof-wiring"


def test_the_pdf_and_the_command_agree(visit: Path) -> None:
    """The printed page says what `humproof compare` reckons anew from the recordings, and both what was played."""
    text = _text_of(visit / "report.pdf")
    takes = visit / "recordings"
    found, left, floor = (next(iter(takes.glob(f"{number}-*.h5"))) for number in ("001", "006", "005"))
    result = json.loads(run_humproof("compare", found, left, "--floor", floor, "--json", check=True).stdout)
    assert result["comparable"]
    assert result["verdict"] in text
    assert result["verdict"].startswith("improved: 2")
    noise = next(change for change in result["changes"] if change["quantity"] == "noise_rms")
    assert noise["verdict"] == "improved"
    printed = re.findall(r"amplifier's input fell from ([\d.]+) ± [\d.]+ mV to ([\d.]+) ± [\d.]+ mV", text)
    assert printed, text[:600]
    # Whichever of the two noise figures is the clearest stands in the headline.
    weighted = next(change for change in result["changes"] if change["quantity"] == "noise_rms_a")
    pairs = [(_as_printed(change, printed[0]), printed[0]) for change in (noise, weighted)]
    assert any(ours == theirs for ours, theirs in pairs), pairs
    # With the hiss that was played beside the whine, 20 µV over 48 kHz of which 20 kHz count.
    hiss = 2e-5 * (20 / 48) ** 0.5
    for value, name in ((noise["before"], "found"), (noise["after"], "left")):
        assert value == pytest.approx((WHINE_V[name] ** 2 + hiss**2) ** 0.5, rel=0.02)
    for words in ("Whine that follows the engine", "Processor's ground moved to the common point", "bus"):
        assert words in text
    assert "SIMULATED" not in text


def _as_printed(change: dict[str, Any], printed: tuple[str, str]) -> tuple[str, str]:
    """Before and after in mV with as many decimals as were printed."""
    decimals = [len(text.partition(".")[2]) for text in printed]
    return f"{1e3 * change['before']:.{decimals[0]}f}", f"{1e3 * change['after']:.{decimals[1]}f}"


def _text_of(pdf: Path) -> str:
    """Read by poppler, which knows nothing of this program; one blank between words."""
    environment = {**os.environ, "LC_ALL": "C.UTF-8"}
    done = subprocess.run(
        ["pdftotext", "-layout", str(pdf), "-"], capture_output=True, env=environment, check=True, timeout=60
    )
    return " ".join(done.stdout.decode().split())
