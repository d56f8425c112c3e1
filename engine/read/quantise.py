"""From ticks to written lengths: onsets on a grid, exact fractions of a quarter.

A file written by a notation program has its onsets on the grid but for rounding; there each
quarter gets the simplest grid that holds all its onsets. A file that was played has them anywhere;
there each quarter gets the grid that costs least: squared distance in units of a player's
scatter, plus a price that grows with the grid's fineness.
"""

from __future__ import annotations

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Iterable, Sequence
from fractions import Fraction
from math import lcm

#: Parts of a quarter tried for written files, simplest first.
_WRITTEN_GRIDS = (1, 2, 4, 3, 8, 6, 16, 12, 5, 7, 32, 24, 10, 9, 14, 20, 15, 18, 28, 64, 48, 40, 36)
#: Parts of a quarter and their price for played files.
_PLAYED_GRIDS = {1: 0.0, 2: 1.0, 4: 3.0, 3: 4.0, 8: 8.0, 6: 8.0, 12: 14.0}
#: Parts of a quarter in which places are counted: every grid's lie on them.
UNIT = lcm(*_WRITTEN_GRIDS, *_PLAYED_GRIDS)
#: How far a played onset scatters, in quarters.
_SCATTER_Q = 0.04
#: Share of the onsets that must fit a grid for the file to count as written.
_WRITTEN_SHARE = 0.9
#: A gap up to this share of the way to the next onset is articulation, not a rest.
_GATE = Fraction(3, 10)


class Grid:
    """The grid of each quarter of a file."""

    def __init__(self, onsets: Iterable[int], ticks_per_quarter: int) -> None:
        self.ticks = ticks_per_quarter
        self.parts: dict[int, int] = {}
        self._fit(sorted(set(onsets)))

    def _fit(self, onsets: Sequence[int]) -> None:
        beats: dict[int, list[int]] = defaultdict(list)
        for tick in onsets:
            beats[tick // self.ticks].append(tick % self.ticks)
        fitted = {beat: self._written(inside) for beat, inside in beats.items()}
        lost = sum(len(beats[beat]) for beat, parts in fitted.items() if parts is None)
        played = lost > (1 - _WRITTEN_SHARE) * len(onsets)
        for beat, parts in fitted.items():
            self.parts[beat] = self._played(beats[beat]) if played or parts is None else parts

    def _written(self, inside: list[int]) -> int | None:
        """The simplest grid that holds ticks up to rounding."""
        slack = 1.0 if self.ticks >= 192 else 0.51
        for parts in _WRITTEN_GRIDS:
            step = self.ticks / parts
            if step < 3 * slack and parts > 4:
                continue
            if all(abs(t - round(t / step) * step) <= slack for t in inside):
                return parts
        return None

    def _played(self, inside: list[int]) -> int:
        def cost(parts: int) -> float:
            places = [t / self.ticks for t in inside]
            off = (x - round(x * parts) / parts for x in places)
            return sum((d / _SCATTER_Q) ** 2 for d in off) + _PLAYED_GRIDS[parts]

        return min(_PLAYED_GRIDS, key=cost)

    def place(self, tick: int) -> int:
        """The written place of an onset, in `UNIT` parts of a quarter."""
        beat, inside = divmod(tick, self.ticks)
        parts = self.parts.get(beat, 4)
        return beat * UNIT + round(inside * parts / self.ticks) * (UNIT // parts)

    def duration_q(self, on: int, off: int, places: Sequence[int]) -> Fraction:
        """The written length of a note.

        Args:
            on, off: ticks. places: of the onsets in its hand, ascending, this one included.

        A note let go a little before (or after) the next onset lasts until it; else the nearest
        multiple of its quarter's grid, at least one.
        """
        place, length = self.place(on), (off - on) * UNIT
        later = bisect_right(places, place)
        for following in places[later : later + 8]:
            step = following - place
            off_by = abs(step * self.ticks - length)
            if off_by * _GATE.denominator <= _GATE.numerator * min(step, UNIT) * self.ticks:
                return Fraction(step, UNIT)
        parts = max(self.parts.get(on // self.ticks, 4), 2)
        whole = round(Fraction((off - on) * parts, self.ticks))
        return Fraction(max(whole, 1), parts)
