"""What happens when something is asked of the report sheet. Knows no Qt."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

from gui._asker import Asker
from gui._load import Library, OpenedJob, Report
from gui._report_compose import SIGNABLE, Made, Saved, Wish, compose, save
from gui._report_key_controller import KeyController, KeyView
from gui._report_model import (
    IssuedShown,
    Pages,
    ReportScreen,
    SaveKind,
    issued_shown,
    kind_named,
    left_out_text,
    shop_shown,
)
from gui._words import tr
from job import Job
from report import DEFAULT_NAME, ComposedReport

if TYPE_CHECKING:
    from gui._settings import ReportKind, SettingsFile

MOST_PLACES = 40


class ReportView(KeyView, Protocol):
    """What the controller asks of the sheet; no setter calls back."""

    def show_screen(self, screen: ReportScreen) -> None: ...
    def show_pages(self, pages: Pages) -> None: ...
    def show_busy(self, fraction: float, doing: str) -> None: ...
    def show_idle(self) -> None: ...
    def show_refusal(self, sentence: str) -> None: ...
    def show_older(self, older: bool) -> None: ...
    def show_written(self, kind: SaveKind, paths: tuple[Path, ...]) -> None: ...
    def show_issued(self, issued: IssuedShown) -> None: ...


@dataclass(frozen=True, slots=True)
class ReportAskers:
    """Pages that are drawn must not stop a file that is written, nor a key that is opened."""

    composer: Asker
    painter: Asker
    writer: Asker
    key: Asker


class ReportController:
    """Composes, draws and saves; what a key does is its own controller's."""

    def __init__(self, view: ReportView, askers: ReportAskers, library: Library, settings: SettingsFile) -> None:
        self._view, self._library, self._settings = view, library, settings
        self._composer, self._painter, self._writer = askers.composer, askers.painter, askers.writer
        self.keys = KeyController(view, askers.key, settings, self.draw)
        self._opened: OpenedJob | None = None
        #: the job as it stood when pages were asked for last
        self._asked: OpenedJob | None = None
        self._made: Made | None = None
        #: to be saved once the pages are there
        self._queued: tuple[ReportKind, Path] | None = None
        self._dots_per_inch = 96.0
        self.composing = self.painting = self.writing = False

    # ------------------------------------------------------------ what there is

    @property
    def folder(self) -> Path | None:
        """The folder of the job on the bench."""
        return self._opened.job.folder if self._opened else None

    @property
    def report(self) -> ComposedReport | None:
        """The document whose pages are shown."""
        return self._made.report if self._made else None

    @property
    def busy(self) -> bool:
        """Whether pages are being drawn."""
        return self.composing or self.painting

    @property
    def working(self) -> bool:
        """Whether something goes on that can be stopped."""
        return self.composing or self.writing

    @property
    def older(self) -> bool:
        """Whether the pages show a job that has changed since."""
        return bool(self.report and self._opened and self.report.job.facts != self._opened.job.facts)

    def place(self, kind: ReportKind) -> Path:
        """Where that form would go: beside what was saved of this job last, under the same name."""
        assert self._opened is not None
        folder, suffix = self._opened.job.folder, kind_named(kind).suffix
        kept = self._settings.settings.report_places.get(str(folder.absolute()))
        last = Path(kept) if kept and Path(kept).parent.is_dir() else folder / DEFAULT_NAME
        return last.with_suffix(suffix) if suffix else last.parent

    def _wish(self) -> Wish:
        kept = self._settings.settings
        return Wish(kept.report_paper, kept.report_units, self.keys.signer)

    def put(self, opened: OpenedJob | None) -> None:
        """Another job, or the same one changed."""
        same = opened and self._opened and opened.job.folder == self._opened.job.folder
        self._opened = opened
        if not same:
            self._composer.cancel()
            self._painter.cancel()
            self._made = self._asked = self._queued = None
            self.composing = self.painting = False
            self.keys.put(self.folder)
        self._view.show_older(self.older)

    def entered(self) -> None:
        """Somebody looks: pages are drawn unless they were already, of the job as it stands."""
        if self._opened and not _alike(self._opened, self._asked):
            self.keys.when_tried(self.draw)

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
        dots, library, wish = self._dots_per_inch, self._library, self._wish()
        return lambda report: _with_pages(compose(library, job, wish, report), dots)

    def _composed(self, answer: tuple[Made, Pages]) -> None:
        self.composing = False
        self._made = answer[0]
        self._view.show_screen(_screen(*answer))
        self._view.show_older(self.older)
        if answer[1].dots_per_inch != self._dots_per_inch:
            self._paint()
        queued, self._queued = self._queued, None
        if queued:
            self.save(*queued)

    def _refused(self, sentence: str) -> None:
        self.composing, self._made, self._queued = False, None, None
        self._view.show_refusal(sentence)

    def stop(self) -> None:
        """Draw and save no further; what was shown before stays."""
        if self.writing:
            self._writer.cancel()
            self.writing = False
            self._view.show_trouble(tr("Saving was stopped."))
        if self.composing:
            self._composer.cancel()
            self.composing, self._queued = False, None
        if self.report:
            self._view.show_idle()
        else:
            self._view.show_refusal(tr("Drawing the pages was stopped."))

    def choose_size(self, size: str) -> None:
        """A sheet of paper of `PAPER_SIZES`; empty: as the shop's file says."""
        self._settings.change(report_paper=size)
        self.draw()

    def choose_units(self, units: str) -> None:
        """One of `UNITS`; empty: as the shop's file says."""
        self._settings.change(report_units=units)
        self.draw()

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

    # ------------------------------------------------------------ files

    def choose_kind(self, kind: ReportKind) -> None:
        """The form in which it is saved from now on."""
        self._settings.change(report_kind=kind)

    def prepare(self, kind: ReportKind, then: Callable[[], object]) -> None:
        """Before it is asked where to: a chosen key is opened, so that what is saved is signed."""
        if self._opened is None or self.writing:
            return
        if kind in SIGNABLE:
            self.keys.when_open(then)
        else:
            then()

    def save(self, kind: ReportKind, target: Path) -> None:
        """Save what is shown in one of its forms; pages that are older than the job are drawn anew before."""
        if self._opened is None or self.writing:
            return
        if self.composing:
            self._queued = kind, target
            return
        self._remember(kind, target)
        self.writing = True
        wish = self._wish()
        # A page for a browser carries no signature, and says so.
        own = wish if kind != "html" else replace(wish, signer=None)
        job, made = self._opened.job, None if self.older else self._made
        library, dots = self._library, self._dots_per_inch

        def work(tell: Report) -> object:
            saved = save(library, job, made, own, kind, target, tell)
            seen = own.signer is wish.signer and not (made and saved.made.report is made.report)
            return saved, _pages(saved.made.report, dots) if seen else None

        def failed(sentence: str) -> None:
            self._not_written(kind, sentence)

        self._view.show_busy(0.0, tr("writing"))
        self._writer.ask(work, lambda answer: self._written(kind, *answer), failed, self._view.show_busy)

    def _remember(self, kind: ReportKind, target: Path) -> None:
        assert self._opened is not None
        folder = str(self._opened.job.folder.absolute())
        places = {**self._settings.settings.report_places}
        last = places.pop(folder, None)
        # A folder of clips says nothing of what the document is called.
        places[folder] = str(target) if kind_named(kind).suffix else last or str(target / DEFAULT_NAME)
        self._settings.change(report_places=dict(list(places.items())[-MOST_PLACES:]))

    def _written(self, kind: ReportKind, saved: Saved, pages: Pages | None) -> None:
        self.writing = False
        if self._opened and self._opened.job.folder == saved.made.report.job.folder:
            self._take(saved, pages)
        if not self.composing:
            self._view.show_idle()
        self._view.show_written(kind_named(kind), saved.paths)

    def _take(self, saved: Saved, pages: Pages | None) -> None:
        """Pages that were made anew for it are shown; what is issued has changed."""
        if pages:
            self._composer.cancel()
            self._composed((saved.made, pages))
        elif self._made:
            self._made = replace(self._made, issued=saved.made.issued)
            self._view.show_issued(_issued(self._made))

    def _not_written(self, kind: ReportKind, sentence: str) -> None:
        self.writing = False
        if not self.composing:
            self._view.show_idle()
        words = kind_named(kind).words
        self._view.show_trouble(tr("{what}: not written: {why}", what=words, why=sentence))


def _alike(first: OpenedJob, second: OpenedJob | None) -> bool:
    """Whether both tell the same of the job: its words, its recordings, what is wrong with them."""
    return second is not None and (first.job.folder, first.job.facts, first.problems, first.changed) == (
        second.job.folder,
        second.job.facts,
        second.problems,
        second.changed,
    )


def _with_pages(made: Made, dots_per_inch: float) -> tuple[Made, Pages]:
    return made, _pages(made.report, dots_per_inch)


def _pages(report: ComposedReport, dots_per_inch: float) -> Pages:
    return Pages(report.pictures(dots_per_inch), dots_per_inch)


def _screen(made: Made, pages: Pages) -> ReportScreen:
    report = made.report
    left_out = tuple(map(left_out_text, report.left_out))
    return ReportScreen(pages, report.headline, left_out, _issued(made), shop_shown(made.shop, made.trouble))


def _issued(made: Made) -> IssuedShown:
    sealed = made.report.sealed
    return issued_shown(sealed.seal if sealed else None, made.issued)
