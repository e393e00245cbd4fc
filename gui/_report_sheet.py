"""The report sheet: the pages as they will be printed, what is left out and why, how they are saved and checked."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import partial
from pathlib import Path

from gui._desk import Desk, Sheet
from gui._make import button, centred, label
from gui._pages import Busy
from gui._palette import Palette
from gui._qt import Qt, QtCore, QtGui, QtWidgets
from gui._report_check_controller import CheckController
from gui._report_check_page import CheckPage
from gui._report_controller import ReportAskers, ReportController
from gui._report_model import IssuedShown, KeyShown, Pages, ReportScreen, SaveKind, kind_named
from gui._report_password import PasswordPage
from gui._report_view import ReportView
from gui._settings import ReportKind
from gui._words import tr

_FILES = QtWidgets.QFileDialog


class ReportSheet(Sheet):
    """Implements the `ReportView` that its controller asks for."""

    def __init__(self, desk: Desk) -> None:
        super().__init__(desk)
        self.view, self.waiting, self.refusal = ReportView(desk.palette_now), Busy(), _Refusal()
        self.check_page = CheckPage()
        askers = ReportAskers(desk.asker(), desk.asker(), desk.asker(), desk.asker())
        self.controller = ReportController(self, askers, desk.library, desk.settings)
        self.checker = CheckController(self.check_page, desk.asker(), desk.settings)
        self.stack = QtWidgets.QStackedWidget()
        for page in (self.refusal, self.waiting, self.view, self.check_page):
            self.stack.addWidget(page)
        column = QtWidgets.QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.addWidget(self.stack)
        self._older, self._checking = False, False
        #: what is in front while no report is checked
        self._front: QtWidgets.QWidget = self.refusal
        self._connect()
        kept = desk.settings.settings
        self.view.show_kind(kept.report_kind)
        self.view.paper.show_chosen(kept.report_paper, kept.report_units)
        self.view.show_state("", older=False, working=False)
        self.view.show_written("", ())

    def _connect(self) -> None:
        view, controller = self.view, self.controller
        view.pages.resolution_asked.connect(controller.look_at)
        for key in (view.again, self.refusal.again):
            key.clicked.connect(controller.draw)
        for stop in (view.stop.clicked, self.waiting.cancelled):
            stop.connect(controller.stop)
        view.kind.activated.connect(lambda index: controller.choose_kind(view.kind_chosen.name))
        view.save.clicked.connect(lambda: self.desk.act("save-report"))
        view.folder.clicked.connect(lambda: self.desk.act("report-folder"))
        view.paper.size_chosen.connect(controller.choose_size)
        view.paper.units_chosen.connect(controller.choose_units)
        for key in (view.check, self.refusal.check):
            key.clicked.connect(lambda: self.desk.act("check-report"))
        keys = view.key
        keys.open.clicked.connect(controller.keys.open)
        keys.away.clicked.connect(controller.keys.put_away)
        keys.choose.clicked.connect(self.ask_for_key)
        keys.make.clicked.connect(self.ask_for_new_key)
        self._connect_check()

    def _connect_check(self) -> None:
        page, checker = self.check_page, self.checker
        page.back.clicked.connect(self.leave_check)
        page.report.clicked.connect(self.ask_for_report)
        page.files.clicked.connect(self._ask_for_files)
        page.key.clicked.connect(self._ask_for_public_key)
        page.no_key.clicked.connect(lambda: checker.choose_key(None))
        page.again.clicked.connect(checker.check)
        page.stop.clicked.connect(checker.stop)

    # ------------------------------------------------------------ what the window asks for

    def job_changed(self) -> None:
        opened, before = self.desk.visit.opened, self.controller.folder
        self.controller.put(opened)
        if before != self.controller.folder:
            self.checker.put(self.controller.folder)
            self._checking = False
            self.view.show_written("", ())
            self.refusal.show_text("")
            self._show(self.refusal)
        if self.isVisible() and not self.controller.report:
            self.controller.entered()

    def entered(self) -> None:
        self.controller.entered()

    def handlers(self) -> Mapping[str, Callable[[Mapping[str, str]], object]]:
        view, pages = self.view, self.view.pages
        kinds: dict[str, ReportKind] = {
            "write-report": "pdf",
            "report-page": "html",
            "report-figures": "csv",
            "report-clips": "clips",
            "report-bundle": "bundle",
        }
        plain: dict[str, Callable[[], object]] = {
            **{name: partial(self.ask_and_save, kind) for name, kind in kinds.items()},
            "save-report": lambda: self.ask_and_save(view.kind_chosen.name),
            "report-folder": self.open_folder,
            "check-report": self.show_check,
            "draw-report": self.controller.draw,
            "next-page": pages.next_page,
            "previous-page": pages.previous_page,
            "page-width": lambda: pages.fit_to("width"),
            "page-whole": lambda: pages.fit_to("page"),
            "focus-pages": lambda: self._go_to(self.view.tabs.currentWidget(), pages),
            "focus-left-out": lambda: self._go_to(view.left_out, view.left_out),
            "focus-paper": lambda: self._go_to(view.paper, view.paper.sheet),
            "focus-key": lambda: self._go_to(view.key, view.key.choose),
            "focus-issued": lambda: self._go_to(view.issued, view.issued.list),
        }
        return {name: lambda facts, do=do: do() for name, do in plain.items()}  # type: ignore[misc]

    def _go_to(self, panel: QtWidgets.QWidget | None, part: QtWidgets.QWidget) -> None:
        self.leave_check()
        if panel:
            self.view.show_panel(panel, part)

    # ------------------------------------------------------------ files

    def ask_and_save(self, kind: ReportKind) -> None:
        """Let the place be chosen, then save; a locked key is opened before."""
        self.leave_check()
        self.view.show_kind(kind)
        self.controller.choose_kind(kind)
        self.controller.prepare(kind, lambda: self._ask_place(kind_named(kind)))

    def _ask_place(self, kind: SaveKind) -> None:
        start = str(self.controller.place(kind.name))
        title = tr("Save: {what}", what=kind.words)
        if kind.suffix:
            chosen, _ = _FILES.getSaveFileName(self, title, start, f"{kind.words} (*{kind.suffix})")
        else:
            chosen = _FILES.getExistingDirectory(self, title, start)
        if chosen:
            path = Path(chosen)
            self.controller.save(kind.name, path if path.suffix or not kind.suffix else path.with_suffix(kind.suffix))

    def open_folder(self) -> None:
        """Open the folder of the PDF in the system's own file window."""
        folder = self.controller.place("pdf").parent
        if not QtGui.QDesktopServices.openUrl(QtCore.QUrl.fromLocalFile(str(folder))):
            self.desk.show_message(
                tr("No program of this computer shows folders; the report's is {folder}", folder=folder)
            )

    # ------------------------------------------------------------ the key

    def ask_for_key(self) -> None:
        """Let the shop's private key be chosen."""
        start = str((self.controller.keys.path or Path.home() / "x").parent)
        chosen, _ = _FILES.getOpenFileName(self, tr("The shop's private key"), start)
        if chosen:
            self.controller.keys.choose(Path(chosen))

    def ask_for_new_key(self) -> None:
        """Let the place of a new key be chosen; a key that is there is never written over."""
        start = str(Path.home() / "shop.key")
        option = _FILES.Option.DontConfirmOverwrite
        chosen, _ = _FILES.getSaveFileName(self, tr("Where the new key is kept"), start, "", options=option)
        if chosen:
            self.controller.keys.choose_new(Path(chosen))

    def ask_password(self, path: Path, trouble: str) -> None:
        """Let the password of a key be typed."""
        page = PasswordPage(path, self, trouble=trouble)
        page.typed.connect(lambda password: self.controller.keys.unlock(path, password))
        page.rejected.connect(self.controller.keys.not_unlocked)
        page.open()

    def ask_new_password(self, path: Path) -> None:
        """Let the password of a new key be typed twice."""
        page = PasswordPage(path, self, new=True)
        page.typed.connect(lambda password: self.controller.keys.make(path, password))
        page.open()

    def show_key(self, key: KeyShown) -> None:
        """Whether reports are signed."""
        self.view.show_key(key)

    def show_key_made(self, path: Path, public: Path) -> None:
        """A key was made."""
        self.desk.show_note(tr("✔ made: {path}; hand out only {public}", path=path.name, public=public.name))

    # ------------------------------------------------------------ checking

    def show_check(self) -> None:
        """The page that checks a report; asks at once which one."""
        self._checking = True
        self.stack.setCurrentWidget(self.check_page)
        self.check_page.report.setFocus()
        if self.checker.report is None:
            self.ask_for_report()

    def leave_check(self) -> None:
        """Back to the pages."""
        if self._checking:
            self.checker.stop()
            self._checking = False
            self._show_front()
            self.give_keys()

    def ask_for_report(self) -> None:
        """Let the report be chosen."""
        start = str(self.checker.report or self.controller.place("pdf"))
        kinds = tr("Reports and bundles {patterns}", patterns="(*.pdf *.zip)")
        chosen, _ = _FILES.getOpenFileName(self, tr("Report to check"), start, kinds)
        if chosen:
            self.checker.choose(Path(chosen))

    def _ask_for_files(self) -> None:
        start = str(self.checker.files or Path.home())
        chosen = _FILES.getExistingDirectory(self, tr("Where the report's files lie"), start)
        if chosen:
            self.checker.choose_files(Path(chosen))

    def _ask_for_public_key(self) -> None:
        start = str((self.checker.key or self.controller.keys.path or Path.home() / "x").parent)
        kinds = (
            tr("Public keys {patterns}", patterns="(*.pub *.pem)") + ";;" + tr("All files {patterns}", patterns="(*)")
        )
        chosen, _ = _FILES.getOpenFileName(self, tr("The shop's public key"), start, kinds)
        if chosen:
            self.checker.choose_key(Path(chosen))

    # ------------------------------------------------------------ what the controller asks for

    def _show(self, page: QtWidgets.QWidget) -> None:
        """A page of the sheet; whoever checks a report goes on with that."""
        self._front = page
        if not self._checking:
            self.stack.setCurrentWidget(page)

    def _show_front(self) -> None:
        self.stack.setCurrentWidget(self._front)

    def show_screen(self, screen: ReportScreen) -> None:
        """Show a document."""
        self.view.show_screen(screen)
        self.show_idle()

    def show_pages(self, pages: Pages) -> None:
        """Show the same document at another resolution."""
        self.view.pages.show_pages(pages)

    def show_issued(self, issued: IssuedShown) -> None:
        """What is issued now."""
        self.view.show_issued(issued)

    def show_busy(self, fraction: float, doing: str) -> None:
        """How far the work is: on a page of its own while there is nothing else to see."""
        if self.controller.report:
            self.view.show_state(f"{doing} … {fraction:.0%}", older=self._older, working=self.controller.working)
            return
        if self._front is not self.waiting and self.desk.visit.job:
            self.waiting.begin(self.desk.visit.job.folder)
            self._show(self.waiting)
        self.waiting.show_progress(fraction, doing)

    def show_idle(self) -> None:
        """No work goes on."""
        self._show(self.view if self.controller.report else self.refusal)
        text = tr("! The pages are older than the job.") if self._older else ""
        self.view.show_state(text, older=self._older, working=False)

    def show_refusal(self, sentence: str) -> None:
        """Why there are no pages."""
        self.refusal.show_text(sentence)
        self._show(self.refusal)

    def show_older(self, older: bool) -> None:
        """The job says something else than the pages."""
        self._older = older
        if self.controller.report and not self.controller.working:
            self.show_idle()

    def show_written(self, kind: SaveKind, paths: tuple[Path, ...]) -> None:
        """What was saved and where; how the sheets stand may have changed by it."""
        self.view.show_written(kind.words, paths)
        self.desk.show_note(
            tr("✔ the report is written") if kind.name == "pdf" else tr("✔ saved: {what}", what=kind.words)
        )
        opened = self.desk.visit.opened
        if opened and paths[0].resolve().parent == opened.job.folder.resolve():
            self.desk.visit.put(opened)

    def show_trouble(self, sentence: str) -> None:
        """One sentence; what is shown stays."""
        self.desk.show_message(sentence)

    # ------------------------------------------------------------ the rest of a sheet

    def stop(self) -> bool:
        if self.checker.working:
            self.checker.stop()
        elif self._checking:
            self.leave_check()
        elif self.controller.working:
            self.controller.stop()
        else:
            return False
        return True

    def busy(self) -> bool:
        return self.controller.busy or self.view.pages.settling or self.checker.working

    def give_keys(self) -> None:
        page = self.stack.currentWidget()
        wanted = {
            self.view: self.view.pages,
            self.refusal: self.refusal.again,
            self.waiting: self.waiting.stop,
            self.check_page: self.check_page.report,
        }
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
        self.check = button(tr("Check a report …"), tip=tr("Does a report match its files? (Ctrl+Shift+K)"))
        column = QtWidgets.QVBoxLayout()
        column.addStretch(1)
        for widget in (self.head, self.text):
            column.addWidget(widget)
        for key in (self.again, self.check):
            column.addWidget(key, 0, Qt.AlignmentFlag.AlignLeft)
        column.addStretch(2)
        centred(column, self)

    def show_text(self, text: str) -> None:
        """Say why."""
        self.text.setText(text)
