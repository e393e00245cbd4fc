"""The report sheet's parts: page keys, pages, and beside them how it is saved and what is told of it. Passive."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from gui._make import Chooser, button, label, splitter
from gui._pages_view import PagesView
from gui._palette import Palette
from gui._qt import Qt, QtWidgets
from gui._report_model import IssuedShown, KeyShown, ReportScreen, SaveKind, save_kinds
from gui._report_panels import IssuedPanel, KeyPanel, PaperPanel
from gui._words import tr
from gui._wrapped_list import WrappedList

#: room of the panels at least, in pixels; where there is less the sheet scrolls
LEAST_PANEL = 200


class ReportView(QtWidgets.QWidget):
    """Shows a `ReportScreen`; its keys are wired by the sheet."""

    def __init__(self, palette: Palette) -> None:
        super().__init__()
        self.pages = PagesView(palette)
        self.back = button("◀", "square", tip=tr("The page before (Page up)"), spoken=tr("Page before"))
        self.place = label("", spoken=tr("Which page is in view"))
        self.on = button("▶", "square", tip=tr("The next page (Page down)"), spoken=tr("Next page"))
        self.farther = button("−", "square", tip=tr("Smaller (−)"), spoken=tr("Smaller"))
        self.nearer = button("+", "square", tip=tr("Larger (+)"), spoken=tr("Larger"))
        self.width_key = button(tr("Whole width"), tip=tr("As wide as there is room"))
        self.page_key = button(tr("Whole page"), tip=tr("The page as a whole"))
        self.check = button(tr("Check a report …"), tip=tr("Does a report match its files? (Ctrl+Shift+K)"))
        self.folder = button(tr("Open the folder"), tip=tr("Open the folder that it was saved in"))
        self.kinds = save_kinds()
        self.kind = Chooser(tr("As what the report is saved"))
        self.save = button(tr("Save …"), "first", tip=tr("Save these pages (Ctrl+S)"))
        self.state = label("", "caution", spoken=tr("State of the pages"))
        self.again = button(tr("Draw again"), tip=tr("Draw the pages of the job as it stands now (Ctrl+F5)"))
        self.stop = button(tr("Stop"), tip=tr("Stop the work (Esc)"), spoken=tr("Stop the work"))
        self.revision = label("", wrap=True, spoken=tr("Which revision this is"))
        #: why the shop's file is not used, that the key is locked
        self.cautions = tuple(label("", "caution", wrap=True, spoken=tr("Caution")) for _ in range(2))
        self.left_out = WrappedList(tr("What is left out of the report, and why"))
        self.paper, self.key, self.issued = PaperPanel(), KeyPanel(), IssuedPanel()
        self.tabs = QtWidgets.QTabWidget()
        self.written = label("", "saved", wrap=True, spoken=tr("What was saved, and where"))
        self._lay_out()
        self._connect()
        for place in range(len(self.cautions)):
            self._show_caution(place, "")

    def _lay_out(self) -> None:
        for kind in self.kinds:
            self.kind.addItem(kind.words)
            self.kind.setItemData(self.kind.count() - 1, kind.tip, Qt.ItemDataRole.ToolTipRole)
        self.written.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
        self.place.setAlignment(Qt.AlignmentFlag.AlignCenter)
        column = QtWidgets.QVBoxLayout(self)
        column.setContentsMargins(8, 6, 8, 8)
        column.setSpacing(6)
        column.addLayout(self._state_row())
        left, side = self._left(), self._side()
        column.addWidget(splitter(Qt.Orientation.Horizontal, (left, 7), (side, 3)), 1)
        # As wide as their keys at least, whatever the size of letters.
        for half in (left, side):
            half.setMinimumWidth(0)

    def _left(self) -> QtWidgets.QWidget:
        row = QtWidgets.QHBoxLayout()
        for part in (self.back, self.place, self.on, self.farther, self.nearer, self.width_key, self.page_key):
            row.addWidget(part)
        row.addStretch(1)
        left = QtWidgets.QWidget()
        column = _column(left)
        column.addLayout(row)
        column.addWidget(self.pages, 1)
        return left

    def _state_row(self) -> QtWidgets.QHBoxLayout:
        row = QtWidgets.QHBoxLayout()
        row.addWidget(self.state)
        row.addWidget(self.again)
        row.addWidget(self.stop)
        row.addStretch(1)
        return row

    def _side(self) -> QtWidgets.QWidget:
        row = QtWidgets.QHBoxLayout()
        row.addWidget(self.kind, 1)
        row.addWidget(self.save)
        self.left_out_place = self.tabs.addTab(self.left_out, "")
        self.tabs.addTab(self.paper, tr("Paper"))
        self.tabs.addTab(self.key, tr("Key"))
        self.issued_place = self.tabs.addTab(self.issued, tr("Issued"))
        bar = self.tabs.tabBar()
        assert bar is not None
        bar.setAccessibleName(tr("Left out, paper, key, issued reports"))
        bar.setUsesScrollButtons(False)
        self.tabs.setMinimumHeight(LEAST_PANEL)
        self.tabs.setStyleSheet("QTabBar::tab { padding: 8px 9px; }")
        low = QtWidgets.QHBoxLayout()
        for key in (self.check, self.folder):
            low.addWidget(key)
        low.addStretch(1)
        side = QtWidgets.QWidget()
        column = _column(side)
        column.addLayout(row)
        for text in (self.revision, *self.cautions):
            column.addWidget(text)
        column.addWidget(self.tabs, 1)
        column.addWidget(self.written)
        column.addLayout(low)
        return side

    def _connect(self) -> None:
        pages = self.pages
        self.back.clicked.connect(pages.previous_page)
        self.on.clicked.connect(pages.next_page)
        self.farther.clicked.connect(lambda: pages.zoom(-1))
        self.nearer.clicked.connect(lambda: pages.zoom(1))
        self.width_key.clicked.connect(lambda: pages.fit_to("width"))
        self.page_key.clicked.connect(lambda: pages.fit_to("page"))
        pages.place_changed.connect(self._show_place)

    @property
    def kind_chosen(self) -> SaveKind:
        """As what it is saved."""
        return self.kinds[self.kind.currentIndex()]

    def show_kind(self, name: str) -> None:
        """What is remembered, or was just chosen in the menu."""
        self.kind.setCurrentIndex([kind.name for kind in self.kinds].index(name))  # type: ignore[arg-type]

    def show_screen(self, screen: ReportScreen) -> None:
        """Show a document."""
        self.pages.show_pages(screen.pages)
        self.pages.setAccessibleDescription(screen.headline)
        self.left_out.clear()
        self.left_out.addItems(screen.left_out or (tr("Nothing is left out."),))
        self.tabs.setTabText(self.left_out_place, _counted(tr("Left out"), screen.left_out))
        self.paper.show_shop(screen.shop)
        self._show_caution(0, screen.shop.trouble)
        self.show_issued(screen.issued)

    def show_issued(self, issued: IssuedShown) -> None:
        """Which revision it is, and which were issued."""
        self.revision.setText(issued.revision)
        self.issued.show_issued(issued)
        self.tabs.setTabText(self.issued_place, _counted(tr("Issued"), issued.rows))

    def show_key(self, key: KeyShown) -> None:
        """Whether reports are signed."""
        self.key.show_key(key)
        self._show_caution(1, key.text if key.locked else "")

    def _show_caution(self, place: int, text: str) -> None:
        self.cautions[place].setText(text)
        self.cautions[place].setVisible(bool(text))

    def show_panel(self, panel: QtWidgets.QWidget, first: QtWidgets.QWidget) -> None:
        """Bring a panel to the front and give one of its parts the keyboard."""
        self.tabs.setCurrentWidget(panel)
        first.setFocus(Qt.FocusReason.ShortcutFocusReason)

    def show_state(self, text: str, *, older: bool, working: bool) -> None:
        """What is said of the pages: nothing, that they are older than the job, or how far the work is."""
        self.state.setText(text)
        self.state.setVisible(bool(text))
        self.again.setVisible(older and not working)
        self.stop.setVisible(working)

    def show_written(self, words: str, paths: Sequence[Path]) -> None:
        """Where it stands now; without paths none was written."""
        more = tr(" and {count} more beside it", count=len(paths) - 1) if paths[1:] else ""
        self.written.setText(tr("✔ {what}: {target}{more}", what=words, target=paths[0], more=more) if paths else "")
        self.written.setVisible(bool(paths))
        self.folder.setVisible(bool(paths))

    def _show_place(self, page: int, count: int) -> None:
        self.place.setText(tr("Page {page} of {count}", page=page, count=count))
        self.back.setEnabled(count > 0)
        self.on.setEnabled(page < count)

    def recolour(self, palette: Palette) -> None:
        """Use another palette."""
        self.pages.recolour(palette)


def _column(holder: QtWidgets.QWidget) -> QtWidgets.QVBoxLayout:
    made = QtWidgets.QVBoxLayout(holder)
    made.setContentsMargins(0, 0, 0, 0)
    made.setSpacing(6)
    return made


def _counted(words: str, rows: Sequence[str]) -> str:
    return f"{words} ({len(rows)})" if rows else words
