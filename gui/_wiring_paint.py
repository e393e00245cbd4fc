"""How the parts of a wiring are painted: one function for each kind, in the drawing's own pixels.

Shade tells the share of the loss, from light to dark, and a number says it too; thickness is the conductor's area.
What is assumed is written in italics behind a "~". Findings have a sign of their own shape.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TypeAlias

from analysis.wiring import Drawing
from gui._palette import Palette
from gui._qt import Qt, QtCore, QtGui
from gui._wiring_model import Part, WiringScreen, shade_of
from gui._wiring_words import percent

RectF: TypeAlias = QtCore.QRectF
PointF: TypeAlias = QtCore.QPointF
#: how much ink is mixed into the sheet, by shade; from the fourth on letters are light on dark
INK_SHARES = (0.0, 0.10, 0.22, 0.74, 0.92)
LIGHT_FROM = 3
SMALL_PX, NAME_PX = 11, 12
#: below this scale letters would be too small: only what matters most is written, at a readable size
LEAST_LETTERS = 0.70
MARK = 15.0
_PAD = 4.0
_CENTRE = int(Qt.AlignmentFlag.AlignCenter)
_LEFT = int(Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter)
_RIGHT = int(Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter)


def mixed(one: str, other: str, share: float) -> str:
    """A colour between two, as "#rrggbb"."""
    pairs = [(int(one[at : at + 2], 16), int(other[at : at + 2], 16)) for at in (1, 3, 5)]
    return "#" + "".join(f"{round(a + (b - a) * share):02x}" for a, b in pairs)


def shade_colours(palette: Palette, shade: int) -> tuple[str, str]:
    """Ground and letters of a shade."""
    ground = mixed(palette.sheet, palette.ink, INK_SHARES[shade])
    return ground, palette.sheet if shade >= LIGHT_FROM else palette.ink


@dataclass(slots=True)
class Brush:
    """A painter with a palette, and the scale at which it draws."""

    painter: QtGui.QPainter
    palette: Palette
    scale: float
    selected: str = ""
    focused: bool = False

    # ------------------------------------------------------------ letters

    def font(self, pixels: float, *, bold: bool = False, italic: bool = False) -> QtGui.QFontMetricsF:
        """Choose letters; tells how wide they are."""
        font = QtGui.QFont(self.painter.font())
        font.setPixelSize(max(1, round(pixels)))
        font.setBold(bold)
        font.setItalic(italic)
        self.painter.setFont(font)
        return QtGui.QFontMetricsF(font)

    def text(self, room: RectF, words: str, where: int, colour: str, pixels: float = SMALL_PX,
             *, bold: bool = False, italic: bool = False) -> float:  # fmt: skip
        """Write within a room, elided where it is too narrow; tells how much of it was taken."""
        metrics = self.font(pixels, bold=bold, italic=italic)
        shown = metrics.elidedText(words, Qt.TextElideMode.ElideRight, room.width())
        self.painter.setPen(QtGui.QColor(colour))
        self.painter.drawText(room, where | int(Qt.TextFlag.TextDontClip), shown)
        return metrics.horizontalAdvance(shown)

    def pen(self, colour: str, width: float = 1.0, *, flat: bool = True) -> None:
        """Choose a line."""
        pen = QtGui.QPen(QtGui.QColor(colour), width)
        pen.setCapStyle(Qt.PenCapStyle.FlatCap if flat else Qt.PenCapStyle.RoundCap)
        pen.setJoinStyle(Qt.PenJoinStyle.MiterJoin)
        self.painter.setPen(pen)


def paint_drawing(brush: Brush, screen: WiringScreen) -> None:
    """All of a screen: lines first, then parts, signs of findings on top."""
    _paint_lines(brush, screen.drawing)
    for part in screen.parts:
        _paint_part(brush, part)
    for part in screen.parts:
        if part.severity:
            box = part.box
            paint_sign(brush, part.severity, PointF(box.x + box.width - MARK / 2 + 3, box.y + MARK / 2 - 5))
        elif part.name == screen.blamed:
            paint_sign(brush, "danger", PointF(part.box.x + part.box.width - MARK / 2 + 3, part.box.y + MARK / 2 - 5))


def _paint_lines(brush: Brush, drawing: Drawing) -> None:
    brush.pen(brush.palette.ink, 2.0)
    brush.painter.setBrush(Qt.BrushStyle.NoBrush)
    for line in drawing.lines:
        brush.painter.drawPolyline(QtGui.QPolygonF([PointF(x, y) for x, y in line.places]))
    brush.painter.setBrush(QtGui.QColor(brush.palette.ink))
    for x, y in drawing.dots:
        brush.painter.drawEllipse(PointF(x, y), 3.5, 3.5)


def _paint_part(brush: Brush, part: Part) -> None:
    room = RectF(part.box.x, part.box.y, part.box.width, part.box.height)
    ground, ink = shade_colours(brush.palette, shade_of(part.share))
    _paint_frame(brush, part, room, ground)
    if brush.scale < LEAST_LETTERS and part.box.kind not in ("joint", "terminal"):
        _paint_far(brush, part, room, ink)
    else:
        _PAINTERS[part.box.kind](brush, part, room, ink)


def _paint_frame(brush: Brush, part: Part, room: RectF, ground: str) -> None:
    chosen = part.name == brush.selected
    if part.box.kind in ("joint", "terminal"):
        ground = brush.palette.sheet
    heavy = part.box.kind in ("battery", "alternator", "amplifier", "load", "block")
    if chosen:
        brush.pen(brush.palette.focus if brush.focused else brush.palette.ink, 3.0 if brush.focused else 2.5)
    else:
        brush.pen(brush.palette.ink if heavy else brush.palette.frame, 2.0 if heavy else 1.0)
    if part.box.kind in ("joint", "terminal") and not chosen:
        brush.painter.setPen(Qt.PenStyle.NoPen)
    brush.painter.setBrush(QtGui.QColor(ground))
    brush.painter.drawRoundedRect(room, 3, 3)
    if chosen and brush.focused:
        # A second line around it, so that what has the keyboard is not told by colour alone.
        brush.pen(brush.palette.focus, 1.0)
        brush.painter.setBrush(Qt.BrushStyle.NoBrush)
        brush.painter.drawRoundedRect(room.adjusted(-4, -4, 4, 4), 5, 5)


def _paint_far(brush: Brush, part: Part, room: RectF, ink: str) -> None:
    """From afar: thickness, and the one figure that matters most, in letters that can still be read."""
    pixels = SMALL_PX / max(brush.scale, 0.2) * 0.95
    if part.thick:
        _paint_cable(brush, part, room, ink, room.bottom() - max(part.thick, 6) / 2 - 3)
        room = room.adjusted(0, 0, 0, -10)
    told = percent(part.share) if part.share is not None and part.share >= 0.005 else ""
    if part.box.kind in ("amplifier", "load", "alternator"):
        told = part.figures.split("  ")[0]
    if part.box.kind == "block":
        return
    if pixels <= 1.1 * room.height():
        brush.text(room.adjusted(2, 0, -2, 0), told, _CENTRE, ink, pixels, bold=True)


#: of these the size is the resistance itself; of others it is printed on them, and what is assumed is in the figures
_OHMIC = ("joint", "terminal", "chassis")


def _size(part: Part) -> tuple[str, bool]:
    """What stands for a part's size, and whether it is written in italics."""
    assumed = part.assumed and part.box.kind in _OHMIC
    return (f"~{part.size}" if assumed else part.size), assumed


