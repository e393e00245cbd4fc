"""The lists beside a wiring drawing: findings by severity, the cheapest changes, what was assumed. Passive."""

from __future__ import annotations

from functools import partial

from analysis.wiring import Change
from gui._make import button, label
from gui._noise_view import Working
from gui._palette import Palette
from gui._qt import Qt, QtCore, QtGui, QtWidgets
from gui._step_card import scrolling
from gui._wiring_model import SIGNS, TONES, FindingShown, PlanShown
from gui._words import tr
from job import WIRING_CAUTIONS

#: left and right of a row's text, as the style sheet has it, and a little more
_PADDING = 28


class FindingsList(QtWidgets.QWidget):
    """One row for each, the gravest first; choosing one goes to its part."""

    chosen = QtCore.pyqtSignal(str)

    def __init__(self, palette: Palette) -> None:
        super().__init__()
        self._palette = palette
        self._findings: tuple[FindingShown, ...] = ()
        self.rows = WrappedList(tr("Findings, the gravest first"))
        self.none = label(tr("No findings."), "large", wrap=True)
        column = QtWidgets.QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.addWidget(self.none)
        column.addWidget(self.rows, 1)
        self.rows.itemActivated.connect(self._go)
        self.rows.itemClicked.connect(self._go)

    def show_findings(self, findings: tuple[FindingShown, ...]) -> None:
        """Those of another state; the chosen row stays where it is."""
        if findings != self._findings or not self.rows.count():
            self._findings = findings
            at = self.rows.currentRow()
            self.rows.clear()
            for one in findings:
                self.rows.addItem(self._item(one))
            if findings:
                self.rows.addItem(_plain_item(cautions_text()))
                self.rows.setCurrentRow(min(max(at, 0), len(findings) - 1))
        self.rows.setVisible(bool(findings))
        self.none.setVisible(not findings)

    def _item(self, one: FindingShown) -> QtWidgets.QListWidgetItem:
        caution = f" {one.caution}" if one.caution else ""
        item = QtWidgets.QListWidgetItem(f"{SIGNS[one.severity]} {tr(one.severity).upper()}  {one.text}{caution}")
        item.setToolTip(one.source)
        item.setForeground(QtGui.QColor(self._palette.tone(TONES[one.severity])))
        item.setData(Qt.ItemDataRole.AccessibleTextRole, f"{tr(one.severity)}: {one.text}{caution}")
        return item

    def _go(self, item: QtWidgets.QListWidgetItem) -> None:
        row = self.rows.row(item)
        if 0 <= row < len(self._findings):
            self.chosen.emit(self._findings[row].part)

    def recolour(self, palette: Palette) -> None:
        """Use another palette."""
        self._palette = palette
        for row, one in enumerate(self._findings):
            item = self.rows.item(row)
            if item is not None:
                item.setForeground(QtGui.QColor(palette.tone(TONES[one.severity])))


class WrappedList(QtWidgets.QListWidget):
    """Rows as tall as their text."""

    def __init__(self, spoken: str) -> None:
        super().__init__()
        self.setAccessibleName(spoken)
        self.setWordWrap(True)
        self.setTextElideMode(Qt.TextElideMode.ElideNone)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.setVerticalScrollMode(self.ScrollMode.ScrollPerPixel)
        self.setResizeMode(self.ResizeMode.Adjust)
        self.setItemDelegate(_AsTallAsItsText(self))


class _AsTallAsItsText(QtWidgets.QStyledItemDelegate):
    """The style's own reckoning forgets the room beside the text."""

    def __init__(self, rows: WrappedList) -> None:
        super().__init__(rows)
        self._rows = rows

    def sizeHint(self, option: QtWidgets.QStyleOptionViewItem, index: QtCore.QModelIndex) -> QtCore.QSize:
        viewport = self._rows.viewport()
        wide = max(80, (viewport.width() if viewport else 300) - _PADDING)
        text = str(index.data(Qt.ItemDataRole.DisplayRole))
        room = QtCore.QRect(0, 0, wide, 100_000)
        high = self._rows.fontMetrics().boundingRect(room, int(Qt.TextFlag.TextWordWrap), text).height()
        return QtCore.QSize(wide, max(40, high + 20))


