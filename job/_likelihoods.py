"""Likelihood tables as files: read, checked to the line, and written; what the keys mean stands in likelihoods.md."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Annotated, Literal, get_args

import numpy as np
from pydantic import BaseModel, ConfigDict, Field, field_validator, model_validator

from analysis import CAUSES, CHECKS, COMPLAINTS, ISOLATION_STEPS, Complaint, EvidenceItem, Kind, LikelihoodTable
from capture import read_toml
from job._errors import JobError

#: the tables that come along, by the name they are chosen with
TABLES = {"simulated": "likelihoods.toml", "expert": "likelihoods-expert.toml"}
DEFAULT_TABLE = "simulated"

Percent = Annotated[float, Field(ge=0, le=100, allow_inf_nan=False)]
Share = Annotated[float, Field(ge=0, le=1, allow_inf_nan=False)]
_SLUGS = tuple(cause.slug for cause in CAUSES)
_STEPS = tuple(step.slug for step in (*ISOLATION_STEPS, *CHECKS))
_LARGEST_BYTES = 1_000_000
#: nothing is impossible: a likelihood is kept this far from 0 and 1
_LEAST = 0.002


class _Table(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class _Item(_Table):
    slug: Annotated[str, Field(pattern=r"^[a-z0-9]+(-[a-z0-9]+)*$")]
    question: Annotated[str, Field(min_length=1, max_length=300)]
    kind: Kind
    step: str
    limit: Annotated[float, Field(ge=0, allow_inf_nan=False)] = 0.0
    together: Literal["any", "all"] = "any"
    group: str = ""
    unit: Literal["", "V", "A", "ohm"] = ""
    tap: str = ""
    yes: tuple[Percent, ...]

    @field_validator("step")
    @classmethod
    def _is_a_step(cls, step: str) -> str:
        if step not in _STEPS:
            raise ValueError(f"'{step}' is no isolation step and no check: use one of {', '.join(_STEPS)}")
        return step

    @model_validator(mode="after")
    def _has_its_limit(self) -> _Item:
        if self.kind in ("supply ripple", "reading") and not self.limit:
            raise ValueError(f"item '{self.slug}' needs a limit above 0")
        return self


class _File(_Table):
    format: Literal["humproof-likelihoods"]
    version: Annotated[str, Field(min_length=1, max_length=200)]
    note: str = ""
    temper: Annotated[float, Field(gt=0, le=2)]
    likeness: Share
    worth: Annotated[float, Field(gt=0, le=1e6)]
    causes: tuple[str, ...]
    priors: dict[Complaint, tuple[Percent, ...]]
    items: Annotated[tuple[_Item, ...], Field(min_length=1)]

    @field_validator("causes")
    @classmethod
    def _are_all_causes(cls, causes: tuple[str, ...]) -> tuple[str, ...]:
        strange = [slug for slug in causes if slug not in _SLUGS]
        if strange:
            raise ValueError(f"'{strange[0]}' is not a cause that humproof knows: {', '.join(_SLUGS)}")
        if len(set(causes)) != len(causes) or len(causes) < 2:
            raise ValueError("name at least two causes, each once")
        return causes

    @model_validator(mode="after")
    def _columns_fit(self) -> _File:
        for item in self.items:
            if len(item.yes) != len(self.causes):
                raise ValueError(f"item '{item.slug}' has {len(item.yes)} numbers for {len(self.causes)} causes")
        slugs = [item.slug for item in self.items]
        doubles = [slug for slug in slugs if slugs.count(slug) > 1]
        if doubles:
            raise ValueError(f"two items are called '{doubles[0]}'")
        for complaint in get_args(Complaint):
            self._prior_fits(complaint)
        return self

    def _prior_fits(self, complaint: Complaint) -> None:
        prior = self.priors.get(complaint)
        if prior is None:
            raise ValueError(f"priors: '{complaint}' is missing")
        if len(prior) != len(self.causes) or min(prior) <= 0 or abs(sum(prior) - 100) > 1:
            raise ValueError(
                f"priors: '{complaint}' needs {len(self.causes)} numbers above 0 that add up to 100, "
                f"not {len(prior)} that add up to {sum(prior):g}"
            )


def read_likelihoods(path: Path) -> LikelihoodTable:
    """Read and check a table; raises `JobError` with file, line and remedy."""
    return _as_table(read_toml(path, _File, "likelihood table", JobError, _LARGEST_BYTES))


def _as_table(file: _File) -> LikelihoodTable:
    items = tuple(
        EvidenceItem(one.slug, one.question, one.kind, one.step, one.limit, one.together, one.group, one.unit, one.tap)
        for one in file.items
    )
    yes = np.clip(np.array([one.yes for one in file.items]) / 100, _LEAST, 1 - _LEAST)
    priors = {name: np.array(prior) / sum(prior) for name, prior in file.priors.items()}
    return LikelihoodTable(
        file.version, file.causes, items, yes, priors, file.temper, file.likeness, file.worth, file.note
    )


@cache
def bundled_table(name: str = DEFAULT_TABLE) -> LikelihoodTable:
    """A table that comes along; raises `KeyError` for a name that is not in `TABLES`."""
    return read_likelihoods(Path(__file__).with_name(TABLES[name]))


def likelihoods_text(table: LikelihoodTable) -> str:
    """The table as a file that `read_likelihoods` reads again."""
    causes = [f"    {', '.join(map(_quoted, table.causes[n : n + 5]))}," for n in range(0, len(table.causes), 5)]
    lines = [
        "# How often each question is answered yes, in per cent, for each cause: columns in the order of `causes`.",
        "# What the keys mean, where the numbers come from and how far to trust them: likelihoods.md",
        "",
        'format = "humproof-likelihoods"',
        f"version = {_quoted(table.version)}",
        f"note = {_quoted(table.note)}",
        f"temper = {table.temper:g}",
        f"likeness = {table.likeness:g}",
        f"worth = {table.worth:g}",
        "causes = [",
        *causes,
        "]",
        "",
        "# per cent, before anything is measured",
        "[priors]",
        *(f"{_quoted(name)} = {_percent(table.priors[name], 2)}" for name in COMPLAINTS),
    ]
    for item, yes in zip(table.items, table.yes, strict=True):
        lines += ["", "[[items]]", *_item_lines(item), f"yes = {_percent(yes, 1)}"]
    return "\n".join(lines) + "\n"


def _item_lines(item: EvidenceItem) -> list[str]:
    lines = [f"{key} = {_quoted(getattr(item, key))}" for key in ("slug", "question", "kind", "step")]
    lines += [f"limit = {item.limit:g}"] if item.limit else []
    lines += [f"together = {_quoted(item.together)}"] if item.together != "any" else []
    return lines + [f"{key} = {_quoted(getattr(item, key))}" for key in ("group", "unit", "tap") if getattr(item, key)]


def _quoted(text: str) -> str:
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'


def _percent(shares: np.ndarray, decimals: int) -> str:
    return "[" + ", ".join(f"{round(100 * float(share), decimals):g}" for share in shares) + "]"
