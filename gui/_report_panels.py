"""The report sheet's panels: sheet of paper and units, the key that signs, what was issued. Passive."""

from __future__ import annotations

from collections.abc import Sequence

from gui._make import Chooser, button, label
from gui._qt import Qt, QtCore, QtWidgets
from gui._report_model import IssuedShown, KeyShown, ShopShown, size_words, units_words
from gui._step_card import scrolling
from gui._words import tr
from gui._wrapped_list import WrappedList
from report import PAPER_SIZES, UNITS


class PaperPanel(QtWidgets.QWidget):
    """Two choosers, whose first entries are what the shop's file says; an empty name stands for these."""

    size_chosen = QtCore.pyqtSignal(str)
    units_chosen = QtCore.pyqtSignal(str)

    def __init__(self) -> None:
        super().__init__()
        self.where = label("", "quiet", wrap=True, spoken=tr("Where the shop's file is"))
        self.sheet = _chooser(tr("Sheet of paper"), [size_words(size) for size in PAPER_SIZES])
        self.units = _chooser(tr("Units in the report"), [units_words(units) for units in UNITS])
        self.sheet.activated.connect(lambda index: self.size_chosen.emit(("", *PAPER_SIZES)[index]))
        self.units.activated.connect(lambda index: self.units_chosen.emit(("", *UNITS)[index]))
        column = _scrolled(self, tr("Paper and units"))
        for chooser in (self.sheet, self.units):
            column.addWidget(label(chooser.accessibleName(), "name", wrap=True))
            column.addWidget(chooser)
        self.where.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
        column.addWidget(self.where)
        column.addStretch(1)

    def show_chosen(self, size: str, units: str) -> None:
        """What is remembered."""
        self.sheet.setCurrentIndex(("", *PAPER_SIZES).index(size))
        self.units.setCurrentIndex(("", *UNITS).index(units))

    def show_shop(self, shop: ShopShown) -> None:
        """What the shop's file says."""
        self.sheet.setItemText(0, tr("the shop's: {words}", words=shop.size))
        self.units.setItemText(0, tr("the shop's: {words}", words=shop.units))
        self.where.setText(shop.where)


class KeyPanel(QtWidgets.QWidget):
    """Which key signs, its fingerprint for reading aloud, and what can be done about it."""

    def __init__(self) -> None:
        super().__init__()
        self.text = label("", wrap=True, spoken=tr("Whether reports are signed"))
        self.fingerprint_name = label(tr("Fingerprint, to be read aloud"), "name", wrap=True)
        self.fingerprint = label("", "large", wrap=True, spoken=tr("Fingerprint of the key"))
        self.warnings = label("", "caution", wrap=True, spoken=tr("Warnings on the key's file"))
        self.open = button(tr("Open the key …"), "first", tip=tr("Type its password"))
        self.choose = button(tr("Choose a key …"), tip=tr("Sign with the shop's private key from now on"))
        self.make = button(tr("Make a key …"), tip=tr("A new private key, and its public one beside it"))
        self.away = button(tr("Do not sign"), tip=tr("Put the key away; its file stays"))
        column = _scrolled(self, tr("The key that signs"))
        for part in (self.text, self.open, self.fingerprint_name, self.fingerprint, self.warnings):
            column.addWidget(part)
        for part in (self.text, self.fingerprint, self.warnings):
            part.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
        for key in (self.choose, self.make, self.away):
            column.addWidget(key)
        column.addWidget(
            label(
                tr(
                    "Keep the key outside of every job, with a password, and a copy in a drawer. Hand out only the "
                    "public one and its fingerprint. A signature proves who held the key, not that readings are true."
                ),
                "quiet",
                wrap=True,
            )
        )
        column.addStretch(1)

    def show_key(self, key: KeyShown) -> None:
        """Another key, or none."""
        self.text.setText(key.text)
        self.fingerprint.setText(key.fingerprint)
        self.warnings.setText("\n".join(f"! {text}" for text in key.warnings))
        for part, there in (
            (self.open, key.locked),
            (self.fingerprint_name, bool(key.fingerprint)),
            (self.fingerprint, bool(key.fingerprint)),
            (self.warnings, bool(key.warnings)),
            (self.away, key.chosen),
        ):
            part.setVisible(there)


class IssuedPanel(QtWidgets.QWidget):
    """What was issued for this job, the newest first."""

    def __init__(self) -> None:
        super().__init__()
        self.list = WrappedList(tr("Reports that were issued"))
        column = QtWidgets.QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.addWidget(self.list)

    def show_issued(self, issued: IssuedShown) -> None:
        """Another job, or one report more."""
        self.list.clear()
        self.list.addItems(issued.rows or (tr("No report was issued for this job yet."),))


def _chooser(spoken: str, texts: Sequence[str]) -> Chooser:
    made = Chooser(spoken)
    made.setSizeAdjustPolicy(made.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
    made.setMinimumContentsLength(12)
    made.addItems([tr("as the shop's file says"), *texts])
    return made


def _scrolled(panel: QtWidgets.QWidget, spoken: str) -> QtWidgets.QVBoxLayout:
    """A column for a panel's parts, which scrolls where there is little room."""
    page = QtWidgets.QWidget()
    page.setObjectName("page")
    column = QtWidgets.QVBoxLayout(page)
    column.setContentsMargins(2, 8, 6, 4)
    column.setSpacing(8)
    outer = QtWidgets.QVBoxLayout(panel)
    outer.setContentsMargins(0, 0, 0, 0)
    outer.addWidget(scrolling(page, spoken))
    return column
