"""The top of a job's screens: whose job it is, whether it is simulated, what is compared, the verdict."""

from __future__ import annotations

from typing import Any

from gui._build import job_details, job_title
from gui._load import OpenedJob
from gui._make import Chooser, button, label
from gui._palette import Palette
from gui._qt import Qt, QtCore, QtGui, QtWidgets
from gui._screen import Headline
from gui._theme import scaled_points
from gui._words import tr

IN_ONE_COLUMN, MOST_REASONS = 4, 9
SIMULATED_TEXT = "SIMULATED DATA – not measured on a vehicle"
SIMULATED_SHORT = "SIMULATED DATA"
#: of the header: kept for the title, and what stands between its parts
NARROWEST_TITLE, MARGINS_PX = 380, 60


class Elided(QtWidgets.QLabel):
    """One line that ends in an ellipsis where it has no room; the whole of it stands in the tip."""

    def __init__(self, name: str) -> None:
        super().__init__()
        self.setObjectName(name)
        self.setTextFormat(Qt.TextFormat.PlainText)

    def paintEvent(self, a0: Any) -> None:
        painter = QtGui.QPainter(self)
        text = self.fontMetrics().elidedText(self.text(), Qt.TextElideMode.ElideRight, self.width())
        painter.setPen(self.palette().color(self.foregroundRole()))
        painter.drawText(self.rect(), Qt.AlignmentFlag.AlignVCenter | Qt.AlignmentFlag.AlignLeft, text)
        painter.end()


class Header(QtWidgets.QWidget):
    """Whose job it is, the mark of simulated data, the key that opens another job."""

    open_asked = QtCore.pyqtSignal()

    def __init__(self) -> None:
        super().__init__()
        self._marked = False
        self.title, self.details = Elided("title"), Elided("quiet")
        self.note = label("", "saved", spoken=tr("What was saved or undone"))
        self.simulated = label(SIMULATED_TEXT, "simulated")
        self.open = button(tr("Open job …"), tip=tr("Open another job (Ctrl+O)"))
        self.open.clicked.connect(self.open_asked)
        names = QtWidgets.QVBoxLayout()
        names.setSpacing(0)
        for line in (self.title, self.details):
            line.setSizePolicy(QtWidgets.QSizePolicy.Policy.Ignored, QtWidgets.QSizePolicy.Policy.Preferred)
            names.addWidget(line)
        row = QtWidgets.QHBoxLayout(self)
        row.setContentsMargins(14, 0, 10, 4)
        row.addLayout(names, 1)
        row.addWidget(self.note)
        row.addWidget(self.simulated)
        row.addWidget(self.open)

    def show_job(self, opened: OpenedJob) -> None:
        """Show whose job it is."""
        self.title.setText(job_title(opened))
        self.details.setText(job_details(opened) or str(opened.job.folder))
        for line in (self.title, self.details):
            line.setToolTip(f"{line.text()}\n{opened.job.folder}")
        self._marked = opened.simulated
        self.simulated.setVisible(opened.simulated)
        self._fit()

    def show_note(self, text: str) -> None:
        """A quiet word that something was saved or undone."""
        self.note.setText(text)
        self._fit()

    def resizeEvent(self, a0: Any) -> None:
        super().resizeEvent(a0)
        self._fit()

    def _fit(self) -> None:
        """With large letters in a narrow window the title goes before quiet words and before long marks."""
        room = self.width() - self.open.sizeHint().width() - MARGINS_PX - NARROWEST_TITLE
        self.simulated.setText(SIMULATED_TEXT)
        if self._marked and self.simulated.sizeHint().width() > room:
            self.simulated.setText(SIMULATED_SHORT)
        room -= self.simulated.sizeHint().width() if self._marked else 0
        self.note.setVisible(bool(self.note.text()) and self.note.sizeHint().width() <= room)


class Verdict(QtWidgets.QFrame):
    """The large line: a sign on the colour of its tone, the verdict, and the reasons beside it."""

    view_chosen = QtCore.pyqtSignal(int)

    def __init__(self, palette: Palette) -> None:
        super().__init__()
        self.setObjectName("verdict")
        self.chooser = Chooser("Which recordings are compared")
        self.chooser.setSizeAdjustPolicy(self.chooser.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
        self.chooser.setMinimumContentsLength(24)
        self.chooser.activated.connect(self.view_chosen)
        self._colours, self._tone = palette, "plain"
        self.sign = label()
        self.sign.setAlignment(Qt.AlignmentFlag.AlignCenter)
        self.sign.setFixedWidth(72)
        self.text = label("", "huge", spoken="Verdict")
        self.reasons = [label(wrap=True, spoken=f"Reasons, column {number}") for number in (1, 2)]
        self.text.setSizePolicy(QtWidgets.QSizePolicy.Policy.Maximum, QtWidgets.QSizePolicy.Policy.Preferred)
        for part in (self.text, *self.reasons):
            part.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
        row = QtWidgets.QHBoxLayout(self)
        row.setContentsMargins(0, 0, 10, 0)
        row.setSpacing(16)
        row.addWidget(self.sign)
        row.addWidget(self.text)
        for column in self.reasons:
            row.addWidget(column, 1)
        row.addStretch(0)
        row.addWidget(self.chooser)
        self.setMinimumHeight(54)

    def show_choices(self, choices: tuple[str, ...], chosen: int) -> None:
        """What can be compared, where there is more than one thing."""
        self.chooser.clear()
        self.chooser.addItems(choices)
        self.chooser.setCurrentIndex(chosen)
        self.chooser.setToolTip(self.chooser.currentText())
        self.chooser.setVisible(len(choices) > 1)

    def show_headline(self, headline: Headline, *, with_reasons: bool = True) -> None:
        """Show a verdict; more reasons than fit into one column stand in two."""
        self._tone = headline.tone
        self.sign.setText(headline.sign)
        self.text.setText(headline.text)
        lines = reason_lines(headline.reasons if with_reasons else ())
        half = len(lines) if len(lines) <= IN_ONE_COLUMN else -(-len(lines) // 2)
        for column, part in zip(self.reasons, (lines[:half], lines[half:]), strict=True):
            column.setText("\n".join(part))
            column.setVisible(bool(part))
        self._paint_sign()

    def recolour(self, palette: Palette) -> None:
        """Use another palette."""
        self._colours = palette
        self._paint_sign()

    def _paint_sign(self) -> None:
        tone, sheet = self._colours.tone(self._tone), self._colours.sheet
        self.sign.setStyleSheet(
            f"background: {tone}; color: {sheet}; font-size: {scaled_points(26):g}pt; font-weight: bold;"
        )


def reason_lines(reasons: tuple[str, ...]) -> list[str]:
    """One line per reason, and how many more there are."""
    lines = [f"• {reason}" for reason in reasons[:MOST_REASONS]]
    more = len(reasons) - len(lines)
    return [*lines, f"… and {more} more, see the warnings"] if more else lines


class Message(QtWidgets.QFrame):
    """One sentence that something went wrong, until it is put away."""

    def __init__(self) -> None:
        super().__init__()
        self.setObjectName("message")
        self.text = label("", "large", wrap=True, spoken="Message")
        self.text.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
        self.away = button("Put away", tip="Put this message away (Esc)")
        self.away.clicked.connect(self.hide)
        row = QtWidgets.QHBoxLayout(self)
        row.setContentsMargins(12, 6, 8, 6)
        row.addWidget(self.text, 1)
        row.addWidget(self.away)
        self.hide()

    def show_text(self, text: str) -> None:
        """Show a sentence."""
        self.text.setText(text)
        self.show()
