"""What a Standard MIDI File holds, as events in ticks: notes, meters, keys, tempos, pedals."""

from __future__ import annotations

import io
import re
import struct
from collections import defaultdict
from dataclasses import dataclass, field
from typing import Any

from engine.read.limits import MAX_MIDI_BYTES, MAX_MIDI_NOTES
from engine.read.report import Report

_WANTED = "export the score afresh, or give MusicXML"
#: A number in a MIDI file has at most four bytes; a long run of bytes with the high bit set is
#: damage (or malice: such a number takes a decoder quadratic time).
_ENDLESS = re.compile(rb"[\x80-\xff]{4096}")
_PERCUSSION_CHANNEL = 9
_PEDALS = {64: "damper", 66: "sostenuto", 67: "soft"}
#: A pedal is down from this value on (MIDI 1.0: switches are off to 63, on from 64).
_PEDAL_ON = 64


@dataclass(slots=True)
class MidiNote:
    """A key from its note-on to its note-off. source: (track, channel)."""

    on: int
    off: int
    pitch: int
    source: tuple[int, int]


@dataclass(frozen=True, slots=True)
class Signature:
    """A time signature from a tick on."""

    tick: int
    beats: int
    unit: int


@dataclass(slots=True)
class MidiEvents:
    """All of a file that a score needs; every list in order of tick."""

    ticks_per_quarter: int
    notes: list[MidiNote] = field(default_factory=list)
    signatures: list[Signature] = field(default_factory=list)
    fifths: list[tuple[int, int, str]] = field(default_factory=list)
    tempos: list[tuple[int, float]] = field(default_factory=list)
    pedals: list[tuple[int, str, bool]] = field(default_factory=list)
    markers: list[tuple[int, str]] = field(default_factory=list)
    names: dict[int, str] = field(default_factory=dict)
    end: int = 0


def read_midi_events(data: bytes, report: Report) -> MidiEvents:
    """Read a MIDI file of format 0 or 1.

    Raises:
        ScoreError: it is damaged, of format 2, counts in seconds instead of quarters, or is too
            large.
    """
    file = _load(data, report)
    events = MidiEvents(file.ticks_per_beat)
    drums = 0
    for index, track in enumerate(file.tracks):
        drums += _Track(index, events).read(track)
        if len(events.notes) > MAX_MIDI_NOTES:
            raise report.refusal(f"the file has more than {MAX_MIDI_NOTES} notes", _WANTED)
    if drums:
        report.put_up_with("", f"{drums} percussion notes (channel 10) are left out")
    events.notes.sort(key=lambda n: (n.on, n.pitch))
    for timed in (events.fifths, events.tempos, events.markers):
        timed.sort(key=lambda entry: entry[0])
    events.signatures.sort(key=lambda s: s.tick)
    events.pedals.sort(key=lambda p: p[0])
    return events


def _load(data: bytes, report: Report) -> Any:
    # Imported here: most scores are MusicXML, and start-up should be lean.
    import mido

    if len(data) > MAX_MIDI_BYTES:
        raise report.refusal(f"the MIDI file is larger than {MAX_MIDI_BYTES // 1024} KB", _WANTED)
    cleaned = _tracks_only(data, report)
    try:
        file = mido.MidiFile(file=io.BytesIO(cleaned))
    except (OSError, EOFError, ValueError, LookupError, TypeError, struct.error) as error:
        raise report.refusal(f"the MIDI file is damaged ({error})", _WANTED) from error
    except mido.KeySignatureError as error:
        raise report.refusal(f"the MIDI file is damaged ({error})", _WANTED) from error
    if file.type == 2:
        raise report.refusal("a MIDI file of format 2 holds no single piece", "give format 0 or 1")
    if file.ticks_per_beat <= 0:
        raise report.refusal("the MIDI file counts in seconds, not in quarters", _WANTED)
    return file


def _tracks_only(data: bytes, report: Report) -> bytes:
    """The header and the tracks: chunks of other kinds are passed over, as the standard asks."""
    if _ENDLESS.search(data):
        raise report.refusal("the MIDI file is damaged", _WANTED)
    kept, at = [], 0
    while at + 8 <= len(data):
        kind, length = struct.unpack_from(">4sL", data, at)
        if at + 8 + length > len(data):
            raise report.refusal("the MIDI file breaks off", _WANTED)
        if kind in (b"MThd", b"MTrk"):
            kept.append(data[at : at + 8 + length])
        at += 8 + length
    tracks = sum(chunk[:4] == b"MTrk" for chunk in kept)
    if not kept or kept[0][:4] != b"MThd" or len(kept[0]) < 14:
        raise report.refusal("the MIDI file has no proper header", _WANTED)
    header = kept[0][:10] + struct.pack(">H", tracks) + kept[0][12:]
    return b"".join([header, *kept[1:]])


class _Track:
    """Collects the events of one track into the file's."""

    def __init__(self, index: int, events: MidiEvents) -> None:
        self.index = index
        self.events = events
        self.tick = 0
        self.down: dict[tuple[int, int], MidiNote] = {}
        self.feet: dict[str, bool] = defaultdict(bool)
        self.drums = 0

    def read(self, track: Any) -> int:
        """Read all messages; returns the number of percussion notes left out."""
        for message in track:
            self.tick += message.time
            reader = getattr(self, f"_{message.type}", None)
            if reader:
                reader(message)
        for note in self.down.values():
            note.off = self.tick
        self.events.end = max(self.events.end, self.tick)
        return self.drums

    def _note_on(self, message: Any) -> None:
        if message.channel == _PERCUSSION_CHANNEL:
            self.drums += message.velocity > 0
            return
        self._note_off(message)
        if message.velocity > 0:
            source = (self.index, message.channel)
            note = MidiNote(self.tick, self.tick, message.note, source)
            self.down[message.channel, message.note] = note
            self.events.notes.append(note)

    def _note_off(self, message: Any) -> None:
        # A second note-on for a key that is down ends the first note (common practice).
        note = self.down.pop((message.channel, message.note), None)
        if note is not None:
            note.off = self.tick

    def _control_change(self, message: Any) -> None:
        kind = _PEDALS.get(message.control)
        if kind is None or message.channel == _PERCUSSION_CHANNEL:
            return
        down = message.value >= _PEDAL_ON
        if down != self.feet[kind]:
            self.feet[kind] = down
            self.events.pedals.append((self.tick, kind, down))

    def _set_tempo(self, message: Any) -> None:
        if message.tempo > 0:
            self.events.tempos.append((self.tick, 60_000_000 / message.tempo))

    def _time_signature(self, message: Any) -> None:
        if 0 < message.numerator <= 256 and message.denominator <= 64:
            signature = Signature(self.tick, message.numerator, message.denominator)
            self.events.signatures.append(signature)

    def _key_signature(self, message: Any) -> None:
        minor = message.key.endswith("m")
        fifths = _FIFTHS.index(message.key.rstrip("m")) - 8 - (3 if minor else 0)
        if abs(fifths) <= 7:
            self.events.fifths.append((self.tick, fifths, "minor" if minor else "major"))

    def _marker(self, message: Any) -> None:
        self.events.markers.append((self.tick, " ".join(message.text.split())[:80]))

    def _track_name(self, message: Any) -> None:
        self.events.names.setdefault(self.index, " ".join(message.name.split())[:200])


#: Major keys from 8 flats to 11 sharps; a key's fifths are its place less 8.
_FIFTHS = ["Fb", "Cb", "Gb", "Db", "Ab", "Eb", "Bb", "F", "C", "G", "D", "A", "E", "B", "F#",
           "C#", "G#", "D#", "A#"]  # fmt: skip
