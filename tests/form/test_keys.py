"""The quick ways through the keys against plain counting of every path."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest

from engine.form import keys
from engine.form.keys import READINGS, SLOW_CHANGE, SLOW_STEP, Floats, Ints

STATES = 54


def costs(seed: int, moments: int) -> Floats:
    return np.random.default_rng(seed).uniform(0.0, 9.0, (moments, STATES))


def changes_into(moment: int, home: Ints, reading: tuple[float, float]) -> Floats:
    changes = keys._changes(*reading)
    return keys._entrances(home, changes).get(moment, changes)


@pytest.mark.parametrize("home", [[2, 2, 2], [2, 2, -3], [2, -3, -3]])
def test_how_likely_each_key_is_by_adding_up_all_paths(home: list[int]) -> None:
    """157,464 paths; the page's own change of signature among them."""
    cost, at = costs(1, 3), np.array(home)
    for reading, shares in zip(READINGS, keys._shares(cost, at), strict=True):
        first, second = (changes_into(k, at, reading) for k in (1, 2))
        weight = np.exp(
            -cost[0][:, None, None] - first[:, :, None] - cost[1][None, :, None]
            - second[None] - cost[2][None, None, :]
        )  # fmt: skip
        for k, others in enumerate([(1, 2), (0, 2), (0, 1)]):
            assert shares[k] == pytest.approx(weight.sum(axis=others) / weight.sum(), rel=1e-9)


def test_what_is_likely_does_not_run_out_of_numbers() -> None:
    """Hundreds of moments, each with clusters that only one key can be heard in."""
    cost = np.full((400, STATES), 3000.0)
    there = np.arange(400) // 40 * 5 % STATES
    cost[np.arange(400), there] = 0.0
    for shares in keys._shares(cost, np.zeros(400, np.int64)):
        assert (shares.argmax(axis=1) == there).all()
        assert shares.sum(axis=1) == pytest.approx(np.ones(400))


@pytest.mark.parametrize("seed", range(5))
def test_the_cost_of_the_cheapest_path_with_each_home_is_that_of_each_alone(seed: int) -> None:
    rng = np.random.default_rng(seed)
    count = rng.integers(1, 4, (60, 1)).astype(float)
    cost = count * costs(seed, 60)
    home = np.stack([np.full(60, h) for h in range(-6, 7)] + [np.repeat([1, -4, 3], 20)])
    changes = keys._changes(SLOW_CHANGE, SLOW_STEP)
    entrances = [keys._entrances(h, changes) for h in home]
    assert len(entrances[-1]) == 2
    last, total = keys._cheapest_ends(cost, count, home, entrances)
    for h, (path_end, path_cost) in enumerate(zip(last, total, strict=True)):
        here = cost + count * keys._away(home[h])
        path, alone = keys._cheapest(here, changes, keys._beginning_cost(home[h, 0]), entrances[h])
        assert path_cost == pytest.approx(alone, rel=1e-12)
        assert path_end == path[-1]


@pytest.mark.parametrize("reading", [(SLOW_CHANGE, SLOW_STEP), *READINGS])
def test_arriving_costs_the_least_of_every_change(reading: tuple[float, float]) -> None:
    changes = keys._changes(*reading)
    for seed in range(20):
        total = np.random.default_rng(seed).uniform(0.0, 120.0, (3, STATES))
        arrived = keys._by_signature(total)
        keys._Arrival(*reading, rows=3)(arrived)
        every = [[min(row + changes[:, j]) for j in range(STATES)] for row in total]
        assert keys._by_state(arrived) == pytest.approx(np.array(every), rel=1e-12)


def test_states_come_back_as_they_went() -> None:
    rows = costs(3, 4)
    spread = keys._by_signature(rows)
    assert np.array_equal(keys._by_state(spread), rows)
    assert np.isfinite(spread).sum() == rows.size
    for mode, tonic in product((0, 1), (-13, 0, 13)):
        state = mode * 27 + tonic + 13
        assert rows[0, state] in spread[0, mode]
