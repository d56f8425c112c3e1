"""What still rings: the level of each note at a later moment, from key, pedal and register.

A note starts at a level by its velocity and falls at a rate by its pitch only (Cheng, Dixon &
Mauch 2015, ICASSP: dynamics have no significant effect on the rate); once its key is up it
falls at the dampers' rate for as long as they touch the strings, in proportion under a half pedal.
Striking the key again replaces it. The top octave and a half has no dampers.

The rates are uncertain (orders of magnitude after Fletcher & Rossing, The Physics of Musical
Instruments, ch. 12, from memory): every figure built on them is given for decays half and twice
as fast too.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from engine.measure.heard import Indices, Numbers
from engine.measure.instrument import Instrument
from engine.measure.pedal_state import Damper
from engine.performance import PlayedNote

#: Seconds to fall by 60 dB undamped, by pitch; between them by the logarithm.
RING_T60_S = ((21, 25.0), (36, 20.0), (60, 11.0), (84, 4.0), (96, 1.5), (108, 0.7))
#: The same with the dampers on the strings.
DAMPED_T60_S = ((21, 0.6), (36, 0.4), (60, 0.25), (88, 0.15))
#: From this pitch up there are no dampers.
UNDAMPED_FROM = 90
#: Nothing is called softer than this far under what it is compared with.
FLOOR_DB = 60.0


def ring_rate(pitch: Numbers) -> Numbers:
    """dB a second that an undamped string loses."""
    return np.asarray(60.0 / _between(RING_T60_S, pitch))


def damped_rate(pitch: Numbers) -> Numbers:
    """dB a second that a damped string loses; nought where there is no damper."""
    rate = 60.0 / _between(DAMPED_T60_S, pitch)
    return np.asarray(np.where(pitch >= UNDAMPED_FROM, 0.0, rate))


def _between(table: tuple[tuple[int, float], ...], pitch: Numbers) -> Numbers:
    keys, values = zip(*table, strict=True)
    return np.asarray(np.exp(np.interp(pitch, keys, np.log(values))))


@dataclass(frozen=True, eq=False)
class Ringing:
    """All notes of a take, ready to be asked for their levels; arrays of shape (notes,)."""

    pitch: Numbers
    onset_s: Numbers
    release_s: Numbers
    struck_again_s: Numbers
    start_db: Numbers
    damper: Damper
    bite: int
    clear: int

    def levels_db(self, which: Indices, at_s: float, speed: float = 1.0) -> Numbers:
        """Levels at a moment, -inf for what does not sound; `speed` scales the ringing's decay."""
        at = np.full(len(which), float(at_s))
        let_go = np.minimum(self.release_s[which], at)
        damped = self.damper.damped_s(let_go, at, self.bite, self.clear)
        pitch = self.pitch[which]
        lost = ring_rate(pitch) * speed * (at - self.onset_s[which])
        level = self.start_db[which] - lost - damped_rate(pitch) * damped
        sounds = (self.onset_s[which] <= at) & (at < self.struck_again_s[which])
        return np.where(sounds, level, -np.inf)


def let_ring(
    notes: Sequence[PlayedNote], damper: Damper, instrument: Instrument | None = None
) -> Ringing:
    """Prepare a take; keys still down are held to the end."""
    known = instrument or Instrument()
    pitch = np.array([n.pitch for n in notes], dtype=float)
    onset = np.array([n.onset_s for n in notes], dtype=float)
    release = np.array([n.release_s for n in notes], dtype=float)
    again = np.full(len(notes), np.inf)
    for key in np.unique(pitch):
        at = np.flatnonzero(pitch == key)
        at = at[np.argsort(onset[at], kind="stable")]
        again[at[:-1]] = onset[at[1:]]
    return Ringing(
        pitch,
        onset,
        np.where(np.isfinite(release), release, np.inf),
        again,
        np.array([n.velocity for n in notes], dtype=float) * known.db_per_velocity,
        damper,
        known.bite,
        known.clear,
    )


def together_db(levels_db: Numbers) -> float:
    """Level of several sounds at once (their powers added), -inf for none."""
    if not len(levels_db) or not np.isfinite(levels_db).any():
        return float("-inf")
    # Against the loudest: what rang for minutes is too soft for its power to be a number.
    loudest = levels_db.max()
    return float(loudest + 10.0 * np.log10(np.sum(10.0 ** ((levels_db - loudest) / 10.0))))


def under_db(old_db: float, new_db: float) -> float:
    """How far the old is under the new, at most `FLOOR_DB`; negative: over it."""
    if not np.isfinite(old_db) or not np.isfinite(new_db):
        return FLOOR_DB
    return float(min(new_db - old_db, FLOOR_DB))
