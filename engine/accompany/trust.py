"""Two ways of telling when the next notes belong, each trusted as it has lately served.

Some players let a tempo wander about a usual one, some take a new one and keep it. The first are
foretold best by the random curve of `engine.accompany.timing`, the second by holding the tempo of
the last beats. Which it is shows in the player's own onsets: before each is taken in, both say
when it should have come. Their weights follow from how far off they were, the latest counting most
(the exponentially weighted forecaster: Cesa-Bianchi & Lugosi, Prediction, Learning, and Games,
2006, ch. 2; ours forgets, and counts a miss by its share of the mean of both).
"""

from __future__ import annotations

from typing import Protocol

import numpy as np
import numpy.typing as npt

from engine.accompany.timing import HABITS, Floats, Habits, Timing

#: Of what was held against each before, so much is left after another onset.
KEPT = 0.9
#: How sharply the weights follow; how much a single miss can count; seconds that are no miss.
SHARPNESS, MOST, SLIGHT_S = 0.5, 3.0, 0.01
#: The tempo is held over so many beats.
HELD_BEATS = 2.0


class Foreteller(Protocol):
    """Hears onsets of the score (quarters) in seconds, and tells when others belong."""

    def hear(self, onset_q: float, onset_s: float) -> None:
        """The player's onset at a place; a place heard again replaces what was said of it."""
        ...

    def restart(self) -> None:
        """The player went elsewhere or paused: the course of tempo begins anew."""
        ...

    def predict(self, onset_q: npt.ArrayLike) -> tuple[Floats, Floats]:
        """(seconds, standard deviation) of moments of the score."""
        ...


class HeldTempo:
    """The tempo of the last so many quarters, held.

    Args:
        length_q: of those quarters. s_per_q: seconds a quarter before anything was heard.
    """

    def __init__(self, length_q: float, s_per_q: float) -> None:
        self._length_q = length_q
        self._s_per_q = s_per_q
        self._q: list[float] = []
        self._s: list[float] = []

    def hear(self, onset_q: float, onset_s: float) -> None:
        """See `Foreteller`."""
        if self._q and onset_q < self._q[-1]:
            self.restart()
        if self._q and onset_q == self._q[-1]:
            self._s[-1] = onset_s
        else:
            self._q.append(onset_q)
            self._s.append(onset_s)
        while len(self._q) > 2 and self._q[1] <= self._q[-1] - self._length_q:
            del self._q[0], self._s[0]
        if len(self._q) > 1 and self._s[-1] > self._s[0]:
            self._s_per_q = (self._s[-1] - self._s[0]) / (self._q[-1] - self._q[0])

    def restart(self) -> None:
        """See `Foreteller`; the tempo is kept until another can be told."""
        self._q.clear()
        self._s.clear()

    def predict(self, onset_q: npt.ArrayLike) -> tuple[Floats, Floats]:
        """See `Foreteller`; the spread is not known here."""
        z = np.atleast_1d(np.asarray(onset_q, dtype=float)) - self._q[-1]
        return self._s[-1] + self._s_per_q * z, np.full(len(z), np.nan)


class TrustedTiming:
    """A random curve and a held tempo, weighted by how well each foretold this player.

    Args:
        bar_q, beat_q: length of a bar and of a beat, quarters.
        s_per_q: seconds a quarter before anything was heard.
        habits: of the curve.
    """

    def __init__(
        self, bar_q: float, beat_q: float, s_per_q: float, habits: Habits = HABITS
    ) -> None:
        self._curve = Timing(bar_q, s_per_q, habits)
        self._tellers: tuple[Foreteller, ...] = (
            self._curve,
            HeldTempo(HELD_BEATS * beat_q, s_per_q),
        )
        self._held_against = np.zeros(len(self._tellers))
        self._last_q: float | None = None

    @property
    def s_per_q(self) -> float:
        """The usual tempo, seconds a quarter."""
        return self._curve.s_per_q

    @property
    def weights(self) -> Floats:
        """How far the curve and the held tempo are trusted; together 1."""
        weights = np.exp(-SHARPNESS * (self._held_against - self._held_against.min()))
        return np.asarray(weights / weights.sum())

    def hear(self, onset_q: float, onset_s: float) -> None:
        """See `Foreteller`."""
        if self._last_q is not None and onset_q > self._last_q:
            self._weigh(onset_q, onset_s)
        for teller in self._tellers:
            teller.hear(onset_q, onset_s)
        self._last_q = onset_q

    def restart(self) -> None:
        """See `Foreteller`; the trust is kept."""
        self._last_q = None
        for teller in self._tellers:
            teller.restart()

    def predict(self, onset_q: npt.ArrayLike) -> tuple[Floats, Floats]:
        """See `Foreteller`; the spread is the curve's."""
        told = [teller.predict(onset_q) for teller in self._tellers]
        return np.asarray(self.weights @ np.array([mean for mean, _ in told])), told[0][1]

    def _weigh(self, onset_q: float, onset_s: float) -> None:
        told = np.array([teller.predict(onset_q)[0][0] for teller in self._tellers])
        miss = np.abs(told - onset_s)
        share = np.minimum(miss / (miss.mean() + SLIGHT_S), MOST)
        self._held_against = KEPT * self._held_against + share
