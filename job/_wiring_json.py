"""A wiring study as JSON: the keys of the design first, then what else was reckoned. SI units, uncertainties k = 2."""

from __future__ import annotations

import math
from typing import Any

from analysis.wiring import Amplifier, Change, ChangePlan, Conductor, Finding, Solution
from job._wiring_study import WiringStudy
from job._wiring_system import Assumption


def wiring_json(study: WiringStudy) -> dict[str, Any]:
    """One object; `conductors` and `amplifiers` are those of `case`."""
    main, plan = study.main, study.plan
    told = {
        "converged": main.converged,
        "conductors": [_conductor(study, one) for one in study.system.conductors],
        "amplifiers": [_amplifier(study, one) for one in study.system.amplifiers],
        "findings": [finding_json(one) for one in study.findings],
        "bottleneck": study.influence.bottleneck,
        "largest_deliverable_w": study.largest.delivered_w,
        "changes": [_change(one) for one in plan.changes] if plan else [],
        "largest_deliverable_uncertainty_w": study.largest_uncertainty_w,
        "system": study.system.name,
        "state": study.state,
        "simulated": study.system.simulated,
        "case": _case(main),
        "cases": [_case_told(one) for one in study.solutions],
        "elements": [_element(study, one.name) for one in study.system.elements if not isinstance(one, Conductor)],
        "demand": _demand(study),
        "usable": _usable(study),
        "losses_w": study.influence.losses_w,
        "plan": _plan(plan) if plan else None,
        "assumed": list(study.assumed),
        "assumptions": [_assumption(one) for one in study.assumptions],
    }
    finished: dict[str, Any] = finite(told)
    return finished


def both_json(found: WiringStudy, left: WiringStudy) -> dict[str, Any]:
    """As found beside as left, and what changed: as left less as found."""
    return {
        "as_found": wiring_json(found),
        "as_left": wiring_json(left),
        "differences": finite(differences(found, left)),
    }


def differences(found: WiringStudy, left: WiringStudy) -> dict[str, Any]:
    """What is in both states by how much it changed, and what is in one only."""
    was, now = ({one.name: one for one in study.main.amplifiers} for study in (found, left))
    conductors = [
        {one.name: study.main.elements[one.name] for one in study.system.conductors} for study in (found, left)
    ]
    in_both = [name for name in conductors[0] if name in conductors[1]]
    faults = [{(one.rule, one.element): one for one in study.findings} for study in (found, left)]
    return {
        "amplifiers": [
            {"name": name, "volts": now[name].volts - was[name].volts, "power_w": now[name].power_w - was[name].power_w}
            for name in was
            if name in now
        ],
        "conductors": [
            {
                "name": name,
                "current_a": abs(conductors[1][name].amps) - abs(conductors[0][name].amps),
                "drop_v": abs(conductors[1][name].volts) - abs(conductors[0][name].volts),
            }
            for name in in_both
        ],
        "conductors_removed": [name for name in conductors[0] if name not in in_both],
        "conductors_added": [name for name in conductors[1] if name not in in_both],
        "findings_gone": [finding_json(one) for key, one in faults[0].items() if key not in faults[1]],
        "findings_new": [finding_json(one) for key, one in faults[1].items() if key not in faults[0]],
        "largest_deliverable_w": left.largest.delivered_w - found.largest.delivered_w,
    }


def _assumption(one: Assumption) -> dict[str, Any]:
    """`value` in `unit` without prefix; null where `words` say it."""
    return {
        "what": one.what,
        "kind": one.kind,
        "value": one.value,
        "unit": one.unit,
        "words": one.words,
        "source": one.source,
        "elements": list(one.names),
    }


def _conductor(study: WiringStudy, one: Conductor) -> dict[str, Any]:
    point = study.main.elements[one.name]
    return {
        "name": one.name,
        "current_a": abs(point.amps),
        "resistance_ohm": point.ohm,
        "drop_v": abs(point.volts),
        "ampacity_a": one.ampacity_at(study.system.ambient_c),
        "fuse_a": study.fused_a[one.name],
        "from": one.start,
        "to": one.end,
        "size": one.size.label,
        "area_mm2": one.size.area_mm2,
        "material": one.material.name,
        "length_m": one.length_m,
        "runs": one.runs,
        "celsius": point.celsius,
        "loss_w": point.amps * point.volts,
        **_uncertainties(study, one.name),
    }


