"""The page, or a pass again, played to the player: where it is now, and when it will be over."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from engine.arrangement import Arrangement, Hands, Span, notes_in
from practice.listen.ringing_on import last_release_s
from practice.snapshot import PassRecord

#: From the asking to the first note.
BREATH_S = 0.4
#: The last notes ring on so long before the session waits again.
RING_S = 1.0


@dataclass(frozen=True, slots=True)
class Listening:
    """A span being played to the player from `start_s`, at a share of the marked tempo.

    `only`: indices of the notes that are played, None for all.
    """

    arrangement: Arrangement
    span: Span
    hands: Hands
    rate: float
    start_s: float
    only: npt.NDArray[np.intp] | None = None

    def place_q(self, now_s: float) -> float | None:
        """The last written onset that has sounded, None before the first."""
        rows = notes_in(self.arrangement, self.span, self.hands)
        if self.only is not None:
            rows = rows[np.isin(rows, self.only)]
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


@dataclass(frozen=True, slots=True)
class HearingAgain:
    """A pass played to the player again from `start_s`, the page following as it was played.

    Attributes:
        moments_s: of its notes that answer to the page, from the first stroke, ascending.
        places_q: where on the page each is; same shape. length_s: to the last release.
    """

    moments_s: npt.NDArray[np.float64]
    places_q: npt.NDArray[np.float64]
    length_s: float
    start_s: float

    def place_q(self, now_s: float) -> float | None:
        """The place last heard, None before the first."""
        k = int(np.searchsorted(self.moments_s, now_s - self.start_s, "right"))
        return float(self.places_q[k - 1]) if k else None

    @property
    def end_s(self) -> float:
        """When it is over."""
        return self.start_s + self.length_s + RING_S


def hear_again(arrangement: Arrangement, record: PassRecord, start_s: float) -> HearingAgain:
    """A pass of this session, to be heard again from `start_s`."""
    first_s = record.notes[0].onset_s if record.notes else 0.0
    told = sorted(
        (record.notes[f.played].onset_s - first_s, float(arrangement.table["onset_q"][f.score]))
        for f in record.findings
        if f.what == "right" and f.played is not None and f.score is not None
    )
    ends = [last_release_s(record.notes)] if record.notes else []
    ends += [move.time_s for move in record.pedals]
    moments, places = (np.array([row[k] for row in told], dtype=float) for k in (0, 1))
    return HearingAgain(moments, places, max(ends, default=first_s) - first_s, start_s)
