"""Numbers with their 95 % intervals. Each function names its method; none draws at random
without a fixed seed, so that the same take always gives the same figures.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from engine.findings import Estimate, no_estimate
from engine.measure.quantiles import beta_share, normal_quantile, t_quantile

Numbers = npt.NDArray[np.float64]

#: The level of every interval of this package.
LEVEL = 0.95
_UPPER = 0.5 + LEVEL / 2
Z = normal_quantile(_UPPER)
#: Serial means are taken over at most so many stretches, each of at least so many values.
MOST_STRETCHES, SHORTEST_STRETCH = 20, 4


def finite(values: npt.ArrayLike) -> Numbers:
    """The values that are numbers, flat, in order."""
    flat: Numbers = np.asarray(values, dtype=np.float64).ravel()
    return np.asarray(flat[np.isfinite(flat)])


def known(estimate: Estimate) -> tuple[float, float, float] | None:
    """(value, low, high), or None where there is no number."""
    if estimate.value is None or estimate.low is None or estimate.high is None:
        return None
    return estimate.value, estimate.low, estimate.high


def around(value: float, half: float, n: int, unit: str) -> Estimate:
    """value plus and minus half."""
    return Estimate(float(value), float(value - half), float(value + half), int(n), unit)


def too_few(n: int, wanted: int, of_what: str, unit: str) -> Estimate:
    """The usual reason for no number."""
    return no_estimate(f"too few {of_what}: {n}, at least {wanted} are needed", unit, n)


def mean_of(values: npt.ArrayLike, unit: str, of_what: str = "notes") -> Estimate:
    """Mean of independent values; interval by Student's t on n - 1."""
    x = finite(values)
    n = len(x)
    if n < 3:
        return too_few(n, 3, of_what, unit)
    half = t_quantile(_UPPER, n - 1) * x.std(ddof=1) / math.sqrt(n)
    return around(x.mean(), half, n, unit)


def serial_mean_of(
    values: npt.ArrayLike, unit: str, of_what: str = "notes", trend: bool = False
) -> Estimate:
    """Mean of values that follow one another and may hang together.

    Interval by non-overlapping batch means (Schmeiser 1982, Operations Research 30:556-568):
    Student's t over the means of at most 20 stretches of at least 4 values. Where there are
    fewer than 24 values they are taken as independent. With `trend` a straight trend over the
    stretches is no part of the uncertainty (one degree of freedom less).
    """
    x = finite(values)
    n = len(x)
    if n < 24:
        return mean_of(x, unit, of_what)
    batches = np.array([b.mean() for b in np.array_split(x, _stretches(n))])
    freedom = len(batches) - 1 - trend
    if trend:
        u = np.arange(len(batches)) - (len(batches) - 1) / 2
        batches = batches - u * float(u @ batches / (u @ u))
    spread = math.sqrt(float(((batches - batches.mean()) ** 2).sum()) / freedom / len(batches))
    return around(x.mean(), t_quantile(_UPPER, freedom) * spread, n, unit)


