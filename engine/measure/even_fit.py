"""A smooth tempo curve and the habits of the places, fitted together to the cells of a figure.

Model: onset = smooth(marked time) + habit(place) + rest. The curve is a cubic regression
spline over each unbroken stretch of cells (a new one after 48 cells), with one piece for every cell
or eight notes, whichever is more, so that it follows a rubato of four cells and more; the habits
sum to nought. Both are found by least squares in one step, so that the curve cannot swallow a
habit nor a habit the tempo, and the degrees of freedom that either costs are known exactly.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

import numpy as np

from engine.measure.cells import Cells
from engine.measure.columns import Columns
from engine.measure.heard import Numbers

#: One piece of the tempo curve for so many cells and notes at least.
PIECE_CELLS, PIECE_NOTES = 1, 8
#: A long run is cut into curves of at most so many cells, so that its length costs no more.
CURVE_CELLS = 48


@dataclass(frozen=True, eq=False)
class EvenFit:
    """The model fitted; matrices have shape (cells, places).

    Attributes:
        curve_s: the smooth tempo, seconds. local_s: the local length of one note step.
        habit_ms: mean deviation of each place, shape (places,), summing to nought.
        habit_cov: its covariance for a rest of 1 ms, shape (places, places).
        rest_ms: what neither explains. freedom: its degrees of freedom.
        stretch: how much longer than the pass's mean each cell's step is, a share, (cells,).
        stretch_errors: for each stretch of cells with a curve of its own, `stretch` in the space
            that its errors span, (cells,), and the symmetric root of its covariance for a rest
            of 1 ms, (cells, cells).
        columns: of the whole model, one row a note.
    """

    curve_s: Numbers
    local_s: Numbers
    habit_ms: Numbers
    habit_cov: Numbers
    rest_ms: Numbers
    freedom: int
    stretch: Numbers
    stretch_errors: tuple[tuple[Numbers, Numbers], ...]
    columns: Columns

    @property
    def deviation_ms(self) -> Numbers:
        """Habit and rest: how far each note is from the smooth tempo."""
        return self.rest_ms + self.habit_ms

    @cached_property
    def kept(self) -> float:
        """What the cells one by one show of the variance of the sum of squares, a share.

        With M what the fit leaves of a normal rest, the sum varies as 2 tr(M), its part in cell c
        as 2 tr(M_cc M_cc): the fit ties cells together, the more the shorter its stretches are.
        """
        basis = self.columns.orthonormal
        places = self.rest_ms.shape[1]
        shown = 0.0
        for rows, block in basis.blocks:
            for first in range(rows.start, rows.stop, places):
                own = slice(first - rows.start, first - rows.start + places)
                both = np.hstack([block[own], basis.shared[first : first + places]])
                left = np.eye(places) - both @ both.T
                shown += float((left**2).sum())
        return shown / self.freedom

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


@dataclass(frozen=True, eq=False)
class _Curve:
    """The spline of one stretch of cells: columns, their slopes, their factors Q and R."""

    cells: slice
    notes: slice
    slope: Numbers
    q: Numbers
    r: Numbers


def fit_even(cells: Cells) -> EvenFit:
    """Fit the model; the cells must be enough (`cells.LEAST_CELLS`)."""
    places = cells.places
    y = (cells.time_s - cells.time_s.min()).ravel() * 1000.0
    contrasts = np.vstack([np.eye(places - 1), -np.ones(places - 1)])
    habits = np.tile(contrasts, (len(cells), 1))
    blocks, curves = _tempo_curves(cells)
    plain_y, plain_habits = y.copy(), habits.copy()
    for c in curves:
        plain_y[c.notes] -= c.q @ (c.q.T @ y[c.notes])
        plain_habits[c.notes] -= c.q @ (c.q.T @ habits[c.notes])
    cov = np.linalg.inv(plain_habits.T @ plain_habits)
    found = cov @ (plain_habits.T @ plain_y)
    columns = Columns(blocks, habits)
    return _told(cells, y - habits @ found, contrasts @ found, contrasts @ cov @ contrasts.T,
                 columns, curves)  # fmt: skip


def _told(
    cells: Cells,
    without_habit: Numbers,
    habit_ms: Numbers,
    habit_cov: Numbers,
    columns: Columns,
    curves: list[_Curve],
) -> EvenFit:
    curve, local = np.empty(len(without_habit)), np.empty(len(without_habit))
    errors = []
    for c in curves:
        along = c.q.T @ without_habit[c.notes]
        curve[c.notes] = c.q @ along
        inverse = np.linalg.solve(c.r, np.eye(len(c.r)))
        local[c.notes] = c.slope @ (inverse @ along)
        per_cell = c.slope.reshape(c.cells.stop - c.cells.start, cells.places, -1).mean(axis=1)
        errors.append(per_cell @ inverse)
    shape = cells.time_s.shape
    rate = local.reshape(shape).mean(axis=1)
    stretch = rate / rate.mean() - 1.0
    return EvenFit(
        curve.reshape(shape) / 1000.0 + cells.time_s.min(),
        local.reshape(shape) / 1000.0 * cells.step_s,
        habit_ms,
        habit_cov,
        (without_habit - curve).reshape(shape),
        len(curve) - sum(c.q.shape[1] for c in curves) - (cells.places - 1),
        stretch,
        _spread(stretch, [e / rate.mean() for e in errors], [c.cells for c in curves]),
        columns,
    )


def _spread(
    stretch: Numbers, errors: list[Numbers], parts: list[slice]
) -> tuple[tuple[Numbers, Numbers], ...]:
    """The stretches of each part where they can err, and the root of their covariance.

    The symmetric root is the only one that does not hang on the order and signs of the axes, which
    one linear algebra library chooses otherwise than the next.
    """
    spread = []
    for error, part in zip(errors, parts, strict=True):
        axes, size, _ = np.linalg.svd(error, full_matrices=False)
        spread.append((axes @ (axes.T @ stretch[part]), (axes * size) @ axes.T))
    return tuple(spread)


def _tempo_curves(cells: Cells) -> tuple[tuple[tuple[slice, Numbers], ...], list[_Curve]]:
    blocks, curves = [], []
    for part in _parts(cells):
        x = cells.mark_s[part].ravel()
        notes = slice(part.start * cells.places, part.stop * cells.places)
        piece = max(PIECE_CELLS * cells.places, PIECE_NOTES)
        # No piece may lie in a gap with no note to say where it goes.
        most = int(np.ptp(x) / np.diff(x).max())
        value, slope = _spline(x, max(1, min(round(len(x) / piece), most)))
        q, r = np.linalg.qr(value)
        blocks.append((notes, value))
        curves.append(_Curve(part, notes, slope, q, r))
    return tuple(blocks), curves


def _parts(cells: Cells) -> Iterator[slice]:
    """Stretches of cells with a curve of their own, the long ones cut into even parts."""
    edges = np.flatnonzero(np.diff(cells.stretch, prepend=-1, append=-1))
    for first, last in pairwise(edges):
        count = -(-int(last - first) // CURVE_CELLS)
        cuts = np.linspace(first, last, count + 1).round().astype(int)
        for a, b in pairwise(cuts):
            yield slice(int(a), int(b))


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
