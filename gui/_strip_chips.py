"""What will be written into the recording, one small key each."""

from __future__ import annotations

from typing import Any

from gui._make import button
from gui._qt import Qt, QtCore, QtGui, QtWidgets
from gui._words import tr

GAP_PX, PADDING_PX = 4, 24
LEAST_HEIGHT = 40
#: characters that a single chip may take at most, and that the last one in the row has at least
_MOST, _LEAST = 24, 4


class Chips(QtWidgets.QWidget):
    """Side by side as far as they fit, in fewer words where there is little room; the others are behind "+3 …"."""

    pressed = QtCore.pyqtSignal(str)

    def __init__(self) -> None:
        super().__init__()
        self.keys: list[QtWidgets.QPushButton] = []
        self._fields: list[str] = []
        self._texts: list[str] = []
        self.more = self._key()
        self.more.clicked.connect(self._press_more)
        self.setSizePolicy(QtWidgets.QSizePolicy.Policy.Ignored, QtWidgets.QSizePolicy.Policy.Fixed)

    def _key(self) -> QtWidgets.QPushButton:
        made = button("", "chip")
        made.setParent(self)
        return made

    def sizeHint(self) -> QtCore.QSize:
        return QtCore.QSize(400, max(LEAST_HEIGHT, self.more.sizeHint().height()))

    def minimumSizeHint(self) -> QtCore.QSize:
        return QtCore.QSize(120, self.sizeHint().height())

    def show_chips(self, chips: tuple[tuple[str, str], ...]) -> None:
        """Show these: field of the panel and text."""
        fields, texts = [field for field, _ in chips], [text for _, text in chips]
        if (fields, texts) == (self._fields, self._texts):
            return
        self._fields, self._texts = fields, texts
        while len(self.keys) < len(chips):
            self._add()
        for key, (field, text) in zip(self.keys, chips, strict=False):
            key.setToolTip(tr("{chip} – press to change it", chip=text))
            key.setAccessibleName(f"{field}: {text}")
        self._place()

    def _add(self) -> None:
        key, index = self._key(), len(self.keys)
        key.clicked.connect(lambda: self.pressed.emit(self._fields[index]))
        # Those that have no room come last with the keyboard too.
        self.setTabOrder(key, self.more)
        self.keys.append(key)

    def _press_more(self) -> None:
        hidden = [field for key, field in zip(self.keys, self._fields, strict=False) if key.isHidden()]
        if hidden:
            self.pressed.emit(hidden[0])

    def resizeEvent(self, ev: Any) -> None:
        self._place()

    def changeEvent(self, ev: Any) -> None:
        super().changeEvent(ev)
        if ev.type() in (QtCore.QEvent.Type.FontChange, QtCore.QEvent.Type.StyleChange):
            self._place()

    # ------------------------------------------------------------ where each stands

    def _place(self) -> None:
        metrics = QtGui.QFontMetrics(self.more.font())
        texts = self._fitting(metrics)
        left, shown = 0, self._count(metrics, texts)
        for number, key in enumerate(self.keys):
            key.setVisible(number < shown)
            if number < shown:
                room = self.width() - left - (self._more_px(metrics) if shown < len(texts) else 0)
                left += self._put(key, texts[number], left, room, metrics)
        hidden = len(texts) - shown
        self.more.setVisible(hidden > 0)
        if hidden > 0:
            words = tr("+{count} …", count=hidden)
            self.more.setAccessibleName(tr("{count} more: {what}", count=hidden, what=", ".join(self._texts[shown:])))
            self.more.setToolTip(", ".join(self._texts[shown:]))
            self._put(self.more, words, left, self.width() - left, metrics)

    def _put(self, key: QtWidgets.QPushButton, text: str, left: int, room: int, metrics: QtGui.QFontMetrics) -> int:
        """Returns what it takes, its gap included."""
        wide = max(min(self._wide(text, metrics), room), 0)
        shown = metrics.elidedText(text, Qt.TextElideMode.ElideRight, max(wide - PADDING_PX + 4, 0))
        key.setText(shown.replace("&", "&&"))
        key.setGeometry(left, 0, wide, self.height())
        return wide + GAP_PX

    def _fitting(self, metrics: QtGui.QFontMetrics) -> list[str]:
        """ "rpm ?" in place of "rpm not stated" where there is no room for all."""
        if sum(self._wide(text, metrics) + GAP_PX for text in self._texts) - GAP_PX <= self.width():
            return self._texts
        return [text.replace(tr("not stated"), "?") for text in self._texts]

    def _count(self, metrics: QtGui.QFontMetrics, texts: list[str]) -> int:
        """How many have room; the last of them may be shortened."""
        least = _LEAST * metrics.averageCharWidth() + PADDING_PX
        left = 0
        for number, text in enumerate(texts):
            last = number + 1 == len(texts)
            room = self.width() - left - (0 if last else self._more_px(metrics))
            if room < min(self._wide(text, metrics), least):
                return number
            left += self._wide(text, metrics) + GAP_PX
        return len(texts)

    def _more_px(self, metrics: QtGui.QFontMetrics) -> int:
        return self._wide(tr("+{count} …", count=len(self._texts)), metrics) + GAP_PX

    def _wide(self, text: str, metrics: QtGui.QFontMetrics) -> int:
        most = _MOST * metrics.averageCharWidth() + PADDING_PX
        return min(metrics.horizontalAdvance(text) + PADDING_PX, most)
