"""MIDI files made for tests."""

from __future__ import annotations

import io
from itertools import chain

import mido

TICKS = 480


def midi_bytes(*tracks, ticks=TICKS, kind=1):
    """A MIDI file of tracks, each a list of (tick, message)."""
    file = mido.MidiFile(type=kind, ticks_per_beat=ticks)
    for events in tracks:
        track = mido.MidiTrack()
        now = 0
        for tick, message in sorted(events, key=lambda e: (e[0], e[1].type == "note_on")):
            track.append(message.copy(time=tick - now))
            now = tick
        file.tracks.append(track)
    buffer = io.BytesIO()
    file.save(file=buffer)
    return buffer.getvalue()


def key(pitch, on, off, channel=0, ticks=TICKS):
    """Note-on and note-off; on and off in quarters."""
    return [
        (round(on * ticks), mido.Message("note_on", note=pitch, velocity=64, channel=channel)),
        (round(off * ticks), mido.Message("note_off", note=pitch, channel=channel)),
    ]


def meta(at, event, **values):
    return (round(at * TICKS), mido.MetaMessage(event, **values))


def together(events):
    return list(chain.from_iterable(events))
