"""What each channel is connected to, a row for each: role, point, scale, coupling, calibration."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from analysis import HumproofError
from capture import RecordedChannel, SourceDescription
from gui._make import Chooser, label
from gui._qt import Qt, QtCore, QtWidgets
from gui._recorder_setup import Setup, WiredChannel, number_typed, role_choices, scale_words
from gui._words import tr

_HEADS = ("Channel", "Role", "Point", "Volts per unit", "Coupling", "Calibration")
_COUPLINGS = ("", "DC", "AC")


class ChannelRows(QtWidgets.QScrollArea):
    """Tells what was chosen; the rows themselves are made anew only when other channels come."""

    changed = QtCore.pyqtSignal(int, dict)

    def __init__(self) -> None:
        super().__init__()
        self.setWidgetResizable(True)
        self.rows: list[_Row] = []
        self._names: tuple[str, ...] | None = None
        self.setMinimumWidth(400)
        self.setFocusPolicy(Qt.FocusPolicy.NoFocus)

    def first(self) -> QtWidgets.QWidget | None:
        """Where the keyboard goes."""
        return self.rows[0].role if self.rows else None

    def show_channels(self, setup: Setup, says: SourceDescription | None, calibrations: Sequence[str]) -> None:
        """Fill the rows."""
        channels = says.channels if says else ()
        names = tuple(channel.name for channel in channels)
        # A simulated vehicle names its channels after their roles: the number of rows tells more.
        if self._names is None or len(names) != len(self._names):
            self._make(len(names))
        self._names = names
        for index, row in enumerate(self.rows):
            wired = setup.wired[index] if index < len(setup.wired) else WiredChannel()
            row.fill(wired, channels[index], calibrations)

    def _make(self, count: int) -> None:
        holder = QtWidgets.QWidget()
        holder.setObjectName("page")
        grid = QtWidgets.QGridLayout(holder)
        grid.setContentsMargins(0, 0, 6, 0)
        grid.setVerticalSpacing(4)
        for column, head in enumerate(_HEADS):
            grid.addWidget(label(tr(head), "quiet"), 0, column)
        self.rows = [_Row(grid, index, self.changed.emit) for index in range(count)]
        if not count:
            grid.addWidget(label(tr("They show as soon as a source is chosen and open."), wrap=True), 1, 0, 1, 6)
        grid.setColumnStretch(5, 1)
        grid.setRowStretch(count + 2, 1)
        self.setWidget(holder)


class _Row:
    """The fields of one channel."""

    def __init__(self, grid: QtWidgets.QGridLayout, index: int, tell: Any) -> None:
        self._index, self._tell = index, tell
        self.name = label("")
        self.name.setMaximumWidth(88)
        spoken = tr("channel {number}", number=index)
        self.role = _chooser(tr("role of {channel}", channel=spoken), [_role_text(role) for role in role_choices()])
        self.point, self.scale = (
            _line(tr("point of {channel}", channel=spoken)),
            _line(tr("scale of {channel}", channel=spoken)),
        )
        self.point.setPlaceholderText(tr("rear-amp"))
        self.scale.setPlaceholderText(tr("2.1"))
        self.coupling = _chooser(tr("coupling of {channel}", channel=spoken), [tr("as told"), "DC", "AC"])
        self.calibration = _chooser(tr("calibration of {channel}", channel=spoken), [tr("none")])
        self._calibrations: list[str] = [""]
        for column, part in enumerate((self.name, self.role, self.point, self.scale, self.coupling, self.calibration)):
            grid.addWidget(part, index + 1, column)
        self.role.activated.connect(lambda place: self._say(role=role_choices()[place]))
        self.coupling.activated.connect(lambda place: self._say(coupling=_COUPLINGS[place]))
        self.calibration.activated.connect(lambda place: self._say(calibration=self._calibrations[place]))
        self.point.editingFinished.connect(lambda: self._say(point=self.point.text().strip()))
        self.scale.editingFinished.connect(self._scale_typed)

    def _say(self, **facts: Any) -> None:
        self._tell(self._index, facts)

    def _scale_typed(self) -> None:
        try:
            self._say(scale=number_typed(tr("volts per unit"), self.scale.text()))
        except HumproofError as error:
            self.scale.setToolTip(str(error))
            self._mark(self.scale, wrong=True)
        else:
            self._mark(self.scale, wrong=False)

    def _mark(self, field: QtWidgets.QLineEdit, *, wrong: bool) -> None:
        field.setProperty("wrong", wrong)
        style = field.style()
        assert style is not None
        style.polish(field)

    def fill(self, wired: WiredChannel, channel: RecordedChannel, calibrations: Sequence[str]) -> None:
        """Show what is said of the channel; what is being typed stays."""
        metrics = self.name.fontMetrics()
        self.name.setText(metrics.elidedText(f"{self._index} {channel.name}", Qt.TextElideMode.ElideRight, 86))
        self.name.setToolTip(f"{channel.name}: {scale_words(channel)}")
        role = wired.role or channel.role.partition("@")[0]
        self.role.setCurrentIndex(role_choices().index(role) if role in role_choices() else 0)
        scale = "" if wired.scale is None else f"{wired.scale:.10g}"
        for field, text in ((self.point, wired.point), (self.scale, scale)):
            if not (field.hasFocus() and field.isModified()):
                field.setText(text)
        self.coupling.setCurrentIndex(_COUPLINGS.index(wired.coupling) if wired.coupling in _COUPLINGS else 0)
        self.coupling.setItemText(0, tr("as told") if channel.coupling == "unknown" else f"({channel.coupling})")
        self._fill_calibrations(wired.calibration, calibrations)

    def _fill_calibrations(self, chosen: str, calibrations: Sequence[str]) -> None:
        names = list(dict.fromkeys(["", *calibrations, chosen]))
        if names != self._calibrations:
            self._calibrations = names
            self.calibration.clear()
            self.calibration.addItems([name or tr("none") for name in names])
        self.calibration.setCurrentIndex(names.index(chosen))


def _role_text(role: str) -> str:
    return role or tr("not said")


def _chooser(spoken: str, texts: list[str]) -> Chooser:
    made = Chooser(spoken)
    made.addItems(texts)
    return made


def _line(spoken: str) -> QtWidgets.QLineEdit:
    made = QtWidgets.QLineEdit()
    made.setAccessibleName(spoken)
    made.setMinimumWidth(60)
    made.setMaximumWidth(90)
    return made
