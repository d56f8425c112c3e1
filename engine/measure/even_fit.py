"""A smooth tempo curve and the habits of the places, fitted together to the cells of a figure.

Model: onset = smooth(marked time) + habit(place) + rest. The curve is a cubic regression
spline over each unbroken run of cells, with one piece for every two cells or ten notes,
whichever is more; the habits sum to nought. Both are found by least squares in one step, so
that the curve cannot swallow a habit nor a habit the tempo, and the degrees of freedom that
either costs are known exactly.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from engine.measure.cells import Cells
from engine.measure.heard import Numbers

#: One piece of the tempo curve for so many cells and notes at least.
PIECE_CELLS, PIECE_NOTES = 2, 10


@dataclass(frozen=True, eq=False)
class EvenFit:
    """Attributes; matrices have shape (cells, places).

    curve_s: the smooth tempo, seconds. local_s: the local length of one note step.
    habit_ms: mean deviation of each place, shape (places,), summing to nought.
    rest_ms: what neither explains. leverage: of each note, 0 to 1.
    freedom: degrees of freedom of the rest. habit_cov: covariance of the habits for a rest of
    variance 1, shape (places, places).
    stretch: how much longer than the pass's mean each cell's step is, as a share (cells,).
    stretch_cov: covariance of `stretch` for a rest of 1 ms, shape (cells, cells).
    basis: orthonormal columns of the whole model, shape (cells * places, parameters).
    """

    curve_s: Numbers
    local_s: Numbers
    habit_ms: Numbers
    rest_ms: Numbers
    leverage: Numbers
    freedom: int
    habit_cov: Numbers
    stretch: Numbers
    stretch_cov: Numbers
    basis: Numbers

    @property
    def deviation_ms(self) -> Numbers:
        """Habit and rest: how far each note is from the smooth tempo."""
        return self.rest_ms + self.habit_ms

    @property
    def kept(self) -> float:
        """Share of the degrees of freedom that the fit left."""
        return self.freedom / self.rest_ms.size

    @property
    def freedom_factor(self) -> float:
        """What the mean square of the rest is to be multiplied by to be unbiased."""
        return self.rest_ms.size / self.freedom

    @property
    def deviation_factor(self) -> float:
        """What the mean square of the deviation is to be multiplied by to be unbiased."""
        raw = float((self.deviation_ms**2).mean())
        error = float(np.trace(self.habit_cov)) / len(self.habit_ms)
        habit = float((self.habit_ms**2).mean()) - error * self.rest_variance
        return max(habit + self.rest_variance, 0.0) / raw if raw > 0 else 1.0

    @property
    def rest_variance(self) -> float:
        """Unbiased variance of the rest, ms squared."""
        return float((self.rest_ms**2).sum() / self.freedom)


def fit_even(cells: Cells) -> EvenFit:
    """Fit the model; the cells must be enough (`cells.LEAST_CELLS`)."""
    curve, slope = _tempo_columns(cells)
    places = cells.places
    contrasts = np.vstack([np.eye(places - 1), -np.ones(places - 1)])
    habits = np.tile(contrasts, (len(cells), 1))
    design = np.hstack([curve, habits])
    base = cells.time_s.min()
    y = (cells.time_s - base).ravel() * 1000.0
    q, r = np.linalg.qr(design)
    inverse = np.linalg.solve(r, np.eye(r.shape[0]))
    found = inverse @ (q.T @ y)
    rest = (y - design @ found).reshape(cells.time_s.shape)
    n_curve = curve.shape[1]
    stretch, stretch_cov = _stretches(cells, slope, found[:n_curve], inverse[:n_curve])
    habit_map = contrasts @ inverse[n_curve:]
    step_s = _step_s(cells)
    return EvenFit(
        (curve @ found[:n_curve]).reshape(rest.shape) / 1000.0 + base,
        (slope @ found[:n_curve]).reshape(rest.shape) / 1000.0 * step_s,
        contrasts @ found[n_curve:],
        rest,
        (q**2).sum(axis=1).reshape(rest.shape),
        len(y) - design.shape[1],
        habit_map @ habit_map.T,
        stretch,
        stretch_cov,
        q,
    )


def _step_s(cells: Cells) -> float:
    """Mean length of a note step at the marked tempo (a cell's length over its places)."""
    starts = cells.mark_s[:, 0]
    same = cells.run[1:] == cells.run[:-1]
    return float(np.median(np.diff(starts)[same])) / cells.places


def _stretches(
    cells: Cells, slope: Numbers, found: Numbers, inverse: Numbers
) -> tuple[Numbers, Numbers]:
    """Each cell's mean slope over the pass's, less one, and its covariance."""
    per_cell = slope.reshape(len(cells), cells.places, -1).mean(axis=1)
    rate = per_cell @ found
    spread = (per_cell - per_cell.mean(axis=0)) @ inverse / rate.mean()
    return rate / rate.mean() - 1.0, spread @ spread.T


def _tempo_columns(cells: Cells) -> tuple[Numbers, Numbers]:
    """Spline columns of every run, and their slopes per marked second, each (notes, columns)."""
    blocks = []
    for run in range(int(cells.run[-1]) + 1):
        at = np.flatnonzero(cells.run == run)
        x = cells.mark_s[at].ravel()
        notes = max(PIECE_CELLS * cells.places, PIECE_NOTES)
        blocks.append((at, *_spline(x, max(1, round(len(x) / notes)))))
    width = sum(b[1].shape[1] for b in blocks)
    shape = (len(cells), cells.places, width)
    value, slope, column = np.zeros(shape), np.zeros(shape), 0
    for at, v, s in blocks:
        part = (at, slice(None), slice(column, column + v.shape[1]))
        value[part] = v.reshape(len(at), cells.places, -1)
        slope[part] = s.reshape(len(at), cells.places, -1)
        column += v.shape[1]
    return value.reshape(-1, width), slope.reshape(-1, width)


def _spline(x: Numbers, pieces: int) -> tuple[Numbers, Numbers]:
    """Uniform cubic B-splines on [min, max] and their slopes; a lower power for few notes."""
    low, span = x.min(), np.ptp(x)
    if len(x) < 20:
        powers = np.arange(2 if len(x) < 12 else 3)
        u = (x - low) / span
        slopes = powers * u[:, None] ** np.maximum(powers - 1, 0) / span
        return u[:, None] ** powers, slopes
    u = (x - low) / span * pieces
    k = np.minimum(u.astype(int), pieces - 1)
    f = u - k
    values = ((1 - f) ** 3, 3 * f**3 - 6 * f**2 + 4, -3 * f**3 + 3 * f**2 + 3 * f + 1, f**3)
    slopes4 = (-3 * (1 - f) ** 2, 9 * f**2 - 12 * f, -9 * f**2 + 6 * f + 3, 3 * f**2)
    out, out_slope = np.zeros((len(x), pieces + 3)), np.zeros((len(x), pieces + 3))
    rows = np.arange(len(x))
    for j in range(4):
        out[rows, k + j] = values[j] / 6
        out_slope[rows, k + j] = slopes4[j] / 6 * pieces / span
    return out, out_slope
