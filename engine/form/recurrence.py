"""How like each other bars are by the notes they share, and where blocks of like bars recur."""

from __future__ import annotations

from collections.abc import Hashable, Iterator, Sequence

import numpy as np
import numpy.typing as npt

from engine.form.alike import Ints, named

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]

#: What a bar holds.
Print = frozenset[Hashable]


class Likeness:
    """The share of their notes that bars have in common, 0 to 1; of two empty bars 1."""

    def __init__(self, prints: Sequence[Print]) -> None:
        self._sizes = np.array([len(p) for p in prints], np.int64)
        self._empty = np.where(self._sizes == 0, 1.0, 0.0)
        numbers: dict[Hashable, int] = {}
        self._held = [[numbers.setdefault(x, len(numbers)) for x in p] for p in prints]
        holders: list[list[int]] = [[] for _ in numbers]
        for bar, held in enumerate(self._held):
            for number in held:
                holders[number].append(bar)
        self._holders = [np.array(bars, np.int64) for bars in holders]

    def to_all(self, bar: int) -> Floats:
        """How like every bar one bar is: (bars,)."""
        if not self._held[bar]:
            return self._empty
        holders = np.concatenate([self._holders[number] for number in self._held[bar]])
        shared = np.bincount(holders, minlength=len(self._sizes))
        return np.asarray(shared / (self._sizes + self._sizes[bar] - shared))


def recurring_blocks(
    prints: Sequence[Print], first: int, fewest: int, like: float
) -> Iterator[tuple[int, int, int]]:
    """(first bar, bars later, bars) of every longest row of bars that comes again.

    From bar `first` on; rows of at least `fewest` bars, that come at least so many bars later.
    Bars are the same if they are `like` so much.
    """
    names = named(prints)
    n, kinds = len(names), int(names.max(initial=-1)) + 1
    pairs = _like_pairs(list(dict.fromkeys(prints)), like)
    groups = _joined(kinds, pairs // max(1, kinds), pairs % max(1, kinds))[names]
    for lag in range(fewest, n - first):
        hits = first + np.flatnonzero(groups[first : n - lag] == groups[first + lag :])
        if len(hits) >= fewest:
            here, there = names[hits], names[hits + lag]
            hits = hits[(here == there) | _holds(pairs, here * kinds + there)]
        edges = np.concatenate([[0], np.flatnonzero(np.diff(hits) > 1) + 1, [len(hits)]])
        lengths = np.diff(edges)
        long = np.flatnonzero(lengths >= fewest)
        for start, length in zip(hits[edges[long]].tolist(), lengths[long].tolist(), strict=True):
            yield start, lag, length


def _like_pairs(prints: Sequence[Print], like: float) -> Ints:
    """Of different prints, the pairs that are like, as first * len(prints) + second, ascending."""
    likeness = Likeness(prints)
    rows = (np.flatnonzero(likeness.to_all(k) >= like) for k in range(len(prints)))
    found = [row + k * len(prints) for k, row in enumerate(rows)]
    return np.concatenate(found) if found else np.zeros(0, np.int64)


def _holds(ascending: Ints, wanted: Ints) -> Bools:
    """Which of the wanted numbers are among the others."""
    at = np.minimum(np.searchsorted(ascending, wanted), len(ascending) - 1)
    return np.asarray(ascending[at] == wanted)


def _joined(n: int, a: Ints, b: Ints) -> Ints:
    """A number for each of n things, the same for all that pairs (a, b) join by any way."""
    group = np.arange(n)
    while True:
        lower = group.copy()
        np.minimum.at(lower, a, group[b])
        lower = lower[lower]
        if (lower == group).all():
            return group
        group = lower
