"""Stored calibrations: one TOML file each in the user's own data folder, written whole or not at all."""

from __future__ import annotations

import os
import tomllib
from pathlib import Path

import platformdirs
import tomlkit
from pydantic import ValidationError

from capture._calibration import CalibrationError, StoredCalibration, checked_name
from capture._toml_lines import explained

#: larger than any calibration, small enough for any laptop
_LARGEST_BYTES = 1_000_000


def calibrations_folder() -> Path:
    """Where they lie; it need not be there yet."""
    return Path(platformdirs.user_data_dir("humproof", appauthor=False)) / "calibrations"


def calibration_path(name: str) -> Path:
    """The file of that name; raises `CalibrationError` for a name that cannot be one."""
    try:
        return calibrations_folder() / f"{checked_name(name)}.toml"
    except ValueError as error:
        raise CalibrationError(str(error)) from error


def calibration_names() -> list[str]:
    """Of all that are stored, in order."""
    return sorted(path.stem for path in calibrations_folder().glob("*.toml") if not path.name.startswith("."))


def load_calibration(name: str) -> StoredCalibration:
    """Read and validate; raises `CalibrationError` with file, line and remedy."""
    path = calibration_path(name)
    if not path.exists():
        there = ", ".join(calibration_names()) or "none"
        raise CalibrationError(
            f"calibration '{name}': is not stored; there are: {there}; see humproof calibrate --help"
        )
    return _parsed(path, _text(path))


def _text(path: Path) -> str:
    try:
        if path.stat().st_size > _LARGEST_BYTES:
            raise CalibrationError(f"{path}: is larger than {_LARGEST_BYTES} bytes: that is no calibration")
        return path.read_text(encoding="utf-8")
    except UnicodeDecodeError as error:
        raise CalibrationError(f"{path}: is not UTF-8 text (byte {error.start})") from error
    except OSError as error:
        raise CalibrationError(f"{path}: cannot be read: {error.strerror}") from error


def _parsed(path: Path, text: str) -> StoredCalibration:
    try:
        stored = StoredCalibration.model_validate(tomllib.loads(text))
    except tomllib.TOMLDecodeError as error:
        raise CalibrationError(f"{path}: is not valid TOML: {error}") from error
    except ValidationError as error:
        raise CalibrationError(explained(path, text, error)) from error
    if stored.name != path.stem:
        raise CalibrationError(f"{path}: holds calibration '{stored.name}': a file is named as the calibration in it")
    return stored


def save_calibration(stored: StoredCalibration, *, replace: bool = False) -> Path:
    """Write it; raises `CalibrationError` when one of that name is there and is not to be replaced."""
    path = calibration_path(stored.name)
    if path.exists() and not replace:
        raise CalibrationError(
            f"calibration '{stored.name}': is stored already ({path}): choose another name, or --replace"
        )
    document = tomlkit.document()
    # Nested models become tables behind the plain keys: TOML knows no other order.
    facts = stored.model_dump(exclude_none=True)
    for key, value in sorted(facts.items(), key=lambda item: isinstance(item[1], dict) or item[0] == "levels"):
        document[key] = list(value) if isinstance(value, tuple) else value
    _write(path, tomlkit.dumps(document))
    return path


def _write(path: Path, text: str) -> None:
    """Beside the file first, made safe, then put in place in one step."""
    beside = path.with_name(f".{path.name}.part")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with beside.open("w", encoding="utf-8", newline="\n") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        os.replace(beside, path)
    except OSError as error:
        beside.unlink(missing_ok=True)
        raise CalibrationError(f"{path}: cannot be written: {error.strerror}; nothing was changed") from error