def _guessed(part: Part) -> bool:
    """Whether the figures are written in italics."""
    return part.assumed and part.box.kind not in _OHMIC


def _sign_room(part: Part) -> float:
    return MARK - 3 if part.severity else 0.0


def _head(brush: Brush, part: Part, room: RectF, ink: str) -> None:
    """Name on the left, what is printed on it on the right."""
    line = RectF(room.left() + _PAD, room.top(), room.width() - 2 * _PAD - _sign_room(part), 13)
    size, assumed = _size(part)
    taken = brush.text(line, size, _RIGHT, ink, SMALL_PX, italic=assumed) if size else 0.0
    brush.text(line.adjusted(0, 0, -taken - 5, 0), part.title, _LEFT, ink, SMALL_PX, bold=True)


def _foot(brush: Brush, part: Part, room: RectF, ink: str) -> None:
    """Figures on the left, the share of the loss on the right."""
    line = RectF(room.left() + _PAD, room.bottom() - 13, room.width() - 2 * _PAD, 13)
    share = percent(part.share) if part.share is not None and part.share >= 0.005 else ""
    taken = brush.text(line, share, _RIGHT, ink, SMALL_PX, bold=True) if share else 0.0
    own = line.adjusted(0, 0, -taken - 3, 0)
    figures = _fitting(brush, part.figures.split("  "), own.width() - 8 * _guessed(part))
    brush.text(own, f"~{figures}" if _guessed(part) else figures, _LEFT, ink, SMALL_PX, italic=_guessed(part))


