"""Stored calibrations: one TOML file each in the user's own data folder, written whole or not at all."""

from __future__ import annotations

from pathlib import Path

import platformdirs
import tomlkit

from capture._calibration import CalibrationError, StoredCalibration, checked_name
from capture._toml_file import read_toml, replace_file

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
    stored = read_toml(path, StoredCalibration, "calibration", CalibrationError, _LARGEST_BYTES)
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
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        replace_file(path, tomlkit.dumps(document))
    except OSError as error:
        raise CalibrationError(f"{path}: cannot be written: {error.strerror}; nothing was changed") from error
    return path
