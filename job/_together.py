"""What two recordings tell together: the noise without the instrument's floor, and lines that were folded."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, replace
from typing import Any

from analysis import Folding, floor_free, ledgers, unfold
from job._study import Study, number


def with_floor(study: Study, floor: Study) -> Study:
    """The study with the instrument's floor as a part of its ledger."""
    return replace(study, analysis=replace(study.analysis, ledger=ledgers(study.analysis, floor=floor.analysis)))


def floor_free_json(study: Study, floor: Study | None) -> dict[str, Any]:
    """`floor_free`: every noise figure without the instrument's own noise; nothing without a floor recording."""
    if floor is None:
        return {}
    rows = [asdict(free) for free in floor_free(study.analysis, floor.analysis)]
    return {"floor_free": [{key: number(v) if isinstance(v, float) else v for key, v in row.items()} for row in rows]}


def folding_of(studies: Sequence[Study]) -> Folding | None:
    """What two studies at different sample rates tell of each other's lines; None for anything else."""
    if len(studies) != 2 or studies[0].info.rate_hz == studies[1].info.rate_hz:
        return None
    rates = [study.info.rate_uncertainty for study in studies if study.info.rate_uncertainty]
    known = {"rate_uncertainty": max(rates)} if rates else {}
    return unfold(studies[0].analysis, studies[1].analysis, **known)


def folding_json(folding: Folding | None) -> dict[str, Any]:
    """`folding` as JSON; nothing where there is none."""
    return {} if folding is None else {"folding": asdict(folding)}
