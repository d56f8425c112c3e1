"""What was heard of a span: the played notes that answer to the page, as arrays in time order."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from engine.arrangement import Arrangement, Hands, Span, notes_in, whole_span
from engine.findings import Finding
from engine.performance import PlayedNote

Indices = npt.NDArray[np.intp]
Numbers = npt.NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Heard:
    """The notes that answer to the page, one row each, in the order they were struck.

    Attributes:
        arrangement, span, hands: what they answer to.
        notes: everything played. findings: everything said of it.
        score: index of the score note (the one that stands for a unison, see `stands_in`), shape
            (n,).
        played: position in `notes`, shape (n,).
        right: False where another key was struck in its place, shape (n,).
    """

    arrangement: Arrangement
    span: Span
    hands: Hands
    notes: Sequence[PlayedNote]
    findings: Sequence[Finding]
    score: Indices
    played: Indices
    right: npt.NDArray[np.bool_]

    def _column(self, name: str) -> Numbers:
        return np.array([getattr(self.notes[i], name) for i in self.played], dtype=float)

    @cached_property
    def onset_s(self) -> Numbers:
        """Seconds, shape (n,)."""
        return self._column("onset_s")

    @cached_property
    def release_s(self) -> Numbers:
        """Seconds, nan where the key is still down, shape (n,)."""
        return self._column("release_s")

    @cached_property
    def velocity(self) -> Numbers:
        """1 to 127, shape (n,)."""
        return self._column("velocity")

    @cached_property
    def row_of(self) -> Indices:
        """Row of each score note that was played right, -1 elsewhere; of two, the later."""
        rows = np.full(len(self.arrangement.notes), -1, dtype=np.intp)
        good = np.flatnonzero(self.right)
        rows[self.score[good]] = good
        return rows

    def rows(self, score: Iterable[int] | Indices) -> Indices:
        """Rows that answer to these score notes (unisons folded), -1 where none."""
        wanted = np.asarray(score if isinstance(score, np.ndarray) else list(score), dtype=np.intp)
        if wanted.size == 0 or len(self.arrangement.notes) == 0:
            return np.full(wanted.shape, -1, dtype=np.intp)
        return np.asarray(self.row_of[self.stands[wanted]])

    @cached_property
    def stands(self) -> Indices:
        """See `stands_in`, for the hands asked for."""
        return stands_in(self.arrangement, self.hands)

    @cached_property
    def expected(self) -> Indices:
        """Score notes that the span and hands ask for: no unison twice, nothing optional."""
        table = self.arrangement.table
        inside = notes_in(self.arrangement, self.span, self.hands)
        stands = self.stands[inside] == inside
        return np.asarray(inside[stands & (table["optional"][inside] == 0)], dtype=np.intp)


def stands_in(arrangement: Arrangement, hands: Hands) -> Indices:
    """Of each note, the one that stands for its key at its moment in what the hands play.

    For both hands that is `ScoreNote.unison`. One hand alone has to strike a key that it shares
    with the other all the same: where the other's note stands for both, its own first one does.

    Returns:
        shape (len(arrangement.notes),), indices into `arrangement.notes`.
    """
    table = arrangement.table
    stands = table["unison"].astype(np.intp)
    if hands != "both":
        mine = table["hand"] == (hands == "right")
        own: dict[int, int] = {}
        for i in np.flatnonzero(mine & ~mine[stands]).tolist():
            stands[i] = own.setdefault(int(stands[i]), i)
    return stands


def hear(
    arrangement: Arrangement,
    notes: Sequence[PlayedNote],
    findings: Sequence[Finding],
    span: Span | None = None,
    hands: Hands = "both",
) -> Heard:
    """Join notes and findings.

    Args:
        arrangement: the score.
        notes: the played notes; findings refer to them by `PlayedNote.index`.
        findings: right and wrong ones are joined, the rest is kept for counting.
        span, hands: score notes outside them are left out.
    """
    rows = _joined(arrangement, notes, findings, span or whole_span(arrangement), hands)
    rows.sort(key=lambda r: (notes[r[1]].onset_s, r[0]))
    score, played, right = (list(c) for c in zip(*rows, strict=True)) if rows else ([], [], [])
    return Heard(
        arrangement,
        span or whole_span(arrangement),
        hands,
        notes,
        findings,
        np.array(score, dtype=np.intp),
        np.array(played, dtype=np.intp),
        np.array(right, dtype=bool),
    )


def _joined(
    arrangement: Arrangement,
    notes: Sequence[PlayedNote],
    findings: Sequence[Finding],
    span: Span,
    hands: Hands,
) -> list[tuple[int, int, bool]]:
    position = {note.index: i for i, note in enumerate(notes)}
    table = arrangement.table
    stands, bar, hand = stands_in(arrangement, hands), table["bar"], table["hand"]
    rows = []
    for f in findings:
        told = f.score if f.what == "right" else f.stands_for if f.what == "wrong" else None
        if told is None or f.played is None or f.played not in position:
            continue
        if not span.from_bar <= bar[told] <= span.to_bar:
            continue
        if hands == "both" or (hand[told] == 1) == (hands == "right"):
            rows.append((int(stands[told]), position[f.played], f.what == "right"))
    return rows
