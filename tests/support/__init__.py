"""What tests lean on: the program as a subprocess, a loopback sound card, a screen without a monitor."""

from tests.support._humproof import ROOT, call_humproof, run_humproof, start_humproof
from tests.support._null_sink import NullSink
from tests.support._pty import LinePrinter, PtyPort
from tests.support._virtual_screen import VirtualScreen

__all__ = [
    "ROOT",
    "LinePrinter",
    "NullSink",
    "PtyPort",
    "VirtualScreen",
    "call_humproof",
    "run_humproof",
    "start_humproof",
]
