"""The one file that imports Qt and pyqtgraph; everything else in this room takes them from here."""

from __future__ import annotations

# Qt first: pyqtgraph then uses the binding that is loaded already.
from PyQt6 import QtCore, QtGui, QtSvg, QtWidgets

import pyqtgraph as pg  # isort: skip

Qt = QtCore.Qt

__all__ = ["Qt", "QtCore", "QtGui", "QtSvg", "QtWidgets", "pg"]
