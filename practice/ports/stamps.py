"""When a key was struck: the callback's own time and the driver's delta, made into one stamp.

The callback runs late by as long as the interpreter was busy; the driver's delta was taken before
that, but it says only how long since the message before. Deltas added up run exactly beside the
clock, a constant behind; that constant is the smallest recent (callback - sum of deltas), for a
callback is never early. Where the two part (the driver left something out of its deltas) the
callback's time is taken until they agree again. Every stamp carries what it may be off by.
"""

from __future__ import annotations

from collections import deque

#: How far back the anchor looks; a drift of 100 parts in a million moves it by 0.8 ms meanwhile.
WINDOW_S = 8.0
#: After a silence this long the anchor is no longer trusted.
SILENCE_S = 60.0
#: Further apart than this, driver and callback have parted ...
PART_S = 0.1
#: ... and so many such messages in a row, their callbacks spread over so long and equally far from
#: the sum, mean that the sum has slipped for good. (After a stall of the interpreter they come in
#: one burst instead, and each is less late than the one before.)
PARTED_MESSAGES, PARTED_S, PARTED_ALIKE_S = 3, 0.2, 0.02
#: How late a callback is taken to be, usually, before any was seen.
LATENESS_FIRST_S = 0.002


class StampClock:
    """Stamps the messages of one opened port, in the order they come.

    Args:
        grain_s: the step in which the driver's own times come (a JACK period, a millisecond).
    """

    def __init__(self, grain_s: float = 0.001) -> None:
        self._half_grain_s = grain_s / 2
        self._sum_s = 0.0
        self._offsets: deque[tuple[float, float]] = deque()
        self._parted: list[tuple[float, float]] = []
        self._seen = 0

    def stamp(self, callback_s: float, delta_s: float) -> tuple[float, float]:
        """(time, half width of its uncertainty), seconds, for a message.

        Args:
            callback_s: the clock when the callback ran.
            delta_s: the driver's time since the message before (0 for the first).
        """
        self._sum_s += max(delta_s, 0.0)
        offset_s = callback_s - self._sum_s
        late_s = offset_s - self._anchor_s(callback_s, offset_s)
        if late_s > PART_S:
            return self._stamp_parted(callback_s, offset_s, late_s)
        self._parted.clear()
        self._remember(callback_s, offset_s)
        return callback_s - late_s, self._half_grain_s + self._anchor_doubt_s()

    def _anchor_s(self, callback_s: float, offset_s: float) -> float:
        while len(self._offsets) > 1 and self._offsets[0][0] < callback_s - WINDOW_S:
            self._offsets.popleft()
        if self._offsets and self._offsets[-1][0] < callback_s - SILENCE_S:
            self._forget()
        return min(self._offsets[0][1], offset_s) if self._offsets else offset_s

    def _forget(self) -> None:
        self._offsets.clear()
        self._seen = 0

    def _remember(self, callback_s: float, offset_s: float) -> None:
        """Keep offsets that may yet be the smallest in the window: they rise from the left."""
        while self._offsets and self._offsets[-1][1] >= offset_s:
            self._offsets.pop()
        self._offsets.append((callback_s, offset_s))
        self._seen += 1

    def _anchor_doubt_s(self) -> float:
        """How far above the truth the anchor may be: it shrinks as offsets are seen above it."""
        return LATENESS_FIRST_S / max(self._seen, 1)

    def _stamp_parted(
        self, callback_s: float, offset_s: float, late_s: float
    ) -> tuple[float, float]:
        self._parted.append((callback_s, offset_s))
        if self._has_slipped():
            self._forget()
            self._remember(callback_s, offset_s)
            self._parted.clear()
        return callback_s - late_s / 2, late_s / 2 + self._half_grain_s

    def _has_slipped(self) -> bool:
        if len(self._parted) < PARTED_MESSAGES:
            return False
        callbacks_s, offsets_s = zip(*self._parted[-PARTED_MESSAGES:], strict=True)
        alike = max(offsets_s) - min(offsets_s) <= PARTED_ALIKE_S
        return bool(alike and callbacks_s[-1] - callbacks_s[0] >= PARTED_S)
