"""Fields to write into: each hands over what was typed when it is left or Enter is pressed. Passive."""

from __future__ import annotations

from typing import Any

from gui._make import Chooser
from gui._qt import Qt, QtCore, QtGui, QtWidgets
from gui._vehicle_model import Field
from gui._words import tr

_OWN = (QtGui.QKeySequence.StandardKey.Undo, QtGui.QKeySequence.StandardKey.Redo)


def leaves_undo_to_the_job(ev: QtCore.QEvent | None, typing: bool) -> bool:
    """A field keeps Ctrl+Z for itself only while something typed in it is not handed over yet."""
    override = isinstance(ev, QtGui.QKeyEvent) and ev.type() == QtCore.QEvent.Type.ShortcutOverride
    return bool(override and not typing and any(ev.matches(key) for key in _OWN))  # type: ignore[union-attr]


class LineField(QtWidgets.QLineEdit):
    """One line."""

    committed = QtCore.pyqtSignal(str)

    def __init__(self, field: Field) -> None:
        super().__init__()
        self._shown = ""
        self.setPlaceholderText(tr(field.hint))
        self.editingFinished.connect(self.commit)

    def commit(self) -> None:
        """Hand over what was typed since the last time."""
        if self.text() != self._shown:
            self._shown = self.text()
            self.committed.emit(self._shown)

    def show_text(self, text: str) -> None:
        """Show what stands in the job."""
        self._shown = text
        if text != self.text():
            self.setText(text)
            self.setCursorPosition(0)

    def event(self, ev: QtCore.QEvent | None) -> bool:
        if leaves_undo_to_the_job(ev, self.text() != self._shown):
            ev.ignore()  # type: ignore[union-attr]
            return False
        return super().event(ev)


class TextField(QtWidgets.QPlainTextEdit):
    """Several lines; Ctrl+Enter hands them over, Tab goes on."""

    committed = QtCore.pyqtSignal(str)

    def __init__(self, field: Field) -> None:
        super().__init__()
        self._shown = ""
        self.setObjectName("large" if field.large else "")
        self.setPlaceholderText(tr(field.hint))
        self.setTabChangesFocus(True)
        self._rows = field.rows
        self.setSizePolicy(QtWidgets.QSizePolicy.Policy.Expanding, QtWidgets.QSizePolicy.Policy.Expanding)

    def sizeHint(self) -> QtCore.QSize:
        return QtCore.QSize(400, self._rows * self.fontMetrics().lineSpacing() + 24)

    def minimumSizeHint(self) -> QtCore.QSize:
        return QtCore.QSize(200, min(self._rows, 2) * self.fontMetrics().lineSpacing() + 22)

    def commit(self) -> None:
        """Hand over what was typed since the last time."""
        if self.toPlainText() != self._shown:
            self._shown = self.toPlainText()
            self.committed.emit(self._shown)

    def show_text(self, text: str) -> None:
        """Show what stands in the job."""
        self._shown = text
        if text != self.toPlainText():
            self.setPlainText(text)

    def focusOutEvent(self, ev: Any) -> None:
        super().focusOutEvent(ev)
        self.commit()

    def keyPressEvent(self, ev: Any) -> None:
        enter = ev.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter)
        if enter and ev.modifiers() & Qt.KeyboardModifier.ControlModifier:
            self.commit()
        else:
            super().keyPressEvent(ev)

    def event(self, ev: QtCore.QEvent | None) -> bool:
        if leaves_undo_to_the_job(ev, self.toPlainText() != self._shown):
            ev.ignore()  # type: ignore[union-attr]
            return False
        return super().event(ev)


class ChoiceField(Chooser):
    """One of a list, or whatever is typed."""

    committed = QtCore.pyqtSignal(str)

    def __init__(self, field: Field) -> None:
        super().__init__(tr(field.title))
        self.setEditable(True)
        self.setInsertPolicy(self.InsertPolicy.NoInsert)
        self.setSizeAdjustPolicy(self.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
        self.line = LineField(field)
        self.setLineEdit(self.line)
        self.addItems([tr(choice) for choice in field.choices])
        self.line.show_text("")
        self.line.committed.connect(self.committed)
        self.activated.connect(lambda index: self.line.commit())

    def commit(self) -> None:
        """Hand over what was typed or chosen since the last time."""
        self.line.commit()

    def show_text(self, text: str) -> None:
        """Show what stands in the job."""
        self.line.show_text(text)

    def wheelEvent(self, e: Any) -> None:
        # Rolling over it must not change the vehicle.
        e.ignore()


def make_field(field: Field) -> LineField | TextField | ChoiceField:
    """A field for that."""
    made: LineField | TextField | ChoiceField
    if field.kind == "text":
        made = TextField(field)
    elif field.kind == "choice":
        made = ChoiceField(field)
    else:
        made = LineField(field)
    made.setAccessibleName(tr(field.title))
    made.setToolTip(tr(field.hint))
    return made
