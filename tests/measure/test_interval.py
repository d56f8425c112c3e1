"""Intervals: against scipy where it has the same one, by seeded simulation where it has not."""

from __future__ import annotations

import math

import numpy as np
import pytest
import scipy.stats

from engine.findings import Estimate, no_estimate
from engine.measure import interval

RUNS = 400


def covered(make, truth: float, runs: int = RUNS) -> float:
    """Share of runs in which the interval covers the truth."""
    hits = 0
    for seed in range(runs):
        e = make(np.random.default_rng(seed))
        hits += e.low <= truth <= e.high
    return hits / runs


def test_mean_is_scipys():
    x = np.random.default_rng(1).normal(3, 2, 40)
    low, high = scipy.stats.t.interval(0.95, 39, x.mean(), scipy.stats.sem(x))
    e = interval.mean_of(x, "ms")
    assert (e.value, e.low, e.high, e.n) == pytest.approx((x.mean(), low, high, 40))
    assert e.unit == "ms"


def test_share_is_scipys_wilson():
    for k, n in ((0, 9), (9, 9), (3, 11), (970, 1000)):
        ci = scipy.stats.binomtest(k, n).proportion_ci(method="wilson")
        e = interval.share_of(k, n)
        assert (e.value, e.low, e.high) == pytest.approx((k / n, ci.low, ci.high), abs=1e-12)


def test_slope_is_scipys():
    rng = np.random.default_rng(2)
    x = rng.normal(0, 3, 25)
    y = 0.8 * x + rng.normal(0, 2, 25)
    fit = scipy.stats.linregress(x, y)
    half = scipy.stats.t.ppf(0.975, 23) * fit.stderr
    e = interval.slope_of(x, y, "ms")
    assert (e.value, e.low, e.high) == pytest.approx(
        (fit.slope, fit.slope - half, fit.slope + half)
    )


def test_quantile_lies_inside_scipys_whole_ranks():
    # scipy gives the interval of whole ranks, which covers at least 95 %; ours goes between ranks.
    x = np.random.default_rng(3).exponential(5, 90)
    for p in (0.5, 0.95):
        wide = scipy.stats.quantile_test(x, p=p).confidence_interval(0.95)
        e = interval.quantile_of(x, p, "ms")
        assert e.value == pytest.approx(np.quantile(x, p))
        assert wide.low <= e.low <= e.value <= e.high <= wide.high


def test_robust_sd_is_scipys_scaled_mad():
    x = np.random.default_rng(4).normal(0, 4, 60)
    mad = scipy.stats.median_abs_deviation(x, scale="normal")
    assert interval.robust_sd_of(x, "ms").value == pytest.approx(mad, rel=1e-4)


def test_jackknife_ratio_on_paper():
    # 1/2, 2/2, 3/2 without one each: 5/4, 4/4, 3/4; mean 1, variance (1/16 + 0 + 1/16) / 3 = 1/24.
    # Jackknife error sqrt(2 * 1/24), times t(0.975, 2) = 4.3027.
    e = interval.ratio_of([1, 2, 3], [2, 2, 2], "ms")
    assert e.value == pytest.approx(1.0)
    assert e.high - e.value == pytest.approx(4.302653 * math.sqrt(1 / 12), rel=1e-6)


@pytest.mark.parametrize(
    ("name", "make", "truth"),
    [
        ("sd, normal", lambda g: interval.sd_of(g.normal(0, 3, 40), "ms"), 3.0),
        ("sd, flat", lambda g: interval.sd_of(g.uniform(-1, 1, 60), "ms"), 1 / math.sqrt(3)),
        ("median", lambda g: interval.median_of(g.exponential(1, 30), "ms"), math.log(2)),
        ("95 %", lambda g: interval.quantile_of(g.normal(0, 1, 120), 0.95, ""), 1.644854),
        ("serial mean", lambda g: interval.serial_mean_of(_hanging(g), "ms"), 0.0),
        ("pieces", lambda g: interval.rms_over(list(g.normal(0, 2, (30, 6))), 1.0, ""), 2.0),
    ],
)
def test_covers_the_truth(name, make, truth):
    assert 0.92 <= covered(make, truth) <= 0.98, name


def _hanging(g: np.random.Generator) -> np.ndarray:
    """400 values, each leaning on the one before by 0.5."""
    x = g.normal(0, 1, 400)
    for i in range(1, len(x)):
        x[i] += 0.5 * x[i - 1]
    return x


def test_taking_hanging_values_as_independent_would_not_cover():
    assert covered(lambda g: interval.mean_of(_hanging(g), "ms"), 0.0) < 0.85


def test_difference_of_two():
    a, b = Estimate(5.0, 4.0, 7.0, 10, "ms"), Estimate(2.0, 1.0, 2.5, 12, "ms")
    e = interval.difference_of(a, b, "ms", "")
    assert e.value == 3.0
    assert e.low == pytest.approx(3.0 - math.hypot(1.0, 0.5))
    assert e.high == pytest.approx(3.0 + math.hypot(2.0, 1.0))
    assert interval.difference_of(a, no_estimate("x"), "ms", "why").reason == "why"


def test_scaled_and_clipped():
    e = interval.scaled(Estimate(2.0, 1.0, 4.0, 5, "ms"), -2.0, "db")
    assert (e.value, e.low, e.high, e.n, e.unit) == (-4.0, -8.0, -2.0, 5, "db")
    assert interval.clipped(Estimate(0.9, 0.7, 1.1, 5), 0, 1).high == 1.0
    assert interval.scaled(no_estimate("none", "ms", 3), 2.0).reason == "none"


@pytest.mark.parametrize(
    "make",
    [
        lambda x: interval.mean_of(x, "ms"),
        lambda x: interval.sd_of(x, "ms"),
        lambda x: interval.median_of(x, "ms"),
        lambda x: interval.robust_sd_of(x, "ms"),
        lambda x: interval.slope_of(x, x, "ms"),
        lambda x: interval.ratio_of(x, x, "ms"),
        lambda x: interval.rms_over([np.array([v]) for v in x], 1.0, "ms"),
    ],
)
@pytest.mark.parametrize("values", [[], [1.0, 2.0], [math.nan, math.nan]])
def test_too_few_values_give_a_reason(make, values):
    e = make(interval.finite(values))
    assert e.value is None
    assert e.low is None
    assert "too few" in e.reason


def test_no_spread_has_no_width():
    assert interval.sd_of([2.0] * 9, "ms").high == 0.0
    assert interval.rms_over([np.zeros(3)] * 4, 1.0, "ms").high == 0.0
    assert "spread" in interval.slope_of([1.0] * 9, range(9), "ms").reason
