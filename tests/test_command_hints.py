"""Warnings are plain words for paper and windows; the command line alone names its option beside them."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile

from cli._hints import with_option
from cli._main import main
from report import make_report
from tests.test_report import text_of, tiny_job


def test_the_command_names_its_option(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "tone.wav"
    soundfile.write(path, 0.2 * np.sin(2 * np.pi * 997 * np.arange(16_000) / 8000), 8000, "PCM_16")
    assert main(["analyse", str(path)]) == 0
    notes = [line for line in capsys.readouterr().err.splitlines() if "no DC value and no sag" in line]
    assert len(notes) == 1
    assert notes[0].endswith("DC-coupled, if it is (--coupling N=DC)")


def test_a_report_names_none(tmp_path: Path) -> None:
    tiny_job(tmp_path / "van")
    text = text_of(make_report(tmp_path / "van"))
    assert "no DC value and no sag is stated; use a DC-coupled input" in text
    assert " --" not in text


def test_what_has_no_option_stays_as_it_is() -> None:
    assert with_option("samples are missing") == "samples are missing"
