"""When the next notes belong, from when the last ones came: the player's tempo as a random curve.

The time of a note is the integral of the tempo up to it. The tempo's share above or below its usual
value is taken to be a Gaussian process of three parts: one that wanders over phrases, one that
changes within a beat or two, and one that comes again bar by bar (the rubato of a place in the
bar, learned from earlier bars of the same take). The player's onsets are that curve, read off with
an error of the finger. Prediction is then regression (Rasmussen & Williams, Gaussian Processes for
Machine Learning, 2006, ch. 2); its spread says how far it can be trusted.

For any stationary tempo with covariance k(u), two integrals from 0 to s and to t covary as
G(s) + G(t) - G(s - t), where G is the second integral of k: one table serves everything.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Habits:
    """How tempo moves; shares are of the usual tempo, lengths in quarters.

    The values were chosen as one set for all recordings, by the mean over pieces; the figures
    change little within a factor of two of any of them.

    Attributes:
        phrase, phrase_q: size of the slow wandering, and over what length it is forgotten.
        beat, beat_q: the same for the quick changes.
        place, place_width, place_q: what comes again each bar; how narrow a place is (in the
            radians of a full bar); over what length it is forgotten.
        finger_s, finger_share: error of an onset, seconds and share of a quarter.
        doubt: of the usual tempo itself.
        onsets: how many are looked back on. usual: of how many the usual tempo is the median.
    """

    phrase: float = 0.15
    phrase_q: float = 16.0
    beat: float = 0.25
    beat_q: float = 1.0
    place: float = 0.2
    place_width: float = 0.3
    place_q: float = 64.0
    finger_s: float = 0.015
    finger_share: float = 0.04
    doubt: float = 0.1
    onsets: int = 48
    usual: int = 32


HABITS = Habits()
#: Variance (seconds squared) of where the origin of time lies: anywhere.
_ANYWHERE = 4.0
_STEP_Q, _REACH_Q = 1.0 / 16.0, 400.0
#: Slopes beyond this factor of the usual tempo are pauses or slips of the match, not tempo.
_ODD = 4.0


class Timing:
    """The tempo of one player, as heard so far.

    Args:
        bar_q: length of a bar, quarters.
        s_per_q: seconds a quarter before anything was heard.
        habits: see there.
    """

    def __init__(self, bar_q: float, s_per_q: float, habits: Habits = HABITS) -> None:
        self._habits = habits
        self._table = _integrate_twice(habits, bar_q)
        self._first_s_per_q = s_per_q
        self._q: list[float] = []
        self._s: list[float] = []
        self._slopes: list[float] = []

    @property
    def s_per_q(self) -> float:
        """The usual tempo, seconds a quarter."""
        slopes = self._slopes
        if len(slopes) < 3:
            slopes = [*slopes, self._first_s_per_q]
        return float(np.median(slopes))

    def hear(self, onset_q: float, onset_s: float) -> None:
        """The player's onset at a place; a place heard again replaces what was said of it."""
        if self._q and onset_q <= self._q[-1]:
            if onset_q < self._q[-1]:
                self.restart()
            else:
                self._s[-1] = onset_s
                return
        if self._q:
            self._note_slope((onset_s - self._s[-1]) / (onset_q - self._q[-1]))
        self._q.append(onset_q)
        self._s.append(onset_s)
        del self._q[: -self._habits.onsets], self._s[: -self._habits.onsets]

    def restart(self) -> None:
        """The player went elsewhere or paused: the usual tempo is kept, its course is not."""
        self._q.clear()
        self._s.clear()

    def predict(self, onset_q: npt.ArrayLike) -> tuple[Floats, Floats]:
        """(seconds, standard deviation) of moments of the score, shape as given (one axis).

        Raises:
            ValueError: nothing was heard yet.
        """
        if not self._q:
            raise ValueError("no onset heard yet")
        usual = self.s_per_q
        s = np.array(self._q) - self._q[-1]
        z = np.atleast_1d(np.asarray(onset_q, dtype=float)) - self._q[-1]
        late = np.array(self._s) - self._s[-1] - usual * s
        noise = self._habits.finger_s**2 + (self._habits.finger_share * usual) ** 2
        known = self._covary(s, s, usual) + noise * np.eye(len(s))
        across = self._covary(z, s, usual)
        weights = np.linalg.solve(known, np.column_stack([late, across.T]))
        spread = np.diag(self._covary(z, z, usual)) - np.einsum("ij,ji->i", across, weights[:, 1:])
        mean = self._s[-1] + usual * z + across @ weights[:, 0]
        return mean, np.sqrt(np.maximum(spread, 0.0) + noise)

    def smooth(self, q: Floats, s: Floats, onset_q: Floats) -> Floats:
        """The same curve in hindsight: when places between known onsets were, seconds.

        Args:
            q, s: places ascending and their onsets, same shape. onset_q: the places asked for.
        """
        usual = float(np.median(np.diff(s) / np.diff(q)))
        known, asked = q - q[0], onset_q - q[0]
        noise = self._habits.finger_s**2 + (self._habits.finger_share * usual) ** 2
        covariance = self._covary(known, known, usual) + noise * np.eye(len(q))
        weights = np.linalg.solve(covariance, s - s[0] - usual * known)
        return np.asarray(s[0] + usual * asked + self._covary(asked, known, usual) @ weights)

    def _note_slope(self, slope: float) -> None:
        usual = self.s_per_q
        if usual / _ODD < slope < usual * _ODD or len(self._slopes) < 3:
            self._slopes.append(slope)
            del self._slopes[: -self._habits.usual]

    def _covary(self, s: Floats, t: Floats, usual: float) -> Floats:
        """Covariance of the times of places, seconds squared, shape (len(s), len(t))."""
        one, other, between = (self._look(x) for x in (s, t, s[:, None] - t[None, :]))
        curve = one[:, None] + other[None, :] - between
        slope = self._habits.doubt**2 * np.outer(s, t)
        return np.asarray(usual**2 * (curve + slope) + _ANYWHERE)

    def _look(self, lag_q: Floats) -> Floats:
        lag = np.minimum(np.abs(lag_q) / _STEP_Q, len(self._table) - 2)
        low = lag.astype(int)
        return np.asarray(
            self._table[low] + (lag - low) * (self._table[low + 1] - self._table[low])
        )


def _integrate_twice(habits: Habits, bar_q: float) -> Floats:
    """G on a grid of _STEP_Q quarters."""
    u = np.arange(0.0, _REACH_Q, _STEP_Q)
    turn = np.sin(np.pi * u / bar_q)
    k = habits.phrase**2 * np.exp(-u / habits.phrase_q)
    k += habits.beat**2 * np.exp(-u / habits.beat_q)
    place = np.exp(-2 * turn**2 / habits.place_width**2 - u / habits.place_q)
    k += habits.place**2 * place
    once = np.concatenate([[0.0], np.cumsum((k[1:] + k[:-1]) / 2) * _STEP_Q])
    return np.concatenate([[0.0], np.cumsum((once[1:] + once[:-1]) / 2) * _STEP_Q])
