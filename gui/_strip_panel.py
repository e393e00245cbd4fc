"""What opens above the recording strip: source, channels, and what will be written into the recording."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from analysis import ISOLATION_STEPS, HumproofError, WrongUseError
from capture import SHAPES, SourceDescription, calibration_names
from gui._make import Chooser, button, label
from gui._qt import Qt, QtCore, QtWidgets
from gui._recorder_setup import FOOT_KEYS, LONGEST_COUNT_S, Memory, Setup, loads_typed, number_typed
from gui._strip_channels import ChannelRows
from gui._theme import scaled_points
from gui._words import tr
from job import STATES, advice_before_recording

HEIGHT = 430

Change = Callable[[Setup], Setup]


class Panel(QtWidgets.QFrame):
    """Three columns of fields; every finished entry is told at once, and what is wrong stands below."""

    setup_chosen = QtCore.pyqtSignal(object)
    count_chosen = QtCore.pyqtSignal(int)
    foot_key_chosen = QtCore.pyqtSignal(str)
    look_asked = QtCore.pyqtSignal()
    closed = QtCore.pyqtSignal()

    def __init__(self, parent: QtWidgets.QWidget) -> None:
        super().__init__(parent)
        self.setObjectName("sheet")
        self.setup = Setup()
        self._filling = False
        #: the field that is to have the keyboard as soon as it is there
        self._wanted = ""
        self.fields: dict[str, QtWidgets.QWidget] = {}
        self.problem = label("", "caution", wrap=True, spoken=tr("What is wrong"))
        self.advice = label("", "quiet", wrap=True, spoken=tr("What to see to"))
        self.channels = ChannelRows()
        self.channels.changed.connect(self._channel)
        self._lay_out()
        self.hide()

    def _lay_out(self) -> None:
        grid = QtWidgets.QGridLayout(self)
        grid.setContentsMargins(12, 8, 12, 8)
        grid.setHorizontalSpacing(18)
        grid.setVerticalSpacing(4)
        for column, (title, part) in enumerate(
            (
                (tr("Source"), self._source_fields()),
                (tr("Channels"), self._channel_fields()),
                (tr("What will be written"), self._condition_fields()),
            )
        ):
            grid.addWidget(label(title, "name"), 0, column)
            grid.addWidget(part, 1, column)
        for column, (share, least) in enumerate(((4, 280), (10, 400), (7, 330))):
            grid.setColumnStretch(column, share)
            grid.setColumnMinimumWidth(column, least)
        grid.setRowStretch(1, 1)
        self.close_key = button(tr("Close"), tip="Esc")
        self.close_key.clicked.connect(self.put_away)
        row = QtWidgets.QHBoxLayout()
        row.setSpacing(16)
        row.addWidget(self.problem, 1)
        row.addWidget(label(tr("Close, then the space bar or the red key records."), "quiet"))
        row.addWidget(self.close_key)
        grid.addLayout(row, 2, 0, 1, 3)

    # ------------------------------------------------------------ fields

    def _channel_fields(self) -> QtWidgets.QWidget:
        holder = QtWidgets.QWidget()
        column = QtWidgets.QVBoxLayout(holder)
        column.setContentsMargins(0, 0, 0, 0)
        column.addWidget(self.channels, 3)
        column.addWidget(self.advice, 0)
        return holder

    def _source_fields(self) -> QtWidgets.QWidget:
        holder, form = _form()
        self._text(
            form, "source", tr("Source"), self._source_changed, tip=tr("KIND or KIND:TARGET, as commands take it")
        )
        self._text(form, "settings", tr("Settings"), self._settings_changed, tip=tr("name=value, separated by commas"))
        self._text(
            form, "rate", tr("Samples a second"), _number("rate_hz", tr("samples a second")), tip=tr("empty: its own")
        )
        self._text(form, "count", tr("How many channels"), self._count_changed, tip=tr("empty: its own"))
        look = button(tr("Look for devices again"))
        look.clicked.connect(self.look_asked)
        form.addRow(look)
        counting = self._chooser("count-down", [str(n) for n in range(LONGEST_COUNT_S + 1)], self._count_down)
        form.addRow(tr("Count-down, s"), counting)
        form.addRow(tr("Foot switch sends"), self._chooser("foot-key", list(FOOT_KEYS), self.foot_key_chosen.emit))
        return _Scrolled(holder)

    def _condition_fields(self) -> QtWidgets.QWidget:
        holder, form = _form()
        state = self._chooser("state", [tr(one) for one in STATES], None, by_index=self._state_changed)
        form.addRow(tr("State"), state)
        step = self._chooser("step", [one.words for one in ISOLATION_STEPS], self._step_changed)
        step.setEditable(True)
        step.setInsertPolicy(step.InsertPolicy.NoInsert)
        typed = step.lineEdit()
        assert typed is not None
        typed.editingFinished.connect(lambda: self._step_changed(step.currentText()))
        step.setSizeAdjustPolicy(step.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
        form.addRow(tr("Isolation step"), step)
        self._text(
            form, "rpm", tr("Engine speed, rpm"), _held("engine_rpm", tr("engine speed")), tip=tr("0: engine off")
        )
        self._text(form, "loads", tr("Loads on"), _loads, tip=tr("headlamps, blower; or none"))
        self._text(form, "volume", tr("Volume"), _words("volume"))
        self._text(form, "gains", tr("Gains"), _words("gains"))
        self._text(form, "signal", tr("Test signal"), _words("test_signal"), tip=tr("what plays: dithered silence"))
        self._text(form, "length", tr("Length, s"), _number("duration_s", tr("length")), tip=tr("empty: until stopped"))
        play = self._chooser("play", [tr("nothing"), *SHAPES], None, by_index=self._play_changed)
        form.addRow(tr("Play from here"), play)
        self._text(form, "level", tr("at dB re full scale"), _number("play_level_db", tr("level")))
        self._text(form, "stop-below", tr("stop below, V"), _number("stop_below_v", tr("stop below")))
        self._text(form, "battery", tr("Battery"), _words("battery"))
        self._text(form, "laptop", tr("Laptop runs on"), _words("laptop_supply"), tip=tr("own battery, or mains"))
        self._text(form, "temperature", tr("Air, °C"), _held("temperature_c", tr("temperature")))
        self._text(form, "wheel", tr("Tacho's wheel"), _words("tacho_wheel"), tip=tr("60-2, or pulses a turn"))
        self._text(form, "full-level", tr("Full level, V rms"), _held("full_level_v", tr("full level")))
        self._text(form, "note", tr("Note"), _words("note"))
        return _Scrolled(holder)

    def _text(
        self, form: QtWidgets.QFormLayout, name: str, title: str, change: Callable[[Setup, str], Setup], tip: str = ""
    ) -> None:
        field = QtWidgets.QLineEdit()
        field.setAccessibleName(title)
        field.setToolTip(tip)
        field.setPlaceholderText(tip)
        field.editingFinished.connect(lambda: self._tell(lambda setup: change(setup, field.text())))
        self.fields[name] = field
        form.addRow(title, field)

    def _chooser(
        self,
        name: str,
        texts: Sequence[str],
        change: Callable[[str], object] | None,
        by_index: Callable[[int], object] | None = None,
    ) -> Chooser:
        made = Chooser(name.replace("-", " "))
        made.addItems(list(texts))
        if change is not None:
            made.textActivated.connect(change)
        if by_index is not None:
            made.activated.connect(by_index)
        self.fields[name] = made
        return made

    # ------------------------------------------------------------ what is shown

    def show_setup(self, setup: Setup, memory: Memory, says: SourceDescription | None) -> None:
        """Fill every field that is not being typed in."""
        self._filling = True
        self.setup = setup
        held = setup.facts
        texts = {
            "source": setup.source,
            "settings": ", ".join(f"{name}={value}" for name, value in setup.settings.items()),
            "rate": _plain(setup.rate_hz),
            "count": _plain(setup.channels),
            "rpm": _plain(held.engine_rpm),
            "loads": "" if held.loads is None else ", ".join(held.loads) or tr("none"),
            "volume": held.volume or "",
            "gains": held.gains or "",
            "signal": held.test_signal or "",
            "length": _plain(setup.duration_s),
            "level": _plain(setup.play_level_db),
            "stop-below": _plain(setup.stop_below_v),
            "battery": held.battery or "",
            "laptop": held.laptop_supply or "",
            "temperature": _plain(held.temperature_c),
            "wheel": held.tacho_wheel or "",
            "full-level": _plain(held.full_level_v),
            "note": held.note or "",
        }
        for name, text in texts.items():
            field = self.fields[name]
            assert isinstance(field, QtWidgets.QLineEdit)
            if not (field.hasFocus() and field.isModified()):
                field.setText(text)
                field.setCursorPosition(0)
        self._choose("state", STATES.index(setup.state))
        self._choose("count-down", memory.count_s)
        self._choose("play", 1 + list(SHAPES).index(setup.play) if setup.play in SHAPES else 0)
        step, foot = self.fields["step"], self.fields["foot-key"]
        assert isinstance(step, Chooser)
        assert isinstance(foot, Chooser)
        step.setEditText(setup.step)
        foot.setCurrentText(memory.foot_key)
        self.channels.show_channels(setup, says, calibration_names() if self.isVisible() else [])
        self._show_advice(setup, says)
        self._filling = False
        if self._wanted and self.isVisible():
            self._give_keys()

    def _show_advice(self, setup: Setup, says: SourceDescription | None) -> None:
        """What to see to before this recording; all of it as a tip, the first few in the open."""
        advice = advice_before_recording([says] if says else [], setup.facts, setup.duration_s)
        texts = [*(one.text for one in advice), *(says.warnings if says else ())]
        more = tr(" (and {count} more)", count=len(texts) - 1) if texts[1:] else ""
        self.advice.setText(f"{texts[0]}{more}" if texts else "")
        self.advice.setToolTip("\n\n".join(texts))

    def _choose(self, name: str, index: int) -> None:
        field = self.fields[name]
        assert isinstance(field, Chooser)
        field.setCurrentIndex(index)

    def open_at(self, name: str, area: QtCore.QRect) -> None:
        """Show it at the foot of an area, with the keyboard in one of its fields."""
        high = min(round(scaled_points(HEIGHT)), area.height())
        self.setGeometry(area.left(), area.bottom() - high + 1, area.width(), high)
        self.problem.setText("")
        self.show()
        self.raise_()
        self._wanted = name
        self._give_keys()

    def _give_keys(self) -> None:
        """To the field that was asked for; channels may still be to come, with their source."""
        field = self.channels.first() if self._wanted == "channels" else self.fields.get(self._wanted)
        if field is not None:
            self._wanted = ""
            field.setFocus(Qt.FocusReason.TabFocusReason)

    def put_away(self) -> None:
        """Hide it again."""
        self._wanted = ""
        self.hide()
        self.closed.emit()

    def keyPressEvent(self, ev: Any) -> None:
        if ev.key() == Qt.Key.Key_Escape:
            self.put_away()
        else:
            super().keyPressEvent(ev)

    # ------------------------------------------------------------ what is typed

    def _tell(self, change: Change) -> None:
        if self._filling:
            return
        try:
            setup = change(self.setup)
        except HumproofError as error:
            self.problem.setText(str(error))
            return
        self.problem.setText("")
        if setup != self.setup:
            self.setup_chosen.emit(setup)

    def _channel(self, index: int, facts: dict[str, Any]) -> None:
        self._tell(lambda setup: setup.with_channel(index, **facts))

    def _source_changed(self, setup: Setup, text: str) -> Setup:
        return setup.changed(source=text.strip())

    def _settings_changed(self, setup: Setup, text: str) -> Setup:
        return setup.changed(settings=_pairs(text))

    def _count_changed(self, setup: Setup, text: str) -> Setup:
        count = number_typed(tr("how many channels"), text)
        return setup.changed(channels=None if count is None else round(count))

    def _count_down(self, text: str) -> None:
        self.count_chosen.emit(int(text))

    def _state_changed(self, index: int) -> None:
        self._tell(lambda setup: setup.changed(state=STATES[index]))

    def _step_changed(self, text: str) -> None:
        self._tell(lambda setup: setup.told({"step": text}))

    def _play_changed(self, index: int) -> None:
        name = list(SHAPES)[index - 1] if index else ""
        self._tell(lambda setup: setup.changed(play=name))


def _form() -> tuple[QtWidgets.QWidget, QtWidgets.QFormLayout]:
    holder = QtWidgets.QWidget()
    holder.setObjectName("page")
    form = QtWidgets.QFormLayout(holder)
    form.setContentsMargins(0, 0, 6, 0)
    form.setVerticalSpacing(4)
    form.setFieldGrowthPolicy(form.FieldGrowthPolicy.AllNonFixedFieldsGrow)
    # With large letters names stand above their fields.
    form.setRowWrapPolicy(form.RowWrapPolicy.WrapLongRows)
    return holder, form


class _Scrolled(QtWidgets.QScrollArea):
    """Scrolls up and down, and is never narrower than what is in it."""

    def __init__(self, holder: QtWidgets.QWidget) -> None:
        super().__init__()
        self.setWidgetResizable(True)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self.setWidget(holder)

    def minimumSizeHint(self) -> QtCore.QSize:
        holder, bar = self.widget(), self.verticalScrollBar()
        assert holder is not None
        assert bar is not None
        return QtCore.QSize(holder.minimumSizeHint().width() + bar.sizeHint().width() + 4, 80)


def _number(name: str, spoken: str) -> Callable[[Setup, str], Setup]:
    return lambda setup, text: setup.changed(**{name: number_typed(spoken, text)})


def _held(name: str, spoken: str) -> Callable[[Setup, str], Setup]:
    return lambda setup, text: setup.with_conditions(**{name: number_typed(spoken, text)})


def _words(name: str) -> Callable[[Setup, str], Setup]:
    return lambda setup, text: setup.with_conditions(**{name: text.strip() or None})


def _loads(setup: Setup, text: str) -> Setup:
    return setup.with_conditions(loads=loads_typed(text))


def _plain(value: float | None) -> str:
    return "" if value is None else f"{value:.10g}"


def _pairs(text: str) -> Mapping[str, str]:
    pairs = [part.partition("=") for part in text.split(",") if part.strip()]
    if any(not equals for _, equals, _ in pairs):
        raise WrongUseError(tr("settings: write name=value, separated by commas, such as gain=3, bits=24"))
    return {name.strip(): value.strip() for name, _, value in pairs}
