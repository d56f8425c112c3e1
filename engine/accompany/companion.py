"""The other hand, following: which of its notes come next, and when. Pure; fed note by note.

Between two onsets of the player the other hand's notes are placed by prediction, for nobody has
said yet when the next onset will be. What falls on the player's next onset is placed by prediction
too where that is sure enough, and else waits for the player. Nothing beyond it is played before
the player has come: it waits when they wait and goes on when they go on.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Collection
from dataclasses import dataclass

import numpy as np

from engine.accompany.clicks import find_beat_q
from engine.accompany.remembered import Remembered
from engine.accompany.timing import HABITS, Habits
from engine.accompany.trust import TrustedTiming
from engine.arrangement import Arrangement, Hands, Span, notes_in

#: What falls together with the player is ventured ahead of them only when surer than this.
SURE_S = 0.04
#: Softer than the player by so many steps of velocity (about 3 dB).
SOFTER = 12
SOFTEST, LOUDEST = 18, 100
#: In a run, onsets nearer than this, one of the player's may be missing: what falls on it is
#: played, and what follows for so long. In slower music they may be waiting.
RUN_S, CARRY_S = 0.4, 0.1
#: Between the notes of a broken chord, and from a grace note to its main note, seconds.
ROLL_S, GRACE_S = 0.035, 0.08
#: A break this many times as long as was expected is a pause: the course of tempo begins anew.
PAUSE_FACTOR, PAUSE_LEAST_S = 3.0, 1.5
#: So many overdue notes are played at once when the player comes early; of more, the last ones.
MOST_OVERDUE = 3
#: So many notes at the most are played beyond an onset that may be missing.
MOST_CARRIED = 6
#: So many onsets ahead a key may be one that was to come.
AHEAD = 2
#: Two notes so near to each other bear out a leap.
LEAP_Q = 2.0
#: A finger may be so late for an onset so near that others have passed.
LATE_FINGER_S, NEAR_Q = 0.2, 0.5
#: Notes of one chord follow each other, rolled ever so slowly, within this.
ROLLED_S = 0.3
_HEARD_LEVELS = 12


@dataclass(frozen=True, slots=True)
class Cue:
    """A note to be played: score index, pitch, velocity, and from when to when (seconds)."""

    score: int
    pitch: int
    velocity: int
    time_s: float
    until_s: float


class Companion:
    """Follows one player through a span.

    Args:
        arrangement, span: what is played. hands: the player's; the other's notes are cued.
        rate: share of the marked tempo that is expected at first.
        remembered: timing of earlier takes, if any.
        only: of the other hand's notes, only these are cued; None for all.
        softer: than the player, in steps of velocity.
        habits: of tempo.
    """

    def __init__(
        self,
        arrangement: Arrangement,
        span: Span,
        hands: Hands,
        rate: float = 1.0,
        remembered: Remembered | None = None,
        only: Collection[int] | None = None,
        softer: int = SOFTER,
        habits: Habits = HABITS,
    ) -> None:
        self._table = arrangement.table
        self._remembered = remembered
        self._softer = softer
        bar = arrangement.bars[span.from_bar]
        s_per_q = 60.0 / arrangement.tempo_at(bar.onset_q).qpm / rate
        beat_q = float(find_beat_q(arrangement, bar))
        self._timing = TrustedTiming(4.0 * bar.beats / bar.beat_unit, beat_q, s_per_q, habits)
        mine = self._mine = self._played(notes_in(arrangement, span, hands))
        other: Hands = "left" if hands == "right" else "right"
        theirs = set() if hands == "both" else set(notes_in(arrangement, span, other).tolist())
        taken = {(self._table["onset_q"][i], self._table["pitch"][i]) for i in mine}
        self._notes = [
            i
            for i in self._played(np.array(sorted(theirs), dtype=np.intp))
            if (self._table["onset_q"][i], self._table["pitch"][i]) not in taken
            and (only is None or i in only)
        ]
        self._notes_q = self._table["onset_q"][self._notes]
        self._at = {score: k for k, score in enumerate(self._notes)}
        self._player_q = np.unique(self._table["onset_q"][mine])
        self._levels: deque[int] = deque(maxlen=_HEARD_LEVELS)
        self._place_q: float | None = None
        self._place_s, self._top = 0.0, 0
        self._doubted: tuple[float, float] | None = None
        self._next = 0
        self._cues: list[Cue] = []

    def hear(self, onset_q: float, onset_s: float, pitch: int, velocity: int) -> list[Cue]:
        """The player was heard at a place of the score (quarters).

        Returns:
            All cues from now on; they stand in place of those said before and not yet played.
            A cue whose time is not after `onset_s` is to be played at once.
        """
        self._levels.append(velocity)
        onset_q = self._or_expected(onset_q, onset_s, pitch)
        if self._is_straggler(onset_q, onset_s, pitch):
            return self._later_than(onset_s)
        if self._is_same_chord(onset_q, onset_s):
            self._top = pitch
        elif self._has_leapt(onset_q, onset_s):
            if not self._is_borne_out(onset_q, onset_s):
                self._doubted = (onset_q, onset_s)
                return self._later_than(onset_s)
            self._begin_at(onset_q)
        elif self._has_paused(onset_q, onset_s):
            self._begin_at(onset_q)
        self._doubted = None
        self._place_q, self._place_s, self._top = onset_q, onset_s, pitch
        self._timing.hear(float(self._bend(onset_q)), onset_s)
        self._count_played(onset_s)
        self._cues = self._plan(onset_q, onset_s)
        return self._later_than(-np.inf)

    def _later_than(self, onset_s: float) -> list[Cue]:
        return [cue for cue in self._cues if cue.time_s > onset_s]

    def _is_straggler(self, onset_q: float, onset_s: float, pitch: int) -> bool:
        """A lower note of the chord just struck, or one that comes too late to move the time: of
        the same chord, or of an onset already passed."""
        if self._place_q is None:
            return False
        after_s = onset_s - self._place_s
        if onset_q == self._place_q and ROLLED_S < after_s <= PAUSE_LEAST_S:
            return True
        if after_s > LATE_FINGER_S:
            return False
        if onset_q == self._place_q:
            return pitch <= self._top
        return self._place_q - NEAR_Q <= onset_q < self._place_q

    def _is_same_chord(self, onset_q: float, onset_s: float) -> bool:
        return self._place_q == onset_q and onset_s - self._place_s <= PAUSE_LEAST_S

    def _or_expected(self, onset_q: float, onset_s: float, pitch: int) -> float:
        """A place that would be a leap, unless the key is one that was to come here.

        Where passages are alike, going on is likelier than leaping, until a key contradicts it.
        """
        rested = onset_s - self._place_s > PAUSE_LEAST_S
        if self._place_q is None or rested or not self._has_leapt(onset_q, onset_s):
            return onset_q
        ahead = self._player_q[self._player_q > self._place_q + 1e-9][:AHEAD]
        here = self._table[self._mine]
        places = [*ahead.tolist(), self._place_q]
        if onset_s - self._place_s <= LATE_FINGER_S:
            places = [self._place_q, *ahead.tolist()]
        for at_q in places:
            if pitch in here["pitch"][here["onset_q"] == at_q]:
                return float(at_q)
        return onset_q

    def _has_leapt(self, onset_q: float, onset_s: float) -> bool:
        """The player is said to be further back, or further on than time allows."""
        if self._place_q is None:
            return False
        expected_s = (onset_q - self._place_q) * self._timing.s_per_q
        too_soon = onset_s - self._place_s < expected_s / PAUSE_FACTOR - LATE_FINGER_S
        return onset_q <= self._place_q or too_soon

    def _is_borne_out(self, onset_q: float, onset_s: float) -> bool:
        """A leap is believed after a silence, or once a second note is near the first of it."""
        if onset_s - self._place_s > PAUSE_LEAST_S:
            return True
        if self._doubted is None:
            return False
        doubted_q, doubted_s = self._doubted
        return 0 <= onset_q - doubted_q <= LEAP_Q and onset_s - doubted_s <= PAUSE_LEAST_S

    def _has_paused(self, onset_q: float, onset_s: float) -> bool:
        if self._place_q is None:
            return False
        expected_s = (onset_q - self._place_q) * self._timing.s_per_q
        return onset_s - self._place_s > max(PAUSE_FACTOR * expected_s, PAUSE_LEAST_S)

    def _begin_at(self, onset_q: float) -> None:
        """The course of tempo begins anew, here; what was cued is dropped."""
        self._timing.restart()
        self._next = int(np.searchsorted(self._notes_q, onset_q - 1e-9))
        self._cues = []

    def _count_played(self, now_s: float) -> None:
        """Cues whose time has come have been played."""
        played = {cue.score for cue in self._cues if cue.time_s <= now_s}
        if played:
            self._next = max(self._next, *(self._at[score] + 1 for score in played))

    def _plan(self, here_q: float, now_s: float) -> list[Cue]:
        after = self._player_q[self._player_q > here_q + 1e-9]
        next_q = float(after[0]) if len(after) else np.inf
        until_s = self._carry_until_s(next_q, now_s)
        chosen = list(range(self._first_worth_playing(here_q), self._end(next_q, until_s)))
        if not chosen:
            return []
        notes_q = self._notes_q[chosen]
        time_s, spread_s = self._timing.predict(self._bend(notes_q))
        time_s = np.where(notes_q <= here_q + 1e-9, now_s, np.maximum(time_s, now_s))
        unsure = (np.abs(notes_q - next_q) < 1e-9) & (spread_s > SURE_S)
        time_s = np.maximum.accumulate(time_s)
        keep = ~unsure | (until_s > now_s)
        ends_q = notes_q + self._table["duration_q"][[self._notes[k] for k in chosen]]
        ends_s, _ = self._timing.predict(self._bend(ends_q))
        return [
            self._cue(self._notes[k], float(at), float(end))
            for k, at, end, kept in zip(chosen, time_s, ends_s, keep, strict=True)
            if kept
        ]

    def _carry_until_s(self, next_q: float, now_s: float) -> float:
        """Up to when notes are played though the player's next onset may not come; `now_s` where
        they would be waited for."""
        if next_q == np.inf:
            return now_s
        next_s = float(self._timing.predict(self._bend(next_q))[0][0])
        return next_s + CARRY_S if next_s - now_s < RUN_S else now_s

    def _end(self, next_q: float, until_s: float) -> int:
        """One past the last note that is played before the player is heard again."""
        end = int(np.searchsorted(self._notes_q, next_q + 1e-9))
        beyond_q = self._notes_q[end : end + MOST_CARRIED]
        if not len(beyond_q):
            return end
        time_s, _ = self._timing.predict(self._bend(beyond_q))
        return end + int(np.searchsorted(time_s, until_s))

    def _first_worth_playing(self, here_q: float) -> int:
        """Of notes that are overdue, a few are caught up with; of many, only the last."""
        here = int(np.searchsorted(self._notes_q, here_q - 1e-9))
        if here - self._next <= MOST_OVERDUE:
            return self._next
        last_q = self._notes_q[here - 1]
        return int(np.searchsorted(self._notes_q, last_q - 1e-9))

    def _cue(self, score: int, time_s: float, until_s: float) -> Cue:
        row = self._table[score]
        if row["grace"]:
            time_s, until_s = time_s - GRACE_S, time_s
        elif row["arpeggiated"]:
            time_s += ROLL_S * self._rank(score)
        level = int(np.clip(np.mean(self._levels) - self._softer, SOFTEST, LOUDEST))
        return Cue(score, int(row["pitch"]), level, time_s, max(until_s, time_s + 0.05))

    def _rank(self, score: int) -> int:
        """How many notes of its chord lie below it."""
        row = self._table[score]
        chord = self._table[[i for i in self._notes if i != score]]
        together = (chord["onset_q"] == row["onset_q"]) & (chord["pitch"] < row["pitch"])
        return int(np.count_nonzero(together & (chord["arpeggiated"] == 1)))

    def _played(self, notes: np.ndarray) -> list[int]:
        """Of notes, those that are struck: one of each unison. Small print is played, too."""
        rows = self._table[notes]
        inside = set(notes.tolist())
        return [
            int(i)
            for i, row in zip(notes, rows, strict=True)
            if row["unison"] == i or int(row["unison"]) not in inside
        ]

    def _bend(self, onset_q: float | np.ndarray) -> np.ndarray:
        if self._remembered is None:
            return np.asarray(onset_q, dtype=float)
        return self._remembered.bend(onset_q)
