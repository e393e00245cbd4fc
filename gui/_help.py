"""The page of keys, made from the same lists that make them work."""

from __future__ import annotations

from collections.abc import Iterable
from html import escape

from gui._actions import ACTIONS, MOUSE_HELP, PICTURE_KEYS, SPACE_HELP
from gui._make import button
from gui._qt import QtWidgets


class KeysPage(QtWidgets.QDialog):
    """Every key and what it does."""

    def __init__(self, parent: QtWidgets.QWidget | None = None) -> None:
        super().__init__(parent)
        self.setWindowTitle("Keys")
        self.text = QtWidgets.QTextBrowser()
        self.text.setAccessibleName("Keys")
        self.text.setHtml(keys_html())
        close = button("Close", tip="Esc")
        close.clicked.connect(self.accept)
        column = QtWidgets.QVBoxLayout(self)
        column.addWidget(self.text, 1)
        column.addWidget(close)
        self.resize(680, 620)
        self.finished.connect(self.deleteLater)


def keys_html() -> str:
    """The page as HTML."""
    anywhere = ((action.keys, f"{_plain(action.text)}: {_lower(action.tip)}") for action in ACTIONS)
    picture = ((key.shown, key.tip) for key in PICTURE_KEYS)
    table = (("Ctrl+C", "copy the selected rows"), ("Esc", "stop the work, or put a message away"))
    return "".join(
        (
            _section("The space bar", SPACE_HELP),
            _section("Anywhere", (*anywhere, *table)),
            _section("In a picture that has the keyboard", picture),
            _section("With the mouse in a picture", MOUSE_HELP),
        )
    )


def _section(title: str, rows: Iterable[tuple[str, str]]) -> str:
    cells = "".join(f"<tr><td><b>{escape(key)}</b></td><td>&nbsp;&nbsp;{escape(tip)}</td></tr>" for key, tip in rows)
    return f"<h3>{escape(title)}</h3><table cellpadding='4'>{cells}</table>"


def _lower(text: str) -> str:
    return text[:1].lower() + text[1:]


def _plain(text: str) -> str:
    return text.replace("&", "").replace(" …", "")
