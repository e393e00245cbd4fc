"""Unpacks a bundle that may come from anybody: no name leads out of the folder, no size is believed."""

from __future__ import annotations

import re
import shutil
import stat
import zipfile
import zlib
from pathlib import Path, PurePosixPath
from typing import NoReturn

from report._digests import one_line, sha256_of
from report._errors import ReportError
from report._verification import Problem

SUMS = "SHA256SUMS"
_MOST_MEMBERS = 10_000
#: recordings are packed already, texts shrink to a tenth: whatever grows more is a trap
_MOST_GROWTH, _SPARE_BYTES = 100, 16_000_000
_BLOCK_BYTES = 1 << 20
_LINE = re.compile(r"([0-9a-f]{64})  (.+)")
#: what a damaged ZIP file makes its library raise
_DAMAGE = (zipfile.BadZipFile, EOFError, NotImplementedError, RuntimeError, ValueError, OSError, zlib.error)


def unpack(bundle: Path, folder: Path) -> tuple[tuple[str, ...], list[Problem]]:
    """Unpack into a new folder and compare with the digests that come along.

    Returns
    -------
    members, problems
        What could be unpacked; one problem for each file that is damaged, changed, missing or not listed.

    Raises
    ------
    ReportError
        When it is no ZIP file, or holds what no bundle does: then nothing is unpacked.
    """
    if not bundle.is_file():
        raise ReportError(f"{bundle}: there is no such file")
    try:
        with zipfile.ZipFile(bundle) as packed:
            infos = [info for info in packed.infolist() if not info.is_dir()]
            _check(bundle, infos, folder)
            lost = {info.filename: text for info in infos if (text := _one(packed, info, folder))}
    except ReportError:
        raise
    except _DAMAGE as error:
        raise ReportError(f"{bundle}: is not a ZIP file that can be read: {one_line(str(error))}") from error
    members = tuple(info.filename for info in infos if info.filename not in lost)
    damaged = [Problem("bundle changed", f"{bundle}: '{name}' is damaged: {text}") for name, text in lost.items()]
    return members, [*damaged, *_against_sums(bundle, folder, members, set(lost))]


def _check(bundle: Path, infos: list[zipfile.ZipInfo], folder: Path) -> None:
    if len(infos) > _MOST_MEMBERS:
        _refuse(bundle, f"has more than {_MOST_MEMBERS} files")
    names = [info.filename for info in infos]
    for info in infos:
        _check_name(bundle, info)
    if len({name.casefold() for name in names}) < len(names):
        _refuse(bundle, "names a file twice")
    total = sum(info.file_size for info in infos)
    if total > _MOST_GROWTH * bundle.stat().st_size + _SPARE_BYTES:
        _refuse(bundle, f"would grow to {total} bytes")
    if total > shutil.disk_usage(folder).free:
        raise ReportError(f"{bundle}: needs {total} bytes to be unpacked; make room for temporary files")


def _check_name(bundle: Path, info: zipfile.ZipInfo) -> None:
    name = info.filename
    path = PurePosixPath(name)
    # The library cuts names at a zero byte: what was before the cut is looked at, too.
    outside = path.is_absolute() or ".." in path.parts or any(letter in name for letter in '\\:*?"<>|')
    if outside or not name or not info.orig_filename.isprintable() or str(path) != name:
        _refuse(bundle, f"has a file with the name '{one_line(info.orig_filename)}'")
    if stat.S_IFMT(info.external_attr >> 16) not in (0, stat.S_IFREG):
        _refuse(bundle, f"has '{name}', which is no plain file")
    if info.flag_bits & 1:
        _refuse(bundle, f"has '{name}' locked with a password")


def _refuse(bundle: Path, why: str) -> NoReturn:
    raise ReportError(f"{bundle}: is not a bundle of humproof: it {why}; nothing was unpacked")


def _one(packed: zipfile.ZipFile, info: zipfile.ZipInfo, folder: Path) -> str:
    """Why a file could not be unpacked; empty when it was."""
    target = folder / info.filename
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        with packed.open(info) as member, target.open("xb") as file:
            while block := member.read(_BLOCK_BYTES):
                file.write(block)
    except _DAMAGE as error:
        target.unlink(missing_ok=True)
        return one_line(str(error))
    return ""


def _against_sums(bundle: Path, folder: Path, members: tuple[str, ...], lost: set[str]) -> list[Problem]:
    if SUMS not in members:
        told = [] if SUMS in lost else [f"{bundle}: '{SUMS}' is missing, so the files cannot be compared with it"]
        return [Problem("bundle changed", text) for text in told]
    text = (folder / SUMS).read_bytes().decode("utf-8", "replace")
    listed = {match[2]: match[1] for line in text.splitlines() if (match := _LINE.fullmatch(line))}
    told = [f"{bundle}: '{name}' is missing; {SUMS} lists it" for name in listed if name not in {*members, *lost}]
    for name in members:
        if name != SUMS and name not in listed:
            told.append(f"{bundle}: '{one_line(name)}' is not in {SUMS}: it was added or renamed")
        elif name != SUMS and sha256_of(folder / name) != listed[name]:
            told.append(f"{bundle}: '{name}' was changed: {SUMS} lists another SHA-256")
    return [Problem("bundle changed", text) for text in told]
