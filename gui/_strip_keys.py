"""Whom the space bar is for: it records, unless whoever went there with the keyboard expects it to press something."""

from __future__ import annotations

from collections.abc import Callable

from gui._qt import QtWidgets


def space_is_for(focus: QtWidgets.QWidget, *, by_mouse: bool) -> Callable[[], object] | None:
    """What the space bar does where the keyboard is; None where it is free to record.

    A key that was pressed with the mouse keeps the keyboard afterwards, and nobody expects the space bar to press it
    again; one that was reached with the keyboard is pressed with it. Fields that text is typed into never get here:
    they take the space bar before any shortcut does.
    """
    if isinstance(focus, QtWidgets.QComboBox):
        return focus.showPopup
    if isinstance(focus, QtWidgets.QAbstractButton):
        free = by_mouse and not isinstance(focus, QtWidgets.QCheckBox | QtWidgets.QRadioButton)
        return None if free else focus.click
    return None
