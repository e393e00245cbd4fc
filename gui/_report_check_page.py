"""The page that checks a report: which one, its files, whose key; below it what was found. Passive."""

from __future__ import annotations

from gui._make import button, label
from gui._qt import Qt, QtWidgets
from gui._report_check_controller import CheckAsked, CheckShown
from gui._words import tr
from gui._wrapped_list import WrappedList


class CheckPage(QtWidgets.QWidget):
    """Its keys are wired by the sheet."""

    def __init__(self) -> None:
        super().__init__()
        self.back = button(tr("Back to the pages"), tip=tr("Show this job's own report again"))
        self.report = button(tr("Report to check …"), "first", tip=tr("A PDF or a bundle (ZIP)"))
        self.files = button(tr("Its files …"), tip=tr("The folder with job.toml and the recordings it was made from"))
        self.key = button(tr("Public key …"), tip=tr("The shop's public key: the report must be signed with it"))
        self.no_key = button(tr("Without a key"), tip=tr("Show the fingerprint of whichever key signed"))
        self.again = button(tr("Check again"))
        self.stop = button(tr("Stop"), tip=tr("Check no further (Esc)"), spoken=tr("Stop checking"))
        self.texts = [label("", wrap=True, spoken=key.text()) for key in (self.report, self.files, self.key)]
        self.bar = QtWidgets.QProgressBar()
        self.bar.setRange(0, 1000)
        self.bar.setAccessibleName(tr("Progress"))
        self.headline = label("", "large", wrap=True, spoken=tr("What the check found"))
        self.found = WrappedList(tr("Everything that was checked"))
        self._lay_out()
        self.show_nothing("")

    def _lay_out(self) -> None:
        grid = QtWidgets.QGridLayout()
        grid.setHorizontalSpacing(12)
        grid.setVerticalSpacing(6)
        grid.setColumnStretch(1, 1)
        asides = (self.back, self.again, self.no_key)
        for row, (key, text, aside) in enumerate(
            zip((self.report, self.files, self.key), self.texts, asides, strict=True)
        ):
            grid.addWidget(key, row, 0)
            grid.addWidget(text, row, 1)
            grid.addWidget(aside, row, 2)
        work = QtWidgets.QHBoxLayout()
        work.addWidget(self.bar, 1)
        work.addWidget(self.stop)
        column = QtWidgets.QVBoxLayout(self)
        column.setContentsMargins(12, 8, 12, 8)
        column.setSpacing(8)
        column.addLayout(grid)
        column.addLayout(work)
        column.addWidget(self.headline)
        column.addWidget(self.found, 1)
        for text in (*self.texts, self.headline):
            text.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)

    # ------------------------------------------------------------ what the controller asks for

    def show_asked(self, asked: CheckAsked) -> None:
        """See `CheckView`."""
        texts = (asked.report or tr("no report is chosen"), asked.files, asked.key)
        for part, text in zip(self.texts, texts, strict=True):
            part.setText(text)
        self.files.setEnabled(asked.files_chosen)
        self.again.setEnabled(bool(asked.report))
        self.no_key.setVisible(asked.key_chosen)

    def show_progress(self, fraction: float, doing: str) -> None:
        """See `CheckView`."""
        self._show_work(True)
        self.bar.setValue(round(1000 * min(max(fraction, 0.0), 1.0)))
        self.bar.setFormat(f"{doing} … %p %")

    def show_found(self, found: CheckShown) -> None:
        """See `CheckView`."""
        self.show_nothing(found.headline)
        self.headline.setObjectName("saved" if found.sound else "notsaved")
        self._restyle()
        self.found.addItems(found.rows)
        self.found.setCurrentRow(0)

    def show_trouble(self, sentence: str) -> None:
        """See `CheckView`."""
        self.show_nothing(f"✖ {sentence}")
        self.headline.setObjectName("notsaved")
        self._restyle()

    def show_nothing(self, sentence: str) -> None:
        """See `CheckView`."""
        self._show_work(False)
        self.headline.setText(sentence)
        self.headline.setObjectName("large")
        self._restyle()

    def _restyle(self) -> None:
        style = self.headline.style()
        if style:
            style.unpolish(self.headline)
            style.polish(self.headline)

    def _show_work(self, on: bool) -> None:
        self.bar.setVisible(on)
        self.stop.setVisible(on)
        self.found.clear()
        self.headline.setVisible(not on)
