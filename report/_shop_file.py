"""The shop's own file: letterhead, paper, units, limits and the rule by which they are decided."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import platformdirs
from pydantic import BaseModel, ConfigDict, Field

from capture import read_toml
from report._errors import ReportError
from report._letterhead import Letterhead, read_logo
from report._limits import DEFAULT_LIMITS, ResultLimit, Rule
from report._paper import Paper, PaperSize, Units

_LARGEST_BYTES = 100_000
_Line = Annotated[str, Field(max_length=200)]


class _Table(BaseModel):
    """A misspelt key is an error, not a silence."""

    model_config = ConfigDict(frozen=True, extra="forbid")


class _Head(_Table):
    name: _Line = ""
    lines: tuple[_Line, ...] = Field(default=(), max_length=6)
    logo: _Line = ""


class _Limit(_Table):
    quantity: _Line
    role: _Line
    most: Annotated[float, Field(ge=0, allow_inf_nan=False)]
    source: _Line = "shop limit"


class ShopFile(_Table):
    """The whole file; every key may be left out."""

    letterhead: _Head = _Head()
    paper: PaperSize = "a4"
    units: Units = "metric"
    rule: Rule = "guarded"
    limit: tuple[_Limit, ...] = Field(default=(), max_length=50)


def shop_file_place() -> Path:
    """Where the shop's file is looked for when none is named."""
    return platformdirs.user_config_path("humproof", appauthor=False) / "shop.toml"


def shop_paper(path: Path | None = None) -> Paper:
    """What the shop's file says; without a name the one in the user's settings, if there is one.

    Raises
    ------
    ReportError
        When the file or its logo cannot be used: one line with the file, the line and the remedy.
    """
    place = path or shop_file_place()
    if path is None and not place.is_file():
        return Paper()
    said = read_toml(place, ShopFile, "shop file", ReportError, _LARGEST_BYTES)
    own = tuple(ResultLimit(one.quantity, one.role, one.most, one.source) for one in said.limit)
    return Paper(said.paper, said.units, said.rule, (*DEFAULT_LIMITS, *own), _letterhead(place, said.letterhead))


def _letterhead(place: Path, head: _Head) -> Letterhead | None:
    if head == _Head():
        return None
    logo = read_logo(place.parent / head.logo) if head.logo else None
    return Letterhead(head.name, head.lines, logo)
