"""Asks for a key's password, which nobody sees and nothing keeps."""

from __future__ import annotations

from pathlib import Path

from gui._make import button, label
from gui._qt import QtCore, QtWidgets
from gui._words import tr


class PasswordPage(QtWidgets.QDialog):
    """One field for a key that is there, two for a new one, which must agree; Esc puts it away."""

    typed = QtCore.pyqtSignal(str)

    def __init__(self, path: Path, parent: QtWidgets.QWidget, *, new: bool = False, trouble: str = "") -> None:
        super().__init__(parent)
        self.setWindowTitle(tr("Password of the new key") if new else tr("Password of the key"))
        self.field, self.again = _hidden(tr("Password")), _hidden(tr("The same once more"))
        self.trouble = label(trouble, "caution", wrap=True, spoken=tr("What is wrong"))
        self.go_on = button(tr("Make the key") if new else tr("Open the key"), "first")
        self.away = button(tr("Not now"), tip="Esc")
        self._new = new
        self.again.setVisible(new)
        self.go_on.setDefault(True)
        self.go_on.clicked.connect(self._go_on)
        self.away.clicked.connect(self.reject)
        for field in (self.field, self.again):
            field.textChanged.connect(self._look)
        self._lay_out(path)
        self._look()
        self.finished.connect(self._forget)

    def _lay_out(self, path: Path) -> None:
        keys = QtWidgets.QHBoxLayout()
        for key in (self.go_on, self.away):
            keys.addWidget(key)
        keys.addStretch(1)
        column = QtWidgets.QVBoxLayout(self)
        column.setContentsMargins(20, 16, 20, 16)
        column.setSpacing(12)
        column.addWidget(label(str(path), "name", wrap=True))
        if self._new:
            about = tr("Without a password whoever has the file can sign as your shop. If it is lost, make a new key.")
            column.addWidget(label(about, "quiet", wrap=True))
        for part in (self.field, self.again, self.trouble):
            column.addWidget(part)
        self.trouble.setVisible(bool(self.trouble.text()))
        column.addLayout(keys)
        self.setMinimumWidth(640)

    def _look(self) -> None:
        differ = self._new and self.field.text() != self.again.text()
        self.go_on.setEnabled(not differ)

    def _go_on(self) -> None:
        password = self.field.text()
        self.accept()
        self.typed.emit(password)

    def _forget(self) -> None:
        for field in (self.field, self.again):
            field.clear()
        self.deleteLater()


def _hidden(spoken: str) -> QtWidgets.QLineEdit:
    made = QtWidgets.QLineEdit()
    made.setEchoMode(QtWidgets.QLineEdit.EchoMode.Password)
    made.setAccessibleName(spoken)
    made.setPlaceholderText(spoken)
    return made
