"""The player's tempo now, from the last notes that were right, and how long silence may last."""

from __future__ import annotations

from collections import deque
from fractions import Fraction

import numpy as np

from engine.arrangement import Arrangement, Hands, Span, notes_in
from engine.measure.heard import stands_in
from engine.standing import DEFINITIONS

#: A pass has stopped as `engine.standing` defines it; where the page has a longer note or rest,
#: after its length times this and a beat more, or under a fermata its length times that.
LATE_FACTOR, FERMATA_FACTOR = 1.5, 3.0
#: Onsets that the local tempo is taken from.
LOCAL_ONSETS = 8


class Pace:
    """Seconds a quarter over the last few onsets; at first what the page and the drill say.

    Args:
        s_per_q: seconds a quarter to begin with.
    """

    def __init__(self, s_per_q: float) -> None:
        self._first_s_per_q = s_per_q
        self._onsets: deque[tuple[float, float]] = deque(maxlen=LOCAL_ONSETS)

    def hear(self, onset_q: float, onset_s: float) -> None:
        """A right note. Going back begins afresh."""
        if self._onsets and onset_q < self._onsets[-1][0] - 1e-9:
            self._onsets.clear()
        if not self._onsets or onset_q > self._onsets[-1][0] + 1e-9:
            self._onsets.append((onset_q, onset_s))

    @property
    def s_per_q(self) -> float:
        """Seconds a quarter now."""
        if len(self._onsets) < 3:
            return self._first_s_per_q
        q, s = np.array(self._onsets).T
        local = float(np.median(np.diff(s) / np.diff(q)))
        return min(max(local, self._first_s_per_q / 8), self._first_s_per_q * 8)


class Silences:
    """How long the page lets the player be silent after each place of a span.

    Args:
        arrangement, span, hands: what is practised; hands None counts both.
    """

    def __init__(self, arrangement: Arrangement, span: Span, hands: Hands | None) -> None:
        table = arrangement.table
        rows = notes_in(arrangement, span, hands or "both")
        #: Of each note, the one that stands for its key in these hands.
        self.stands = stands_in(arrangement, hands or "both")
        rows = rows[(table["optional"][rows] == 0) & (self.stands[rows] == rows)]
        onset_q = table["onset_q"][rows]
        self._onsets_q = np.unique(onset_q)
        self._ends_q = float((onset_q + table["duration_q"][rows]).max(initial=0.0))
        self._beat_q = [
            (float(bar.onset_q), float(Fraction(4, bar.beat_unit))) for bar in arrangement.bars
        ]
        self._fermatas_q = [float(m.onset_q) for m in arrangement.marks if m.kind == "fermata"]
        self.last_q = float(self._onsets_q[-1]) if len(self._onsets_q) else 0.0
        self.last_notes = frozenset(int(i) for i in rows[onset_q == self.last_q])
        self.size = len(rows)

    def beat_q(self, place_q: float) -> float:
        """The length of a beat at a place, quarters."""
        starts = [q for q, _ in self._beat_q]
        k = int(np.searchsorted(starts, place_q + 1e-9, side="right")) - 1
        return self._beat_q[max(k, 0)][1] if self._beat_q else 1.0

    def allowed_s(self, place_q: float | None, s_per_q: float) -> float:
        """Seconds without a key struck after which the player has stopped.

        Args:
            place_q: where the last note was, None where it is not known.
            s_per_q: the local tempo.
        """
        if place_q is None:
            return max(DEFINITIONS.stop_s, DEFINITIONS.stop_beats * s_per_q)
        beat_s = self.beat_q(place_q) * s_per_q
        gap_q = self._next_q(place_q) - place_q
        held = any(place_q - 1e-9 <= q < place_q + max(gap_q, 1e-9) for q in self._fermatas_q)
        written_s = gap_q * s_per_q * (FERMATA_FACTOR if held else LATE_FACTOR) + beat_s
        return max(DEFINITIONS.stop_s, DEFINITIONS.stop_beats * beat_s, written_s)

    def _next_q(self, place_q: float) -> float:
        k = int(np.searchsorted(self._onsets_q, place_q + 1e-9, side="right"))
        return float(self._onsets_q[k]) if k < len(self._onsets_q) else max(self._ends_q, place_q)
