"""Recordings as MIDI files, in and out: what mido reads becomes `KeyEvent`s, and back.

Seconds count from the start of the file. All tracks and channels are one keyboard.
Formats 0 and 1, divisions in ticks a quarter or in SMPTE frames (Standard MIDI Files 1.0).
"""

from __future__ import annotations

import struct
from collections.abc import Iterable, Sequence
from pathlib import Path

import mido

from engine.errors import TakeError
from engine.performance import PEDALS, KeyEvent, Recording, pair_notes
from practice.store.midi_file import MidiParts, TooLarge, take_apart
from practice.whole_file import whole_file

#: Above ten notes a second for more than four hours it is read in parts or not at all.
LARGEST_FILE_BYTES, LARGEST_EVENTS = 4 * 2**20, 300_000
DEFAULT_TEMPO_US = 500_000
#: Written files: 960 ticks a quarter at 120 quarters a minute, 0.52 ms a tick.
_SPLIT = "cut it into several"
WRITTEN_TICKS, WRITTEN_TEMPO_US = 960, 500_000


def read_recording(path: str | Path) -> Recording:
    """Notes and pedal moves of a MIDI file, notes ordered by (tick, pitch).

    Raises:
        TakeError: the file is missing, no MIDI file, broken, or holds no notes.
    """
    return pair_notes(read_recording_events(path))


def read_recording_events(path: str | Path) -> list[KeyEvent]:
    """The events of a recording that holds notes.

    Raises:
        TakeError: as `read_recording`.
    """
    events = read_events(path)
    if not any(event.data[0] & 0xF0 == 0x90 for event in events):
        raise TakeError("no notes in it", str(path), "is it the recording you meant?")
    return events


def read_events(path: str | Path) -> list[KeyEvent]:
    """Key and pedal messages of a MIDI file in order of playing, seconds from its start."""
    parts = _open_midi(path)
    ordered = _order_events(parts.events)
    # the last two for the length of a tick at the beginning
    seconds = _seconds_of_ticks(parts, [*(tick for tick, _ in ordered), 0, 1])
    uncertainty_s = 0.5 * (seconds[-1] - seconds[-2])
    return [
        KeyEvent(at_s, uncertainty_s, message)
        for at_s, (_, message) in zip(seconds, ordered, strict=False)
    ]


def write_recording(
    path: str | Path, events: Iterable[KeyEvent], title: str = "", start_s: float = 0.0
) -> None:
    """Write key events as a MIDI file of format 0; times count from `start_s`.

    Raises:
        TakeError: the file cannot be written.
    """
    track = mido.MidiTrack()
    if title:
        track.append(mido.MetaMessage("track_name", name=_latin(title), time=0))
    track.append(mido.MetaMessage("set_tempo", tempo=WRITTEN_TEMPO_US, time=0))
    at = 0
    for event in events:
        tick = max(at, round((event.time_s - start_s) * WRITTEN_TICKS * 1e6 / WRITTEN_TEMPO_US))
        track.append(mido.Message.from_bytes(event.data, time=tick - at))
        at = tick
    midi = mido.MidiFile(type=0, ticks_per_beat=WRITTEN_TICKS)
    midi.tracks.append(track)
    try:
        with whole_file(path) as part:
            midi.save(str(part))
    except OSError as error:
        raise TakeError(f"cannot be written ({error.strerror})", str(path)) from error


def events_of(recording: Recording) -> list[KeyEvent]:
    """Notes and pedal moves as messages again, in order of time; lifts come before strikes."""
    timed: list[tuple[float, int, int, bytes]] = []
    for note in recording.notes:
        timed.append((note.onset_s, 2, note.pitch, bytes((0x90, note.pitch, note.velocity))))
        rank = 3 if note.release_s <= note.onset_s else 1
        timed.append((note.release_s, rank, note.pitch, bytes((0x80, note.pitch, 64))))
    timed.extend(
        (move.time_s, 0, move.controller, bytes((0xB0, move.controller, move.value)))
        for move in recording.pedals
    )
    return [KeyEvent(time_s, 0.0, data) for time_s, _, _, data in sorted(timed)]


def _latin(text: str) -> str:
    return text.encode("latin-1", "replace").decode("latin-1")


def _open_midi(path: str | Path) -> MidiParts:
    name = str(path)
    try:
        size = Path(path).stat().st_size
        if size > LARGEST_FILE_BYTES:
            raise TakeError(f"too large for a recording ({size} bytes)", name, _SPLIT)
        data = Path(path).read_bytes()
    except OSError as error:
        hint = "check the name" if isinstance(error, FileNotFoundError) else ""
        raise TakeError(f"cannot be read ({error.strerror})", name, hint) from error
    if not data.startswith(b"MThd"):
        raise TakeError("not a MIDI file", name, "give a .mid recording or a kept take's number")
    try:
        parts = take_apart(data, frozenset(PEDALS), LARGEST_EVENTS)
    except TooLarge as error:
        raise TakeError(f"too large for a recording ({error})", name, _SPLIT) from error
    except ValueError as error:
        raise TakeError(f"broken MIDI file ({error})", name) from error
    if parts.kind == 2:
        raise TakeError("a MIDI file of format 2", name, "save it as format 0 or 1")
    if parts.division == 0:
        raise TakeError("broken MIDI file (a division of 0 ticks)", name)
    return parts


def _order_events(timed: Sequence[tuple[int, bytes]]) -> list[tuple[int, bytes]]:
    """Key and pedal messages by (tick, lift before strike, pitch).

    A lift belongs before the strikes of its own tick if its key was down before, else after
    (a note of no length).
    """
    out: list[tuple[int, bytes]] = []
    down: set[int] = set()
    at = 0
    while at < len(timed):
        tick, end = timed[at][0], at + 1
        while end < len(timed) and timed[end][0] == tick:
            end += 1
        ranked = [(*_rank(message, down), message) for _, message in timed[at:end]]
        if len(ranked) > 1:
            ranked.sort(key=lambda r: r[:2])
        for rank, pitch, message in ranked:
            out.append((tick, message))
            if rank == 2:
                down.add(pitch)
            elif rank:
                down.discard(pitch)
        at = end
    return out


def _rank(message: bytes, down: set[int]) -> tuple[int, int]:
    if message[0] >= 0xB0:
        return 0, 0
    if message[0] >= 0x90 and message[2]:
        return 2, message[1]
    return (1 if message[1] in down else 3), message[1]


def _seconds_of_ticks(parts: MidiParts, ticks: Sequence[int]) -> list[float]:
    """Seconds at ticks: by the file's tempo marks, or its SMPTE frames."""
    import numpy as np

    asked = np.array(ticks, dtype=float)
    if parts.division < 0:
        per_frame, rate = struct.unpack("bB", struct.pack(">h", parts.division))
        frames = 30000 / 1001 if per_frame == -29 else float(-per_frame)
        return [float(t) for t in asked / (frames * max(rate, 1))]
    marks = {0: DEFAULT_TEMPO_US, **parts.tempos}
    at = np.array(sorted(marks), dtype=float)
    per_tick_s = np.array([marks[t] for t in sorted(marks)]) / 1e6 / parts.division
    start_s = np.concatenate([[0.0], np.cumsum(np.diff(at) * per_tick_s[:-1])])
    k = at.searchsorted(asked, side="right") - 1
    return [float(s) for s in start_s[k] + (asked - at[k]) * per_tick_s[k]]
