"""The shop's key: made, opened, its password asked for."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from cli._shared import print_json, say

if TYPE_CHECKING:
    from report import Signer

_VARIABLE = "HUMPROOF_KEY_PASSWORD"


def make(path: Path, *, json: bool) -> None:
    """A new key; a password is asked for where there is a keyboard, or taken from the environment."""
    from report import grouped, make_key, public_path

    fingerprint = make_key(path, _password("Password for the new key (empty: none)", confirm=True))
    if json:
        print_json({"key": str(path), "public_key": str(public_path(path)), "fingerprint": fingerprint})
        return
    print(f"{path}: the private key; keep it outside of every job, make a copy on paper or a stick, give it to nobody")
    print(f"{public_path(path)}: the public key; hand it out")
    print(f"Its fingerprint, for your door, your bills or your web page: {grouped(fingerprint)}")


def signer(path: Path, job: Path) -> Signer:
    """The key to sign with."""
    from report import read_signer

    found = read_signer(path, job, lambda: _password(f"Password of {path}", confirm=False))
    for warning in found.warnings:
        say(f"warning: {warning}")
    return found


def _password(question: str, *, confirm: bool) -> str:
    if _VARIABLE in os.environ:
        return os.environ[_VARIABLE]
    if not sys.stdin.isatty():
        return ""
    typed: str = typer.prompt(
        question, default="", show_default=False, hide_input=True, confirmation_prompt=confirm, err=True
    )
    return typed
