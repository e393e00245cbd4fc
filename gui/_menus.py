"""Menus made from the list of actions, and which of them can be carried out now."""

from __future__ import annotations

from collections.abc import Callable

from gui._actions import ACTIONS, Action
from gui._qt import QtGui, QtWidgets
from gui._visit import Visit
from gui._words import tr


class Menus:
    """Puts every action into its menu; each calls `act` with its name."""

    def __init__(self, window: QtWidgets.QMainWindow, act: Callable[[str], object]) -> None:
        self.actions: dict[str, QtGui.QAction] = {}
        menus, bar = dict[str, QtWidgets.QMenu](), window.menuBar()
        assert bar is not None
        for action in ACTIONS:
            if action.menu not in menus:
                menus[action.menu] = QtWidgets.QMenu(tr(action.menu), window)
                bar.addMenu(menus[action.menu])
            self.actions[action.name] = made = _made(window, action, act)
            menus[action.menu].addAction(made)

    def enable(self, visit: Visit, *, on_bench: bool) -> None:
        """Grey out what needs a job that is in front, and say what would be undone."""
        for action in ACTIONS:
            self.actions[action.name].setEnabled(on_bench or not action.needs_job)
        for name, words in (("undo", visit.undo_words), ("redo", visit.redo_words)):
            own = next(one for one in ACTIONS if one.name == name)
            self.actions[name].setEnabled(on_bench and bool(words))
            self.actions[name].setText(f"{tr(own.text)}: {words}" if words else tr(own.text))


def _made(window: QtWidgets.QMainWindow, action: Action, act: Callable[[str], object]) -> QtGui.QAction:
    made = QtGui.QAction(tr(action.text), window)
    made.setShortcut(action.keys)
    made.setAutoRepeat(action.repeats)
    made.setToolTip(tr(action.tip))
    # The signal's "checked" is of no use to a handler.
    made.triggered.connect(lambda checked: act(action.name))
    return made