def _uncertainties(study: WiringStudy, name: str) -> dict[str, Any]:
    """None at a collapse, where the least change decides everything."""
    told = study.influence
    return {
        "current_uncertainty": told.amps_uncertainty.get(name),
        "drop_uncertainty": told.drop_uncertainty.get(name),
        "k": 2,
    }


def _amplifier(study: WiringStudy, one: Amplifier) -> dict[str, Any]:
    point = next(point for point in study.main.amplifiers if point.name == one.name)
    return {
        "name": one.name,
        "volts": point.volts,
        "amps": point.amps,
        "power_w": point.power_w,
        "volts_uncertainty": study.influence.volts_uncertainty.get(one.name),
        "k": 2,
        "asked_w": one.input_w(study.main.case.level),
        "least_volts": one.least_volts,
        "source_volts": study.influence.emf_seen.get(one.name),
        "drop_v": study.influence.shares.get(one.name, {}),
        "volts_per_ohm": study.influence.ohm_sensitivity.get(one.name, {}),
    }


def _element(study: WiringStudy, name: str) -> dict[str, Any]:
    point = study.main.elements[name]
    return {
        "name": name,
        "current_a": abs(point.amps),
        "resistance_ohm": point.ohm,
        "drop_v": abs(point.volts),
        "loss_w": point.amps * point.volts,
        **_uncertainties(study, name),
    }


def _case(solution: Solution) -> dict[str, Any]:
    return {"power": solution.case.level, "engine": solution.case.engine, "demand": solution.demand}


def _case_told(solution: Solution) -> dict[str, Any]:
    return {
        **_case(solution),
        "converged": solution.converged,
        "delivered_w": solution.delivered_w,
        "amplifiers": [
            {"name": one.name, "volts": one.volts, "amps": one.amps, "power_w": one.power_w}
            for one in solution.amplifiers
        ],
        "sources": [{"name": one.name, "volts": one.volts, "amps": one.amps} for one in solution.sources],
    }


def _demand(study: WiringStudy) -> dict[str, Any]:
    """Rated demand against what the fuses in its way let through."""
    one = study.demand
    return {
        "at_volts": one.volts,
        "asked_w": one.total_w,
        "asked_a": one.total_a,
        "fused_a": one.fused_a,
        "fused_w": one.fused_w,
        "fuses": list(one.fuses),
    }


def _usable(study: WiringStudy) -> dict[str, Any]:
    """The most with all limits kept, and what would be broken first."""
    one = study.usable
    return {
        "share": one.share,
        "power_w": one.total_w,
        "audio_w": one.audio_w,
        "bounded_by": one.element,
        "rule": one.rule,
        "largest_audio_w": one.deliverable_audio_w,
    }


def finding_json(one: Finding) -> dict[str, Any]:
    """A finding with its figure, limit, remedy and source."""
    first = ("severity", "element", "rule", "text")
    return {key: getattr(one, key) for key in (*first, "figure", "limit", "unit", "remedy", "source")}


def _change(one: Change) -> dict[str, Any]:
    return {key: getattr(one, key) for key in ("element", "action", "text", "value", "cost")}


def _plan(plan: ChangePlan) -> dict[str, Any]:
    told = {key: getattr(plan, key) for key in ("text", "cost", "unit", "prices_source", "solved", "power_w")}
    return told | {"findings_left": [finding_json(one) for one in plan.findings_left]}


def finite(value: Any) -> Any:
    """JSON has no infinity: what is without limit is null."""
    if isinstance(value, dict):
        return {key: finite(one) for key, one in value.items()}
    if isinstance(value, (list, tuple)):
        return [finite(one) for one in value]
    if isinstance(value, float):
        return float(value) if math.isfinite(value) else None
    return value
