"""A small seeded part of the coverage table (`python -m tests.bench.bench_coverage` is the whole).

With few runs the share that covers scatters, and the rows of one run hang together; the limits
here catch a method that is wrong by much.
"""

from __future__ import annotations

import pytest

from tests.bench.bench_coverage import Scenario, run_scenario, scenarios

RUNS = 40
BY_NAME = {s.name: s for s in scenarios()}


def pooled(scenario: Scenario) -> tuple[int, int, list[str]]:
    rows = run_scenario(scenario, range(RUNS))
    far = [
        f"{r.name}: {r.mean:.4f} for {r.truth:.4f}"
        for r in rows
        if abs(r.mean - r.truth) > 1.5 * r.allowed_bias
    ]
    return sum(r.covered for r in rows), sum(r.told for r in rows), far


@pytest.mark.parametrize("name", ["usual", "timekeeper 5, finger 3"])
def test_intervals_hold_the_truth(name):
    covered, told, far = pooled(BY_NAME[name])
    assert far == []
    assert told >= 0.9 * RUNS * len(BY_NAME[name].looked_for)
    assert 0.88 <= covered / told <= 0.99


def test_every_scenario_runs_and_tells_what_it_looks_for():
    for scenario in scenarios():
        for row in run_scenario(scenario, range(1)):
            assert row.told == 1, (scenario.name, row.name)
