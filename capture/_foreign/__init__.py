"""Importers: what a foreign file holds, told by its content; `open_foreign` is the way in."""

from capture._foreign._model import ForeignChannel, ForeignFile
from capture._foreign._open import open_foreign

__all__ = ["ForeignChannel", "ForeignFile", "open_foreign"]
