"""The page played to the player: where it is now, and when it will be over."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from engine.arrangement import Arrangement, Hands, Span, notes_in

#: From the asking to the first note.
BREATH_S = 0.4
#: The last notes ring on so long before the session waits again.
RING_S = 1.0


@dataclass(frozen=True, slots=True)
class Listening:
    """A span being played to the player from `start_s`, at a share of the marked tempo."""

    arrangement: Arrangement
    span: Span
    hands: Hands
    rate: float
    start_s: float

    def place_q(self, now_s: float) -> float | None:
        """The last written onset that has sounded, None before the first."""
        rows = notes_in(self.arrangement, self.span, self.hands)
        onset_q = np.unique(self.arrangement.table["onset_q"][rows])
        into_s = (now_s - self.start_s) * self.rate
        from_s = float(self.arrangement.seconds_at(self._from_q))
        k = int(np.searchsorted(self.arrangement.seconds_at(onset_q), from_s + into_s, "right"))
        return float(onset_q[k - 1]) if k else None

    @property
    def end_s(self) -> float:
        """When it is over."""
        to_q = float(self.span.quarters(self.arrangement)[1])
        from_s, to_s = self.arrangement.seconds_at([self._from_q, to_q])
        return self.start_s + float(to_s - from_s) / self.rate + RING_S

    @property
    def _from_q(self) -> float:
        return float(self.span.quarters(self.arrangement)[0])
