"""Hands-free: the soft pedal or the lowest key means "again", twice in a row "on to the next".

Off unless switched on; what means something is never heard as a note or a pedal. A machine without
a clock: events and times in, words out.
"""

from __future__ import annotations

import math
from typing import Literal

from engine.drill.sheet import Gesture
from engine.performance import SOFT, KeyEvent

#: Two presses within this are a double press; a single one is sure only after it.
DOUBLE_S = 0.6
#: The lowest key of a full keyboard (A0).
LOWEST_KEY = 21

Said = Literal["", "again", "next"]


class Gestures:
    """Listens for one gesture.

    Args:
        gesture: which, or off. lowest_key: of the player's keyboard.
    """

    def __init__(self, gesture: Gesture = "off", lowest_key: int = LOWEST_KEY) -> None:
        self._gesture = gesture
        self._lowest_key = lowest_key
        self._pressed_s = math.nan

    def is_gesture(self, event: KeyEvent) -> bool:
        """The message belongs to the gesture, and to nothing else."""
        data = event.data
        if len(data) < 3:
            return False
        kind = data[0] & 0xF0
        if self._gesture == "soft-pedal":
            return kind == 0xB0 and data[1] == SOFT
        return (
            self._gesture == "lowest-key" and kind in (0x80, 0x90) and data[1] == self._lowest_key
        )

    def hear(self, event: KeyEvent) -> Said:
        """A message of the gesture: "next" with the second press of two."""
        data = event.data
        pressed = (
            data[2] >= 64 if data[0] & 0xF0 == 0xB0 else data[0] & 0xF0 == 0x90 and data[2] > 0
        )
        if not pressed:
            return ""
        if event.time_s - self._pressed_s <= DOUBLE_S:
            self._pressed_s = math.nan
            return "next"
        self._pressed_s = event.time_s
        return ""

    def tick(self, now_s: float) -> Said:
        """Time has passed: "again" once a single press is sure to be one."""
        if now_s - self._pressed_s <= DOUBLE_S or math.isnan(self._pressed_s):
            return ""
        self._pressed_s = math.nan
        return "again"
