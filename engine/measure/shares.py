"""What share of a figure's unevenness is habit, what drift of tempo, what is left."""

from __future__ import annotations

from statistics import NormalDist

import numpy as np

from engine.findings import Estimate
from engine.measure.cells import Cells
from engine.measure.even_fit import EvenFit
from engine.measure.heard import Numbers
from engine.measure.interval import Z
from engine.measure.quantiles import normal_quantile

_DRAWS, _SEED = 2000, 20040212


def share_variance(cells: Cells, fit: EvenFit) -> tuple[Estimate, Estimate, Estimate]:
    """Shares of place, drift and rest, adding up to 1.

    A cell is heard against an even row at the pass's mean tempo, laid over it so that the means
    agree. The mean square distance of its notes from that row has three parts: the *place*
    part (mean square habit), the *drift* part (the cell as a whole was slower or faster: its
    relative stretch, squared, times the variance of the written offsets), and the *rest*.
    Each is estimated without bias (what the rest adds to the first two is taken off, nothing
    below nought).

    Interval: parametric bootstrap of the three sums (2,000 draws, fixed seed): the rest by
    chi-square, habits and stretches by their normal errors round values shrunk to their
    unbiased mean squares; percentiles, corrected for median bias (Efron 1987).
    """
    unit = _written_variance(cells, fit)
    size, axes = np.linalg.eigh(fit.habit_cov)
    place = _form(axes.T @ fit.habit_ms, size, 1.0 / cells.places, fit.rest_variance)
    errors, along = fit.stretch_errors
    drift = _form(along, errors, unit / len(cells), fit.rest_variance)
    found = np.array([max(place[0], 0.0), max(drift[0], 0.0), fit.rest_variance])
    draw = np.random.default_rng(_SEED)
    rest = fit.rest_variance * draw.chisquare(fit.freedom, _DRAWS) / fit.freedom
    parts = np.stack([_drawn(place, rest, draw), _drawn(drift, rest, draw), rest])
    shares = parts / parts.sum(axis=0)
    value = found / found.sum()
    n = cells.time_s.size
    place_share, drift_share, rest_share = (
        _percentiles(float(v), s, n) for v, s in zip(value, shares, strict=True)
    )
    return place_share, drift_share, rest_share


def _written_variance(cells: Cells, fit: EvenFit) -> float:
    """Variance of the places' offsets in a cell of the pass's mean tempo, ms squared."""
    offset = cells.mark_s - cells.mark_s.mean(axis=1, keepdims=True)
    step = np.diff(fit.curve_s, axis=1).sum() / np.diff(cells.mark_s, axis=1).sum()
    return float((offset**2).mean() * (step * 1000.0) ** 2)


Form = tuple[float, Numbers, Numbers, float, float]


def _form(along: Numbers, size: Numbers, factor: float, noise: float) -> Form:
    """(unbiased mean square, shrunk parts, error variances, factor, noise) on principal axes."""
    size = np.clip(size, 0.0, None)
    raw = float(along @ along)
    true = max(raw - float(size.sum()) * noise, 0.0)
    shrunk = along * (np.sqrt(true / raw) if raw > 0 else 0.0)
    return factor * (raw - float(size.sum()) * noise), shrunk, size, factor, noise


def _drawn(form: Form, rest: Numbers, draw: np.random.Generator) -> Numbers:
    """The estimator again and again, were the fitted values true."""
    _, shrunk, size, factor, noise = form
    error = draw.standard_normal((_DRAWS, len(size))) * np.sqrt(size * noise)
    raw = ((shrunk + error) ** 2).sum(axis=1)
    return np.asarray(np.maximum(factor * (raw - size.sum() * rest), 0.0))


def _percentiles(value: float, draws: Numbers, n: int) -> Estimate:
    below = (np.sum(draws < value) + 0.5 * np.sum(draws == value)) / len(draws)
    bias = normal_quantile(float(np.clip(below, 0.001, 0.999)))
    low, high = (float(np.quantile(draws, _normal_share(2 * bias + z))) for z in (-Z, Z))
    return Estimate(value, min(low, value), max(high, value), n, "share")


def _normal_share(z: float) -> float:
    return NormalDist().cdf(z)
