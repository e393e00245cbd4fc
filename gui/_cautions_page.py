"""The usual cautions in large letters, on a page of their own, with the key that says they were read."""

from __future__ import annotations

from typing import Any

from gui._cautions import CautionsText
from gui._make import button, label
from gui._qt import Qt, QtCore, QtWidgets
from gui._words import tr


class CautionsPage(QtWidgets.QWidget):
    """Shown in place of the sheets until it is read or put off."""

    read = QtCore.pyqtSignal()
    put_off = QtCore.pyqtSignal()

    def __init__(self) -> None:
        super().__init__()
        self.head = label("", "huge", wrap=True)
        self.text = QtWidgets.QTextBrowser()
        self.text.setObjectName("cautions")
        self.text.setAccessibleName(tr("Cautions"))
        self.go_on = button(tr("Read: go on"), "first", tip=tr("I have read this and go on (Enter)"))
        self.back = button(tr("Not now"), tip=tr("Back, nothing is started (Esc)"))
        self.go_on.clicked.connect(self.read)
        self.back.clicked.connect(self.put_off)
        keys = QtWidgets.QHBoxLayout()
        keys.addWidget(self.go_on)
        keys.addWidget(self.back)
        keys.addStretch(1)
        column = QtWidgets.QVBoxLayout(self)
        column.setContentsMargins(60, 18, 60, 14)
        column.setSpacing(12)
        column.addWidget(self.head)
        column.addWidget(self.text, 1)
        column.addLayout(keys)

    def show_text(self, cautions: CautionsText) -> None:
        """Show one page, from its top."""
        self.head.setText(cautions.title)
        self.text.setHtml(_html(cautions))
        self.text.verticalScrollBar().setValue(0)  # type: ignore[union-attr]

    def keyPressEvent(self, ev: Any) -> None:
        if ev.key() == Qt.Key.Key_Escape:
            self.put_off.emit()
        else:
            super().keyPressEvent(ev)


def _html(cautions: CautionsText) -> str:
    parts = [
        _list(tr("For this"), cautions.own, "ul"),
        _list(tr("In this order"), cautions.order, "ol"),
        _list(tr("Always"), cautions.always, "ul"),
    ]
    return "".join(parts)


def _list(head: str, texts: tuple[str, ...], kind: str) -> str:
    told = [text for text in texts if text]
    if not told:
        return ""
    rows = "".join(f"<li style='margin-bottom: 8px'>{_escaped(text)}</li>" for text in told)
    return f"<p><b>{_escaped(head)}</b></p><{kind}>{rows}</{kind}>"


def _escaped(text: str) -> str:
    return text.replace("&", "&amp;").replace("<", "&lt;")
