"""Kinds of joint and what each typically has: common practice, to be edited by whoever knows better."""

from __future__ import annotations

from dataclasses import dataclass

from analysis._errors import AnalysisError
from analysis.wiring._typical import COMMON_PRACTICE


@dataclass(frozen=True, slots=True)
class JointKind:
    """What a joint of a kind typically has, and the most it should have; ohm, without the cable."""

    name: str
    ohm: float
    most_ohm: float
    #: relative, k = 2
    tolerance: float
    takes_aluminium: bool = False
    source: str = COMMON_PRACTICE


#: a clean one of each; set screws settle on strands, washers add two faces each, contacts are what their makers state
_KINDS = (
    JointKind("crimped", 0.10e-3, 0.5e-3, 1.0),
    JointKind("soldered", 0.05e-3, 0.3e-3, 1.0),
    JointKind("bolted", 0.10e-3, 0.5e-3, 1.0),
    JointKind("battery clamp", 0.15e-3, 0.5e-3, 1.0),
    JointKind("bi-metal lug", 0.15e-3, 0.5e-3, 1.0, takes_aluminium=True),
    JointKind("set-screw", 0.30e-3, 1.0e-3, 1.0),
    JointKind("ferrule in set-screw", 0.20e-3, 0.7e-3, 1.0),
    JointKind("spring clip", 1.0e-3, 3.0e-3, 1.0),
    JointKind("fuse holder", 0.5e-3, 1.5e-3, 1.0),
    JointKind("plug", 1.0e-3, 3.0e-3, 1.0),
    JointKind("switch", 1.0e-3, 3.0e-3, 1.0),
    JointKind("relay", 1.0e-3, 3.0e-3, 1.0),
)
#: how a joint was found when something is wrong with it: what it then has, against what it should have at most, which
#: is what a bolted joint should
_FAULTY = (
    JointKind("through washers", 2.0e-3, 1.0e-3, 1.0),
    JointKind("on paint", 5.0e-3, 0.5e-3, 1.0),
    JointKind("twisted", 3.0e-3, 0.5e-3, 1.0),
    JointKind("corroded", 10.0e-3, 0.5e-3, 1.0),
)
JOINT_KINDS = {one.name: one for one in (*_KINDS, *_FAULTY)}


def joint_kind(name: str) -> JointKind:
    """The kind of a name; raises `AnalysisError` that lists all."""
    if name not in JOINT_KINDS:
        raise AnalysisError(f"joint kind '{name}' is not known: write one of {', '.join(JOINT_KINDS)}")
    return JOINT_KINDS[name]
