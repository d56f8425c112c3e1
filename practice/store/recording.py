"""Recordings as MIDI files, in and out: what mido reads becomes `KeyEvent`s, and back.

Seconds count from the start of the file. All tracks and channels are one keyboard.
Formats 0 and 1, divisions in ticks a quarter or in SMPTE frames (Standard MIDI Files 1.0).
"""

from __future__ import annotations

import io
import struct
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

import mido

from engine.errors import TakeError
from engine.performance import PEDALS, KeyEvent, Recording, pair_notes
from practice.whole_file import whole_file

#: More than an eight-hour day of dense playing; above it a file is not a recording of a keyboard.
LARGEST_FILE_BYTES = 64 * 2**20
DEFAULT_TEMPO_US = 500_000
#: Written files: 960 ticks a quarter at 120 quarters a minute, 0.52 ms a tick.
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
    midi = _open_midi(path)
    timed = [(tick, m) for tick, m in _merge_tracks(midi) if not m.is_meta]
    seconds = _seconds_of_ticks(midi)
    uncertainty_s = 0.5 * (seconds(1) - seconds(0))
    return [
        KeyEvent(seconds(tick), uncertainty_s, bytes(message.bytes()))
        for tick, message in _order_events(timed)
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


def _open_midi(path: str | Path) -> Any:
    name = str(path)
    try:
        size = Path(path).stat().st_size
        if size > LARGEST_FILE_BYTES:
            raise TakeError(f"too large for a recording ({size} bytes)", name)
        data = Path(path).read_bytes()
    except OSError as error:
        hint = "check the name" if isinstance(error, FileNotFoundError) else ""
        raise TakeError(f"cannot be read ({error.strerror})", name, hint) from error
    if not data.startswith(b"MThd"):
        raise TakeError("not a MIDI file", name, "give a .mid recording or a kept take's number")
    try:
        midi = mido.MidiFile(file=io.BytesIO(data), clip=True)
    except Exception as error:  # mido raises many kinds on broken files
        raise TakeError(f"broken MIDI file ({_short(error)})", name) from error
    if midi.type == 2:
        raise TakeError("a MIDI file of format 2", name, "save it as format 0 or 1")
    if midi.ticks_per_beat == 0:
        raise TakeError("broken MIDI file (a division of 0 ticks)", name)
    return midi


def _short(error: Exception) -> str:
    return str(error) or type(error).__name__


def _merge_tracks(midi: Any) -> list[tuple[int, Any]]:
    """(absolute tick, message) of all tracks in order; the track's own order at one tick."""
    timed = []
    for track in midi.tracks:
        tick = 0
        for message in track:
            tick += message.time
            timed.append((tick, message))
    return sorted(timed, key=lambda pair: pair[0])


def _order_events(timed: Sequence[tuple[int, Any]]) -> list[tuple[int, Any]]:
    """Key and pedal messages by (tick, lift before strike, pitch).

    A lift belongs before the strikes of its own tick if its key was down before, else after
    (a note of no length).
    """
    out: list[tuple[int, Any]] = []
    down: set[int] = set()
    at = 0
    while at < len(timed):
        tick, group = timed[at][0], []
        while at < len(timed) and timed[at][0] == tick:
            group.append(timed[at][1])
            at += 1
        ranked = sorted(
            (r for m in group if (r := _rank(m, down)) is not None), key=lambda r: r[:2]
        )
        for rank, pitch, message in ranked:
            out.append((tick, message))
            if rank == 2:
                down.add(pitch)
            elif rank in (1, 3):
                down.discard(pitch)
    return out


def _rank(message: Any, down: set[int]) -> tuple[int, int, Any] | None:
    if message.type == "note_on" and message.velocity > 0:
        return 2, message.note, message
    if message.type in ("note_on", "note_off"):
        return (1 if message.note in down else 3), message.note, message
    if message.type == "control_change" and (message.control in PEDALS or message.control >= 120):
        return 0, 0, message
    return None


def _seconds_of_ticks(midi: Any) -> Any:
    """A function from tick to seconds: the file's tempo map, or its SMPTE frames."""
    division = midi.ticks_per_beat
    if division < 0:
        per_frame, rate = struct.unpack("bB", struct.pack(">h", division))
        frames = 30000 / 1001 if per_frame == -29 else float(-per_frame)
        per_tick_s = 1.0 / (frames * max(rate, 1))
        return lambda tick: tick * per_tick_s
    return _TempoMap(midi)


class _TempoMap:
    """Seconds at ticks under a file's tempo marks."""

    def __init__(self, midi: Any) -> None:
        import numpy as np

        marks = {0: DEFAULT_TEMPO_US}
        for tick, message in _merge_tracks(midi):
            if message.type == "set_tempo":
                marks[tick] = message.tempo
        self._ticks = np.array(sorted(marks), dtype=float)
        self._per_tick_s = np.array([marks[t] for t in sorted(marks)]) / 1e6 / midi.ticks_per_beat
        spans = np.diff(self._ticks) * self._per_tick_s[:-1]
        self._start_s = np.concatenate([[0.0], np.cumsum(spans)])

    def __call__(self, tick: int) -> float:
        k = int(self._ticks.searchsorted(tick, side="right")) - 1
        return float(self._start_s[k] + (tick - self._ticks[k]) * self._per_tick_s[k])