def _fitting(brush: Brush, figures: list[str], room: float) -> str:
    """Amperes, volts and temperature; where not all have room the volts go first, which the share tells too."""
    metrics = brush.font(SMALL_PX)
    tried = (figures, [figures[0], *figures[2:]], figures[:1])
    return next((text for one in tried if metrics.horizontalAdvance(text := " ".join(one)) <= room), figures[0])


def _paint_cable(brush: Brush, part: Part, room: RectF, ink: str, y: float) -> None:
    """As thick as the metal; several runs with light between them."""
    brush.pen(ink, part.thick)
    brush.painter.drawLine(PointF(room.left(), y), PointF(room.right(), y))
    ground = shade_colours(brush.palette, shade_of(part.share))[0]
    if part.runs > 1 and part.thick >= 3:
        brush.pen(ground, 1.0)
        for number in range(1, min(part.runs, 4)):
            at = y - part.thick / 2 + part.thick * number / min(part.runs, 4)
            brush.painter.drawLine(PointF(room.left(), at), PointF(room.right(), at))


def _paint_conductor(brush: Brush, part: Part, room: RectF, ink: str) -> None:
    _paint_cable(brush, part, room, ink, room.center().y())
    _head(brush, part, room, ink)
    _foot(brush, part, room, ink)


def _paint_fuse(brush: Brush, part: Part, room: RectF, ink: str) -> None:
    """A wire through an oblong, as drawings have fuses (IEC 60617), and its rating."""
    symbol = RectF(room.left() + 9, room.top() + 14, room.width() - 18, 7)
    brush.pen(ink, 1.5)
    brush.painter.setBrush(Qt.BrushStyle.NoBrush)
    brush.painter.drawRect(symbol)
    brush.painter.drawLine(PointF(room.left(), symbol.center().y()), PointF(room.right(), symbol.center().y()))
    line = RectF(room.left() + 2, room.top(), room.width() - 4 - _sign_room(part), 13)
    brush.text(line, part.size, _CENTRE, ink, NAME_PX, bold=True)
    share = [percent(part.share)] if part.share is not None and part.share >= 0.005 else []
    foot = RectF(room.left() + 1, room.bottom() - 13, room.width() - 2, 13)
    flow = part.figures.split("  ")[0]
    words = _fitting(brush, [f"~{flow}" if _guessed(part) and flow else flow, *share], foot.width())
    brush.text(foot, words, _CENTRE, ink, SMALL_PX, italic=_guessed(part))


def joint_size(part: Part) -> float:
    """Diameter of a joint's mark: it grows with its milliohm."""
    try:
        milliohm = float(part.size)
    except ValueError:
        return 8.0
    return 6.0 + 8.0 * min(1.0, max(0.0, milliohm / 6.0) ** 0.5)


def _paint_joint(brush: Brush, part: Part, room: RectF, ink: str) -> None:
    """A joint is a round mark, a block's terminal a square one; both on the line."""
    ink, y = brush.palette.ink, room.center().y()
    brush.pen(ink, 2.0)
    brush.painter.drawLine(PointF(room.left(), y), PointF(room.right(), y))
    size, middle = joint_size(part), room.center()
    brush.pen(ink, 1.5)
    ground, _ = shade_colours(brush.palette, shade_of(part.share))
    brush.painter.setBrush(QtGui.QColor(ground))
    place = RectF(middle.x() - size / 2, middle.y() - size / 2, size, size)
    if part.box.kind == "terminal":
        brush.painter.drawRect(place)
    else:
        brush.painter.drawEllipse(place)
    if brush.scale >= LEAST_LETTERS:
        foot = RectF(room.left() - 2, room.bottom() - 12, room.width() + 4, 12)
        words, assumed = _size(part)
        brush.text(foot, words, _CENTRE, brush.palette.quiet, 10, italic=assumed)


def _paint_chassis(brush: Brush, part: Part, room: RectF, ink: str) -> None:
    """A line with strokes hanging from it, as drawings have a frame or body (IEC 60617)."""
    y = room.center().y() - 1
    brush.pen(ink, 2.0)
    brush.painter.drawLine(PointF(room.left(), y), PointF(room.right(), y))
    brush.pen(ink, 1.0)
    x = room.left() + 8
    while x < room.right() - 2:
        brush.painter.drawLine(PointF(x, y), PointF(x - 5, y + 5))
        x += 9
    _head(brush, part, room, ink)
    _foot(brush, part, room, ink)


