"""sources, recover: what there is to record from, and what was left unfinished."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import typer

from cli import _options as options
from cli._shared import print_json, say

if TYPE_CHECKING:
    from capture import SourceKind


def register(app: typer.Typer) -> None:
    """Add this file's commands."""
    app.command()(sources)
    app.command()(recover)


def sources(json: options.Json = False) -> None:
    """List what can record, each kind with its settings. Example: humproof sources"""
    from capture import KINDS

    faults: list[str] = []
    listed = [row for kind in KINDS for row in _rows(kind, faults)]
    if json:
        settings = {kind.name: _settings(kind) for kind in KINDS}
        print_json({"sources": listed, "settings": settings, "warnings": faults})
        return
    for kind in KINDS:
        _print_kind(kind, [row for row in listed if row["kind"] == kind.name])
    for fault in faults:
        say(fault)


def _rows(kind: SourceKind, faults: list[str]) -> list[dict[str, Any]]:
    """The devices that are connected, or the kind itself where there is nothing to be connected."""
    from capture import SourceError

    try:
        found = kind.find()
    except SourceError as error:
        faults.append(str(error))
        found = []
    rows = [
        {"source": f"{kind.name}:{one.target}", "channels": one.channels, "rate_hz": one.rate_hz, "note": one.note}
        for one in found
    ]
    if not rows:
        form = f"{kind.name}:{kind.target}" if kind.needs_target else kind.name
        # What can be looked for and was not found may still be named by hand.
        note = "none was found" if kind.find is not list else ""
        rows = [{"source": form, "channels": None, "rate_hz": None, "note": note}]
    return [{"kind": kind.name, "simulated": kind.simulated, **row} for row in rows]


def _settings(kind: SourceKind) -> dict[str, str]:
    return {name: field.description or "" for name, field in kind.settings.model_fields.items()}


def _print_kind(kind: SourceKind, rows: list[dict[str, Any]]) -> None:
    print(f"{kind.name}: {kind.what}")
    for row in rows:
        facts = [f"{row['channels']} channels"] if row["channels"] else []
        facts += [f"{row['rate_hz']:g} samples a second"] if row["rate_hz"] else []
        facts += [row["note"]] if row["note"] else []
        print(f"  --source '{row['source']}'   {', '.join(facts)}".rstrip())
    for name, words in _settings(kind).items():
        print(f"      --setting {name}=...   {words}")


def recover(
    file: options.Interrupted,
    json: options.Json = False,
) -> None:
    """Finish an interrupted recording. Example: humproof recover van-12/recordings/003-as-found-baseline.h5"""
    from capture import recover_recording
    from job import enter_recovered

    rows = recover_recording(file)
    entered = enter_recovered(file)
    if json:
        print_json({"file": str(file), "samples": rows, "entered_into_job": entered})
    else:
        where = " and entered into its job" if entered else ""
        print(f"{file}: {rows} samples a channel are safe; the file is sealed{where}")
