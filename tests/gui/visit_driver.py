"""A whole visit at the keyboard of the real window, started by test_visit_driven.py: pytest tests/gui/visit_driver.py.

In a process of its own, because the sound library of a process knows only the sound server that it began with.
HUMPROOF_VISIT names the folder that everything goes into; if the visit does not go on, a picture of the screen is
left there, and with HUMPROOF_VISIT_PICTURES one of every step.
"""

from __future__ import annotations

import os
import re
import subprocess
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest
import soundfile
from pytestqt.exceptions import TimeoutError as NeverHappened
from pytestqt.qtbot import QtBot

from gui._actions import ACTIONS
from gui._app import _application
from gui._qt import Qt, QtCore, QtGui, QtWidgets
from gui._settings import SettingsFile
from gui._window import Window
from job import open_job
from tests.support import NullSink

RATE_HZ = NullSink.rate_hz
#: what one unit of the sound card is in volts, by channel: the supply's divider, and the signal's plain input
SCALES = (20.0, 1.0)
#: the alternator of the vehicle that is played: 36 cycles a turn of the engine, 30 turns a second
RPM, RIPPLE_HZ = 1800, 1080.0
#: rms of the whine in the signal, V
WHINE_V = {"found": 1e-3, "strapped": 1e-6, "left": 2e-5}
KEYS = {action.name: action.keys for action in ACTIONS}
#: of each recording, s
LENGTH_S = 3


def sounds(folder: Path) -> dict[str, Path]:
    """What the vehicle does, as sound files for the loopback card: 13.8 V with ripple, and a signal with whine."""
    time = np.arange(20 * RATE_HZ) / RATE_HZ
    wave = np.sqrt(2) * np.sin(2 * np.pi * RIPPLE_HZ * time)
    made = {}
    for number, (name, whine) in enumerate(WHINE_V.items()):
        rng = np.random.default_rng(number)
        volts = np.column_stack([13.8 + 0.02 * wave, whine * wave]) + rng.standard_normal((len(time), 2)) * [2e-3, 2e-5]
        made[name] = _write(folder / f"{name}.wav", volts)
    hiss = np.random.default_rng(9).standard_normal((len(time), 2)) * [2e-4, 2e-6]
    return made | {"floor": _write(folder / "floor.wav", hiss)}


def _write(path: Path, volts: npt.NDArray[np.float64]) -> Path:
    soundfile.write(path, (volts / SCALES).astype(np.float32), RATE_HZ, subtype="FLOAT")
    return path


@contextmanager
def vehicle(sound: Path) -> Iterator[None]:
    """The vehicle runs meanwhile."""
    player = subprocess.Popen(["paplay", "--device=null", str(sound)])
    try:
        yield
    finally:
        player.terminate()
        player.wait()


# ---------------------------------------------------------------- the person


