"""Score time in whole numbers: one tick divides every onset and length exactly.

Fractions are exact but slow to compare and to hash; counting in ticks is as exact and cheap.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction
from math import lcm

from engine.arrangement import Arrangement, Bar

#: More ticks than this to a quarter are not counted: no music needs them, and a file made to
#: mislead could ask for numbers of any length. Such a file's times are rounded down.
MOST_PER_Q = 2**60


@dataclass(frozen=True, slots=True)
class Ticks:
    """How many ticks a quarter has."""

    per_q: int

    def of(self, time_q: Fraction) -> int:
        """A time in ticks: exact for those that the ticks were made for."""
        return time_q.numerator * self.per_q // time_q.denominator

    def quarters(self, ticks: int) -> Fraction:
        """The inverse of `of`."""
        return Fraction(ticks, self.per_q)


def ticks_for(arrangement: Arrangement, others: Iterable[Fraction] = ()) -> Ticks:
    """Ticks for all times of the notes and bars of an arrangement, and some others (quarters)."""
    denominators = {q.denominator for q in others}
    for note in arrangement.notes:
        denominators.add(note.onset_q.denominator)
        denominators.add(note.duration_q.denominator)
    for bar in arrangement.bars:
        denominators.update(q.denominator for q in _times(bar))
    return Ticks(_common(denominators))


def _common(denominators: Iterable[int]) -> int:
    common = 1
    for denominator in denominators:
        common = lcm(common, denominator)
        if common > MOST_PER_Q:
            return MOST_PER_Q
    return common


def _times(bar: Bar) -> tuple[Fraction, ...]:
    return bar.onset_q, bar.duration_q, bar.lead_q, Fraction(4, bar.beat_unit)
