"""Timekeeper and finger: the two-level model of Wing & Kristofferson (1973).

An interval is a timekeeper's interval plus the difference of two finger delays,
I_j = C_j + D_j - D_(j-1), so that Var(I) = C2 + 2 D2 and the lag-1 autocovariance is -D2
(Percept Psychophys 14:5-12; bounds restated by Doumas & Wing 2007, JEP:HPP 33:442-455).
The model holds only where the lag-1 autocorrelation lies in [-0.5, 0].

Ours differs from the paper: the paper solves two moments; we keep them to judge whether the
model holds, and take the likelihood of the whole spectrum of the intervals for the values: the
tempo curve and the habits of the places have been taken out first, and what that costs is
known frequency by frequency; and it gives intervals (profile likelihood, see `_peak`).
Both estimate the same two numbers.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from engine.findings import Estimate, no_estimate
from engine.measure.columns import Columns
from engine.measure.heard import Numbers
from engine.measure.quantiles import chi2_quantile, t_quantile
from engine.measure.shares import NOTHING_MS, PERFECT

#: Fewer intervals cannot part the two.
LEAST_INTERVALS = 48
LEAST_FREEDOM = 40.0
_GRID = 401


@dataclass(frozen=True, slots=True)
class Timekeeper:
    """timekeeper_sd_ms and finger_sd_ms, and the lag-1 correlation that licenses them."""

    timekeeper_sd_ms: Estimate
    finger_sd_ms: Estimate
    lag1_correlation: Estimate


def moments_of(interval_ms: Numbers) -> tuple[float, float, float]:
    """The paper's own estimates from one row of intervals: C2, D2 (ms squared) and lag-1 r."""
    rest = interval_ms - interval_ms.mean()
    zero = float(rest @ rest / len(rest))
    one = float(rest[1:] @ rest[:-1] / len(rest))
    return zero + 2 * one, -one, one / zero


def part_timekeeper(interval_ms: Numbers, made_of: Columns) -> Timekeeper:
    """Part the variance of detrended intervals.

    Args:
        interval_ms: intervals in order, shape (n,).
        made_of: what their mean may be made of (tempo curve, places); its blocks are the unbroken
            rows of intervals.
    """
    n = len(interval_ms)
    if n < LEAST_INTERVALS:
        return _untold(f"too few intervals: {n}, at least {LEAST_INTERVALS} are needed", n)
    known = made_of.orthonormal
    rest = known.take_from(interval_ms)
    if float(rest @ rest) / n < NOTHING_MS**2:
        return _untold(PERFECT, n)
    weight = 1.0 - (_spectrum(known.shared, known) ** 2).sum(axis=1)
    for rows, columns in known.blocks:
        weight[rows] -= (_sines(columns) ** 2).sum(axis=1)
    correlation = _lag1(rest, known)
    if not -0.5 <= correlation <= 0.0:
        return _untold(
            f"cannot be told: neighbouring intervals correlate by {correlation:.2f}, and the model "
            "holds only from -0.5 to 0",
            n,
            correlation,
        )
    power = _spectrum(rest[:, None], known)[:, 0] ** 2
    timekeeper, finger = _likeliest(power, np.clip(weight, 0, 1), _eigenvalues(known))
    low, high = _lag1_ends(correlation, n)
    told = Estimate(correlation, low, high, n, "")
    return Timekeeper(_root(timekeeper, n), _root(finger, n), told)


def _untold(reason: str, n: int, correlation: float | None = None) -> Timekeeper:
    told = no_estimate(reason, "", n)
    if correlation is not None:
        told = Estimate(correlation, *_lag1_ends(correlation, n), n, "")
    return Timekeeper(no_estimate(reason, "ms", n), no_estimate(reason, "ms", n), told)


def _lag1_ends(r: float, n: int) -> tuple[float, float]:
    half = 1.96 / np.sqrt(n)
    return float(max(-1.0, r - half)), float(min(1.0, r + half))


def _sines(columns: Numbers) -> Numbers:
    """Orthonormal sine transform (DST-I) of one row: it makes the finger part diagonal."""
    n = len(columns)
    odd = np.zeros((2 * (n + 1), columns.shape[1]))
    odd[1 : n + 1], odd[n + 2 :] = columns, -columns[::-1]
    return np.asarray(-np.fft.rfft(odd, axis=0).imag[1 : n + 1] / np.sqrt(2 * (n + 1)))


def _spectrum(columns: Numbers, known: Columns) -> Numbers:
    """The same, row by row."""
    return np.concatenate([_sines(columns[rows]) for rows, _ in known.blocks])


