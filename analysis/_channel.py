"""What the figures need to know about a channel: nothing of files, nothing of devices."""

from __future__ import annotations

from dataclasses import dataclass

ROLES = (
    "supply",
    "supply-amp",
    "drop-positive",
    "drop-ground",
    "ground-offset",
    "signal",
    "speaker",
    "current",
    "tacho",
)
COUPLINGS = ("DC", "AC", "unknown")

#: Roles that carry the supply's volts: sag, ripple and undervoltage are read from these.
SUPPLY_ROLES = frozenset({"supply", "supply-amp"})
#: Roles that carry a voltage drop along the supply path.
DROP_ROLES = frozenset({"drop-positive", "drop-ground"})
#: Roles on which noise and signal-to-noise ratio are read.
NOISE_ROLES = frozenset({"signal", "speaker", "ground-offset"})


@dataclass(frozen=True, slots=True)
class Channel:
    """One channel as the analysis sees it, its samples already in `unit`."""

    name: str
    #: one of ROLES, perhaps with a point: "supply@rear-amp"; empty when nobody said
    role: str = ""
    #: "V", "A", or "FS" when nothing ties the counts to volts
    unit: str = "FS"
    #: one of COUPLINGS
    coupling: str = "unknown"
    #: lowest and highest value the converter can give, in `unit`; None when unknown
    limits: tuple[float, float] | None = None
    #: one step of the converter in `unit`; 0 when unknown
    resolution: float = 0.0
    #: expanded (k = 2) relative uncertainty of the scale, from the calibration; None when uncalibrated
    scale_uncertainty: float | None = None
    #: expanded (k = 2) uncertainty of the zero, in `unit`
    offset_uncertainty: float = 0.0

    @property
    def role_kind(self) -> str:
        """The role without its point: "supply@rear-amp" is "supply"."""
        return self.role.partition("@")[0]

    @property
    def carries_dc(self) -> bool:
        """True only when the coupling is known to be DC."""
        return self.coupling == "DC"


def role_problem(role: str) -> str | None:
    """Say what is wrong with a role, or None; a role is a word of ROLES, perhaps with "@point"."""
    kind, at, point = role.partition("@")
    if kind not in ROLES:
        return f"role '{role}' is not known: use one of {', '.join(ROLES)}, perhaps with a point as in supply@rear-amp"
    if at and not point:
        return f"role '{role}' has no point after '@': write for example {kind}@rear-amp"
    return None
