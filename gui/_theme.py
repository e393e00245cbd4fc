"""The look: one style sheet made from a palette, and the pens of curves."""

from __future__ import annotations

import re

from gui._palette import Palette, dashes
from gui._qt import Qt, QtGui, QtWidgets, pg

TEXT_POINTS = 10
#: smallest side of anything that is pressed, in pixels: for gloves
TARGET = 40
#: size of all letters in per cent of the usual
_percent = 100


def curve_pen(palette: Palette, state: str, style: int, width: float = 1.6) -> QtGui.QPen:
    """Colour by state, dashes by state and tap point, so that neither rests on colour alone."""
    pen = QtGui.QPen(QtGui.QColor(palette.state(state)), width)
    pen.setCosmetic(True)
    pen.setJoinStyle(Qt.PenJoinStyle.BevelJoin)
    pattern = dashes(state, style)
    if pattern:
        pen.setCapStyle(Qt.PenCapStyle.FlatCap)
        pen.setDashPattern(list(pattern))
    return pen


def band_pen(palette: Palette, state: str) -> QtGui.QPen:
    """For the band from lowest to highest: the curve's colour, mixed with the sheet."""
    colour = QtGui.QColor(palette.state(state))
    colour.setAlpha(85)
    return pg.mkPen(colour, width=1)


def dress(app: QtWidgets.QApplication, palette: Palette, percent: int = 100) -> None:
    """Give the whole program a palette and a size of letters."""
    global _percent
    _percent = percent
    font, sheet = app.font(), style_sheet(palette)
    font.setPointSizeF(scaled_points(TEXT_POINTS))
    # Each of these goes through every widget there is: a third of a second together.
    if app.styleSheet() == sheet and app.font() == font:
        return
    if not app.styleSheet():
        app.setStyle("Fusion")
    app.setFont(font)
    app.setPalette(_qt_palette(palette))
    app.setStyleSheet(sheet)


def scaled_points(points: float) -> float:
    """A size of letters in points as the user wants it; use it wherever a size does not stand in the style sheet."""
    return points * _percent / 100


def _qt_palette(palette: Palette) -> QtGui.QPalette:
    roles = QtGui.QPalette.ColorRole
    pairs = {
        roles.Window: palette.ground,
        roles.WindowText: palette.ink,
        roles.Base: palette.sheet,
        roles.AlternateBase: palette.raised,
        roles.Text: palette.ink,
        roles.Button: palette.raised,
        roles.ButtonText: palette.ink,
        roles.Highlight: palette.ink,
        roles.HighlightedText: palette.sheet,
        roles.ToolTipBase: palette.sheet,
        roles.ToolTipText: palette.ink,
        roles.PlaceholderText: palette.quiet,
        roles.Link: palette.focus,
    }
    found = QtGui.QPalette()
    for role, colour in pairs.items():
        found.setColor(role, QtGui.QColor(colour))
    return found


def style_sheet(palette: Palette) -> str:
    """Qt style sheet of the whole program; letters and the rows that hold them at the size that `dress` was told."""
    text = _SHEET.format(p=palette, target=TARGET, points=TEXT_POINTS)
    text = re.sub(r"(\d+(?:\.\d+)?)pt\b", lambda found: f"{scaled_points(float(found[1])):g}pt", text)
    larger = max(_percent, 100) / 100
    return re.sub(r"(min-height: )(\d+)px", lambda found: f"{found[1]}{round(int(found[2]) * larger)}px", text)


