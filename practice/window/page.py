"""The engraved page and the arrangement together: lines in order of playing, places in them.

The page is engraved as written, the arrangement is unfolded: a system that is played twice is
two *lines*, each with its own bars, and a note of either has its own place.
"""

from __future__ import annotations

import bisect
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from engine.arrangement import Arrangement, Bar, Span
from practice.engrave import EngravedScore
from practice.engraving.system import EngravedBar, EngravedSystem, Head


@dataclass(frozen=True, slots=True)
class PageLine:
    """A stretch of bars [from_bar, to_bar] (unfolded indices) played through one system."""

    index: int
    system: int
    from_bar: int
    to_bar: int
    time: int


@dataclass(frozen=True, slots=True)
class TwinSign:
    """A moment at which twins begin or part, and the moment in the other twin."""

    q: float
    other_q: float
    parts: bool


@dataclass(frozen=True)
class Page:
    """An arrangement on its engraved page, as far as it is engraved."""

    arrangement: Arrangement
    score: EngravedScore

    @cached_property
    def _system_of_written(self) -> dict[int, int]:
        return {b.written: s.index for s in self.score.systems for b in s.bars}

    @cached_property
    def _engraved_bars(self) -> dict[int, EngravedBar]:
        return {b.written: b for s in self.score.systems for b in s.bars}

    @cached_property
    def lines(self) -> tuple[PageLine, ...]:
        """All lines in order of playing."""
        lines: list[PageLine] = []
        last: Bar | None = None
        for bar in self.arrangement.bars:
            system = self._system_of_written.get(bar.written)
            if system is None:
                last = None
                continue
            goes_on = last is not None and last.written + 1 == bar.written
            if goes_on and lines[-1].system == system:
                old = lines[-1]
                lines[-1] = PageLine(old.index, system, old.from_bar, bar.index, old.time)
            else:
                lines.append(PageLine(len(lines), system, bar.index, bar.index, bar.time))
            last = bar
        return tuple(lines)

    @cached_property
    def tallest(self) -> float:
        """Height of the tallest system so far, in spaces."""
        return max((s.height for s in self.score.systems), default=20.0)

    @cached_property
    def _line_starts(self) -> list[int]:
        return [line.from_bar for line in self.lines]

    def line_of_bar(self, bar: int) -> PageLine | None:
        """The line that holds a bar, None while it is not engraved."""
        k = bisect.bisect_right(self._line_starts, bar) - 1
        if k < 0 or bar > self.lines[k].to_bar:
            return None
        return self.lines[k]

    def line_at(self, place_q: float) -> PageLine | None:
        """The line that holds a moment."""
        return self.line_of_bar(self.arrangement.bar_at(place_q).index)

    def system(self, line: PageLine) -> EngravedSystem:
        """The system a line is read from."""
        return self.score.systems[line.system]

    def bar_edges(self, bar: int) -> tuple[float, float]:
        """Left and right of an unfolded bar in its system, in spaces."""
        engraved = self._engraved_bars[self.arrangement.bars[bar].written]
        return engraved.left, engraved.right

    def head(self, note: int, head_id: str = "") -> Head | None:
        """The head of a note of the arrangement (or another of its tied heads)."""
        score_note = self.arrangement.notes[note]
        line = self.line_of_bar(score_note.bar)
        if line is None:
            return None
        return self.system(line).heads.get(head_id or score_note.note_id)

    @cached_property
    def _notes_by_bar(self) -> list[list[int]]:
        by_bar: list[list[int]] = [[] for _ in self.arrangement.bars]
        for index, note in enumerate(self.arrangement.notes):
            by_bar[note.bar].append(index)
        return by_bar

    def notes_of(self, line: PageLine) -> list[int]:
        """Indices of the notes that begin in a line."""
        bars = range(line.from_bar, line.to_bar + 1)
        return [n for bar in bars for n in self._notes_by_bar[bar]]

    @cached_property
    def _knots(self) -> dict[int, tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]]:
        return {}

    def x_at(self, line: PageLine, place_q: float) -> float:
        """Where a moment is along a line, in spaces: on its note, between notes in proportion."""
        if line.index not in self._knots:
            self._knots[line.index] = self._find_knots(line)
        q, x = self._knots[line.index]
        return float(np.interp(place_q, q, x))

    def _find_knots(
        self, line: PageLine
    ) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
        at: dict[float, float] = {}
        for index in self.notes_of(line):
            note, head = self.arrangement.notes[index], self.head(index)
            if head is not None and not note.grace:
                q = float(note.onset_q)
                at[q] = min(at.get(q, head.x), head.x)
        end = self.arrangement.bars[line.to_bar]
        at[float(end.onset_q + end.duration_q)] = self.bar_edges(line.to_bar)[1]
        start = float(self.arrangement.bars[line.from_bar].onset_q)
        at.setdefault(start, self.bar_edges(line.from_bar)[0])
        quarters = sorted(at)
        spaces = np.maximum.accumulate(np.array([at[k] for k in quarters]))
        return np.array(quarters), spaces

    def share_of(self, line: PageLine, place_q: float) -> float:
        """How much of a line has been played at a moment, 0 to 1."""
        start = float(self.arrangement.bars[line.from_bar].onset_q)
        last = self.arrangement.bars[line.to_bar]
        length = float(last.onset_q + last.duration_q) - start
        return min(max((place_q - start) / length, 0.0), 1.0) if length > 0 else 0.0

    @cached_property
    def _twin_signs(self) -> dict[int, list[TwinSign]]:
        found: dict[int, list[TwinSign]] = {}
        for twins in self.arrangement.form.twins:
            begin = (twins.first_q, twins.second_q)
            for parts, (here, there) in ((False, begin), (True, twins.parting)):
                for q, other in ((float(here), float(there)), (float(there), float(here))):
                    line = self.line_at(q)
                    if line is not None:
                        found.setdefault(line.index, []).append(TwinSign(q, other, parts))
        return {k: sorted(v, key=lambda s: (not s.parts, s.q)) for k, v in found.items()}

    def twin_signs(self, line: PageLine) -> list[TwinSign]:
        """Where twins part, then where they begin, in a line."""
        return self._twin_signs.get(line.index, [])

    def bar_under(self, line: PageLine, x: float) -> int:
        """The unfolded bar at a place along a line, in spaces."""
        for bar in range(line.from_bar, line.to_bar + 1):
            if x < self.bar_edges(bar)[1]:
                return bar
        return line.to_bar

    def order_of_reading(self, span: Span, reading: int | None = None) -> list[int]:
        """The lines to come, from the one being read or the span's first, span coming round."""
        inside = [
            line.index
            for line in self.lines
            if line.to_bar >= span.from_bar and line.from_bar <= span.to_bar
        ]
        if not inside:
            return []
        beyond = [line.index for line in self.lines if line.index > inside[-1]]
        if reading is None or reading not in inside:
            return [*inside, *beyond] if reading is None else _from(self.lines, reading)
        k = inside.index(reading)
        return [*inside[k:], *inside[:k], *beyond]


def _from(lines: tuple[PageLine, ...], reading: int) -> list[int]:
    return [line.index for line in lines if line.index >= reading]
