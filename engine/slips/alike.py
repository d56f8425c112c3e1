"""Passages of one hand that lead up to a moment alike: what memory may take for each other."""

from __future__ import annotations

from bisect import bisect_left
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property

from engine.arrangement import Arrangement, Hand

#: So many strokes alike before two passages may be taken for each other, and as many as are
#: looked at.
FEWEST, MOST = 4, 16


@dataclass(frozen=True)
class HandPath:
    """All strokes of one hand in order.

    Attributes:
        onsets_q: quarters. notes: for each stroke its notes (indices), lowest first.
        steps: for each stroke its keys and the time since the stroke before.
    """

    arrangement: Arrangement
    hand: Hand

    @cached_property
    def notes(self) -> tuple[tuple[int, ...], ...]:
        """Indices of the notes of each stroke."""
        at: dict[Fraction, list[int]] = defaultdict(list)
        for i, note in enumerate(self.arrangement.notes):
            if note.hand == self.hand and not note.grace and not note.optional:
                at[note.onset_q].append(i)
        return tuple(tuple(at[q]) for q in sorted(at))

    @cached_property
    def onsets_q(self) -> tuple[Fraction, ...]:
        """When each stroke comes."""
        return tuple(self.arrangement.notes[group[0]].onset_q for group in self.notes)

    @cached_property
    def steps(self) -> tuple[tuple[object, ...], ...]:
        """Keys and time since the last stroke."""
        pitches = [tuple(self.arrangement.notes[i].pitch for i in group) for group in self.notes]
        since = [0, *(b - a for a, b in zip(self.onsets_q, self.onsets_q[1:], strict=False))]
        return tuple(zip(pitches, since, strict=True))

    @cached_property
    def _by_approach(self) -> dict[tuple[object, ...], list[int]]:
        found: dict[tuple[object, ...], list[int]] = defaultdict(list)
        for k in range(FEWEST, len(self.notes)):
            found[self._approach(k)].append(k)
        return found

    def _approach(self, k: int) -> tuple[object, ...]:
        """The strokes before one, and when it comes after them; the first's own gap is left out."""
        run = self.steps[k - FEWEST : k]
        return (run[0][0], *run[1:], self.steps[k][1])

    def other_ways(self, onset_q: Fraction) -> Iterator[tuple[int, int]]:
        """(stroke, strokes alike before it) of every passage that leads up to a moment alike."""
        k = bisect_left(self.onsets_q, onset_q)
        if k < FEWEST or k >= len(self.notes) or self.onsets_q[k] != onset_q:
            return
        for j in self._by_approach[self._approach(k)]:
            if j != k and self.steps[j][0] != self.steps[k][0]:
                yield j, self._alike_before(j, k)

    def _alike_before(self, j: int, k: int) -> int:
        n = FEWEST
        while n < MOST and min(j, k) > n and self.steps[j - n] == self.steps[k - n]:
            n += 1
        return n
