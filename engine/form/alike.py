"""How long two places of one sequence go on alike, for many pairs of places at once.

By prefix doubling (Karp, Miller and Rosenberg 1972): equal runs of 1, 2, 4 ... things get equal
names, so that a pair is compared in as many steps as the length has binary digits.
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence

import numpy as np
import numpy.typing as npt

Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]


def named(things: Sequence[Hashable]) -> Ints:
    """Equal things get equal numbers, counted from 0 in order of first appearance."""
    numbers: dict[Hashable, int] = {}
    return np.array([numbers.setdefault(thing, len(numbers)) for thing in things], np.int64)


class Alike:
    """A sequence, prepared for asking how long its places go on alike."""

    def __init__(self, names: Ints) -> None:
        """Args: names: a number for each thing, equal for equal things, from 0; shape (n,)."""
        self._n = len(names)
        self._names = [names]
        while 2 ** len(self._names) <= self._n:
            self._names.append(_doubled(self._names[-1], 2 ** (len(self._names) - 1)))

    def lengths(self, i: Ints, j: Ints) -> Ints:
        """How many things from places `i` on equal those from `j` on; all of one shape.

        Places may be as large as the sequence is long: nothing follows there.
        """
        shape = np.shape(i)
        i, j = np.ravel(i), np.ravel(j)
        length = np.zeros(len(i), np.int64)
        # Up through the doublings while places go on alike, as most soon do not; then down again.
        alike = np.arange(len(length))
        parted: list[Ints] = []
        for step in range(len(self._names)):
            fits = self._fits(step, i[alike] + length[alike], j[alike] + length[alike])
            length[alike[fits]] += 2**step
            parted.append(alike[~fits])
            alike = alike[fits]
        below = alike
        for step in range(len(self._names) - 1, -1, -1):
            fits = self._fits(step, i[below] + length[below], j[below] + length[below])
            length[below[fits]] += 2**step
            below = np.concatenate([below, parted[step]])
        return length.reshape(shape)

    def _fits(self, step: int, i: Ints, j: Ints) -> Bools:
        """Where the 2**step things from places `i` and `j` on are there, and equal."""
        names = self._names[step]
        there = np.maximum(i, j) + 2**step <= self._n
        last = len(names) - 1
        return np.asarray(there & (names[np.minimum(i, last)] == names[np.minimum(j, last)]))


def _doubled(names: Ints, size: int) -> Ints:
    """Names of runs twice as long, from those of runs of `size`."""
    pairs = names[:-size] * (int(names.max()) + 1) + names[size:]
    _, doubled = np.unique(pairs, return_inverse=True)
    return np.asarray(doubled, np.int64).reshape(-1)