def _stretches(n: int) -> int:
    return min(MOST_STRETCHES, n // SHORTEST_STRETCH)


def sd_of(values: npt.ArrayLike, unit: str, of_what: str = "notes") -> Estimate:
    """Standard deviation (n - 1) of independent values, of whatever kurtosis.

    Interval by Bonett (2006), "Approximate confidence interval for standard deviation of
    nonnormal distributions", Comput Stat Data Anal 50:775-782: log-normal with the kurtosis
    taken about a trimmed mean. Formula from memory; its coverage is checked by simulation.
    """
    x = finite(values)
    n = len(x)
    if n < 5:
        return too_few(n, 5, of_what, unit)
    variance = x.var(ddof=1)
    if variance <= 0.0:
        return Estimate(0.0, 0.0, 0.0, n, unit)
    kurtosis = n * ((x - _trimmed_mean(x)) ** 4).sum() / ((x - x.mean()) ** 2).sum() ** 2
    factor = n / (n - Z)
    spread = Z * factor * math.sqrt(max(kurtosis - (n - 3) / n, 1e-12) / (n - 1))
    low, high = (math.sqrt(factor * variance * math.exp(s * spread)) for s in (-1, 1))
    return Estimate(float(math.sqrt(variance)), low, high, n, unit)


def _trimmed_mean(x: Numbers) -> float:
    cut = int(len(x) / (2 * math.sqrt(max(len(x) - 4, 1))))
    cut = min(cut, (len(x) - 1) // 2)
    return float(np.sort(x)[cut : len(x) - cut].mean())


@lru_cache(maxsize=4096)
def _rank(n: int, p: float) -> tuple[int, float] | None:
    """(r, weight): the lower bound of the p-quantile lies between order statistics r and r + 1."""

    def surely(r: int) -> float:
        # P(at least r of n lie below the quantile), the chance that the r-th lies below it.
        return beta_share(r, n - r + 1, p)

    r = max(1, int(n * p - 3 * math.sqrt(n * p * (1 - p))))
    if surely(1) < _UPPER:
        return None
    while r > 1 and surely(r) < _UPPER:
        r -= 1
    while r < n and surely(r + 1) >= _UPPER:
        r += 1
    if r >= n:
        return n, 0.0
    above, below = surely(r) - _UPPER, _UPPER - surely(r + 1)
    weight = 1.0 / (1.0 + r * (1 - p) * below / ((n - r) * p * above)) if above > 0 else 0.0
    return r, weight


def quantile_of(values: npt.ArrayLike, p: float, unit: str, of_what: str = "notes") -> Estimate:
    """The p-quantile (numpy's linear one) of independent values, no shape assumed.

    Interval by order statistics, interpolated as Nyblom (1992, Stat Probab Lett 14:23-28), which
    is Hettmansperger & Sheather (1986) for the median. For p = 0.95 it needs 72 values.
    """
    x = np.sort(finite(values))
    n = len(x)
    low, high = (_rank(n, p), _rank(n, 1 - p)) if n else (None, None)
    if low is None or high is None:
        wanted = math.ceil(math.log(1 - _UPPER) / math.log(max(p, 1 - p)))
        return too_few(n, wanted, of_what, unit)
    return Estimate(
        float(np.quantile(x, p)), _between(x, *low), -_between(-x[::-1], *high), n, unit
    )


def _between(x: Numbers, r: int, weight: float) -> float:
    return float(x[r - 1] + weight * (x[min(r, len(x) - 1)] - x[r - 1]))


def median_of(values: npt.ArrayLike, unit: str, of_what: str = "notes") -> Estimate:
    """The median; interval as in `quantile_of`."""
    return quantile_of(values, 0.5, unit, of_what)


def robust_sd_of(values: npt.ArrayLike, unit: str, of_what: str = "notes") -> Estimate:
    """1.4826 times the median absolute deviation from the median; interval by order statistics."""
    x = finite(values)
    spread = median_of(np.abs(x - np.median(x)), unit, of_what) if len(x) else no_estimate("", unit)
    return scaled(spread, 1.4826) if len(x) else too_few(0, 6, of_what, unit)


def share_of(k: int, n: int, of_what: str = "notes") -> Estimate:
    """k of n as a share; interval by Wilson (1927, J Am Stat Assoc 22:209-212)."""
    if n <= 0:
        return too_few(0, 1, of_what, "share")
    p, z2 = k / n, Z * Z
    middle = (p + z2 / (2 * n)) / (1 + z2 / n)
    half = Z / (1 + z2 / n) * math.sqrt(p * (1 - p) / n + z2 / (4 * n * n))
    return Estimate(p, max(0.0, middle - half), min(1.0, middle + half), int(n), "share")


def ratio_of(
    top: npt.ArrayLike, bottom: npt.ArrayLike, unit: str, of_what: str = "bars"
) -> Estimate:
    """sum(top) / sum(bottom) over units that vary together (bars, cells).

    Interval by the delete-one jackknife with Student's t, held inside 0 and 1 for shares.
    """
    a, b = np.asarray(top, float), np.asarray(bottom, float)
    n = len(a)
    if n < 3 or b.sum() <= 0:
        return too_few(n, 3, of_what, unit)
    without = (a.sum() - a) / np.where(b.sum() - b > 0, b.sum() - b, np.nan)
    if not np.isfinite(without).all():
        return too_few(n, 3, of_what, unit)
    half = t_quantile(_UPPER, n - 1) * math.sqrt((n - 1) * without.var())
    out = around(a.sum() / b.sum(), half, n, unit)
    return clipped(out, 0.0, 1.0) if unit == "share" else out


def slope_of(x: npt.ArrayLike, y: npt.ArrayLike, unit: str, of_what: str = "notes") -> Estimate:
    """Least-squares slope of y on x; interval by Student's t on n - 2."""
    a, b = np.asarray(x, float), np.asarray(y, float)
    keep = np.isfinite(a) & np.isfinite(b)
    a, b = a[keep], b[keep]
    n = len(a)
    if n < 5 or np.ptp(a) == 0:
        return too_few(n, 5, of_what, unit) if n < 5 else no_estimate("no spread", unit, n)
    a = a - a.mean()
    slope = float(a @ b / (a @ a))
    rest = b - b.mean() - slope * a
    half = t_quantile(_UPPER, n - 2) * math.sqrt(rest @ rest / (n - 2) / (a @ a))
    return around(slope, half, n, unit)


def rms_over(
    pieces: Sequence[Numbers] | Numbers, factor: float, unit: str, kept: float = 1.0
) -> Estimate:
    """Root mean square of values that come in independent pieces (cells), times sqrt(factor).

    Interval: delete-one jackknife over the pieces on the logarithm, with Student's t, so that
    values may hang together within a piece and have any kurtosis. `kept` is the share of the
    variance that pieces one by one show, less than 1 where a fit ties them together.
    """
    square = np.array([float((np.asarray(r) ** 2).sum()) for r in pieces])
    size = np.array([len(r) for r in pieces])
    n, count = int(size.sum()), len(square)
    if count * kept < 3:
        return too_few(count, math.ceil(3 / kept), "cells", unit)
    total = float(square.sum())
    if total <= 0.0:
        return Estimate(0.0, 0.0, 0.0, n, unit)
    without = np.log(np.maximum(total - square, total * 1e-12) / (n - size)) / 2
    spread = math.sqrt((count - 1) * float(without.var()) / kept)
    half = t_quantile(_UPPER, count - 1) * spread
    value = math.sqrt(total / n * factor)
    return Estimate(value, value * math.exp(-half), value * math.exp(half), n, unit)


def difference_of(a: Estimate, b: Estimate, unit: str, reason: str) -> Estimate:
    """a - b of two independent estimates; the distances to their ends add as squares.

    The method of variance estimates recovery (Zou & Donner 2008, Stat Med 27:1693-1702).
    """
    one, other = known(a), known(b)
    if one is None or other is None:
        return no_estimate(reason, unit)
    value = one[0] - other[0]
    low = math.hypot(one[0] - one[1], other[2] - other[0])
    high = math.hypot(one[2] - one[0], other[0] - other[1])
    return Estimate(value, value - low, value + high, a.n + b.n, unit)


def scaled(estimate: Estimate, factor: float, unit: str | None = None) -> Estimate:
    """The estimate times a number (negative turns the interval round)."""
    name = estimate.unit if unit is None else unit
    found = known(estimate)
    if found is None:
        return no_estimate(estimate.reason, name, estimate.n)
    ends = sorted((found[1] * factor, found[2] * factor))
    return Estimate(found[0] * factor, ends[0], ends[1], estimate.n, name)


def clipped(estimate: Estimate, low: float, high: float) -> Estimate:
    """The estimate and its ends held inside [low, high]."""
    found = known(estimate)
    if found is None:
        return estimate
    v, a, b = (min(max(e, low), high) for e in found)
    return Estimate(v, a, b, estimate.n, estimate.unit)
