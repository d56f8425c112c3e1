"""What came from the keyboard, as plain data: events, notes, pedal moves.

Seconds are float64 from one monotonic clock (or from the start of a recording).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal

DAMPER, SOSTENUTO, SOFT = 64, 66, 67
#: The release velocity of a keyboard that has none (MIDI 1.0 Detailed Specification).
RELEASE = 64
PEDALS = (DAMPER, SOSTENUTO, SOFT)


@dataclass(frozen=True, slots=True)
class KeyEvent:
    """One MIDI message as it came: time, uncertainty of that time (half width), bytes."""

    time_s: float
    uncertainty_s: float
    data: bytes


@dataclass(frozen=True, slots=True)
class PlayedNote:
    """One key stroke.

    Attributes:
        index: its place among the note-ons of the recording, from 0.
        pitch: MIDI number; velocity: 1 to 127.
        onset_s, release_s: seconds; release is nan while the key is down.
        uncertainty_s: half width of the onset's stamp.
        release_velocity: 0 to 127; `RELEASE` where none was told.
    """

    index: int
    pitch: int
    velocity: int
    onset_s: float
    release_s: float = math.nan
    uncertainty_s: float = 0.0
    release_velocity: int = RELEASE


@dataclass(frozen=True, slots=True)
class PedalMove:
    """One pedal message: controller 64 (damper), 66 (sostenuto) or 67 (soft), value 0 to 127."""

    time_s: float
    controller: int
    value: int


@dataclass(frozen=True, slots=True)
class Recording:
    """All notes and pedal moves of one take, in order."""

    notes: tuple[PlayedNote, ...]
    pedals: tuple[PedalMove, ...] = ()


#: Data bytes after a status byte, by its high four bits (MIDI 1.0 Detailed Specification).
DATA_BYTES = {0x8: 2, 0x9: 2, 0xA: 2, 0xB: 2, 0xC: 1, 0xD: 1, 0xE: 2}


def is_channel_message(data: bytes) -> bool:
    """A whole message of a key, pedal or wheel: a known status byte and just its data bytes."""
    due = DATA_BYTES.get(data[0] >> 4) if data else None
    return due is not None and len(data) == 1 + due and max(data[1:]) < 0x80


class NotePairer:
    """Turns messages into notes and pedal moves, one by one. Any bytes are taken.

    A second note-on for a key that is down ends the first note and begins another (common
    practice). A note-on of velocity 0 is a note-off (MIDI 1.0 Detailed Specification 4.2.1).
    Active sensing, clock and everything else are passed over. All channels are one keyboard.
    """

    def __init__(self, first_index: int = 0) -> None:
        self._next = first_index
        self._down: dict[int, PlayedNote] = {}

    @property
    def keys_down(self) -> tuple[int, ...]:
        """Pitches now held, ascending."""
        return tuple(sorted(self._down))

    def hear(self, event: KeyEvent) -> list[PlayedNote | PedalMove]:
        """What one message brings: new notes (release nan), finished notes, pedal moves."""
        data = event.data
        if len(data) < 3 or any(b > 0x7F for b in data[1:3]):
            return []
        kind = data[0] & 0xF0
        if kind == 0x90 and data[2] > 0:
            return self._strike(event, data[1], data[2])
        if kind in (0x80, 0x90):
            speed = data[2] if kind == 0x80 else RELEASE
            return list(self._lift_note(data[1], event.time_s, speed))
        if kind == 0xB0 and data[1] in PEDALS:
            return [PedalMove(event.time_s, data[1], data[2])]
        if kind == 0xB0 and (data[1] == 120 or data[1] >= 123):
            return list(self.close(event.time_s))
        return []

    def close(self, time_s: float) -> list[PlayedNote]:
        """End every note still down (cable pulled, recording over)."""
        return [note for pitch in self.keys_down for note in self._lift_note(pitch, time_s)]

    def _strike(self, event: KeyEvent, pitch: int, velocity: int) -> list[PlayedNote | PedalMove]:
        out: list[PlayedNote | PedalMove] = [*self._lift_note(pitch, event.time_s)]
        note = PlayedNote(self._next, pitch, velocity, event.time_s, math.nan, event.uncertainty_s)
        self._next += 1
        self._down[pitch] = note
        return [*out, note]

    def _lift_note(self, pitch: int, time_s: float, speed: int = RELEASE) -> list[PlayedNote]:
        note = self._down.pop(pitch, None)
        if note is None:
            return []
        return [replace(note, release_s=max(time_s, note.onset_s), release_velocity=speed)]


def pair_notes(events: list[KeyEvent]) -> Recording:
    """The offline twin of `NotePairer`: all events at once; hanging notes end with the last."""
    pairer = NotePairer()
    notes: dict[int, PlayedNote] = {}
    pedals: list[PedalMove] = []
    said: list[PlayedNote | PedalMove] = []
    for event in events:
        said.extend(pairer.hear(event))
    if events:
        said.extend(pairer.close(events[-1].time_s))
    for thing in said:
        if isinstance(thing, PlayedNote):
            notes[thing.index] = thing
        else:
            pedals.append(thing)
    return Recording(tuple(notes[i] for i in sorted(notes)), tuple(pedals))


@dataclass(frozen=True, slots=True)
class Pulse:
    """How time is judged.

    free: at the player's own pace. strict: `start_q` falls at `start_s` and the score's
    own tempo map runs from there at `rate` times its speed (0.8 for 80 %).
    """

    kind: Literal["free", "strict"] = "free"
    start_s: float = 0.0
    start_q: float = 0.0
    rate: float = 1.0