class Person:
    """Has keys and a mouse, and sees what stands in the window. Calls nothing of the program's."""

    def __init__(self, qtbot: QtBot, window: Window, folder: Path) -> None:
        self.bot, self.window, self.folder = qtbot, window, folder
        self._number = 0

    def press(self, keys: str) -> None:
        """Keys as Qt writes them ("Ctrl+N"), to the window that has the keyboard."""
        wanted = QtGui.QKeySequence(keys)[0]
        self.bot.keyClick(self._in_front(), wanted.key(), wanted.keyboardModifiers())
        QtWidgets.QApplication.processEvents()

    def act(self, name: str) -> None:
        """The key of an action."""
        self.press(KEYS[name])

    def type(self, text: str) -> None:
        """In place of what stands in the field."""
        field = self.focus
        assert isinstance(field, QtWidgets.QLineEdit | QtWidgets.QPlainTextEdit | QtWidgets.QComboBox), spoken(field)
        self.press("Ctrl+A")
        for letter in text:
            self.bot.keyClick(self._in_front(), letter)

    def fill(self, field: str, text: str) -> None:
        """Go on with Tab to a field and type."""
        self.tab_to(field)
        self.type(text)

    def tab_to(self, name: str, *, backwards: bool = False) -> None:
        """Tab until what has the keyboard is called this, as a screen reader would say it."""
        passed: list[str] = []
        while not re.search(name, spoken(self.focus), re.IGNORECASE):
            passed.append(spoken(self.focus))
            assert len(passed) < 80, f"'{name}' is not reached with Tab, only {passed}"
            self.press("Shift+Tab" if backwards else "Tab")

    def choose(self, text: str) -> None:
        """Arrow keys until the list that has the keyboard says this."""
        chooser = self.focus
        assert isinstance(chooser, QtWidgets.QComboBox), spoken(chooser)
        if chooser.currentText() != text:
            self.press("Home")
        while chooser.currentText() != text:
            before = chooser.currentIndex()
            self.press("Down")
            assert chooser.currentIndex() != before, f"'{text}' is not in the list of '{spoken(chooser)}'"

    def choose_in_open_list(self, text: str) -> None:
        """The same where nothing is chosen before Enter; devices may still be coming in."""
        self.press("Down")
        view = self.focus.view() if isinstance(self.focus, QtWidgets.QComboBox) else self.focus
        assert isinstance(view, QtWidgets.QAbstractItemView), spoken(view)

        def there() -> bool:
            model = view.model()
            return model is not None and any(model.index(row, 0).data() == text for row in range(model.rowCount()))

        self.until(there, f"'{text}' in the list")
        self.look("sources")
        while view.currentIndex().data() != text:
            before = view.currentIndex().row()
            self.press("Down")
            assert view.currentIndex().row() != before, text
        self.press("Return")

    def click(self, part: QtWidgets.QWidget) -> None:
        """With the mouse."""
        assert part.isVisible(), spoken(part)
        assert part.isEnabled(), spoken(part)
        self.bot.mouseClick(part, Qt.MouseButton.LeftButton)

    def answer_file_page(self, path: Path) -> None:
        """A page that asks for a file or a folder, which opens in a moment, is told this one."""

        def answer() -> None:
            page = QtWidgets.QApplication.activeModalWidget()
            if not isinstance(page, QtWidgets.QFileDialog):
                QtCore.QTimer.singleShot(50, answer)
                return
            try:
                self.type(str(path))
                self.press("Return")
            finally:
                # A page that stays open would wait for ever.
                QtCore.QTimer.singleShot(5_000, page.reject)

        QtCore.QTimer.singleShot(50, answer)

    def _in_front(self) -> QtGui.QWindow:
        """The window that a window manager would give the keyboard; on this screen there is none."""
        top = QtWidgets.QApplication.activeModalWidget() or self.window
        focus = QtGui.QGuiApplication.focusWindow
        if not QtWidgets.QApplication.activePopupWidget() and focus() is not top.windowHandle():
            top.activateWindow()
            self.until(lambda: focus() is top.windowHandle(), "the window in front with the keyboard")
        found = focus()
        assert found is not None
        return found

    # ------------------------------------------------------------ eyes

    @property
    def focus(self) -> QtWidgets.QWidget:
        """What has the keyboard."""
        self._in_front()
        popup = QtWidgets.QApplication.activePopupWidget()
        found = (popup.focusWidget() if popup else None) or QtWidgets.QApplication.focusWidget()
        assert found is not None, "nothing has the keyboard"
        return found

    @property
    def note(self) -> str:
        """What is said at the top."""
        return str(self.window.header.note.text())

    def until(self, condition: Callable[[], object], what: str, seconds: float = 30.0) -> None:
        """Wait until something is so."""
        try:
            self.bot.waitUntil(lambda: bool(condition()), timeout=round(1000 * seconds))
        except NeverHappened as error:
            self.picture("never")
            raise AssertionError(f"never: {what}; message: '{self.window.message.text.text()}'") from error

    def wait_for_sheet(self, name: str) -> Any:
        """Until it shows what it is going to show."""
        sheet = self.window.sheets[name]
        assert self.window.front == name
        self.until(lambda: not sheet.busy(), f"{name} at rest")
        self.look(name)
        return sheet

    def look(self, name: str) -> None:
        """A picture of the screen, where somebody wants them."""
        if os.environ.get("HUMPROOF_VISIT_PICTURES"):
            self._number += 1
            self.picture(f"{self._number:02d} {name}")

    def picture(self, name: str) -> None:
        """A picture of the screen."""
        QtWidgets.QApplication.processEvents()
        screen = QtGui.QGuiApplication.primaryScreen()
        assert screen is not None
        screen.grabWindow().save(str(self.folder / f"{name}.png"))

    @property
    def job(self) -> Any:
        """What stands on disk."""
        assert self.window.visit.job is not None
        return open_job(self.window.visit.job.folder)


def spoken(widget: QtWidgets.QWidget) -> str:
    """What a widget is called."""
    text = widget.text() if isinstance(widget, QtWidgets.QAbstractButton) else ""
    return widget.accessibleName() or text or type(widget).__name__


@pytest.fixture
def folder() -> Path:
    return Path(os.environ["HUMPROOF_VISIT"])


@pytest.fixture(scope="session")
def qapp() -> QtWidgets.QApplication:
    """As the program makes it."""
    return _application()


