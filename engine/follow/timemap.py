"""When each moment of the score was due in one going-through, told by its neighbours."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]

#: Moments on either side that are asked.
SIDE = 4


class TimeMap:
    """A smooth map from score time to seconds, through what was matched.

    The moment asked for is left out of its own estimate, so that a wrong match cannot vouch for
    itself. Weighted lines through the neighbours, with one round of robust reweighting.

    Args:
        q: score times of matched notes, quarters. s: when they were heard, seconds.
    """

    def __init__(self, q: FloatArray, s: FloatArray) -> None:
        order = np.lexsort((s, q))
        self.q, first = np.unique(q[order], return_index=True)
        ends = np.append(first[1:], len(q))
        sorted_s = s[order]
        self.s = np.array([np.median(sorted_s[a:b]) for a, b in zip(first, ends, strict=True)])

    def __len__(self) -> int:
        return len(self.q)

    def due(self, q: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """When moments were due, told three ways (rows: by what came before, by what came after,
        by both; seconds, nan where there is nothing to tell by); how far the next known moment
        is, seconds; and the local pace, seconds a quarter.

        A halt or a change of tempo breaks the line on one side only.
        """
        at = np.searchsorted(self.q, q)
        here = (at < len(self.q)) & (np.abs(self.q[np.minimum(at, len(self.q) - 1)] - q) < 1e-6)
        offsets = np.concatenate([np.arange(-SIDE, 0), np.arange(0, SIDE)])
        index = at[:, None] + offsets + np.where(here[:, None] & (offsets >= 0), 1, 0)
        there = (index >= 0) & (index < len(self.q))
        index = np.clip(index, 0, len(self.q) - 1)
        x, y = self.q[index] - q[:, None], self.s[index]
        far = np.abs(x)
        near = np.min(np.where(there, far, np.inf), axis=1)
        weight = np.where(there, 1.0 / (1.0 + (far / np.maximum(near, 0.05)[:, None]) ** 1.5), 0.0)
        both, pace = _robust_line(x, y, weight)
        sides = []
        for part in (slice(0, SIDE), slice(SIDE, None)):
            side, _ = _robust_line(x[:, part], y[:, part], weight[:, part])
            sides.append(np.where((weight[:, part] > 0).sum(axis=1) >= 2, side, np.nan))
        return np.stack([*sides, both]), near * pace, pace


def _robust_line(x: FloatArray, y: FloatArray, weight: FloatArray) -> tuple[FloatArray, FloatArray]:
    due, pace = _line(x, y, weight)
    error = np.abs(y - due[:, None] - pace[:, None] * x)
    scale = np.maximum(_weighted_median(error, weight), 0.01)[:, None]
    return _line(x, y, weight / (1.0 + (error / (3.0 * scale)) ** 2))


def _weighted_median(error: FloatArray, weight: FloatArray) -> FloatArray:
    order = np.argsort(error, axis=1)
    summed = np.cumsum(np.take_along_axis(weight, order, axis=1), axis=1)
    pick = np.argmax(summed >= 0.5 * summed[:, -1:], axis=1)
    return np.asarray(np.take_along_axis(error, order, axis=1)[np.arange(len(error)), pick])


def _line(x: FloatArray, y: FloatArray, w: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Weighted lines y = due + pace x, one a row; the pace is kept positive."""
    total = np.maximum(w.sum(axis=1), 1e-12)
    mean_x, mean_y = (w * x).sum(axis=1) / total, (w * y).sum(axis=1) / total
    dx, dy = x - mean_x[:, None], y - mean_y[:, None]
    var = (w * dx * dx).sum(axis=1)
    pace = (w * dx * dy).sum(axis=1) / np.maximum(var, 1e-9)
    pace = np.where(var > 1e-9, np.clip(pace, 0.05, 20.0), 0.5)
    return mean_y - pace * mean_x, pace
