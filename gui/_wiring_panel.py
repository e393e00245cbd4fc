"""The part that is looked at: what can be done to it, its findings, its fields and its figures. Passive."""

from __future__ import annotations

from functools import partial
from typing import TypeAlias

from gui._actions import ACTIONS
from gui._make import button, label
from gui._qt import Qt, QtCore, QtGui, QtWidgets
from gui._step_card import scrolling
from gui._vehicle_fields import ChoiceField, LineField, make_field
from gui._vehicle_model import Field
from gui._wiring_model import Details, FieldShown, FindingShown
from gui._words import tr

Errors: TypeAlias = dict[str, tuple[str, str]]


class FieldRow:
    """A field with its name, and the sentence below it where something cannot be taken."""

    def __init__(self, shown: FieldShown) -> None:
        self.key = shown.key
        choices = tuple(dict.fromkeys(shown.choices))
        own = Field(shown.key, shown.title, shown.hint, "", "choice" if choices else "line", choices=choices)
        made = make_field(own)
        assert isinstance(made, (LineField, ChoiceField))
        self.field = made
        self.line: QtWidgets.QLineEdit = made.line if isinstance(made, ChoiceField) else made
        self.field.setToolTip(shown.hint)
        self.field.setMinimumWidth(80)
        self.name = label(shown.title)
        self.name.setBuddy(self.field)
        self.error = label("", "caution", wrap=True, spoken=tr("What is wrong"))
        self.error.hide()
        self._shown = ""

    @property
    def typing(self) -> bool:
        """Whether something stands here that was not handed over."""
        return self.line.text() != self._shown

    def show(self, shown: FieldShown, error: tuple[str, str] | None, *, fresh: bool) -> None:
        """What the file has, or what was typed and cannot be taken; what is being typed is left alone."""
        text = error[0] if error else shown.text
        if fresh or not (self.typing and self.line.hasFocus()):
            if isinstance(self.field, ChoiceField) and shown.choices and _items(self.field) != list(shown.choices):
                self.field.blockSignals(True)
                self.field.clear()
                self.field.addItems([tr(choice) for choice in shown.choices])
                self.field.blockSignals(False)
            self._shown = text
            self.field.show_text(text)
        self.error.setText(f"✖ {error[1]}" if error else "")
        self.error.setVisible(error is not None)
        self.line.setAccessibleDescription(error[1] if error else shown.hint)
        if bool(self.line.property("wrong")) is not (error is not None):
            self.line.setProperty("wrong", error is not None)
            style = self.line.style()
            assert style is not None
            style.polish(self.line)

    def handed_over(self) -> None:
        """What stands here was handed over."""
        self._shown = self.line.text()