@pytest.fixture
def person(qtbot: QtBot, folder: Path) -> Iterator[Person]:
    window = Window(SettingsFile(folder / "window.json"))
    window.resize(1366, 768)
    window.show()
    yield Person(qtbot, window, folder)
    window.close()
    window.deleteLater()
    QtWidgets.QApplication.processEvents()


# ---------------------------------------------------------------- the visit


def test_a_whole_visit(person: Person, folder: Path) -> None:
    heard = sounds(folder)
    start_the_job(person)
    take_the_wiring(person)
    with vehicle(heard["found"]):
        connect(person)
        record_as_found(person)
    see_the_causes(person)
    answer_a_question(person)
    choose_the_step(person)
    with vehicle(heard["strapped"]):
        record_the_step(person, "Strap from processor case")
    with vehicle(heard["found"]):
        record_the_step(person, "Put it back, and record the noise returning")
    with vehicle(heard["strapped"]):
        record_the_step(person, "Once more: strap from processor case")
    see_the_proof(person)
    with vehicle(heard["floor"]):
        press_missing(person, "No floor recording")
        record(person)
    write_the_outcome(person)
    with vehicle(heard["left"]):
        press_missing(person, "Not yet taken as left: baseline at 1,800 rpm")
        record(person)
    compare(person)
    report(person)


def start_the_job(person: Person) -> None:
    """Title and folder; then the complaint has the keyboard at once, and what is missing has a key."""
    window = person.window
    person.look("welcome")
    assert spoken(person.focus) == "Start a new job"
    person.press("Return")
    person.until(QtWidgets.QApplication.activeModalWidget, "the page for a new job")
    person.type("Ferry shuttle: whine")
    person.tab_to("Another place")
    person.answer_file_page(person.folder)
    person.press("Space")
    person.look("new job")
    person.tab_to("Start the job")
    person.press("Return")
    person.until(lambda: window.pages.currentWidget() is window.bench, "the sheets")
    assert spoken(person.focus) == "Complaint"
    person.type("Whine that follows the engine")
    press_missing(person, "It does not say which vehicle it is")
    assert spoken(person.focus) == "Kind"
    person.type("bus")
    person.press("Return")
    assert person.job.folder.parent == person.folder
    assert person.job.facts.visit.complaint == "Whine that follows the engine"
    assert person.job.facts.vehicle.kind == "bus"
    person.look("vehicle")


def press_missing(person: Person, what: str) -> None:
    """The list of what is missing for a proof, and there the key that does it."""
    person.act("missing")
    person.until(QtWidgets.QApplication.activeModalWidget, "the list")
    person.look("missing")
    person.tab_to(what)
    person.press("Return")
    person.until(lambda: QtWidgets.QApplication.activeModalWidget() is None, "the list gone")


def take_the_wiring(person: Person) -> None:
    person.act("go-wiring")
    assert spoken(person.focus) == "System", "the first question has the keyboard"
    person.tab_to("Take the sample's")
    person.press("Return")
    sheet = person.window.sheets["wiring"]
    person.until(lambda: sheet.controller.screen is not None, "a drawing")
    person.wait_for_sheet("wiring")
    assert person.focus is sheet.view.canvas, "the drawing has the keyboard"
    assert (person.job.folder / "wiring.toml").is_file()


def connect(person: Person) -> None:
    """The source, what its channels are connected to, and no count-down."""
    strip = person.window.strip
    person.act("source")
    person.choose_in_open_list("sound card: ALSA/pulse")
    person.until(lambda: strip.controller.state == "listening", "listening")
    person.act("channels")
    person.until(lambda: spoken(person.focus) == "role of channel 0", "the first channel with the keyboard")
    for number, (role, scale, coupling) in enumerate((("supply", "20", "DC"), ("signal", "1", "AC"))):
        person.tab_to(f"role of channel {number}")
        person.choose(role)
        person.fill(f"scale of channel {number}", scale)
        person.tab_to(f"coupling of channel {number}")
        person.choose(coupling)
    person.tab_to("count down", backwards=True)
    person.choose("0")
    person.tab_to("Samples a second", backwards=True)
    person.type(str(RATE_HZ))
    person.look("channels")
    person.press("Esc")
    person.until(lambda: "battery 13.8 V" in strip.face.levels.words(), "the battery's volts at its bar")


def record_as_found(person: Person) -> None:
    press_missing(person, "No baseline as found yet")
    for field, text in (
        ("Engine speed", f"{RPM:,}"),
        ("Loads on", "headlamps"),
        ("Volume", "21 of 40"),
        ("Gains", "unchanged"),
        ("Test signal", "dithered silence"),
        ("Length", str(LENGTH_S)),
    ):
        person.fill(field, text)
    person.look("conditions")
    record(person)


