"""What share of a figure's unevenness is habit, what drift of tempo, what is left."""

from __future__ import annotations

from dataclasses import dataclass
from statistics import NormalDist

import numpy as np

from engine.findings import Estimate, no_estimate
from engine.measure.cells import Cells
from engine.measure.even_fit import EvenFit
from engine.measure.heard import Numbers
from engine.measure.interval import Z
from engine.measure.quantiles import normal_quantile

_DRAWS, _SEED = 2000, 20040212
#: Less unevenness than this is none: what is left is rounding, and no two processors round alike.
NOTHING_MS = 0.001
PERFECT = "perfectly even: there is nothing to tell apart"


def share_variance(cells: Cells, fit: EvenFit) -> tuple[Estimate, Estimate, Estimate]:
    """Shares of place, drift and rest, adding up to 1.

    A cell is heard against an even row at the pass's mean tempo, laid over it so that the means
    agree. The mean square distance of its notes from that row has three parts: the *place*
    part (mean square habit), the *drift* part (the cell as a whole was slower or faster: its
    relative stretch, squared, times the variance of the written offsets), and the *rest*.
    Each is estimated without bias (what the rest adds to the first two is taken off, nothing
    below nought). Where all of it is less than rounding, there is none to share.

    Interval: parametric bootstrap of the three sums (2,000 draws, fixed seed): the rest by
    chi-square, habits and stretches by their normal errors round values shrunk to their
    unbiased mean squares; percentiles, corrected for median bias (Efron 1987).
    """
    unit = _written_variance(cells, fit)
    size, axes = np.linalg.eigh(fit.habit_cov)
    root = (axes * np.sqrt(np.clip(size, 0.0, None))) @ axes.T
    place = _Form(((fit.habit_ms, root),), 1.0 / cells.places, fit.rest_variance)
    drift = _Form(fit.stretch_errors, unit / len(cells), fit.rest_variance)
    found = np.array([max(place.value, 0.0), max(drift.value, 0.0), fit.rest_variance])
    n = cells.time_s.size
    if found.sum() < NOTHING_MS**2:
        none = no_estimate(PERFECT, "share", n)
        return none, none, none
    draw = np.random.default_rng(_SEED)
    rest = fit.rest_variance * draw.chisquare(fit.freedom, _DRAWS) / fit.freedom
    parts = np.stack([place.drawn(rest, draw), drift.drawn(rest, draw), rest])
    shares = parts / parts.sum(axis=0)
    value = found / found.sum()
    place_share, drift_share, rest_share = (
        _percentiles(float(v), s, n) for v, s in zip(value, shares, strict=True)
    )
    return place_share, drift_share, rest_share


def _written_variance(cells: Cells, fit: EvenFit) -> float:
    """Variance of the places' offsets in a cell of the pass's mean tempo, ms squared."""
    offset = cells.mark_s - cells.mark_s.mean(axis=1, keepdims=True)
    step = np.diff(fit.curve_s, axis=1).sum() / np.diff(cells.mark_s, axis=1).sum()
    return float((offset**2).mean() * (step * 1000.0) ** 2)


@dataclass(frozen=True)
class _Form:
    """A sum of squares estimated from values with errors.

    Attributes:
        parts: values that err together, and the symmetric root of their covariance for a noise
            of 1. The root, not principal axes: axes of equal variance are any library's choice,
            and the draws along them with them.
        factor: from the sum to what is estimated. noise: variance of the errors.
    """

    parts: tuple[tuple[Numbers, Numbers], ...]
    factor: float
    noise: float

    @property
    def raw(self) -> float:
        """The sum of squares as it was found."""
        return sum(float(values @ values) for values, _ in self.parts)

    @property
    def error(self) -> float:
        """What a noise of 1 adds to the sum."""
        return sum(float((root**2).sum()) for _, root in self.parts)

    @property
    def value(self) -> float:
        """The estimate without bias."""
        return self.factor * (self.raw - self.error * self.noise)

    def drawn(self, rest: Numbers, draw: np.random.Generator) -> Numbers:
        """The estimator again and again, were values shrunk to their unbiased sum true."""
        raw, error = self.raw, self.error
        true = max(raw - error * self.noise, 0.0)
        shrink = np.sqrt(true / raw) if raw > 0 else 0.0
        total = np.zeros(_DRAWS)
        for values, root in self.parts:
            noise = draw.standard_normal((_DRAWS, len(values))) @ root * np.sqrt(self.noise)
            total += ((shrink * values + noise) ** 2).sum(axis=1)
        return np.asarray(np.maximum(self.factor * (total - error * rest), 0.0))


def _percentiles(value: float, draws: Numbers, n: int) -> Estimate:
    below = (np.sum(draws < value) + 0.5 * np.sum(draws == value)) / len(draws)
    bias = normal_quantile(float(np.clip(below, 0.001, 0.999)))
    low, high = (float(np.quantile(draws, _normal_share(2 * bias + z))) for z in (-Z, Z))
    return Estimate(value, min(low, value), max(high, value), n, "share")


def _normal_share(z: float) -> float:
    return NormalDist().cdf(z)
