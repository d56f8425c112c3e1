"""A pass heard again, exactly as it was played: its notes and pedals as messages.

How a key or pedal that is still down at the end came up, nobody heard.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from engine.performance import KeyEvent, PedalMove, PlayedNote

#: So long after its stroke such a key is let go, after the last message such a pedal.
UNRELEASED_S = 1.0


def play_again(
    notes: Sequence[PlayedNote], pedals: Sequence[PedalMove], start_s: float
) -> list[KeyEvent]:
    """Messages in order of time, the first stroke at `start_s`; at the end all is up."""
    if not notes:
        return []
    shift_s = start_s - notes[0].onset_s
    events = [_move(p, p.time_s + shift_s) for p in pedals]
    for note in notes:
        release_s = note.release_s
        if math.isnan(release_s):
            release_s = note.onset_s + UNRELEASED_S
        events.append(_event(note.onset_s + shift_s, 0x90, note.pitch, note.velocity))
        events.append(_event(release_s + shift_s, 0x80, note.pitch, note.release_velocity))
    end_s = max(event.time_s for event in events) + UNRELEASED_S
    last = {p.controller: p.value for p in pedals}
    events += [_event(end_s, 0xB0, c, 0) for c in sorted(last) if last[c]]
    return sorted(events, key=lambda event: event.time_s)


def _move(pedal: PedalMove, time_s: float) -> KeyEvent:
    return _event(time_s, 0xB0, pedal.controller, pedal.value)


def _event(time_s: float, kind: int, number: int, value: int) -> KeyEvent:
    return KeyEvent(time_s, 0.0, bytes((kind, number, value)))