def record(person: Person) -> None:
    """From the panel on: put it away, space bar, read what is to be read; it stops after the stated length."""
    window, strip, before = person.window, person.window.strip, len(person.job.facts.recordings)
    assert strip.panel.isVisible()
    person.press("Esc")
    person.until(lambda: strip.controller.session and strip.controller.session.phase == "listening", "listening")
    person.press("Space")
    cautions = window.cautions_page
    person.until(lambda: cautions.isVisible() or strip.controller.state == "recording", "cautions, or a recording")
    while cautions.isVisible():
        person.look("cautions")
        assert spoken(person.focus) == "Read: go on"
        person.press("Return")
    person.until(lambda: strip.controller.state == "recording", "recording")
    person.look("recording")
    person.until(lambda: len(person.job.facts.recordings) > before, "its entry in the job")
    person.until(lambda: strip.controller.state == "listening", "listening again")
    assert f"{LENGTH_S}.00 s recorded and sealed" in person.note
    assert not window.message.isVisible(), window.message.text.text()


def see_the_causes(person: Person) -> None:
    view = person.wait_for_sheet("noise").view
    assert "alternator, order 36" in view.spectrum.spectrum.canvas.accessibleDescription()
    assert view.causes.bars, "causes with their probabilities"
    assert sum(bar.share for bar in view.causes.bars) <= 1.0
    assert "Nothing is proven" in view.causes.notes.text()


def answer_a_question(person: Person) -> None:
    """The card's key leads to the question, Enter keeps the reading."""
    person.act("noise-step")
    assert spoken(person.focus).startswith("Answer it: ")
    person.press("Return")
    assert spoken(person.focus).endswith(" [V]"), "a reading is asked for"
    person.type("30 mV")
    person.press("Return")
    person.until(lambda: person.job.facts.answers, "the answer in the job")
    assert person.job.facts.answers[0].reading == 0.03
    person.wait_for_sheet("noise")


def choose_the_step(person: Person) -> None:
    """Another step than the one that is advised, from the list of all."""
    person.act("noise-causes")
    person.tab_to("^All .* steps")
    person.press("Return")
    person.tab_to("Strap from processor case", backwards=True)
    person.press("Return")
    person.look("step chosen")


def record_the_step(person: Person, words: str) -> None:
    person.act("noise-step")
    assert words in spoken(person.focus)
    person.press("Return")
    record(person)
    person.wait_for_sheet("noise")


def see_the_proof(person: Person) -> None:
    view = person.window.sheets["noise"].view
    assert "✔ Proven: strap from processor case" in view.proof.text()
    assert view.proof.visibleRegion().boundingRect().height() == view.proof.height(), "it is in sight"
    assert person.window.sheet_keys.keys["noise"].standing.standing == "done"


def write_the_outcome(person: Person) -> None:
    person.act("go-vehicle")
    assert spoken(person.focus) == "Complaint"
    person.fill("Found", "Processor grounded at a body panel")
    person.tab_to("Cause")
    person.choose("A ground loop drives current through a signal lead's shield")
    person.fill("Proven by", "gone with the strap, back without it, gone again")
    person.fill("Done", "Processor's ground moved to the common point")
    person.press("Tab")
    person.look("outcome")
    facts = person.job.facts
    assert (facts.outcome.cause, facts.outcome.how_it_was_proven[:4]) == ("shield-loop", "gone")
    assert facts.visit.done == "Processor's ground moved to the common point"


def compare(person: Person) -> None:
    """Going there with the mouse."""
    person.click(person.window.sheet_keys.keys["compare"])
    sheet = person.wait_for_sheet("compare")
    assert sheet.controller.screen.headline.text.startswith("Improved: 2")
    rows = [[cell.text for cell in row] for row in sheet.controller.screen.changes.rows]
    noise = next(row for row in rows if row[0] == "amplifier input: noise")
    assert "improved" in noise[-1]
    assert person.window.sheet_keys.keys["compare"].standing.standing == "done"


def report(person: Person) -> None:
    person.act("go-report")
    person.wait_for_sheet("report")
    target = person.job.folder / "report.pdf"
    person.answer_file_page(target)
    person.act("write-report")
    person.until(lambda: "the report is written" in person.note, "the report written")
    assert target.is_file()
    person.look("written")
    standing = {name: key.standing.standing for name, key in person.window.sheet_keys.keys.items()}
    # Nobody played test bursts.
    assert standing == {name: "open" if name == "supply" else "done" for name in standing}
