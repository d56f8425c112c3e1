"""Which score notes have been heard in the pass under way, kept up note by note.

A snapshot carries every finding so far; only the last ones can have changed since the one
before, so only those are looked at again. What stays constant is the cost of a note.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from engine.findings import Finding

#: Findings at the end of the list that may still be revised, or may have come since; a finding is
#: final after three more notes or half a second, so this is ample at any speed of playing.
TAIL = 256


class HeardNotes:
    """The score notes that are right so far, and the wrong ones among the last findings."""

    def __init__(self) -> None:
        self._settled = 0
        self._right: dict[int, int] = {}
        self._tail: list[int] = []
        self._seen: Sequence[Finding] = ()

    def update(self, findings: Sequence[Finding]) -> None:
        """Take in the findings of a new snapshot."""
        if findings is self._seen:
            return
        if len(findings) < len(self._seen) or not findings:
            self._settled, self._right, self._tail = 0, {}, []
        for score in self._tail:
            self._take_off(score)
        settle_to = max(self._settled, len(findings) - TAIL)
        for finding in findings[self._settled : settle_to]:
            self._add(finding)
        self._settled = settle_to
        self._tail = [s for f in findings[settle_to:] if (s := self._add(f)) is not None]
        self._seen = findings

    def right_among(self, notes: Iterable[int]) -> frozenset[int]:
        """Those of the notes that have been heard right."""
        return frozenset(n for n in notes if n in self._right)

    def _add(self, finding: Finding) -> int | None:
        if finding.what != "right" or finding.score is None:
            return None
        self._right[finding.score] = self._right.get(finding.score, 0) + 1
        return finding.score

    def _take_off(self, score: int) -> None:
        left = self._right[score] - 1
        if left:
            self._right[score] = left
        else:
            del self._right[score]