def _plain_item(text: str) -> QtWidgets.QListWidgetItem:
    item = QtWidgets.QListWidgetItem(text)
    item.setFlags(Qt.ItemFlag.ItemIsEnabled)
    return item


def cautions_text() -> str:
    """What is to be read before wires and fuses are touched."""
    return "\n".join((tr("Before wires and fuses are touched:"), *(f"• {text}" for text in WIRING_CAUTIONS)))


class ChangesList(QtWidgets.QWidget):
    """The cheapest changes, each to be chosen or left, with the key that takes them over as left."""

    plan_asked = QtCore.pyqtSignal()
    take_asked = QtCore.pyqtSignal(list)

    def __init__(self) -> None:
        super().__init__()
        self.plan: PlanShown | None = None
        self.boxes: list[QtWidgets.QCheckBox] = []
        self.why = label(
            tr(
                "The cheapest set of changes on the price list that leaves neither danger nor fault at rated power. "
                "The search takes some seconds."
            ),
            "quiet",
            wrap=True,
        )
        self.ask = button(tr("Look for the cheapest changes"), "first")
        self.working = Working()
        self.total, self.left = label("", "strong", wrap=True), label("", "caution", wrap=True)
        self.take = button(tr("Take the chosen ones over as left"), "first")
        self._lay_out()
        self.ask.clicked.connect(lambda: self.plan_asked.emit())
        self.take.clicked.connect(lambda: self.take_asked.emit(self.chosen()))
        self.show_plan(None)

    def _lay_out(self) -> None:
        page = QtWidgets.QWidget()
        page.setObjectName("page")
        self.column = QtWidgets.QVBoxLayout()
        self.column.setSpacing(2)
        inner = QtWidgets.QVBoxLayout(page)
        inner.setContentsMargins(2, 2, 8, 4)
        inner.addLayout(self.column)
        inner.addWidget(self.left)
        inner.addStretch(1)
        self.area = scrolling(page, tr("Proposed changes"))
        whole = QtWidgets.QVBoxLayout(self)
        whole.setContentsMargins(0, 0, 0, 0)
        for part in (self.why, self.ask, self.working, self.total):
            whole.addWidget(part)
        whole.addWidget(self.area, 1)
        whole.addWidget(self.take)

    def show_plan(self, plan: PlanShown | None) -> None:
        """Another plan; None where there is none of what is drawn."""
        self.plan = plan
        self.working.done()
        for box in self.boxes:
            box.hide()
            box.deleteLater()
        self.boxes = [self._box(one.text, one.cost) for one in plan.changes] if plan else []
        self.total.setText(f"{plan.text} ({plan.prices})" if plan else "")
        self.left.setText("\n".join(tr("left: {what}", what=text) for text in plan.left) if plan else "")
        self.ask.setVisible(plan is None)
        self.why.setVisible(plan is None)
        for part in (self.total, self.left):
            part.setVisible(plan is not None and bool(part.text()))
        self.area.setVisible(plan is not None)
        self.take.setVisible(bool(self.boxes))
        self._count()

    def _box(self, text: str, cost: str) -> QtWidgets.QCheckBox:
        box = WrappedBox(f"{text} {cost}.")
        box.setChecked(True)
        box.toggled.connect(lambda on: self._count())
        self.column.addWidget(box)
        return box

    def chosen(self) -> list[Change]:
        """The changes whose boxes are ticked."""
        changes = self.plan.changes if self.plan else ()
        return [one.change for one, box in zip(changes, self.boxes, strict=True) if box.isChecked()]

    def _count(self) -> None:
        own = self.chosen()
        cost = sum(one.cost for one in own)
        self.take.setEnabled(bool(own))
        self.take.setText(tr("Take {count} over as left ({cost})", count=len(own), cost=f"{cost:.2f}"))

    def show_busy(self, fraction: float, doing: str) -> None:
        """It is looked for."""
        self.show_plan(None)
        self.ask.hide()
        self.working.show_progress(fraction, doing)
        self.working.bar.setFormat(f"{doing[:1].upper()}{doing[1:]} …")

    def show_trouble(self, sentence: str) -> None:
        """It could not be looked for."""
        self.working.show_trouble(sentence)


