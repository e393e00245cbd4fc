"""The report sheet: the pages as they will be printed, what is left out and why, and the key that writes the PDF."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path

from gui._desk import Desk, Sheet
from gui._make import button, centred, label
from gui._pages import Busy
from gui._palette import Palette
from gui._qt import Qt, QtCore, QtGui, QtWidgets
from gui._report_controller import ReportController
from gui._report_model import Pages, ReportScreen
from gui._report_view import ReportView
from gui._words import tr


class ReportSheet(Sheet):
    """Implements the `ReportView` that its controller asks for."""

    def __init__(self, desk: Desk) -> None:
        super().__init__(desk)
        self.view, self.waiting, self.refusal = ReportView(desk.palette_now), Busy(), _Refusal()
        askers = desk.asker(), desk.asker(), desk.asker()
        self.controller = ReportController(self, askers, desk.library, desk.settings)
        self.stack = QtWidgets.QStackedWidget()
        for page in (self.refusal, self.waiting, self.view):
            self.stack.addWidget(page)
        column = QtWidgets.QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.addWidget(self.stack)
        self._older = False
        self._connect()
        self.view.show_state("", older=False, working=False)
        self.view.show_written(None)

    def _connect(self) -> None:
        view, controller = self.view, self.controller
        view.pages.resolution_asked.connect(controller.look_at)
        for key in (view.again, self.refusal.again):
            key.clicked.connect(controller.draw)
        for stop in (view.stop.clicked, self.waiting.cancelled):
            stop.connect(controller.stop)
        view.write.clicked.connect(lambda: self.desk.act("write-report"))
        view.folder.clicked.connect(lambda: self.desk.act("report-folder"))

    # ------------------------------------------------------------ what the window asks for

    def job_changed(self) -> None:
        opened, before = self.desk.visit.opened, self.controller.folder
        self.controller.put(opened)
        if before != self.controller.folder:
            self.view.show_written(None)
            self.refusal.show_text("")
            self.stack.setCurrentWidget(self.refusal)
        if self.isVisible() and not self.controller.report:
            self.controller.entered()

    def entered(self) -> None:
        self.controller.entered()

    def handlers(self) -> Mapping[str, Callable[[Mapping[str, str]], object]]:
        pages = self.view.pages
        plain: dict[str, Callable[[], object]] = {
            "write-report": self.ask_and_write,
            "report-folder": self.open_folder,
            "draw-report": self.controller.draw,
            "next-page": pages.next_page,
            "previous-page": pages.previous_page,
            "page-width": lambda: pages.fit_to("width"),
            "page-whole": lambda: pages.fit_to("page"),
            "focus-pages": lambda: pages.setFocus(Qt.FocusReason.ShortcutFocusReason),
            "focus-left-out": lambda: self.view.left_out.setFocus(Qt.FocusReason.ShortcutFocusReason),
        }
        return {name: lambda facts, do=do: do() for name, do in plain.items()}  # type: ignore[misc]

    def ask_and_write(self) -> None:
        """Let the place be chosen, then write."""
        start = str(self.controller.place)
        chosen, _ = QtWidgets.QFileDialog.getSaveFileName(self, tr("Write the PDF"), start, "PDF (*.pdf)")
        if chosen:
            path = Path(chosen)
            self.controller.write(path if path.suffix else path.with_suffix(".pdf"))

    def open_folder(self) -> None:
        """Open the folder of the PDF in the system's own file window."""
        folder = self.controller.place.parent
        if not QtGui.QDesktopServices.openUrl(QtCore.QUrl.fromLocalFile(str(folder))):
            self.desk.show_message(
                tr("No program of this computer shows folders; the PDF's is {folder}", folder=folder)
            )

    # ------------------------------------------------------------ what the controller asks for

    def show_screen(self, screen: ReportScreen) -> None:
        """Show a document."""
        self.view.show_screen(screen)
        self.show_idle()

    def show_pages(self, pages: Pages) -> None:
        """Show the same document at another resolution."""
        self.view.pages.show_pages(pages)

    def show_busy(self, fraction: float, doing: str) -> None:
        """How far the work is: on a page of its own while there is nothing else to see."""
        if self.controller.report:
            self.view.show_state(f"{doing} … {fraction:.0%}", older=self._older, working=self.controller.composing)
            return
        if self.stack.currentWidget() is not self.waiting and self.desk.visit.job:
            self.waiting.begin(self.desk.visit.job.folder)
            self.stack.setCurrentWidget(self.waiting)
        self.waiting.show_progress(fraction, doing)

    def show_idle(self) -> None:
        """No work goes on."""
        self.stack.setCurrentWidget(self.view if self.controller.report else self.refusal)
        text = tr("! The pages are older than the job.") if self._older else ""
        self.view.show_state(text, older=self._older, working=False)

    def show_refusal(self, sentence: str) -> None:
        """Why there are no pages."""
        self.refusal.show_text(sentence)
        self.stack.setCurrentWidget(self.refusal)

    def show_older(self, older: bool) -> None:
        """The job says something else than the pages."""
        self._older = older
        if self.controller.report and not self.controller.composing:
            self.show_idle()

    def show_written(self, target: Path) -> None:
        """Where the PDF was written; how the sheets stand may have changed by it."""
        self.view.show_written(target)
        self.desk.show_note(tr("✔ the report is written"))
        opened = self.desk.visit.opened
        if opened and target.resolve().parent == opened.job.folder.resolve():
            self.desk.visit.put(opened)

    def show_trouble(self, sentence: str) -> None:
        """One sentence; what is shown stays."""
        self.desk.show_message(sentence)

    # ------------------------------------------------------------ the rest of a sheet

    def stop(self) -> bool:
        if not self.controller.composing:
            return False
        self.controller.stop()
        return True

    def busy(self) -> bool:
        return self.controller.busy or self.view.pages.settling

    def give_keys(self) -> None:
        page = self.stack.currentWidget()
        wanted = {self.view: self.view.pages, self.refusal: self.refusal.again, self.waiting: self.waiting.stop}
        wanted[page].setFocus()  # type: ignore[index]

    def recolour(self, palette: Palette) -> None:
        self.view.recolour(palette)


class _Refusal(QtWidgets.QWidget):
    """Why there are no pages, and the key that tries again."""

    def __init__(self) -> None:
        super().__init__()
        self.head = label(tr("No pages yet"), "huge")
        self.text = label("", "large", wrap=True, spoken=tr("Why there are no pages"))
        self.text.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
        self.again = button(tr("Try again"), "first", tip=tr("Try once more (Ctrl+F5)"))
        column = QtWidgets.QVBoxLayout()
        column.addStretch(1)
        for widget in (self.head, self.text):
            column.addWidget(widget)
        column.addWidget(self.again, 0, Qt.AlignmentFlag.AlignLeft)
        column.addStretch(2)
        centred(column, self)

    def show_text(self, text: str) -> None:
        """Say why."""
        self.text.setText(text)