class PartPanel(QtWidgets.QWidget):
    """Everything about one part; what is typed goes out as a signal."""

    #: part, field, text
    committed = QtCore.pyqtSignal(str, str, str)
    #: name of an action
    asked = QtCore.pyqtSignal(str)

    def __init__(self) -> None:
        super().__init__()
        self.details: Details | None = None
        self.rows: dict[str, FieldRow] = {}
        self._laid: tuple[str, tuple[str, ...]] = ("", ())
        self.title, self.words = label("", "name", wrap=True), label("", "quiet", wrap=True)
        self.menu = QtWidgets.QMenu(self)
        self.menu_key = button(tr("Change …"), tip=tr("What can be done to this part"))
        self.menu_key.setMenu(self.menu)
        self.deeds = {one.name: self._deed(one.name, one.tip) for one in ACTIONS if one.name in _DEED_NAMES}
        self.findings, self.remarks = QtWidgets.QVBoxLayout(), label("", "quiet", wrap=True)
        self.facts = QtWidgets.QGridLayout()
        self.grid = QtWidgets.QGridLayout()
        self._lay_out()

    def _deed(self, name: str, tip: str) -> QtGui.QAction:
        made = self.menu.addAction(tr(_DEED_NAMES[name]))
        assert made is not None
        made.setToolTip(tr(tip))
        made.triggered.connect(partial(self._asked, name))
        return made

    def _asked(self, name: str, *facts: object) -> None:
        self.asked.emit(name)

    def _lay_out(self) -> None:
        page = QtWidgets.QWidget()
        page.setObjectName("page")
        column = QtWidgets.QVBoxLayout(page)
        column.setContentsMargins(2, 2, 8, 4)
        column.setSpacing(6)
        head, names = QtWidgets.QHBoxLayout(), QtWidgets.QVBoxLayout()
        names.setSpacing(0)
        names.addWidget(self.title)
        names.addWidget(self.words)
        head.addLayout(names, 1)
        head.addWidget(self.menu_key, 0, Qt.AlignmentFlag.AlignTop)
        column.addLayout(head)
        column.addLayout(self.findings)
        for grid in (self.facts, self.grid):
            grid.setHorizontalSpacing(10)
            grid.setVerticalSpacing(4)
            grid.setColumnStretch(1, 1)
        column.addLayout(self.grid)
        column.addWidget(self.remarks)
        column.addLayout(self.facts)
        column.addStretch(1)
        self.area = scrolling(page, tr("The part that is chosen"))
        whole = QtWidgets.QVBoxLayout(self)
        whole.setContentsMargins(0, 0, 0, 0)
        whole.addWidget(self.area)

    def show_details(self, details: Details | None, errors: Errors) -> None:
        """Another part, or the same one with other figures."""
        fresh = details is None or self.details is None or details.name != self.details.name
        self.details = details
        if details is None:
            return
        self.title.setText(details.name or tr("The whole system"))
        self.words.setText(details.words)
        self.words.setVisible(bool(details.name))
        self.menu_key.setVisible(bool(details.deeds))
        for name, key in self.deeds.items():
            key.setVisible(name in details.deeds)
        self._show_findings(details.findings)
        self._show_facts(details.facts)
        self._show_fields(details, errors, fresh=fresh)
        self.remarks.setText("\n".join(details.remarks))
        self.remarks.setVisible(bool(details.remarks))
        if fresh:
            bar = self.area.verticalScrollBar()
            if bar:
                bar.setValue(0)

    def _show_findings(self, findings: tuple[FindingShown, ...]) -> None:
        _clear(self.findings)
        for one in findings:
            self.findings.addWidget(finding_label(one))
        for caution in dict.fromkeys(one.caution for one in findings if one.caution):
            self.findings.addWidget(label(f"! {caution}", "caution", wrap=True))

    def _show_facts(self, facts: tuple[tuple[str, str], ...]) -> None:
        _clear(self.facts)
        for row, (name, value) in enumerate(facts):
            said = label(value, "strong", wrap=True, spoken=f"{name}: {value}")
            self.facts.addWidget(label(name, "quiet", wrap=True), row, 0, Qt.AlignmentFlag.AlignTop)
            self.facts.addWidget(said, row, 1)

    def _show_fields(self, details: Details, errors: Errors, *, fresh: bool) -> None:
        laid = (details.table, tuple(one.key for one in details.fields))
        if laid != self._laid:
            self._laid = laid
            _clear(self.grid)
            self.rows = {one.key: self._row(one, 2 * number) for number, one in enumerate(details.fields)}
        for one in details.fields:
            self.rows[one.key].show(one, errors.get(one.key), fresh=fresh)
        wrong = next((key for key in errors if key in self.rows), "")
        if wrong:
            self.area.ensureWidgetVisible(self.rows[wrong].error, 0, 20)

    def _row(self, shown: FieldShown, at: int) -> FieldRow:
        made = FieldRow(shown)
        self.grid.addWidget(made.name, at, 0)
        self.grid.addWidget(made.field, at, 1)
        self.grid.addWidget(made.error, at + 1, 0, 1, 2)
        # At once: what is not shown yet cannot be given the keyboard.
        made.name.show()
        made.field.show()
        made.field.committed.connect(partial(self._committed, shown.key))
        return made

    def _committed(self, key: str, text: str) -> None:
        if self.details is not None and key in self.rows:
            self.rows[key].handed_over()
            self.committed.emit(self.details.name, key, text)

    def commit(self) -> None:
        """Hand over what is being typed."""
        for row in tuple(self.rows.values()):
            row.field.commit()

    def to_field(self, key: str = "") -> None:
        """Give the keyboard to a field, or to the first that matters."""
        wanted = key or next(iter([one for one in self.rows if one != "name"]), "name")
        row = self.rows.get(wanted)
        if row is not None:
            self.area.ensureWidgetVisible(row.field, 0, 40)
            row.line.setFocus(Qt.FocusReason.OtherFocusReason)
            row.line.selectAll()


def finding_label(one: FindingShown) -> QtWidgets.QLabel:
    """A finding as a paragraph: its sign and how grave it is, what is wrong, what mends it."""
    made = label(
        f"{one.sign} {tr(one.severity).upper()}  {one.text}", wrap=True, spoken=f"{tr(one.severity)}: {one.text}"
    )
    made.setToolTip(one.source)
    return made


#: short words on the keys of a part, by action
_DEED_NAMES = {
    "wiring-run": "One more run",
    "wiring-split": "Split at a block",
    "wiring-fuse": "Fuse before it",
    "wiring-joint": "Joint before it",
    "wiring-remove": "Take out",
}


def _items(field: ChoiceField) -> list[str]:
    return [field.itemText(number) for number in range(field.count())]


def _clear(layout: QtWidgets.QLayout) -> None:
    """Take everything out of a layout at once."""
    while layout.count():
        item = layout.takeAt(0)
        widget = item.widget() if item else None
        if widget is not None:
            widget.hide()
            widget.deleteLater()
