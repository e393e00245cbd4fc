"""The vehicle sheet: the order, the vehicle, the complaint and what came of it, written straight into job.toml."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import partial

from gui._desk import Desk, Sheet
from gui._make import button, label
from gui._qt import Qt, QtWidgets
from gui._vehicle_controller import VehicleController
from gui._vehicle_fields import make_field
from gui._vehicle_model import LONG_FIELDS, SHORT_FIELDS, Field
from gui._words import tr


class VehicleSheet(Sheet):
    """Implements `VehicleView`."""

    def __init__(self, desk: Desk) -> None:
        super().__init__(desk)
        self.setObjectName("paper")
        self.setAttribute(Qt.WidgetAttribute.WA_StyledBackground)
        self.fields = {one.path: make_field(one) for one in (*_short(), *LONG_FIELDS)}
        self.controller = VehicleController(self, desk.visit, desk.settings)
        for path, field in self.fields.items():
            field.committed.connect(partial(self.controller.commit, path))
        self.trouble = label("", "notsaved", wrap=True, spoken=tr("Not saved"))
        self.again = button(tr("Save again"), tip=tr("Try once more to write it into the job"))
        self.again.clicked.connect(self.controller.retry)
        self._lay_out()
        self.clear_trouble()

    def _lay_out(self) -> None:
        columns = QtWidgets.QHBoxLayout()
        columns.setSpacing(26)
        columns.addLayout(self._short_column(), 2)
        columns.addLayout(self._long_column(), 3)
        row = QtWidgets.QHBoxLayout()
        row.addWidget(self.trouble, 1)
        row.addWidget(self.again)
        whole = QtWidgets.QVBoxLayout(self)
        whole.setContentsMargins(16, 10, 16, 10)
        whole.addLayout(row)
        whole.addLayout(columns, 1)

    def _short_column(self) -> QtWidgets.QGridLayout:
        grid = QtWidgets.QGridLayout()
        grid.setVerticalSpacing(5)
        grid.setHorizontalSpacing(12)
        grid.setColumnStretch(1, 1)
        for _, group in SHORT_FIELDS:
            for one in group:
                self._put(grid, one)
            grid.addItem(QtWidgets.QSpacerItem(0, 6), grid.rowCount(), 0)
        grid.setRowStretch(grid.rowCount(), 1)
        return grid

    def _long_column(self) -> QtWidgets.QGridLayout:
        grid = QtWidgets.QGridLayout()
        grid.setVerticalSpacing(6)
        grid.setHorizontalSpacing(12)
        grid.setColumnStretch(1, 1)
        for one in LONG_FIELDS:
            self._put(grid, one)
            grid.setRowStretch(grid.rowCount() - 1, one.rows if one.kind == "text" else 0)
        return grid

    def _put(self, grid: QtWidgets.QGridLayout, one: Field) -> None:
        row, name = grid.rowCount(), label(tr(one.title), "name" if one.large else "")
        name.setBuddy(self.fields[one.path])
        where = Qt.AlignmentFlag.AlignTop if one.kind == "text" else Qt.AlignmentFlag.AlignVCenter
        grid.addWidget(name, row, 0, where)
        grid.addWidget(self.fields[one.path], row, 1)

    # ------------------------------------------------------------ what the window asks for

    def job_changed(self) -> None:
        self.controller.put(self.desk.visit.opened)

    def handlers(self) -> Mapping[str, Callable[[Mapping[str, str]], object]]:
        return {"edit-field": lambda facts: self.edit(facts.get("field", "visit.complaint"))}

    def edit(self, path: str) -> None:
        """Give the keyboard to a field."""
        self.fields[path].setFocus(Qt.FocusReason.OtherFocusReason)

    def keep(self) -> bool:
        """What is being typed is saved."""
        for field in self.fields.values():
            field.commit()
        return not self.controller.unsaved or self.controller.retry()

    def give_keys(self) -> None:
        self.edit("visit.complaint")

    # ------------------------------------------------------------ what the controller asks for

    def show_texts(self, texts: Mapping[str, str]) -> None:
        """Show what stands in the job."""
        for path, text in texts.items():
            self.fields[path].show_text(text)

    def show_wrong(self, path: str, wrong: bool) -> None:
        """Mark a field that is not saved."""
        field = self.fields[path]
        if bool(field.property("wrong")) is not wrong:
            field.setProperty("wrong", wrong)
            style = field.style()
            assert style is not None
            style.polish(field)

    def show_saved(self, words: str) -> None:
        """Say quietly that it is on disk."""
        self.clear_trouble()
        self.desk.show_note(f"✔ {words}")

    def show_trouble(self, sentence: str, *, can_retry: bool) -> None:
        """Say that it is not, and why."""
        self.trouble.setText(f"✖ {sentence}")
        self.trouble.show()
        self.again.setVisible(can_retry)
        self.desk.show_note("")

    def clear_trouble(self) -> None:
        """All is saved."""
        self.trouble.hide()
        self.again.hide()


def _short() -> list[Field]:
    return [one for _, group in SHORT_FIELDS for one in group]
