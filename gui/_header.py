"""The top of a job's screens: whose job it is, whether it is simulated, what is compared, the verdict."""

from __future__ import annotations

from gui._make import Chooser, button, label
from gui._palette import Palette
from gui._qt import Qt, QtCore, QtWidgets
from gui._screen import Headline, Screen

IN_ONE_COLUMN, MOST_REASONS = 4, 9
SIMULATED_TEXT = "SIMULATED DATA – not measured on a vehicle"


class Header(QtWidgets.QWidget):
    """Title, mark of simulated data, chooser of views, the key that opens another job."""

    view_chosen = QtCore.pyqtSignal(int)
    open_asked = QtCore.pyqtSignal()

    def __init__(self) -> None:
        super().__init__()
        self.title = label("", "title")
        self.details = label("", "quiet")
        self.simulated = label(SIMULATED_TEXT, "simulated")
        self.chooser = Chooser("Which recordings are compared")
        self.chooser.setSizeAdjustPolicy(self.chooser.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
        self.chooser.setMinimumContentsLength(24)
        self.open = button("Open job …", tip="Open another job (Ctrl+O)")
        self.chooser.activated.connect(self.view_chosen)
        self.open.clicked.connect(self.open_asked)
        self._lay_out()

    def _lay_out(self) -> None:
        names = QtWidgets.QVBoxLayout()
        names.setSpacing(0)
        for line in (self.title, self.details):
            line.setSizePolicy(QtWidgets.QSizePolicy.Policy.Ignored, QtWidgets.QSizePolicy.Policy.Preferred)
            names.addWidget(line)
        row = QtWidgets.QHBoxLayout(self)
        row.setContentsMargins(14, 2, 10, 4)
        row.addLayout(names, 1)
        row.addWidget(self.simulated)
        row.addWidget(self.chooser)
        row.addWidget(self.open)

    def show_screen(self, screen: Screen) -> None:
        """Show whose job it is."""
        self.title.setText(screen.title)
        self.title.setToolTip(str(screen.folder))
        self.details.setText(screen.details or str(screen.folder))
        self.simulated.setVisible(screen.simulated)
        self.chooser.clear()
        self.chooser.addItems(screen.choices)
        self.chooser.setCurrentIndex(screen.chosen)
        self.chooser.setToolTip(self.chooser.currentText())
        self.chooser.setVisible(len(screen.choices) > 1)


class Verdict(QtWidgets.QFrame):
    """The large line: a sign on the colour of its tone, the verdict, and the reasons beside it."""

    def __init__(self, palette: Palette) -> None:
        super().__init__()
        self.setObjectName("verdict")
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
        self.setMinimumHeight(54)

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
        self.sign.setStyleSheet(f"background: {tone}; color: {sheet}; font-size: 26pt; font-weight: bold;")


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
