"""A subprocess gets a real window on the virtual screen, while this process may draw nowhere at all."""

import subprocess
import sys

from tests.support import VirtualScreen

_WINDOW = """
from PyQt6.QtWidgets import QApplication, QWidget
app = QApplication([])
window = QWidget()
window.setStyleSheet("background: #123456")
window.setGeometry(100, 100, 300, 200)
window.show()
for _ in range(50):
    app.processEvents()
    app.thread().msleep(10)
picture = app.primaryScreen().grabWindow(0, 150, 150, 1, 1).toImage()
print(app.platformName(), app.primaryScreen().size().width(), picture.pixelColor(0, 0).name())
"""


def test_a_window_is_seen_on_the_screen(xvfb: VirtualScreen) -> None:
    command = [sys.executable, "-c", _WINDOW]
    done = subprocess.run(command, env=xvfb.environment, capture_output=True, text=True, timeout=60)
    assert done.stdout.split() == ["xcb", "1920", "#123456"], done.stderr
