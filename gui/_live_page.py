"""The live view: waveform, spectrum and orders of what is listened to or recorded, and the loudest lines by name."""

from __future__ import annotations

from typing import Any

from gui._live_canvas import LiveCanvas
from gui._live_list import LinesList
from gui._live_pictures import Drawn, Lanes, SpectrumPicture, main_channel
from gui._live_worker import FRAMES_A_SECOND, SPANS_S, Circumstances, LiveFrame, LiveWorker
from gui._make import Chooser, button, label
from gui._palette import Palette
from gui._qt import Qt, QtCore, QtWidgets
from gui._recorder_session import Session
from gui._recorder_setup import Setup
from gui._words import tr
from job import tap_words

_NOTHING = "No source is open: choose one in the strip below. Its waveform, spectrum and orders then show here."


class LivePage(QtWidgets.QWidget):
    """Works only while it is seen: threads and timer begin when it comes to the front and end when it goes."""

    left = QtCore.pyqtSignal()

    def __init__(self, palette: Palette) -> None:
        super().__init__()
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setAccessibleName(tr("Live view"))
        self.worker: LiveWorker | None = None
        self._session: Session | None = None
        self._held = Circumstances()
        self._chosen: int | None = None
        self._drawn = 0
        #: frames drawn in all
        self.frames = 0
        self.wave, self.spectrum, self.orders = (
            LiveCanvas(spoken, palette) for spoken in (tr("Waveform"), tr("Spectrum"), tr("Orders"))
        )
        self.lines = LinesList(palette)
        self._lanes, self._spectrum, self._order = Lanes(), SpectrumPicture(orders=False), SpectrumPicture(orders=True)
        self._make_keys()
        self._lay_out()
        self._timer = QtCore.QTimer(self)
        self._timer.setTimerType(Qt.TimerType.PreciseTimer)
        # Looked at more often than frames are made, so that none waits for the next look.
        self._timer.setInterval(1000 // FRAMES_A_SECOND // 3)
        self._timer.timeout.connect(self.draw)
        self.show_simulated(False)

    def _make_keys(self) -> None:
        self.channel = Chooser(tr("Channel of the spectra"))
        self.channel.activated.connect(self._choose)
        self.span = Chooser(tr("Stretch of the waveform"))
        self.span.addItems([f"{1000 * span:g} ms" for span in SPANS_S])
        self.span.setCurrentIndex(1)
        self.span.activated.connect(self._stretch)
        self.hold = button(tr("Hold"), tip=tr("Hold the pictures still; the recording goes on (Shift+F8)"))
        self.hold.setCheckable(True)
        self.hold.toggled.connect(lambda on: self.hold.setText(tr("Held still") if on else tr("Hold")))
        self.back = button(tr("Back to the sheet"), tip=tr("F8, or Esc"))
        self.back.clicked.connect(self.left)

    def _lay_out(self) -> None:
        self.simulated = label(tr("SIMULATED DATA"), "simulated")
        self.words = label("", "quiet", spoken=tr("State of the live view"))
        head = QtWidgets.QHBoxLayout()
        head.addWidget(label(tr("Live"), "title"))
        head.addWidget(self.words, 1)
        for part in (self.simulated, self.channel, self.span, self.hold, self.back):
            head.addWidget(part)
        grid = QtWidgets.QGridLayout()
        grid.setSpacing(6)
        grid.addWidget(self.wave, 0, 0)
        grid.addWidget(self.lines, 0, 1)
        grid.addWidget(self.spectrum, 1, 0)
        grid.addWidget(self.orders, 1, 1)
        for place in (0, 1):
            grid.setColumnStretch(place, 1)
        grid.setRowStretch(0, 4)
        grid.setRowStretch(1, 5)
        self.nothing = label(tr(_NOTHING), "large", wrap=True)
        self.nothing.setAlignment(Qt.AlignmentFlag.AlignCenter)
        self.pictures = QtWidgets.QWidget()
        self.pictures.setLayout(grid)
        grid.setContentsMargins(0, 0, 0, 0)
        column = QtWidgets.QVBoxLayout(self)
        column.setContentsMargins(10, 4, 10, 6)
        column.setSpacing(4)
        column.addLayout(head)
        column.addWidget(self.pictures, 1)
        column.addWidget(self.nothing, 1)

    # ------------------------------------------------------------ what is looked at

    def show_session(self, session: Session | None) -> None:
        """What is listened to from now on; it may not be open yet."""
        self._session = session
        self._end_worker()
        self._look()

    def show_setup(self, setup: Setup) -> None:
        """What the names of lines depend on."""
        self._held = Circumstances(setup.facts.engine_rpm, setup.facts.tacho_wheel, setup.plays_bursts)

    def show_simulated(self, simulated: bool) -> None:
        """Whether what is seen is simulated."""
        self.simulated.setVisible(simulated)

    def _look(self) -> None:
        """Begin as soon as the source is open and somebody looks."""
        there = self._session is not None
        self.pictures.setVisible(there)
        self.nothing.setVisible(not there)
        if self.isVisible() and there:
            self._timer.start()
        else:
            self._timer.stop()

    def _begin_worker(self) -> None:
        session = self._session
        if session is None or session.feed is None or session.phase == "opening":
            return
        self.worker = LiveWorker(session.feed, lambda: self._held)
        self._stretch(self.span.currentIndex())
        self._lanes = Lanes()
        self._show_channels()
        self.worker.start()

    def _show_channels(self) -> None:
        assert self.worker is not None
        channels = self.worker.feed.channels
        if self._chosen is None or self._chosen >= len(channels):
            self._chosen = main_channel(channels)
        self.channel.clear()
        self.channel.addItems([tap_words(channel) for channel in channels])
        self.channel.setCurrentIndex(self._chosen)

    def _end_worker(self) -> None:
        worker, self.worker = self.worker, None
        self._drawn = 0
        if worker is not None:
            worker.stop()

    # ------------------------------------------------------------ what is drawn

    def draw(self) -> None:
        """Draw what was finished since, if anything was."""
        if self.worker is None:
            self._begin_worker()
            return
        frame = self.worker.frame
        if frame is None or self.hold.isChecked() or self.worker.finished == self._drawn:
            return
        self._drawn = self.worker.finished
        self._draw(frame)

    def _draw(self, frame: LiveFrame) -> None:
        assert self.worker is not None
        chosen, named = self._chosen or 0, self.worker.named
        plot = self.wave.plot
        self.worker.columns = plot.width()
        _show(self.wave, self._lanes.drawn(frame, chosen, plot.width(), plot.height()))
        for canvas, picture in ((self.spectrum, self._spectrum), (self.orders, self._order)):
            plot = canvas.plot
            _show(canvas, picture.drawn(frame, named, chosen, plot.width(), plot.height()))
        if named is not None:
            self.lines.show_named(named)
        self.words.setText(self.worker.fault or _left_out(frame))
        self.frames += 1

    # ------------------------------------------------------------ keys

    def _choose(self, index: int) -> None:
        self._chosen = index

    def next_channel(self) -> None:
        """The next channel's spectra."""
        count = self.channel.count()
        if count:
            self._chosen = ((self._chosen or 0) + 1) % count
            self.channel.setCurrentIndex(self._chosen)

    def _stretch(self, index: int) -> None:
        if self.worker is not None:
            self.worker.span_s = SPANS_S[index]

    def next_span(self) -> None:
        """The next longer stretch of the waveform, then the shortest."""
        self.span.setCurrentIndex((self.span.currentIndex() + 1) % len(SPANS_S))
        self._stretch(self.span.currentIndex())

    def keyPressEvent(self, ev: Any) -> None:
        if ev.key() == Qt.Key.Key_Escape:
            self.left.emit()
        else:
            super().keyPressEvent(ev)

    def recolour(self, palette: Palette) -> None:
        """Use another palette."""
        for part in (self.wave, self.spectrum, self.orders, self.lines):
            part.recolour(palette)

    # ------------------------------------------------------------ what Qt asks for

    def showEvent(self, ev: Any) -> None:
        super().showEvent(ev)
        self._look()

    def hideEvent(self, ev: Any) -> None:
        super().hideEvent(ev)
        self._timer.stop()
        self._end_worker()

    def end(self) -> None:
        """The window closes."""
        self._timer.stop()
        self._end_worker()


def _show(canvas: LiveCanvas, drawn: Drawn) -> None:
    canvas.show_axes(drawn.axes)
    canvas.show_traces(drawn.traces, drawn.flags, drawn.note, drawn.trouble)


def _left_out(frame: LiveFrame) -> str:
    if not frame.dropped_rows:
        return ""
    seconds = f"{frame.dropped_rows / frame.rate_hz:.1f}"
    return tr("this view was too slow for {seconds} s; a recording has them", seconds=seconds)
