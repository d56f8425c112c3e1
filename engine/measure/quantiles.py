"""Quantiles of Student's t and chi-square, so that the engine needs no more than numpy.

The continued fraction and the series are the textbook ones (Abramowitz & Stegun 1964, 26.5.8,
6.5.29 and 6.5.31); the tests compare them with scipy to nine digits.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import lru_cache
from statistics import NormalDist

_TINY = 1e-300
_TURNS = 500
_CLOSE = 1e-15


def _beta_fraction(a: float, b: float, x: float) -> float:
    c, d = 1.0, 1.0 / (1.0 - (a + b) * x / (a + 1.0) or _TINY)
    h = d
    for m in range(1, _TURNS):
        even = m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m))
        odd = -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1))
        for term in (even, odd):
            d = 1.0 / (1.0 + term * d or _TINY)
            c = 1.0 + term / c or _TINY
            h *= c * d
        if abs(c * d - 1.0) < _CLOSE:
            break
    return h


def beta_share(a: float, b: float, x: float) -> float:
    """The regularised incomplete beta function I_x(a, b), 0 to 1."""
    if x <= 0.0 or x >= 1.0:
        return float(x >= 1.0)
    log_front = math.lgamma(a + b) - math.lgamma(a) - math.lgamma(b)
    front = math.exp(log_front + a * math.log(x) + b * math.log1p(-x))
    if x < (a + 1.0) / (a + b + 2.0):
        return front * _beta_fraction(a, b, x) / a
    return 1.0 - front * _beta_fraction(b, a, 1.0 - x) / b


def _gamma_series(a: float, x: float) -> float:
    term = total = 1.0 / a
    for k in range(1, _TURNS):
        term *= x / (a + k)
        total += term
        if term < total * _CLOSE:
            break
    return total


def _gamma_fraction(a: float, x: float) -> float:
    b = x + 1.0 - a
    c, d = 1.0 / _TINY, 1.0 / b
    h = d
    for k in range(1, _TURNS):
        term = -k * (k - a)
        b += 2.0
        d = 1.0 / (term * d + b or _TINY)
        c = b + term / c or _TINY
        h *= c * d
        if abs(c * d - 1.0) < _CLOSE:
            break
    return h


def gamma_share(a: float, x: float) -> float:
    """The regularised lower incomplete gamma function P(a, x), 0 to 1."""
    if x <= 0.0:
        return 0.0
    front = math.exp(-x + a * math.log(x) - math.lgamma(a))
    if x < a + 1.0:
        return front * _gamma_series(a, x)
    return 1.0 - front * _gamma_fraction(a, x)


def t_share(t: float, df: float) -> float:
    """Share of Student's t with `df` degrees of freedom below `t`."""
    tail = 0.5 * beta_share(df / 2.0, 0.5, df / (df + t * t))
    return tail if t < 0 else 1.0 - tail


def chi2_share(x: float, df: float) -> float:
    """Share of chi-square with `df` degrees of freedom below `x`."""
    return gamma_share(df / 2.0, x / 2.0)


def _solve(share: Callable[[float], float], p: float, low: float, high: float) -> float:
    """Where a rising function reaches p, by halving; the bracket is widened upwards first."""
    while share(high) < p:
        low, high = high, high * 2.0 + 1.0
    for _ in range(200):
        middle = 0.5 * (low + high)
        if share(middle) < p:
            low = middle
        else:
            high = middle
        if high - low <= 1e-13 * max(1.0, abs(high)):
            break
    return 0.5 * (low + high)


@lru_cache(maxsize=4096)
def t_quantile(p: float, df: float) -> float:
    """The value that a share `p` of Student's t stays below."""
    if p < 0.5:
        return -t_quantile(1.0 - p, df)
    if df > 1e6:
        return normal_quantile(p)
    return _solve(lambda t: t_share(t, df), p, 0.0, 4.0)


@lru_cache(maxsize=4096)
def chi2_quantile(p: float, df: float) -> float:
    """The value that a share `p` of chi-square stays below."""
    return _solve(lambda x: chi2_share(x, df), p, 0.0, df + 4.0 * math.sqrt(2.0 * df))


def normal_quantile(p: float) -> float:
    """The value that a share `p` of the standard normal stays below."""
    return NormalDist().inv_cdf(p)
