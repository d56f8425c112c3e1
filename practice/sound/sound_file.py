"""A performance saved as WAV or FLAC, 16 bits, stereo, rendered exactly as it was played."""

from __future__ import annotations

import wave
from collections.abc import Iterator, Sequence
from pathlib import Path

import numpy as np
import numpy.typing as npt

from engine.errors import UndersongError
from engine.performance import KeyEvent
from engine.tone.piano import Piano
from engine.tone.render import render_events

#: Silence kept before the first message.
LEAD_IN_S = 0.3
#: Endings of the files that can be written.
KINDS = (".wav", ".flac")

Block = npt.NDArray[np.int16]


def write_sound(path: str | Path, piano: Piano, events: Sequence[KeyEvent]) -> float:
    """Write events as the kind of sound file the ending says; the length in seconds.

    A file half written is never left behind.

    Raises:
        UndersongError: there is nothing to hear, or the file cannot be written.
    """
    sounding = [e.time_s for e in events if len(e.data) == 3 and e.data[0] & 0xF0 == 0x90]
    if not sounding:
        raise UndersongError("nothing to hear in it", str(path))
    path = Path(path)
    part = path.with_name(path.name + ".part")
    write = _write_flac if path.suffix.casefold() == ".flac" else _write_wave
    blocks = _render(piano, events, min(sounding) - LEAD_IN_S)
    try:
        frames = write(part, piano.rate_hz, blocks)
        part.replace(path)
    except OSError as error:
        part.unlink(missing_ok=True)
        why = error.strerror or str(error)
        raise UndersongError("cannot be written", str(path), why) from error
    return frames / piano.rate_hz


def _render(piano: Piano, events: Sequence[KeyEvent], start_s: float) -> Iterator[Block]:
    for block in render_events(piano, events, start_s):
        yield np.asarray(block * 32767.0, dtype=np.int16)


def _write_wave(part: Path, rate_hz: int, blocks: Iterator[Block]) -> int:
    with part.open("wb") as file, wave.open(file, "wb") as out:
        out.setnchannels(2)
        out.setsampwidth(2)
        out.setframerate(rate_hz)
        for block in blocks:
            out.writeframes(block.astype("<i2").tobytes())
        return int(out.tell())


def _write_flac(part: Path, rate_hz: int, blocks: Iterator[Block]) -> int:
    """FLAC (RFC 9639) through libsndfile."""
    import soundfile

    frames = 0
    with part.open("wb") as file, soundfile.SoundFile(
        file, "w", rate_hz, 2, subtype="PCM_16", format="FLAC"
    ) as out:  # fmt: skip
        for block in blocks:
            out.write(block)
            frames += len(block)
    return frames
