"""Speed of the wiring solver: python -m pytest benchmarks/test_wiring.py

Aims, on one core of a machine of 2020 and later: a system of 30 elements solved in 2 ms and its largest power found in
20 ms, a thousand elements solved in 50 ms; cables warmed by their current, the description compiled anew each time.
The median counts, which other work on the machine disturbs least.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from analysis.wiring import Case, System, influence, largest_deliverable, solve
from tests.analysis.wiring.random_systems import random_system

OFF = Case(engine="off")
SMALL = random_system(1, elements=30)
#: small conductances beside much constant power: two summits nearly as high, cables as hot as they get
AWKWARD = random_system(1, elements=30, stress=0.3)
HUNGRY = random_system(1, elements=30, stress=20.0, regulated=True)
RUNNING = random_system(1, elements=30, stress=0.5, alternator=True, batteries=2, mesh=True)
LARGE = random_system(1, elements=1000, amplifiers=10, stress=0.05)
MANY = random_system(1, elements=1000, amplifiers=200, stress=0.1, mesh=True)
LARGE_HUNGRY = random_system(1, elements=1000, amplifiers=50, stress=20.0)


@pytest.mark.parametrize(
    "what, system, case, aim_ms",
    [
        pytest.param(solve, SMALL, OFF, 2, id="solve 30"),
        pytest.param(solve, RUNNING, Case(), 4, id="solve 30, engine running, mesh"),
        pytest.param(solve, HUNGRY, OFF, 20, id="solve 30, collapse"),
        pytest.param(largest_deliverable, SMALL, OFF, 20, id="largest 30"),
        pytest.param(largest_deliverable, AWKWARD, OFF, 40, id="largest 30, two summits"),
        pytest.param(largest_deliverable, HUNGRY, OFF, 20, id="largest 30, collapse"),
        pytest.param(largest_deliverable, RUNNING, Case(), 40, id="largest 30, engine running, mesh"),
        pytest.param(solve, LARGE, OFF, 50, id="solve 1000"),
        pytest.param(solve, MANY, OFF, 50, id="solve 1000, 200 amplifiers, mesh"),
        pytest.param(solve, LARGE_HUNGRY, OFF, 500, id="solve 1000, collapse"),
    ],
)
def test_speed(benchmark: Any, what: Callable[[System, Case], Any], system: System, case: Case, aim_ms: float) -> None:
    what(system, case)
    benchmark(what, system, case)
    assert benchmark.stats.stats.median * 1e3 < aim_ms


@pytest.mark.parametrize("system, aim_ms", [pytest.param(SMALL, 5, id="30"), pytest.param(LARGE, 500, id="1000")])
def test_influence(benchmark: Any, system: System, aim_ms: float) -> None:
    solution = solve(system, OFF)
    benchmark(influence, system, solution)
    assert benchmark.stats.stats.median * 1e3 < aim_ms
