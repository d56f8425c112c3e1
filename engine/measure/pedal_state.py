"""The damper over time, from its controller moves: values hold until the next move."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from engine.measure.heard import Numbers
from engine.performance import DAMPER, PedalMove

#: MIDI 1.0 Detailed Specification 4.2.1: 0 to 63 off, 64 to 127 on.
ON = 64
#: For events: half-pedal values occupy a third of the time in the median performance of (n)ASAP,
#: so that a lift counts only below the one and a catch only from the other on.
SURELY_OFF, SURELY_ON = 58, 70


@dataclass(frozen=True, slots=True)
class Lift:
    """The damper up and down again: moments of crossing 64, and the lowest value between.

    `catch_s` is infinite where it never came down again.
    """

    lift_s: float
    catch_s: float
    lowest: int


@dataclass(frozen=True, eq=False)
class Damper:
    """Times of the moves and the value from each on; up before the first."""

    time_s: Numbers
    value: Numbers

    def value_at(self, time_s: npt.ArrayLike) -> Numbers:
        """CC64 value in force."""
        k = np.searchsorted(self.time_s, np.asarray(time_s, float), side="right")
        return np.asarray(np.concatenate([[0.0], self.value])[k])

    def held_until(self, time_s: float) -> float:
        """When a key let go at `time_s` is damped: then, or when the damper comes up after."""
        if float(self.value_at(time_s)) < ON:
            return time_s
        later = np.flatnonzero((self.time_s > time_s) & (self.value < ON))
        return float(self.time_s[later[0]]) if len(later) else max(time_s, float(self.time_s[-1]))

    def down_s(self, from_s: npt.ArrayLike, to_s: npt.ArrayLike) -> Numbers:
        """Seconds down (64 and over) in each [from, to)."""
        return self._total((self.value >= ON).astype(float), from_s, to_s)

    def between_s(
        self, from_s: npt.ArrayLike, to_s: npt.ArrayLike, bite: int, clear: int
    ) -> Numbers:
        """Seconds in each [from, to) spent between the bite points."""
        return self._total(((self.value > bite) & (self.value < clear)).astype(float), from_s, to_s)

    def damped_s(
        self, from_s: npt.ArrayLike, to_s: npt.ArrayLike, bite: int, clear: int
    ) -> Numbers:
        """Seconds of full damping that [from, to) amounts to: half-pedal counts in proportion."""
        lifted = np.clip((self.value - bite) / max(clear - bite, 1), 0.0, 1.0)
        start, end = np.asarray(from_s, float), np.asarray(to_s, float)
        return np.asarray(np.maximum(end - start, 0.0) - self._total(lifted, start, end))

    def _total(self, weight: Numbers, from_s: npt.ArrayLike, to_s: npt.ArrayLike) -> Numbers:
        start, end = np.asarray(from_s, float), np.asarray(to_s, float)
        if not len(self.time_s):
            return np.zeros(np.broadcast(start, end).shape)
        sums = np.concatenate([[0.0], np.cumsum(np.diff(self.time_s) * weight[:-1])])

        def until(t: Numbers) -> Numbers:
            k = np.clip(np.searchsorted(self.time_s, t, side="right") - 1, 0, None)
            return np.asarray(sums[k] + np.maximum(t - self.time_s[k], 0.0) * weight[k])

        return np.asarray(np.where(end > start, until(end) - until(start), 0.0))

    def lifts(self) -> tuple[Lift, ...]:
        """Every time the damper came up after having been down, with hysteresis."""
        out: list[Lift] = []
        down, lift_s, lowest, crossed, before = False, math.nan, 127, math.nan, 0.0
        for t, v in zip(self.time_s.tolist(), self.value.tolist(), strict=True):
            if (before >= ON) != (v >= ON):
                crossed = t
            before = v
            if down and v < SURELY_OFF:
                down, lift_s, lowest = False, crossed, int(v)
            elif not down and v >= SURELY_ON:
                if not math.isnan(lift_s):
                    out.append(Lift(lift_s, crossed, lowest))
                down, lift_s = True, math.nan
            elif not down:
                lowest = min(lowest, int(v))
        return tuple(out) if math.isnan(lift_s) else (*out, Lift(lift_s, math.inf, lowest))


def damper_steps(pedals: Sequence[PedalMove]) -> Damper:
    """The damper's moves in order; of several at one moment the last counts."""
    moves = sorted((m for m in pedals if m.controller == DAMPER), key=lambda m: m.time_s)
    return Damper(
        np.array([m.time_s for m in moves], dtype=float),
        np.array([m.value for m in moves], dtype=float),
    )
