"""The report sheet's parts: page keys, pages, what is left out, what was written. Passive."""

from __future__ import annotations

from pathlib import Path

from gui._make import button, label, splitter
from gui._pages_view import PagesView
from gui._palette import Palette
from gui._qt import Qt, QtWidgets
from gui._report_model import ReportScreen
from gui._words import tr
from gui._wrapped_list import WrappedList


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
        self.folder = button(tr("Open the folder"), tip=tr("Open the folder that the PDF stands in"))
        self.write = button(tr("Write the PDF …"), "first", tip=tr("Write these pages as a PDF (Ctrl+P)"))
        self.state = label("", "caution", spoken=tr("State of the pages"))
        self.again = button(tr("Draw again"), tip=tr("Draw the pages of the job as it stands now (Ctrl+F5)"))
        self.stop = button(tr("Stop"), tip=tr("Stop drawing"), spoken=tr("Stop drawing the pages"))
        self.left_out = WrappedList(tr("What is left out of the report, and why"))
        self.left_out_name = label("", "name", wrap=True)
        self.written = label("", "saved", wrap=True, spoken=tr("Where the PDF was written"))
        self._lay_out()
        self._connect()

    def _lay_out(self) -> None:
        self.written.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
        self.place.setAlignment(Qt.AlignmentFlag.AlignCenter)
        column = QtWidgets.QVBoxLayout(self)
        column.setContentsMargins(8, 6, 8, 8)
        column.setSpacing(6)
        column.addLayout(self._top())
        column.addLayout(self._state_row())
        column.addWidget(splitter(Qt.Orientation.Horizontal, (self.pages, 7), (self._side(), 3)), 1)

    def _top(self) -> QtWidgets.QHBoxLayout:
        row = QtWidgets.QHBoxLayout()
        for part in (self.back, self.place, self.on, self.farther, self.nearer, self.width_key, self.page_key):
            row.addWidget(part)
        row.addStretch(1)
        for part in (self.folder, self.write):
            row.addWidget(part)
        return row

    def _state_row(self) -> QtWidgets.QHBoxLayout:
        row = QtWidgets.QHBoxLayout()
        row.addWidget(self.state)
        row.addWidget(self.again)
        row.addWidget(self.stop)
        row.addStretch(1)
        return row

    def _side(self) -> QtWidgets.QWidget:
        side = QtWidgets.QWidget()
        column = QtWidgets.QVBoxLayout(side)
        column.setContentsMargins(0, 0, 0, 0)
        column.addWidget(self.left_out_name)
        column.addWidget(self.left_out, 1)
        column.addWidget(self.written)
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

    def show_screen(self, screen: ReportScreen) -> None:
        """Show a document."""
        self.pages.show_pages(screen.pages)
        self.pages.setAccessibleDescription(screen.headline)
        self.left_out.clear()
        self.left_out.addItems(screen.left_out or (tr("Nothing is left out."),))
        count = len(screen.left_out)
        self.left_out_name.setText(tr("Left out, and why") + (f" ({count})" if count else ""))

    def show_state(self, text: str, *, older: bool, working: bool) -> None:
        """What is said of the pages: nothing, that they are older than the job, or how far the work is."""
        self.state.setText(text)
        self.state.setVisible(bool(text))
        self.again.setVisible(older and not working)
        self.stop.setVisible(working)

    def show_written(self, target: Path | None) -> None:
        """Where the PDF stands now; None: none was written."""
        self.written.setText(tr("✔ Written: {target}", target=target) if target else "")
        self.written.setVisible(target is not None)

    def _show_place(self, page: int, count: int) -> None:
        self.place.setText(tr("Page {page} of {count}", page=page, count=count))
        self.back.setEnabled(count > 0)
        self.on.setEnabled(page < count)

    def recolour(self, palette: Palette) -> None:
        """Use another palette."""
        self.pages.recolour(palette)
