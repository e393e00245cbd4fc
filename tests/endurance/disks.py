"""Small disks that fill up: each a file system in memory, mounted for one test."""

from __future__ import annotations

import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path


def _mount(folder: Path, options: str) -> str:
    """Empty, or why it could not be mounted."""
    command = ["mount", "-t", "tmpfs", "-o", options, "tmpfs", str(folder)]
    try:
        done = subprocess.run(command, capture_output=True, text=True, check=False)
    except FileNotFoundError:
        return "this system has no mount"
    return "" if done.returncode == 0 else done.stderr.strip()


@contextmanager
def small_disk(folder: Path, size_bytes: int) -> Iterator[Path]:
    """A disk of that size at `folder`, which is made."""
    folder.mkdir()
    fault = _mount(folder, f"size={size_bytes}")
    if fault:
        raise RuntimeError(fault)
    try:
        yield folder
    finally:
        subprocess.run(["umount", "--lazy", str(folder)], check=True)


def grow(folder: Path, size_bytes: int) -> None:
    """Make room on a small disk."""
    fault = _mount(folder, f"remount,size={size_bytes}")
    assert not fault, fault