def _eigenvalues(known: Columns) -> Numbers:
    """Of the tridiagonal (-1, 2, -1) matrix of each row: what one unit of finger variance gives."""
    sizes = [rows.stop - rows.start for rows, _ in known.blocks]
    return np.concatenate(
        [2.0 - 2.0 * np.cos(np.pi * np.arange(1, n + 1) / (n + 1)) for n in sizes]
    )


def _lag1(rest: Numbers, known: Columns) -> float:
    """Lag-1 correlation of the rest, with what taking out the mean costs put back.

    The projection M = 1 - K K' lowers the sums by tr(K'K) and by tr(K' L K), the latter known.
    """
    zero = float(rest @ rest) / (len(rest) - known.count)
    total, pairs = 0.0, 0
    for rows, columns in known.blocks:
        part, shared = rest[rows], known.shared[rows]
        lost = float((columns[1:] * columns[:-1]).sum() + (shared[1:] * shared[:-1]).sum())
        total += float(part[1:] @ part[:-1]) + lost * zero
        pairs += len(part) - 1
    return total / max(pairs, 1) / zero


Peak = tuple[float, float, float]


@dataclass(frozen=True, eq=False)
class _Surface:
    """Minus twice the log likelihood over scale and share of the finger, all else summed out.

    Each ordinate is taken as its expected variance v times a chi-square on `weight` degrees of
    freedom; v = s ((1 - t) + t e / 2) with e the finger eigenvalue. For each share t the sums
    are known, so the whole surface is a few hundred numbers.
    """

    share: Numbers
    heat: Numbers
    logs: Numbers
    total: float

    @staticmethod
    def of(power: Numbers, weight: Numbers, eigenvalue: Numbers) -> _Surface:
        share = np.linspace(0.0, 1.0, _GRID)
        shape = (1 - share[:, None]) + share[:, None] * eigenvalue / 2
        return _Surface(
            share,
            (power / shape).sum(axis=1),
            (weight * np.log(shape)).sum(axis=1),
            float(weight.sum()),
        )

    def depth(self, scale: Numbers) -> Numbers:
        return np.asarray(self.total * np.log(scale) + self.heat / scale + self.logs)

    def ends(self, part: Numbers, value: float, rise: float) -> tuple[float, float]:
        """Values of one variance (`part` of the scale) that raise the depth by at most `rise`."""
        best = self.heat / self.total
        floor = float(self.depth(best).min()) + rise
        unit = float(best.max())

        def likely(v: float) -> bool:
            with np.errstate(divide="ignore", invalid="ignore"):
                deep = np.where(part > 0, self.depth(np.maximum(v, 1e-12 * unit) / part), np.inf)
            return float(np.nanmin(deep)) <= floor

        low = 0.0 if likely(0.0) else _edge(likely, value, 0.0)
        far = max(value, unit * 1e-3)
        while likely(far):
            far *= 2.0
        return low, _edge(likely, value, far)


def _likeliest(power: Numbers, weight: Numbers, eigenvalue: Numbers) -> tuple[Peak, Peak]:
    """(value, low, high) of both variances."""
    surface = _Surface.of(power, weight, eigenvalue)
    best = surface.heat / surface.total
    k = int(np.argmin(surface.depth(best)))
    parts = 1 - surface.share, surface.share / 2
    timekeeper, finger = (_peak(surface, part, float(best[k] * part[k])) for part in parts)
    return timekeeper, finger


def _peak(surface: _Surface, part: Numbers, value: float) -> Peak:
    """Profile interval, the chi-square replaced by F on Satterthwaite's degrees of freedom.

    A variance known to a relative error r has about 2 / r^2 degrees of freedom (Satterthwaite
    1946, Biometrics Bull 2:110-114); few of them ask for a higher rise. Taken as 40 at least:
    below, the profile is wide by itself, and more would cover too much (seen by simulation).
    """
    low, high = surface.ends(part, value, chi2_quantile(0.95, 1))
    error = (high - low) / (2 * 1.959964) / max(value, 1e-12)
    freedom = max(2.0 / error**2 if error > 0 else np.inf, LEAST_FREEDOM)
    low, high = surface.ends(part, value, t_quantile(0.975, round(min(freedom, 1e6))) ** 2)
    return value, low, high


def _edge(likely: Callable[[float], bool], inside: float, outside: float) -> float:
    for _ in range(30):
        middle = (inside + outside) / 2
        if likely(middle):
            inside = middle
        else:
            outside = middle
    return inside


def _root(peak: Peak, n: int) -> Estimate:
    value, low, high = (float(np.sqrt(max(p, 0.0))) for p in peak)
    return Estimate(value, min(low, value), max(high, value), n, "ms")
