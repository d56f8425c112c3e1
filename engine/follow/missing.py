"""Which written notes were left out: told once the player is safely past them."""

from __future__ import annotations

from engine.follow import costs
from engine.follow.scoremap import ScoreMap


class MissingNotes:
    """Watches what is matched, and tells what was passed over.

    A note is missing only inside what was played (between the first and the furthest matched
    note of one going-through), and only if its hand is playing.

    Args:
        score: the notes to be played.
        find_hands: find out by itself whether a hand plays at all (else all notes count).
    """

    def __init__(self, score: ScoreMap, find_hands: bool) -> None:
        self._score = score
        self._find_hands = find_hands
        self._swept = self._front = -1
        self._played: set[int] = set()
        self._belief = [1.0, 1.0]

    def take(self, note: int, fresh: bool) -> list[int]:
        """A note was matched (`fresh`: after a jump). Returns notes now known to be missing."""
        m, out = self._score, []
        group = m.group[note]
        if fresh or self._front < 0:
            out = self.close()
            self._swept = self._front = group
        self._played.add(note)
        hand = m.right[note]
        self._belief[hand] = min(self._belief[hand] + 1.5, 3.0)
        if group > self._front:
            self._front = group
            out += self._sweep(m.group_q[group] - 1.5 * costs.BACK_Q)
        return out

    def close(self) -> list[int]:
        """The going-through is over: everything up to its end that was not played."""
        out = [] if self._front < 0 else self._sweep(self._score.group_q[self._front] + 1e-6)
        self._front = -1
        self._played.clear()
        return out

    def _sweep(self, upto_q: float) -> list[int]:
        m, out = self._score, []
        while self._swept <= self._front and m.group_q[self._swept] < upto_q:
            for note in m.members[self._swept]:
                if note in self._played:
                    self._played.discard(note)
                elif m.counted[note] and self._is_due(note):
                    out.append(note)
            self._swept += 1
        return out

    def _is_due(self, note: int) -> bool:
        if not self._find_hands:
            return True
        hand = self._score.right[note]
        self._belief[hand] = max(self._belief[hand] - 0.6, -3.0)
        return self._belief[hand] > 0.0
