"""The scene of a slip: what was played, what was written, and what stood around it."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property

import numpy as np

from engine.arrangement import Arrangement, Hand, ScoreNote
from engine.findings import Finding
from engine.performance import PlayedNote
from engine.slips.alike import HandPath

#: Keys struck within this time belong to one chord (two to four notes: p95 of the spread in
#: professional playing is 60 to 95 ms).
CHORD_S = 0.08


@dataclass(frozen=True)
class Stage:
    """Everything that does not change from slip to slip."""

    arrangement: Arrangement
    notes: Sequence[PlayedNote]
    findings: Sequence[Finding]

    @cached_property
    def score_of(self) -> dict[int, int]:
        """Score index of each played note that was right."""
        return {
            f.played: f.score
            for f in self.findings
            if f.what == "right" and f.played is not None and f.score is not None
        }

    @cached_property
    def played_for(self) -> dict[int, int]:
        """The inverse of `score_of`."""
        return {s: p for p, s in self.score_of.items()}

    @cached_property
    def left_out(self) -> dict[int, Finding]:
        """Score index of each note called missing."""
        return {f.score: f for f in self.findings if f.what == "missing" and f.score is not None}

    @cached_property
    def anchors(self) -> tuple[np.ndarray, np.ndarray]:
        """Times (seconds) and places (quarters) of the right notes, ascending in time."""
        pairs = sorted(
            (self.notes[p].onset_s, float(self.arrangement.notes[s].onset_q))
            for p, s in self.score_of.items()
        )
        return np.array([t for t, _ in pairs]), np.array([q for _, q in pairs])

    @cached_property
    def paths(self) -> dict[Hand, HandPath]:
        """Each hand's strokes."""
        left, right = HandPath(self.arrangement, "left"), HandPath(self.arrangement, "right")
        return {"left": left, "right": right}

    def place_q(self, onset_s: float) -> float:
        """Where in the score a moment of the playing was, from the right notes around it."""
        times, places = self.anchors
        return float(np.interp(onset_s, times, places)) if len(times) else 0.0

    def struck_around(self, played: int, within_s: float) -> list[int]:
        """Indices of other notes struck within a time of one."""
        at = self.notes[played].onset_s
        onsets = self._onsets
        first = bisect_left(onsets, at - within_s)
        last = bisect_right(onsets, at + within_s)
        return [self._order[k] for k in range(first, last) if self._order[k] != played]

    @cached_property
    def _order(self) -> list[int]:
        return sorted(range(len(self.notes)), key=lambda i: self.notes[i].onset_s)

    @cached_property
    def _onsets(self) -> list[float]:
        return [self.notes[i].onset_s for i in self._order]


@dataclass(frozen=True)
class Scene:
    """One slip's surroundings.

    Attributes:
        played: what was struck (None where a note was left out).
        score: index of the written note it stood for (None where nothing was written).
        onset_q: where it happened, quarters.
    """

    stage: Stage
    played: PlayedNote | None
    score: int | None
    onset_q: Fraction | float

    @property
    def arrangement(self) -> Arrangement:
        """The page."""
        return self.stage.arrangement

    @property
    def written(self) -> ScoreNote | None:
        """The note that should have been struck."""
        return None if self.score is None else self.arrangement.notes[self.score]

    @cached_property
    def hand(self) -> Hand:
        """Whose slip it was: the written note's hand, else the hand that plays nearest to it."""
        if self.written is not None:
            return self.written.hand
        pitch = self.played.pitch if self.played else 60
        near = self.written_within(2.0)
        if not near:
            return "right" if pitch >= 60 else "left"
        return min(
            near,
            key=lambda n: abs(n.pitch - pitch) + 2 * abs(float(n.onset_q) - float(self.onset_q)),
        ).hand

    def written_within(self, reach_q: float) -> list[ScoreNote]:
        """Written notes whose onset is within so many quarters."""
        table = self.arrangement.table["onset_q"]
        first = bisect_left(table, float(self.onset_q) - reach_q)
        last = bisect_right(table, float(self.onset_q) + reach_q)
        return list(self.arrangement.notes[first:last])

    def same_place_each_time(self) -> list[Fraction | float]:
        """This moment, and the same one of the page each other time the repeats bring it."""
        if not self.arrangement.bars:
            return [self.onset_q]
        here = self.arrangement.bar_at(self.onset_q)
        past = self.onset_q - here.onset_q
        return [b.onset_q + past for b in self.arrangement.bars if b.written == here.written]

    @cached_property
    def sounding(self) -> list[ScoreNote]:
        """Written notes struck or still held at this moment, a drone however long ago it began."""
        table = self.arrangement.table
        begun = int(np.searchsorted(table["onset_q"], float(self.onset_q), side="right"))
        ends_q = table["onset_q"][:begun] + table["duration_q"][:begun]
        # The table is rounded, the notes are exact.
        near = np.flatnonzero(ends_q > float(self.onset_q) - 1e-6)
        return [
            n
            for n in (self.arrangement.notes[i] for i in near.tolist())
            if n.onset_q <= self.onset_q and (n.onset_q + n.duration_q) > self.onset_q
        ]

    def own_chord(self) -> list[ScoreNote]:
        """Everything this hand has at the moment of the written note."""
        own = [] if self.written is None else [self.written]
        notes = (self.arrangement.notes[i] for i in self.together())
        return own + [n for n in notes if n.hand == self.hand]

    def next_chord(self, way: int) -> list[ScoreNote]:
        """What this hand has at its next (1) or last (-1) onset; empty where there is none."""
        notes, i = self.arrangement.notes, self.score
        if i is None:
            return []
        here = notes[i].onset_q
        chord: list[ScoreNote] = []
        while 0 <= i < len(notes):
            note = notes[i]
            if chord and note.onset_q != chord[0].onset_q:
                break
            if note.hand == self.hand and note.onset_q != here and not note.grace:
                chord.append(note)
            i += way
        return chord

    def together(self) -> list[int]:
        """Indices of the written notes struck with the written one, itself left out."""
        if self.score is None:
            return []
        table = self.arrangement.table["onset_q"]
        onset = table[self.score]
        first, last = bisect_left(table, onset), bisect_right(table, onset)
        return [i for i in range(first, last) if i != self.score]
