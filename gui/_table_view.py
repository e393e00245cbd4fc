"""A table of cells on the screen: passive, copied with Ctrl+C."""

from __future__ import annotations

from typing import Any

from gui._palette import Palette
from gui._qt import Qt, QtCore, QtGui, QtWidgets
from gui._screen import Cell, Table

_EMPTY = Table(("",))
NARROWEST = 100
_WRAPPED_LEFT = Qt.AlignmentFlag(
    Qt.AlignmentFlag.AlignLeft.value | Qt.AlignmentFlag.AlignVCenter.value | Qt.TextFlag.TextWordWrap.value
)


class CellsModel(QtCore.QAbstractTableModel):
    """Hands a `Table` to Qt."""

    def __init__(self, palette: Palette) -> None:
        super().__init__()
        self.table, self.palette = _EMPTY, palette

    def show_table(self, table: Table) -> None:
        """Show another table."""
        self.beginResetModel()
        self.table = table
        self.endResetModel()

    def recolour(self, palette: Palette) -> None:
        """Use another palette."""
        self.beginResetModel()
        self.palette = palette
        self.endResetModel()

    def rowCount(self, parent: QtCore.QModelIndex = QtCore.QModelIndex()) -> int:  # noqa: B008
        return 0 if parent.isValid() else len(self.table.rows)

    def columnCount(self, parent: QtCore.QModelIndex = QtCore.QModelIndex()) -> int:  # noqa: B008
        return 0 if parent.isValid() else len(self.table.heads)

    def headerData(self, section: int, orientation: Qt.Orientation, role: int = 0) -> Any:
        if role == Qt.ItemDataRole.DisplayRole and orientation == Qt.Orientation.Horizontal:
            return self.table.heads[section]
        return None

    def data(self, index: QtCore.QModelIndex, role: int = 0) -> Any:
        return self._answer(self.table.rows[index.row()][index.column()], index.column(), role)

    def _answer(self, cell: Cell, column: int, role: int) -> Any:
        roles = Qt.ItemDataRole
        if role in (roles.DisplayRole, roles.AccessibleTextRole):
            return cell.text
        if role in (roles.ToolTipRole, roles.AccessibleDescriptionRole):
            return cell.tip or cell.text
        if role == roles.ForegroundRole:
            return QtGui.QBrush(QtGui.QColor(self.palette.tone(cell.tone)))
        if role == roles.FontRole and cell.tone in ("good", "bad", "doubt"):
            font = QtGui.QFont()
            font.setBold(True)
            return font
        return None


class _Roomy(QtWidgets.QStyledItemDelegate):
    """Rows a finger can hit."""

    def displayText(self, value: Any, locale: QtCore.QLocale) -> str:
        """A value may be broken before its uncertainty, nowhere else."""
        return super().displayText(value, locale).replace("\u00a0±", "\u200b\u00a0±")

    def sizeHint(self, option: Any, index: QtCore.QModelIndex) -> QtCore.QSize:
        return super().sizeHint(option, index) + QtCore.QSize(0, 14)


class CellsView(QtWidgets.QTableView):
    """Rows as tall as their text, the first column as wide as what the others leave."""

    def __init__(self, palette: Palette, name: str) -> None:
        super().__init__()
        self.setAccessibleName(name)
        self.cells = CellsModel(palette)
        self.setModel(self.cells)
        self.setItemDelegate(_Roomy(self))
        self.setAlternatingRowColors(True)
        self.setShowGrid(False)
        self.setWordWrap(True)
        self.setTextElideMode(Qt.TextElideMode.ElideNone)
        self.setTabKeyNavigation(False)
        self.setSelectionBehavior(self.SelectionBehavior.SelectRows)
        self.setEditTriggers(self.EditTrigger.NoEditTriggers)
        self.setVerticalScrollMode(self.ScrollMode.ScrollPerPixel)
        self.heads = QtWidgets.QHeaderView(Qt.Orientation.Horizontal, self)
        self.setHorizontalHeader(self.heads)
        rows = QtWidgets.QHeaderView(Qt.Orientation.Vertical, self)
        self.setVerticalHeader(rows)
        rows.hide()
        self.heads.setHighlightSections(False)
        self.heads.setStretchLastSection(True)
        self.heads.setDefaultAlignment(_WRAPPED_LEFT)

    def show_table(self, table: Table) -> None:
        """Show another table, from its top."""
        self.cells.show_table(table)
        self.scrollToTop()
        self._fit()

    def recolour(self, palette: Palette) -> None:
        """Use another palette."""
        self.cells.recolour(palette)

    def resizeEvent(self, ev: Any) -> None:
        super().resizeEvent(ev)
        self._fit()

    def _fit(self) -> None:
        """Every column as wide as its text where there is room; else the widest give way and wrap."""
        wanted = [self._wanted(column) for column in range(self.cells.columnCount())]
        for column, width in enumerate(shared_widths(wanted, self._room(), self.cells.table.unbroken)):
            self.setColumnWidth(column, width)
        self.resizeRowsToContents()

    def _room(self) -> int:
        """The table's width without its scroll bar, whether it is there or not, so that widths do not jump."""
        bar = self.verticalScrollBar()
        return self.contentsRect().width() - (bar.sizeHint().width() if bar else 0)

    def _wanted(self, column: int) -> int:
        return max(self.sizeHintForColumn(column), self.heads.sectionSizeHint(column)) + 10

    def keyPressEvent(self, ev: Any) -> None:
        if ev.matches(QtGui.QKeySequence.StandardKey.Copy):
            rows = sorted({index.row() for index in self.selectedIndexes()})
            clipboard = QtWidgets.QApplication.clipboard()
            if clipboard:
                clipboard.setText(self.text(rows))
            return
        super().keyPressEvent(ev)

    def text(self, rows: list[int]) -> str:
        """Rows as text with tabs between the cells, heads first."""
        lines = [
            self.cells.table.heads,
            *([cell.text for cell in self.cells.table.rows[row]] for row in rows),
        ]
        return "\n".join("\t".join(line) for line in lines)


def shared_widths(wanted: list[int], room: int, unbroken: frozenset[int] = frozenset()) -> list[int]:
    """Widths that fill `room`: what is left goes to the first column, what lacks is taken from the widest.

    Columns of `unbroken` give way only when the others have shrunk to `NARROWEST`.
    """
    if not wanted:
        return []
    spare = room - sum(wanted)
    if spare >= 0:
        return [wanted[0] + spare, *wanted[1:]]
    givers = [width for column, width in enumerate(wanted) if column not in unbroken]
    kept = sum(wanted) - sum(givers)
    if givers and kept + sum(min(width, NARROWEST) for width in givers) <= room:
        limit = _limit(givers, room - kept)
        return [width if column in unbroken else min(width, limit) for column, width in enumerate(wanted)]
    # Values break before their uncertainty, and where even that does not do all give way alike.
    halves = [_half(width) if column in unbroken else width for column, width in enumerate(wanted)]
    if halves != wanted and sum(min(width, NARROWEST) for width in halves) <= room:
        return shared_widths(halves, room, unbroken)
    limit = _limit(wanted, room)
    return [min(width, limit) for width in wanted]


def _half(width: int) -> int:
    return max(round(0.62 * width), min(width, 84))


def _limit(widths: list[int], room: int) -> int:
    """The largest width that none may pass so that all fit into `room`."""
    limit = max(widths)
    while limit > 40 and sum(min(width, limit) for width in widths) > room:
        limit -= 2
    return limit
