"""What happens when something is asked of the report sheet. Knows no Qt."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Protocol

from gui._asker import Asker
from gui._load import Library, OpenedJob, Report
from gui._report_model import Pages, ReportScreen, left_out_text
from gui._words import tr
from job import Entry, Job, Study
from report import DEFAULT_NAME, ComposedReport, compose_report

if TYPE_CHECKING:
    from collections.abc import Callable

    from gui._settings import SettingsFile

MOST_PLACES = 40


class ReportView(Protocol):
    """What the controller asks of the sheet; no setter calls back."""

    def show_screen(self, screen: ReportScreen) -> None: ...
    def show_pages(self, pages: Pages) -> None: ...
    def show_busy(self, fraction: float, doing: str) -> None: ...
    def show_idle(self) -> None: ...
    def show_refusal(self, sentence: str) -> None: ...
    def show_older(self, older: bool) -> None: ...
    def show_written(self, target: Path) -> None: ...
    def show_trouble(self, sentence: str) -> None: ...


class ReportController:
    """Composes, draws and writes; three askers, since a page that is drawn must not stop a PDF that is written."""

    def __init__(
        self, view: ReportView, askers: tuple[Asker, Asker, Asker], library: Library, settings: SettingsFile
    ) -> None:
        self._view, self._library, self._settings = view, library, settings
        self._composer, self._painter, self._writer = askers
        self._opened: OpenedJob | None = None
        #: the job as it stood when pages were asked for last
        self._asked: OpenedJob | None = None
        self.report: ComposedReport | None = None
        self._dots_per_inch = 96.0
        self.composing = self.painting = self.writing = False

    # ------------------------------------------------------------ what there is

    @property
    def folder(self) -> Path | None:
        """The folder of the job on the bench."""
        return self._opened.job.folder if self._opened else None

    @property
    def busy(self) -> bool:
        """Whether pages are being drawn."""
        return self.composing or self.painting

    @property
    def older(self) -> bool:
        """Whether the pages show a job that has changed since."""
        return bool(self.report and self._opened and self.report.job.facts != self._opened.job.facts)

    @property
    def place(self) -> Path:
        """Where the PDF was written last, or else would go."""
        assert self._opened is not None
        folder = self._opened.job.folder
        kept = self._settings.settings.report_places.get(str(folder.absolute()))
        return Path(kept) if kept and Path(kept).parent.is_dir() else folder / DEFAULT_NAME

    def put(self, opened: OpenedJob | None) -> None:
        """Another job, or the same one changed."""
        same = opened and self._opened and opened.job.folder == self._opened.job.folder
        self._opened = opened
        if not same:
            self._composer.cancel()
            self._painter.cancel()
            self.report, self._asked = None, None
            self.composing = self.painting = False
        self._view.show_older(self.older)

    def entered(self) -> None:
        """Somebody looks: pages are drawn unless they were already, of the job as it stands."""
        if self._opened and not _alike(self._opened, self._asked):
            self.draw()

    # ------------------------------------------------------------ pages

    def draw(self) -> None:
        """Compose the document anew and draw its pages."""
        if self._opened is None:
            return
        opened, self._asked = self._opened, self._opened
        self.composing, self.painting = True, False
        self._painter.cancel()
        self._view.show_busy(0.0, tr("checking the recordings"))
        self._composer.ask(self._composing(opened.job), self._composed, self._refused, self._view.show_busy)

    def _composing(self, job: Job) -> Callable[[Report], object]:
        dots, library = self._dots_per_inch, self._library
        return lambda report: _with_pages(_compose(library, job, report), dots)

    def _composed(self, answer: tuple[ComposedReport, Pages]) -> None:
        self.composing = False
        self.report = answer[0]
        self._view.show_screen(_screen(*answer))
        self._view.show_older(self.older)
        if answer[1].dots_per_inch != self._dots_per_inch:
            self._paint()

    def _refused(self, sentence: str) -> None:
        self.composing, self.report = False, None
        self._view.show_refusal(sentence)

    def stop(self) -> None:
        """Draw no further; what was shown before stays."""
        self._composer.cancel()
        self.composing = False
        if self.report:
            self._view.show_idle()
        else:
            self._view.show_refusal(tr("Drawing the pages was stopped."))

    def look_at(self, dots_per_inch: float) -> None:
        """The pages are wanted at this resolution."""
        if dots_per_inch != self._dots_per_inch:
            self._dots_per_inch = dots_per_inch
            self._paint()

    def _paint(self) -> None:
        report, dots = self.report, self._dots_per_inch
        if report and not self.composing:
            self.painting = True
            self._painter.ask(lambda tell: _pages(report, dots), self._painted, self._not_painted)

    def _painted(self, pages: Pages) -> None:
        self.painting = False
        self._view.show_pages(pages)

    def _not_painted(self, sentence: str) -> None:
        self.painting = False
        self._view.show_trouble(sentence)

    # ------------------------------------------------------------ the PDF

    def write(self, target: Path) -> None:
        """Write what is shown; pages that are older than the job are drawn anew before."""
        if self._opened is None or self.writing:
            return
        self._remember(target)
        self.writing = True
        job, report, dots = self._opened.job, None if self.older else self.report, self._dots_per_inch
        library = self._library

        def work(tell: Report) -> object:
            return _write(library, job, report, target, dots, tell)

        self._view.show_busy(0.0, tr("writing the PDF"))
        self._writer.ask(work, lambda answer: self._written(target, *answer), self._not_written, self._view.show_busy)

    def _remember(self, target: Path) -> None:
        assert self._opened is not None
        folder = str(self._opened.job.folder.absolute())
        places = {**self._settings.settings.report_places}
        places.pop(folder, None)
        places[folder] = str(target)
        self._settings.change(report_places=dict(list(places.items())[-MOST_PLACES:]))

    def _written(self, target: Path, report: ComposedReport, pages: Pages | None) -> None:
        self.writing = False
        if pages and self._opened and self._opened.job.folder == report.job.folder:
            self._composer.cancel()
            self._composed((report, pages))
        if not self.composing:
            self._view.show_idle()
        self._view.show_written(target)

    def _not_written(self, sentence: str) -> None:
        self.writing = False
        if not self.composing:
            self._view.show_idle()
        self._view.show_trouble(tr("The PDF was not written: {why}", why=sentence))


def _alike(first: OpenedJob, second: OpenedJob | None) -> bool:
    """Whether both tell the same of the job: its words, its recordings, what is wrong with them."""
    return second is not None and (first.job.folder, first.job.facts, first.problems, first.changed) == (
        second.job.folder,
        second.job.facts,
        second.problems,
        second.changed,
    )


def _compose(library: Library, job: Job, report: Report) -> ComposedReport:
    """Runs in the background; studies that another sheet made are used again."""

    def study(own: Job, entry: Entry, progress: Callable[[float], None]) -> Study:
        return library.one(own, entry, lambda fraction, doing: progress(fraction)).study

    return compose_report(job.folder, report, study)


def _with_pages(report: ComposedReport, dots_per_inch: float) -> tuple[ComposedReport, Pages]:
    return report, _pages(report, dots_per_inch)


def _pages(report: ComposedReport, dots_per_inch: float) -> Pages:
    return Pages(report.pictures(dots_per_inch), dots_per_inch)


def _screen(report: ComposedReport, pages: Pages) -> ReportScreen:
    return ReportScreen(pages, report.headline, tuple(map(left_out_text, report.left_out)))


def _write(
    library: Library, job: Job, report: ComposedReport | None, target: Path, dots_per_inch: float, tell: Report
) -> tuple[ComposedReport, Pages | None]:
    """The document that was written, and its pages where they are others than were seen."""
    fresh = report if report and report.is_current() else None
    made = fresh or _compose(library, job, tell)
    tell(0.95, tr("writing the PDF"))
    made.write(target)
    return made, None if fresh else _pages(made, dots_per_inch)
