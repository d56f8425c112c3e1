"""A performance saved as a sound file: WAV, 16 bits, stereo, rendered exactly as it was played."""

from __future__ import annotations

import wave
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from engine.errors import UndersongError
from engine.performance import KeyEvent
from engine.tone.piano import Piano
from engine.tone.render import render_events

#: Silence kept before the first message.
LEAD_IN_S = 0.3


def write_sound(path: str | Path, piano: Piano, events: Sequence[KeyEvent]) -> float:
    """Write events as sound; the length in seconds. A file half written is never left behind.

    Raises:
        UndersongError: there is nothing to hear, or the file cannot be written.
    """
    sounding = [e.time_s for e in events if len(e.data) == 3 and e.data[0] & 0xF0 == 0x90]
    if not sounding:
        raise UndersongError("nothing to hear in it", str(path))
    path = Path(path)
    part = path.with_name(path.name + ".part")
    try:
        with part.open("wb") as file:
            frames = _write_wave(file, piano, events, min(sounding) - LEAD_IN_S)
        part.replace(path)
    except OSError as error:
        part.unlink(missing_ok=True)
        why = error.strerror or str(error)
        raise UndersongError("cannot be written", str(path), why) from error
    return frames / piano.rate_hz


def _write_wave(file: object, piano: Piano, events: Sequence[KeyEvent], start_s: float) -> int:
    with wave.open(file, "wb") as out:  # type: ignore[call-overload]
        out.setnchannels(2)
        out.setsampwidth(2)
        out.setframerate(piano.rate_hz)
        for block in render_events(piano, events, start_s):
            out.writeframes(np.asarray(block * 32767.0, dtype="<i2").tobytes())
        return int(out.tell())