_SHEET = """
QWidget {{ color: {p.ink}; font-size: {points}pt; }}
QMainWindow, QDialog, QMenuBar {{ background: {p.ground}; }}
QToolTip {{ background: {p.sheet}; color: {p.ink}; border: 1px solid {p.frame}; padding: 6px; }}
QMenuBar::item {{ padding: 6px 14px; background: transparent; }}
QMenuBar::item:selected, QMenu::item:selected {{ background: {p.ink}; color: {p.sheet}; }}
QMenu {{ background: {p.sheet}; border: 1px solid {p.frame}; }}
QMenu::item {{ padding: 9px 26px; }}
QMenu::item:disabled {{ color: {p.frame}; }}
QMenu::separator {{ height: 1px; background: {p.hair}; }}

QPushButton {{ background: {p.raised}; border: 2px solid {p.frame}; border-radius: 3px; padding: 4px 14px;
    min-height: 32px; }}
QPushButton:hover {{ background: {p.sheet}; }}
QPushButton:pressed {{ background: {p.ink}; color: {p.sheet}; }}
QPushButton:focus {{ border: 3px solid {p.focus}; padding: 3px 13px; }}
QPushButton#first {{ background: {p.ink}; color: {p.sheet}; border-color: {p.ink}; font-weight: bold; }}
QPushButton#first:focus {{ border: 3px solid {p.focus}; }}
QPushButton#square {{ min-width: 36px; min-height: 36px; padding: 0; font-size: 15pt; }}
QPushButton#square:focus {{ padding: 0; }}
QPushButton#choice:checked, QPushButton#choiceleft:checked {{ background: {p.sheet}; border: 3px solid {p.ink};
    padding: 3px 13px; }}
QPushButton#choice:checked:focus, QPushButton#choiceleft:checked:focus {{ border-color: {p.focus}; }}
QPushButton#choiceleft {{ text-align: left; }}
QPushButton#recent {{ text-align: left; background: {p.sheet}; }}

QPushButton#chip {{ background: {p.sheet}; border: 1px solid {p.frame}; border-radius: 12px; padding: 0 6px;
    font-size: 9pt; }}
QPushButton#chip:focus {{ border: 3px solid {p.focus}; padding: 0 4px; }}

QFrame#sheetkeys {{ background: {p.ground}; }}
QPushButton#sheetkey {{ background: {p.ground}; border: 2px solid {p.frame}; border-radius: 0;
    border-top-left-radius: 5px; border-top-right-radius: 5px; margin: 4px 0 3px 0; padding: 0; }}
QPushButton#sheetkey:hover {{ background: {p.raised}; }}
QPushButton#sheetkey:checked {{ background: {p.sheet}; border: 3px solid {p.ink}; border-top: 6px solid {p.ink};
    border-bottom: none; margin: 0; }}
QPushButton#sheetkey:focus {{ border-color: {p.focus}; }}

QLineEdit, QPlainTextEdit, QSpinBox, QDoubleSpinBox {{ background: {p.sheet}; border: 2px solid {p.frame};
    border-radius: 3px; padding: 4px 8px; selection-background-color: {p.ink}; selection-color: {p.sheet}; }}
QLineEdit, QSpinBox, QDoubleSpinBox {{ min-height: 28px; }}
QLineEdit:focus, QPlainTextEdit:focus, QSpinBox:focus, QDoubleSpinBox:focus {{ border: 3px solid {p.focus};
    padding: 3px 7px; }}
QLineEdit[wrong="true"], QPlainTextEdit[wrong="true"] {{ border: 3px solid {p.bad}; padding: 3px 7px; }}
QLineEdit, QPlainTextEdit, QComboBox {{ placeholder-text-color: {p.quiet}; }}
QWidget#paper {{ background: {p.sheet}; }}
QPlainTextEdit#large {{ font-size: 13pt; }}
QTextBrowser#cautions {{ font-size: 13pt; padding: 6px; }}
QLabel#saved {{ color: {p.good}; font-weight: bold; }}
QLabel#notsaved {{ color: {p.bad}; font-weight: bold; }}
QScrollArea {{ background: transparent; border: none; }}
QScrollArea > QWidget > QWidget#page {{ background: transparent; }}

QComboBox QLineEdit, QComboBox QLineEdit:focus {{ border: none; padding: 0; min-height: 0; background: transparent; }}
QComboBox {{ background: {p.raised}; border: 2px solid {p.frame}; border-radius: 3px; padding: 2px 10px;
    min-height: 32px; }}
QComboBox:focus {{ border: 3px solid {p.focus}; padding: 1px 9px; }}
QComboBox::drop-down {{ border: none; width: 30px; }}
QComboBox QAbstractItemView {{ background: {p.sheet}; border: 2px solid {p.frame}; outline: none; }}
QComboBox QAbstractItemView::item {{ min-height: 38px; padding: 2px 8px; }}
QComboBox QAbstractItemView::item:selected {{ background: {p.ink}; color: {p.sheet}; }}

QFrame#sheet {{ background: {p.sheet}; border: 3px solid {p.hair}; border-radius: 4px; }}
QFrame#sheet[keyboard="true"] {{ border-color: {p.focus}; }}
QFrame#message {{ background: {p.sheet}; border: 2px solid {p.bad}; border-left: 14px solid {p.bad}; }}
QFrame#verdict {{ background: {p.sheet}; border: none; border-bottom: 3px solid {p.hair}; }}
QLabel#title {{ font-size: 14pt; font-weight: bold; }}
QLabel#quiet {{ color: {p.quiet}; }}
QLabel#huge {{ font-size: 20pt; font-weight: bold; }}
QLabel#large {{ font-size: 13pt; }}
QLabel#strong {{ font-weight: bold; }}
QLabel#name {{ font-size: 12pt; font-weight: bold; }}
QLabel#caution {{ color: {p.doubt}; font-weight: bold; }}
QLabel#simulated {{ background: {p.simulated}; color: {p.on_simulated}; font-weight: bold; padding: 8px 16px;
    border-radius: 3px; }}

QTableView, QListWidget, QTextBrowser {{ background: {p.sheet}; alternate-background-color: {p.raised};
    border: 3px solid {p.hair}; border-radius: 4px; gridline-color: {p.hair};
    selection-background-color: {p.hair}; selection-color: {p.ink}; }}
QTableView:focus, QListWidget:focus, QTextBrowser:focus {{ border-color: {p.focus}; }}
QListWidget::item {{ padding: 7px 10px; border-bottom: 1px solid {p.hair}; }}
QListWidget::item:selected {{ background: {p.hair}; color: {p.ink}; }}
QHeaderView {{ background: {p.sheet}; }}
QHeaderView::section {{ background: {p.raised}; color: {p.ink}; border: none;
    border-bottom: 2px solid {p.frame}; padding: 7px 4px; font-weight: bold; }}
QTableCornerButton::section {{ background: {p.raised}; border: none; }}

QTabWidget::pane {{ border: none; }}
QTabBar::tab {{ background: {p.ground}; border: 2px solid {p.hair}; border-bottom: none; padding: 8px 18px;
    margin-right: 3px; min-height: 20px; }}
QTabBar::tab:selected {{ background: {p.sheet}; border-color: {p.frame}; font-weight: bold; }}
QTabBar:focus {{ outline: none; }}
QTabBar::tab:selected:focus {{ border-color: {p.focus}; color: {p.focus}; }}

QSplitter::handle {{ background: {p.ground}; }}
QSplitter::handle:hover {{ background: {p.frame}; }}
QProgressBar {{ background: {p.sheet}; border: 2px solid {p.frame}; border-radius: 3px; min-height: 26px;
    text-align: center; }}
QProgressBar::chunk {{ background: {p.hair}; }}
QScrollBar:vertical {{ background: {p.sheet}; width: 16px; }}
QScrollBar:horizontal {{ background: {p.sheet}; height: 16px; }}
QScrollBar::handle {{ background: {p.frame}; border: 3px solid {p.sheet}; min-height: 34px;
    min-width: 34px; }}
QScrollBar::add-line, QScrollBar::sub-line {{ width: 0; height: 0; }}
QScrollBar::add-page, QScrollBar::sub-page {{ background: none; }}
"""
