"""Wing & Kristofferson's two variances."""

from __future__ import annotations

import math

import numpy as np
import pytest

from engine.measure.columns import Columns
from engine.measure.timekeeper import LEAST_INTERVALS, moments_of, part_timekeeper


def intervals(keeper: float, finger: float, n: int, seed: int = 0) -> np.ndarray:
    """C_j + D_j - D_(j-1) about 200 ms, as the paper writes it."""
    draw = np.random.default_rng(seed)
    d = draw.normal(0, finger, n + 1)
    return 200.0 + draw.normal(0, keeper, n) + d[1:] - d[:-1]


def part(x: np.ndarray):
    whole = Columns(((slice(0, len(x)), np.ones((len(x), 1))),), np.zeros((len(x), 1)))
    return part_timekeeper(x, whole)


def test_the_papers_relations():
    # Timekeeper 5 and finger 3: variance 25 + 2 * 9 = 43, SD 6.557, lag-1 covariance -9,
    # correlation -9 / 43 = -0.2093 (Wing & Kristofferson 1973, Percept Psychophys 14:5-12).
    x = intervals(5.0, 3.0, 400_000)
    keeper2, finger2, correlation = moments_of(x)
    assert x.std() == pytest.approx(6.557, abs=0.02)
    assert correlation == pytest.approx(-0.2093, abs=0.005)
    assert keeper2 == pytest.approx(25.0, abs=0.4)
    assert finger2 == pytest.approx(9.0, abs=0.2)


def test_white_scatter_on_a_perfect_grid_is_all_finger():
    # SD of the intervals is sqrt(2) times that of the onsets, and the correlation -0.5.
    x = intervals(0.0, 4.0, 400_000)
    _, finger2, correlation = moments_of(x)
    assert x.std() == pytest.approx(4.0 * math.sqrt(2), abs=0.02)
    assert correlation == pytest.approx(-0.5, abs=0.005)
    assert finger2 == pytest.approx(16.0, abs=0.2)


def test_moments_on_paper():
    # Intervals 1, -1, 1, -1 about their mean: variance 1, lag-1 sum -3 over 4.
    assert moments_of(np.array([201.0, 199.0, 201.0, 199.0])) == pytest.approx((-0.5, 0.75, -0.75))


def test_likelihood_and_moments_agree_on_a_long_row():
    x = intervals(5.0, 3.0, 20_000, seed=4)
    keeper2, finger2, correlation = moments_of(x)
    found = part(x)
    assert found.timekeeper_sd_ms.value == pytest.approx(math.sqrt(keeper2), rel=0.02)
    assert found.finger_sd_ms.value == pytest.approx(math.sqrt(finger2), rel=0.03)
    assert found.lag1_correlation.value == pytest.approx(correlation, abs=0.002)


@pytest.mark.parametrize(("keeper", "finger"), [(5.0, 3.0), (10.0, 6.0), (3.0, 8.0)])
def test_both_are_covered(keeper, finger):
    hits = told = 0
    for seed in range(150):
        found = part(intervals(keeper, finger, 300, seed))
        if found.timekeeper_sd_ms.value is None:
            continue
        told += 2
        hits += found.timekeeper_sd_ms.low <= keeper <= found.timekeeper_sd_ms.high
        hits += found.finger_sd_ms.low <= finger <= found.finger_sd_ms.high
    assert told > 200
    assert 0.91 <= hits / told <= 0.985


def test_a_wandering_tempo_cannot_be_parted():
    # Intervals that lean on the one before: correlation above nought.
    x = intervals(3.0, 0.0, 400, seed=2)
    for i in range(1, len(x)):
        x[i] = 200 + 0.6 * (x[i - 1] - 200) + (x[i] - 200)
    found = part(x)
    assert found.timekeeper_sd_ms.value is None
    assert found.finger_sd_ms.value is None
    assert "cannot be told" in found.finger_sd_ms.reason
    assert found.lag1_correlation.value > 0.3


def test_correction_that_overshoots_cannot_be_parted():
    x = intervals(0.0, 5.0, 400, seed=3)
    wobble = np.tile([3.0, -3.0], 200)
    assert "cannot be told" in part(x + wobble).timekeeper_sd_ms.reason


def test_few_intervals_say_nothing():
    found = part(intervals(5, 3, LEAST_INTERVALS - 1))
    assert "too few intervals" in found.timekeeper_sd_ms.reason


def test_runs_are_not_joined():
    # Two rows whose tempos differ by 20 ms: with a mean for each, the same as apart.
    x = np.concatenate([intervals(5, 3, 300, 1), intervals(5, 3, 300, 2) + 20.0])
    one = np.ones((300, 1))
    means = Columns(((slice(0, 300), one), (slice(300, 600), one)), np.zeros((600, 1)))
    found = part_timekeeper(x, means)
    assert found.timekeeper_sd_ms.low <= 5.0 <= found.timekeeper_sd_ms.high
    assert part(x).timekeeper_sd_ms.value is None
