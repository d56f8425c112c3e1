"""When the notes answer to nothing: another piece, another key, a cat on the keys.

Enough notes of anything are found somewhere in a long score. So what was matched is believed only
where most of it was matched in going on, without jumping about.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from engine.follow import costs
from engine.follow.path import ORNAMENT, RIGHT, UNCLEAR
from engine.follow.refine import Label

#: A jump without a pause takes away from what is believed as much as so many wrong notes.
JUMPY = 4.0
#: Notes on either side that are counted together, and what share of them must have been right.
WINDOW, BELIEVED = 16, 0.5


def mark_unclear(labels: list[Label]) -> None:
    """Call unclear, in place, the notes of stretches where too little was right."""
    if not labels:
        return
    worth = np.array([_worth(labels, i) for i in range(len(labels))])
    total = np.concatenate([[0.0], np.cumsum(worth)])
    at = np.arange(len(labels))
    low, high = np.maximum(at - WINDOW, 0), np.minimum(at + WINDOW + 1, len(labels))
    share = (total[high] - total[low]) / (high - low)
    for i in np.flatnonzero(share < BELIEVED).tolist():
        labels[i].what, labels[i].note, labels[i].fresh = UNCLEAR, -1, False


def _worth(labels: Sequence[Label], i: int) -> float:
    x = labels[i]
    good = 1.0 if x.what in (RIGHT, ORNAMENT) else 0.0
    jumped = x.fresh and i > 0 and x.time_s - labels[i - 1].time_s < costs.PAUSE_S
    return good - JUMPY if jumped else good


class Belief:
    """The live twin: a running share of right notes, less what jumping about takes away."""

    def __init__(self) -> None:
        self._share = 1.0
        self._last_s = -np.inf

    def hear(self, good: bool, fresh: bool, time_s: float) -> bool:
        """Take one more finding in; tells whether the place is believed."""
        jumped = fresh and time_s - self._last_s < costs.PAUSE_S
        worth = float(good) - (JUMPY if jumped else 0.0)
        self._share = max(self._share + (worth - self._share) / WINDOW, -0.5)
        self._last_s = time_s
        return self._share >= BELIEVED - 0.1
