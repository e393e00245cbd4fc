"""Binary choices with costs and linear conditions, solved by HiGHS."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
import scipy  # its parts load at first use: `optimize` would double the start-up

Floats = npt.NDArray[np.float64]
#: the program may stop when no choice can be cheaper by more than this share
_GAP = 1e-3


@dataclass(slots=True)
class Program:
    """Binary variables with their costs, and rows `low <= sum <= high`."""

    costs: list[float] = field(default_factory=list)
    allowed: list[bool] = field(default_factory=list)
    rows: list[tuple[dict[int, float], float, float]] = field(default_factory=list)

    def variable(self, cost: float, allowed: bool = True) -> int:
        self.costs.append(cost)
        self.allowed.append(allowed)
        return len(self.costs) - 1

    def row(self, terms: list[tuple[int, float]], low: float = -np.inf, high: float = np.inf) -> None:
        summed: dict[int, float] = {}
        for variable, factor in terms:
            summed[variable] = summed.get(variable, 0.0) + factor
        # Scaled to coefficients of at most 1: the program's solver has one tolerance for all rows.
        size = max((abs(factor) for variable, factor in summed.items() if self.allowed[variable]), default=0.0) or 1.0
        scaled = {variable: factor / size for variable, factor in summed.items() if self.allowed[variable]}
        if scaled or not low <= 0 <= high:
            self.rows.append((scaled, low / size, high / size))

    def solved(self) -> Floats | None:
        """The cheapest values of the variables; None where nothing meets all rows."""
        if any(not row and not low <= 0 <= high for row, low, high in self.rows):
            return None
        places = [
            (number, variable, factor)
            for number, (row, _, _) in enumerate(self.rows)
            for variable, factor in row.items()
        ]
        rows, columns, factors = zip(*places, strict=True)
        matrix = scipy.sparse.csr_array((factors, (rows, columns)), shape=(len(self.rows), len(self.costs)))
        lows, highs = (np.array([row[at] for row in self.rows]) for at in (1, 2))
        # Without presolve: undoing it, HiGHS at times prints a line of its own on standard output.
        found = scipy.optimize.milp(
            np.array(self.costs),
            integrality=np.ones(len(self.costs)),
            bounds=scipy.optimize.Bounds(0, np.array(self.allowed, dtype=float)),
            constraints=scipy.optimize.LinearConstraint(matrix, lows, highs),
            options={"presolve": False, "mip_rel_gap": _GAP, "time_limit": 5.0},
        )
        return None if found.x is None else np.asarray(found.x)
