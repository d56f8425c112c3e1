"""What earlier takes tell of the player's timing: where they linger and where they hurry.

A remembered timing bends score time: a place that was taken slowly counts for more quarters. The
live prediction then works on bent time and need only find how today differs.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

#: How much of a remembered departure from an even tempo is expected again. On recordings of the
#: same pieces by other players, a half to three quarters served best.
TRUST = 0.7
#: A departure beyond this factor is a pause, not timing.
_MOST = 5.0


@dataclass(frozen=True, slots=True)
class Remembered:
    """Bent score time: knots `onset_q` ascending, and what they count for, `bent_q`; same shape."""

    onset_q: Floats
    bent_q: Floats

    def bend(self, onset_q: npt.ArrayLike) -> Floats:
        """Bent time of places, quarters; outside the knots it runs evenly."""
        q = np.asarray(onset_q, dtype=float)
        inside = np.interp(q, self.onset_q, self.bent_q)
        before = np.minimum(q - self.onset_q[0], 0.0)
        after = np.maximum(q - self.onset_q[-1], 0.0)
        return np.asarray(inside + before + after)


def remember(takes: Sequence[tuple[Floats, Floats]], trust: float = TRUST) -> Remembered | None:
    """The common timing of takes, None where there is nothing to learn from.

    Args:
        takes: for each, places (quarters) and the onsets there (seconds); same shapes, any order.
            Several notes at one place count by the earliest.
        trust: share of each departure that is kept, 0 to 1.
    """
    curves = [_tidy(q, s) for q, s in takes]
    curves = [(q, s) for q, s in curves if len(q) > 2]
    if not curves:
        return None
    knots = np.unique(np.concatenate([q for q, _ in curves]))
    slowness = np.mean([_slowness(knots, q, s) for q, s in curves], axis=0)
    steps = np.exp(trust * slowness) * np.diff(knots)
    return Remembered(knots, knots[0] + np.concatenate([[0.0], np.cumsum(steps)]))


def _tidy(q: Floats, s: Floats) -> tuple[Floats, Floats]:
    """Places ascending, each once, with times that never run back."""
    order = np.lexsort((s, q))
    places, first = np.unique(q[order], return_index=True)
    return places, np.maximum.accumulate(s[order][first])


def _slowness(knots: Floats, q: Floats, s: Floats) -> Floats:
    """Logarithm of seconds a quarter over its median, between neighbouring knots."""
    usual = float(np.median(np.diff(s) / np.diff(q)))
    if usual <= 0:
        return np.zeros(len(knots) - 1)
    here = np.diff(np.interp(knots, q, s)) / np.diff(knots) / usual
    inside = (knots[:-1] >= q[0]) & (knots[1:] <= q[-1])
    return np.where(inside, np.log(np.clip(here, 1 / _MOST, _MOST)), 0.0)
