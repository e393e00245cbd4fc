"""Which software had its hands on the samples."""

from __future__ import annotations

import platform
from importlib import metadata


def version() -> str:
    """humproof's own version; "unknown" when it runs from a folder that was never installed."""
    try:
        return metadata.version("humproof")
    except metadata.PackageNotFoundError:
        return "unknown"


def software_chain() -> str:
    """humproof and what it computes with, by version: enough for a second shop to repeat a figure."""
    parts = [f"humproof {version()}", f"Python {platform.python_version()}"]
    parts += [f"{name} {metadata.version(name)}" for name in ("numpy", "scipy", "h5py")]
    return ", ".join(parts)
