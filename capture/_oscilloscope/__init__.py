"""Oscilloscopes and digitizers that speak SCPI, over USBTMC, a LAN socket, VXI-11 or HiSLIP."""

from capture._oscilloscope._exchange import ReplayedWire
from capture._oscilloscope._oscilloscope import OSCILLOSCOPE, OscilloscopeSource
from capture._oscilloscope._settings import OscilloscopeSettings

__all__ = ["OSCILLOSCOPE", "OscilloscopeSettings", "OscilloscopeSource", "ReplayedWire"]
