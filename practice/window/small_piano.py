"""The few keys of the computer that serve as a small piano where no keyboard is connected."""

from __future__ import annotations

import pygame

from practice.snapshot import Command
from practice.window.gestures import KEY_VELOCITY, octave_step, piano_pitch
from practice.window.view import View

#: It goes by where keys lie, whatever the language of the keyboard prints on them.
_LIES_AT: dict[int, str] = {
    getattr(pygame, f"KSCAN_{letter.upper()}"): letter for letter in "awsedftgyhujkolpzx"
} | {pygame.KSCAN_SEMICOLON: ";", pygame.KSCAN_APOSTROPHE: "'"}
_FURTHEST_OCTAVE = 3


class SmallPiano:
    """Which keys are down, and in which octave it is played."""

    def __init__(self) -> None:
        self._down: dict[str, int] = {}
        self._octave = 0

    def press(self, view: View, key: str, scancode: int) -> tuple[Command, ...] | None:
        """What a key of the computer strikes; None where it is not one of the small piano's."""
        lies_at = _LIES_AT.get(scancode, key)
        step = octave_step(lies_at)
        if step and not (view.rebinding or view.overlay == "drills"):
            self._octave = min(max(self._octave + step, -_FURTHEST_OCTAVE), _FURTHEST_OCTAVE)
            return ()
        pitch = piano_pitch(view, lies_at, self._octave)
        if pitch is None:
            return None
        self._down[key] = pitch
        return (Command("key-down", pitch=pitch, velocity=KEY_VELOCITY),)

    def release(self, key: str) -> tuple[Command, ...]:
        """What letting a key of the computer go means."""
        pitch = self._down.pop(key, None)
        return () if pitch is None else (Command("key-up", pitch=pitch),)

    def release_all(self) -> tuple[Command, ...]:
        """Every key that is down let go: the window is left, or has lost the focus."""
        return tuple(up for key in list(self._down) for up in self.release(key))
