"""Checking a report in the window: what matches, each problem in words, progress and stop."""

import shutil
from dataclasses import replace
from pathlib import Path

import pytest

from cli._bring import _show as show_in_terminal
from gui._report_check_controller import CheckController, check_shown
from gui._report_check_page import CheckPage
from gui._settings import SettingsFile
from report import Verification, check_report, compose_report, make_key, write_bundle
from report._verification import Differing
from tests.gui._askers import ByHand, Notes


class Checking:
    """A controller, its page's notes and its asker."""

    def __init__(self, folder: Path, job: Path | None) -> None:
        self.view, self.asker = Notes(), ByHand()
        self.controller = CheckController(self.view, self.asker, SettingsFile(folder / "window.json"))
        self.controller.put(job)

    @property
    def rows(self) -> tuple[str, ...]:
        return self.view.last("show_found").rows


@pytest.fixture(scope="module")
def issued(tmp_path_factory: pytest.TempPathFactory, found_job: Path) -> Path:
    """A job with its report and its bundle. Read only."""
    folder = Path(shutil.copytree(found_job, tmp_path_factory.mktemp("issued") / "job"))
    made = compose_report(folder)
    made.write(folder / "report.pdf")
    write_bundle(made, folder.with_name("van.zip"))
    return folder


@pytest.fixture
def own(issued: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(issued, tmp_path / "own"))


def test_an_untouched_report_and_its_bundle_are_sound(issued, tmp_path):
    checking = Checking(tmp_path, issued)
    for target in (issued / "report.pdf", issued.with_name("van.zip")):
        checking.controller.choose(target)
        checking.asker.finish()
        found = checking.view.last("show_found")
        assert found.sound
        fractions = [call[1] for call in checking.view.calls if call[0] == "show_progress"]
        assert fractions[-1] > 0.5


def test_rows_are_the_lines_of_the_command(issued, capsys):
    found = check_report(issued / "report.pdf")
    shown = check_shown(found)
    show_in_terminal(found)
    told = [line.strip() for line in capsys.readouterr().out.splitlines()]
    assert len(told) == 5
    assert [row.lstrip("✔• ") for row in (*shown.rows, shown.headline)] == told


def test_what_was_changed_is_named_before_what_matches(own, tmp_path):
    recording = next((own / "recordings").glob("*.h5"))
    data = bytearray(recording.read_bytes())
    data[len(data) // 2] ^= 1
    recording.write_bytes(data)
    with (own / "job.toml").open("a") as file:
        file.write("\n")
    checking = Checking(tmp_path, own)
    checking.controller.choose(own / "report.pdf")
    checking.asker.finish()
    found = checking.view.last("show_found")
    assert not found.sound
    assert found.headline.startswith("✖ ")
    assert "job.toml: was changed" in found.rows[0]
    assert any(row.startswith("✖") and recording.name in row and "SHA-256 differs" in row for row in found.rows)
    assert f"✖ recordings/{recording.name}: changed" in found.rows


def test_every_number_that_differs_is_told(own, tmp_path, monkeypatch):
    """The command names five and points to its JSON; a list has room for all."""
    found = check_report(own / "report.pdf", own)
    told = found.seal.numbers[:9]
    changed = replace(found.recomputed, differing=tuple(Differing(one, None) for one in told), missing=told[:7])

    def check(*facts: object) -> Verification:
        return replace(found, recomputed=changed)

    monkeypatch.setattr("gui._report_check_controller.check_report", check)
    checking = Checking(tmp_path, own)
    checking.controller.choose(own / "report.pdf")
    checking.asker.finish()
    assert sum(row.startswith("✖") and "not found in the recordings" in row for row in checking.rows) == 9
    assert sum(row.startswith("✖") and "leaves it out" in row for row in checking.rows) == 7


def test_a_report_that_lies_alone_is_checked_against_the_job_on_the_bench(own, tmp_path):
    alone = tmp_path / "mail"
    alone.mkdir()
    shutil.copy(own / "report.pdf", alone / "van.pdf")
    checking = Checking(tmp_path, own)
    checking.controller.choose(alone / "van.pdf")
    assert checking.view.last("show_asked").files == str(own)
    checking.asker.finish()
    assert checking.view.last("show_found").sound
    checking.controller.choose_files(alone)
    checking.asker.finish()
    assert any("is missing" in row for row in checking.rows)


def test_with_a_public_key_an_unsigned_report_fails_and_the_key_is_remembered(own, tmp_path):
    make_key(tmp_path / "shop.key")
    checking = Checking(tmp_path, own)
    checking.controller.choose(own / "report.pdf")
    checking.controller.choose_key(tmp_path / "shop.key.pub")
    checking.asker.finish()
    assert any(row.startswith("✖") and row.endswith("is not signed") for row in checking.rows)
    again = Checking(tmp_path, own)
    assert again.view.last("show_asked").key.endswith("shop.key.pub")
    again.controller.choose(own / "report.pdf")
    again.controller.choose_key(tmp_path / "shop.key")
    again.asker.finish()
    assert "is a private key; give the public one" in again.view.last("show_trouble")
    again.controller.choose_key(None)
    again.asker.finish()
    assert again.view.last("show_found").sound


def test_what_is_no_report_is_one_sentence(own, tmp_path):
    checking = Checking(tmp_path, own)
    checking.controller.choose(own / "job.toml")
    checking.asker.finish()
    sentence = checking.view.last("show_trouble")
    assert "job.toml" in sentence
    assert "\n" not in sentence


def test_a_check_can_be_stopped(issued, tmp_path):
    checking = Checking(tmp_path, issued)
    checking.controller.choose(issued / "report.pdf")
    checking.controller.stop()
    checking.asker.finish()
    assert "show_found" not in checking.view.names
    assert "stopped" in checking.view.last("show_nothing")
    assert not checking.controller.working


def test_the_page_shows_work_then_what_was_found(qtbot, issued, tmp_path):
    page, asker = CheckPage(), ByHand()
    qtbot.addWidget(page)
    page.resize(1100, 500)
    page.show()
    controller = CheckController(page, asker, SettingsFile(tmp_path / "window.json"))
    controller.put(issued)
    controller.choose(issued / "report.pdf")
    assert page.stop.isVisible()
    assert page.bar.isVisible()
    asker.finish()
    assert not page.stop.isVisible()
    assert page.headline.objectName() == "saved"
    assert page.found.count() == 4
    controller.choose(issued.with_name("van.zip"))
    assert not page.files.isEnabled()
    assert page.found.count() == 0, "what was found of another report does not stay beside this one's name"