def _paint_port(brush: Brush, part: Part, room: RectF, ink: str) -> None:
    """The name goes first; what is printed on it stands there where there is room."""
    line = RectF(room.left() + _PAD, room.top() + 3, room.width() - 2 * _PAD - _sign_room(part), 14)
    taken = brush.text(line, part.title, _LEFT, ink, SMALL_PX, bold=True)
    if brush.font(SMALL_PX).horizontalAdvance(part.size) + taken + 6 <= line.width():
        brush.text(line, part.size, _RIGHT, ink, SMALL_PX)
    foot = RectF(room.left() + _PAD, room.bottom() - 17, room.width() - 2 * _PAD, 14)
    guessed = _guessed(part) and bool(part.figures)
    brush.text(foot, f"~{part.figures}" if guessed else part.figures, _LEFT, ink, SMALL_PX, italic=guessed)


def _paint_battery(brush: Brush, part: Part, room: RectF, ink: str) -> None:
    if part.box.height < 60:
        _paint_port(brush, part, room, ink)
        return
    brush.text(RectF(room.right() - 20, room.top() + 4, 16, 20), "+", _CENTRE, ink, 18, bold=True)
    brush.text(RectF(room.right() - 20, room.bottom() - 26, 16, 20), "−", _CENTRE, ink, 18, bold=True)
    metrics = brush.font(SMALL_PX + 1, bold=True)
    names = _wrapped(part.title, lambda words: metrics.horizontalAdvance(words) <= room.width() - 8)
    figures = [f"~{one}" if _guessed(part) else one for one in part.figures.split("  ") if one]
    share = percent(part.share) if part.share is not None and part.share >= 0.005 else ""
    lines = [line for line in (*names, part.size, *figures, share) if line]
    y = room.center().y() - 8 * len(lines)
    for number, words in enumerate(lines):
        place = RectF(room.left() + 4, y + 16 * number, room.width() - 8, 16)
        brush.text(
            place,
            words,
            _CENTRE,
            ink,
            SMALL_PX + 1,
            bold=number < len(names),
            italic=words in figures and _guessed(part),
        )


def _wrapped(words: str, fits: Callable[[str], bool]) -> list[str]:
    """Words in lines, three at most."""
    lines: list[str] = []
    for word in words.split():
        if lines and fits(f"{lines[-1]} {word}"):
            lines[-1] = f"{lines[-1]} {word}"
        else:
            lines.append(word)
    return lines[:3]


def _paint_block(brush: Brush, part: Part, room: RectF, ink: str) -> None:
    ways = part.size
    if not part.box.upright:
        _paint_port(brush, part, room, ink)
        return
    painter = brush.painter
    painter.save()
    painter.translate(room.center())
    painter.rotate(-90)
    across = RectF(-room.height() / 2 + 6, -room.width() / 2, room.height() - 12, room.width())
    brush.text(across, f"{part.title}  {ways}", _CENTRE, ink, NAME_PX, bold=True)
    painter.restore()


_PAINTERS: dict[str, Callable[[Brush, Part, RectF, str], None]] = {
    "conductor": _paint_conductor,
    "fuse": _paint_fuse,
    "joint": _paint_joint,
    "terminal": _paint_joint,
    "chassis": _paint_chassis,
    "amplifier": _paint_port,
    "load": _paint_port,
    "alternator": _paint_port,
    "battery": _paint_battery,
    "block": _paint_block,
}


# ---------------------------------------------------------------- signs


def paint_sign(brush: Brush, severity: str, middle: PointF, size: float = MARK) -> None:
    """A danger is a filled triangle, a fault a filled diamond, a note an open circle: shapes of their own."""
    palette, painter = brush.palette, brush.painter
    colours = {"danger": palette.bad, "fault": palette.doubt, "note": palette.quiet}
    colour = QtGui.QColor(colours[severity])
    pen = QtGui.QPen(QtGui.QColor(palette.sheet), 1.5)
    painter.setPen(pen)
    half = size / 2
    if severity == "note":
        painter.setPen(QtGui.QPen(colour, 1.8))
        painter.setBrush(QtGui.QColor(palette.sheet))
        painter.drawEllipse(middle, half - 2, half - 2)
        letter, ink = "i", palette.quiet
    else:
        painter.setBrush(colour)
        x, y = middle.x(), middle.y()
        corners = ((x, y - half), (x + half, y + half * 0.85), (x - half, y + half * 0.85))
        if severity == "fault":
            corners = ((x, y - half), (x + half, y), (x, y + half), (x - half, y))  # type: ignore[assignment]
        painter.drawPolygon(QtGui.QPolygonF([PointF(*corner) for corner in corners]))
        letter, ink = "!", palette.sheet
    room = RectF(middle.x() - half, middle.y() - half + (1.5 if severity == "danger" else 0), size, size)
    brush.text(room, letter, _CENTRE, ink, size * 0.68, bold=True)