class WrappedBox(QtWidgets.QCheckBox):
    """A box to tick whose text is broken into lines."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.words = text
        self.setAccessibleName(text)
        policy = QtWidgets.QSizePolicy(QtWidgets.QSizePolicy.Policy.Ignored, QtWidgets.QSizePolicy.Policy.Preferred)
        policy.setHeightForWidth(True)
        self.setSizePolicy(policy)

    def hasHeightForWidth(self) -> bool:
        return True

    def heightForWidth(self, a0: int) -> int:
        return max(40, self._room(a0).height() + 12)

    def sizeHint(self) -> QtCore.QSize:
        return QtCore.QSize(200, self.heightForWidth(self.width() or 330))

    def minimumSizeHint(self) -> QtCore.QSize:
        return QtCore.QSize(120, 40)

    def _room(self, width: int) -> QtCore.QRect:
        flags = int(Qt.TextFlag.TextWordWrap | Qt.AlignmentFlag.AlignVCenter)
        return self.fontMetrics().boundingRect(QtCore.QRect(0, 0, max(60, width - 34), 10_000), flags, self.words)

    def paintEvent(self, a0: object) -> None:
        painter = QtGui.QPainter(self)
        painter.setRenderHint(painter.RenderHint.Antialiasing)
        colours = self.palette()
        ink = colours.color(QtGui.QPalette.ColorRole.WindowText)
        frame = colours.color(QtGui.QPalette.ColorRole.Link) if self.hasFocus() else ink
        square = QtCore.QRectF(4, self.height() / 2 - 10, 20, 20)
        painter.setPen(QtGui.QPen(frame, 3 if self.hasFocus() else 2))
        painter.setBrush(colours.color(QtGui.QPalette.ColorRole.Base))
        painter.drawRect(square)
        if self.isChecked():
            painter.setPen(QtGui.QPen(ink, 3))
            x, y = square.left(), square.top()
            corners = ((x + 4, y + 10), (x + 8.5, y + 15), (x + 16, y + 5))
            painter.drawPolyline(QtGui.QPolygonF([QtCore.QPointF(*corner) for corner in corners]))
        painter.setPen(ink)
        flags = int(Qt.TextFlag.TextWordWrap | Qt.AlignmentFlag.AlignVCenter)
        painter.drawText(self.rect().adjusted(34, 0, 0, 0), flags, self.words)
        painter.end()

    def hitButton(self, pos: QtCore.QPoint) -> bool:
        return self.rect().contains(pos)


class AssumedList(QtWidgets.QWidget):
    """What the file does not say, and what was taken for it."""

    def __init__(self) -> None:
        super().__init__()
        self.rows = WrappedList(tr("What was assumed"))
        self.why = label(
            tr("What the file does not say is assumed; write it down where you know it better."), "quiet", wrap=True
        )
        column = QtWidgets.QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.addWidget(self.why)
        column.addWidget(self.rows, 1)

    def show_assumed(self, assumed: tuple[str, ...]) -> None:
        """Those of another state."""
        if [self.rows.item(row).text() for row in range(self.rows.count())] != list(assumed):  # type: ignore[union-attr]
            self.rows.clear()
            self.rows.addItems(list(assumed))


class Pages(QtWidgets.QWidget):
    """Keys with a page for each, one in front."""

    turned = QtCore.pyqtSignal(str)

    def __init__(self, pages: dict[str, tuple[str, QtWidgets.QWidget]]) -> None:
        super().__init__()
        self.keys: dict[str, QtWidgets.QPushButton] = {}
        self.stack, self._order = QtWidgets.QStackedWidget(), list(pages)
        row = QtWidgets.QHBoxLayout()
        row.setSpacing(4)
        for name, (words, page) in pages.items():
            self.keys[name] = key = button(tr(words), "choice")
            key.setCheckable(True)
            key.clicked.connect(partial(self._pressed, name))
            row.addWidget(key, 1)
            self.stack.addWidget(page)
        column = QtWidgets.QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(4)
        column.addLayout(row)
        column.addWidget(self.stack, 1)
        self.turn(self._order[0])

    def _pressed(self, name: str, *facts: object) -> None:
        self.turn(name)
        self.turned.emit(name)

    @property
    def front(self) -> str:
        """Which is in front."""
        return self._order[self.stack.currentIndex()]

    def turn(self, name: str) -> None:
        """Bring a page to the front."""
        for own, key in self.keys.items():
            key.setChecked(own == name)
        self.stack.setCurrentIndex(self._order.index(name))
