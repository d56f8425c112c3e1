"""Simulated learners: a model of learning and forgetting, written down before any plan met it.

It is a simulation. It says how a plan fares *if* learning went like this, and nothing about people.

Each bar has, for each hand and for both together, a skill k (log-odds) and a kept part r <= k.
A pass at share v of the marked tempo gets the bar right with probability

    p = 1 / (1 + exp(-(k' - d - 4 (v - 0.6))))

where d is the bar's difficulty (normal, mean 1, sd 0.6), k' = k for one hand and
k + 0.35 (k_left + k_right) for both. After playing it, right or wrong,

    k += gain * w * (1 - k / 7) * (1 + spacing * rested) * fresh

w is 1 if right, `fault` if wrong; rested is 1 on the bar's first pass of a day and 0 after;
fresh is 0.9 ** (passes of this bar since another bar was played), floored at 0.3. A pass with both
hands also gives each hand half of it. Overnight r moves to r + keep * (k - r), and k to
r + (k - r) exp(-1 / days). Two twin bars that are both new (r < 1) and practised on one day: their
r does not move that night, if `interference`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

HANDS = ("left", "right", "both")
Numbers = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Learning:
    """The parameters of the model."""

    gain: float = 0.35
    fault: float = 0.4
    spacing: float = 1.0
    keep: float = 0.5
    days: float = 4.0
    interference: bool = True


#: What the comparison is swept over.
SWEEP: dict[str, Learning] = {
    "middling": Learning(),
    "no spacing effect, no interference": Learning(spacing=0.0, interference=False),
    "quick to forget": Learning(keep=0.3, days=2.0),
    "faults teach as much": Learning(fault=1.0),
    "slow": Learning(gain=0.2),
}


@dataclass
class Learner:
    """One learner at one page.

    Args:
        bars: how many. twins: pairs of bars that look alike.
    """

    learning: Learning
    bars: int
    twins: Sequence[tuple[int, int]]
    rng: np.random.Generator
    skill: Numbers = field(init=False)
    kept: Numbers = field(init=False)
    hard: Numbers = field(init=False)

    def __post_init__(self) -> None:
        self.skill = np.zeros((3, self.bars))
        self.kept = np.zeros((3, self.bars))
        self.hard = self.rng.normal(1.0, 0.6, (3, self.bars))
        self.played_today = np.zeros((3, self.bars), dtype=bool)
        self.same = np.zeros(self.bars)

    def play(self, first: int, last: int, hands: str, tempo: float) -> npt.NDArray[np.bool_]:
        """One pass over bars [first, last]: which came right."""
        h, part = HANDS.index(hands), slice(first, last + 1)
        right = self.rng.random(last - first + 1) < self._chance(h, part, tempo)
        for hand, weight in ((0, 0.5), (1, 0.5), (2, 1.0)) if h == 2 else ((h, 1.0),):
            self._learn(hand, part, right, weight)
        others = np.ones(self.bars, dtype=bool)
        others[part] = False
        if last > first:
            self.same[:] = 0.0
        self.same[part] += 1.0
        self.same[others] = 0.0
        return right

    def _chance(self, h: int, part: slice, tempo: float) -> Numbers:
        k = self.skill[h, part]
        if h == 2:
            k = k + 0.35 * (self.skill[0, part] + self.skill[1, part])
        return np.asarray(1 / (1 + np.exp(-(k - self.hard[h, part] - 4 * (tempo - 0.6)))))

    def _learn(self, h: int, part: slice, right: npt.NDArray[np.bool_], weight: float) -> None:
        told = self.learning
        gain = weight * told.gain * np.where(right, 1.0, told.fault)
        rested = 1 + told.spacing * ~self.played_today[h, part]
        fresh = np.maximum(0.9 ** self.same[part], 0.3)
        self.skill[h, part] += gain * (1 - self.skill[h, part] / 7) * rested * fresh
        self.played_today[h, part] = True

    def sleep(self) -> None:
        """A night."""
        moves = np.ones((3, self.bars))
        if self.learning.interference:
            for a, b in self.twins:
                both_new = (self.kept[:, a] < 1) & (self.kept[:, b] < 1)
                hit = both_new & self.played_today[:, a] & self.played_today[:, b]
                moves[hit, a] = moves[hit, b] = 0.0
        self.kept += moves * self.learning.keep * np.maximum(self.skill - self.kept, 0.0)
        decay = np.exp(-1 / self.learning.days)
        self.skill = self.kept + (self.skill - self.kept) * decay
        self.played_today[:] = False
        self.same[:] = 0.0
