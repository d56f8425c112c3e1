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


@pytest.mark.parametrize(
    ("make", "least"),
    [
        (lambda x: interval.mean_of(x, "ms", "bars"), 3),
        (lambda x: interval.serial_mean_of(x, "ms", "bars"), 3),
        (lambda x: interval.sd_of(x, "ms", "bars"), 5),
        (lambda x: interval.slope_of(x, x**2, "ms", "bars"), 5),
        (lambda x: interval.ratio_of(x, x + 1, "ms", "bars"), 3),
        (lambda x: interval.median_of(x, "ms", "bars"), 6),
        (lambda x: interval.robust_sd_of(x, "ms", "bars"), 6),
        (lambda x: interval.quantile_of(x, 0.95, "ms", "bars"), 72),
        (lambda x: interval.rms_over(x[:, None], 1.0, "ms"), 3),
        (lambda x: interval.share_of(len(x), len(x), "bars"), 1),
    ],
)
def test_just_enough_values(make, least):
    enough = make(np.arange(1.0, least + 1))
    assert enough.value is not None
    assert enough.n == least
    few = make(np.arange(1.0, least))
    assert few.value is None
    assert few.n == least - 1
    assert f"{least - 1}, at least {least} are needed" in few.reason
    assert few.unit in ("ms", "share")


def test_stretches_of_a_serial_mean_on_paper():
    # Up to 23 values are taken as independent. 24 make six stretches of four; where their means
    # are 0 to 5 the error is sqrt(17.5 / 5 / 6), times t(0.975, 5) = 2.570582.
    few = np.repeat(np.arange(6.0), 4)
    assert interval.serial_mean_of(few[:23], "") == interval.mean_of(few[:23], "")
    e = interval.serial_mean_of(few, "ms")
    assert (e.value, e.n) == (2.5, 24)
    assert e.high - e.value == pytest.approx(2.570582 * math.sqrt(17.5 / 5 / 6), rel=1e-6)
    # A straight trend is no part of it when it is said to be none.
    assert interval.serial_mean_of(few, "ms", trend=True).high == pytest.approx(2.5)
    bent = np.repeat([0.0, 1.0, 0.0, 1.0, 0.0, 1.0], 4)
    # Slope 0.6 / 7 of (-2.5 ... 2.5): 1.5 - 17.5 * 0.6^2 / 7^2 is left of the sum of squares 1.5.
    half = 2.776445 * math.sqrt((1.5 - 17.5 * (1.5 / 17.5) ** 2) / 4 / 6)
    assert interval.serial_mean_of(bent, "", trend=True).high - 0.5 == pytest.approx(half, rel=1e-5)


def test_many_values_make_twenty_stretches():
    # 400 values in 20 stretches of 20; the means are 0 to 19: SD sqrt(665 / 19), t(0.975, 19).
    e = interval.serial_mean_of(np.repeat(np.arange(20.0), 20), "")
    assert e.high - e.value == pytest.approx(2.093024 * math.sqrt(665 / 19 / 20), rel=1e-6)


def test_sd_as_bonett_writes_it():
    # exp(+-z c sqrt((kurtosis - (n - 3) / n) / (n - 1))) with c = n / (n - z), kurtosis about the
    # mean trimmed by 1 / (2 sqrt(n - 4)) (Bonett 2006, from memory), here by scipy's trim_mean.
    x = np.random.default_rng(8).exponential(3.0, 50)
    n, z = 50, scipy.stats.norm.ppf(0.975)
    middle = scipy.stats.trim_mean(x, 1 / (2 * math.sqrt(n - 4)))
    kurtosis = n * ((x - middle) ** 4).sum() / (x.var(ddof=1) * (n - 1)) ** 2
    c = n / (n - z)
    spread = z * c * math.sqrt((kurtosis - (n - 3) / n) / (n - 1))
    ends = [math.sqrt(c * x.var(ddof=1) * math.exp(s * spread)) for s in (-1, 1)]
    e = interval.sd_of(x, "ms")
    assert (e.value, e.low, e.high) == pytest.approx((x.std(ddof=1), *ends), rel=1e-9)


def test_median_as_hettmansperger_and_sheather_write_it():
    # n = 10: the 2nd and 9th of the order cover with g2 = 1 - 2 B(1), the 3rd and 8th with
    # g3 = 1 - 2 B(2); I = (g2 - 0.95) / (g2 - g3), weight (n - 2) I / (2 + (n - 4) I).
    x = np.sort(np.random.default_rng(9).exponential(4.0, 10))
    g2, g3 = (1 - 2 * scipy.stats.binom.cdf(k, 10, 0.5) for k in (1, 2))
    share = (g2 - 0.95) / (g2 - g3)
    weight = 8 * share / (2 + 6 * share)
    e = interval.median_of(x, "ms")
    assert e.low == pytest.approx((1 - weight) * x[1] + weight * x[2])
    assert e.high == pytest.approx((1 - weight) * x[8] + weight * x[7])


def test_pieces_by_an_explicit_jackknife():
    # Four cells of three notes; the logarithm of the root mean square without each in turn.
    pieces = [np.array(r) for r in ((1.0, -2.0, 3.0), (2.0, 2.0, 1.0), (4.0, 0.0, 1.0), (1, 1, 2))]
    squares = [float((p**2).sum()) for p in pieces]
    without = [0.5 * math.log((sum(squares) - s) / 9) for s in squares]
    for factor, kept in ((1.0, 1.0), (1.2, 0.8)):
        e = interval.rms_over(pieces, factor, "ms", kept)
        assert e.value == pytest.approx(math.sqrt(sum(squares) / 12 * factor))
        error = math.sqrt(3 * np.var(without) / kept)
        half = scipy.stats.t.ppf(0.975, 3) * error
        assert e.low == pytest.approx(e.value * math.exp(-half))
        assert e.high == pytest.approx(e.value * math.exp(half))
        assert e.n == 12


def test_ratios_are_held_inside_shares():
    e = interval.ratio_of([9, 10, 10, 10], [10, 10, 10, 10], "share")
    assert (e.value, e.high) == (0.975, 1.0)
    assert interval.ratio_of([9, 10, 10, 10], [10, 10, 10, 10], "").high > 1.0
    assert interval.ratio_of([1.0, 2.0, 3.0], [0.0, 0.0, 0.0], "").value is None
    assert interval.ratio_of([1.0, 2.0, 3.0], [0.0, 0.0, 4.0], "").value is None


def test_values_that_are_no_numbers_are_passed_over():
    x = np.array([1.0, math.nan, 2.0, 4.0, math.inf])
    assert interval.finite(x).tolist() == [1.0, 2.0, 4.0]
    assert interval.mean_of(x, "") == interval.mean_of([1.0, 2.0, 4.0], "")
    holes = interval.slope_of([0, 1, 2, 3, 4, 5], [0, 2, math.nan, 6, 8, 10], "")
    assert (holes.value, holes.n) == (pytest.approx(2.0), 5)
