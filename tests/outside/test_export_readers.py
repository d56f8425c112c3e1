"""A take as a MIDI file, read back by mido, partitura and music21: notes, pedals, times to 1 ms."""

from __future__ import annotations

import warnings
from dataclasses import dataclass
from pathlib import Path

import mido
import numpy as np
import pytest

from engine.arrangement import Span
from engine.performance import DAMPER, KeyEvent, pair_notes
from practice.library import open_arrangement
from practice.player import CHARACTERS, perform
from practice.store.event_blobs import step_event
from practice.store.recording import write_recording


@dataclass(frozen=True)
class Read:
    """(pitch, velocity, onset, release) of every note and (moment, value) of the damper, in s."""

    notes: list[tuple[int, int, float, float]]
    damper: list[tuple[float, int]]


@pytest.fixture(scope="module")
def take(exercises: Path, tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Read]:
    """A faulty performance with its pedal, as it is kept, and the file made of it."""
    folder = tmp_path_factory.mktemp("take")
    pans = open_arrangement(exercises / "salt-pans-night-shift.musicxml", folder)
    played = perform(
        pans, CHARACTERS["demo"], np.random.default_rng(5), span=Span(4, 19), start_s=0.5
    )
    events = [step_event(e) for e in played]
    write_recording(folder / "take.mid", events, "a take")
    return folder / "take.mid", _from_events([(e.time_s, e.data) for e in events])


def _from_events(told: list[tuple[float, bytes]]) -> Read:
    recording = pair_notes([KeyEvent(at, 0.0, data) for at, data in told])
    notes = [(n.pitch, n.velocity, n.onset_s, n.release_s) for n in recording.notes]
    damper = [(p.time_s, p.value) for p in recording.pedals if p.controller == DAMPER]
    return Read(notes, damper)


def _by_mido(path: Path) -> Read:
    told, at = [], 0.0
    for message in mido.MidiFile(path):
        at += message.time
        if not message.is_meta:
            told.append((at, bytes(message.bytes())))
    return _from_events(told)


def _by_partitura(path: Path) -> Read:
    import partitura

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        part = partitura.load_performance_midi(path).performedparts[0]
    notes = [(n["midi_pitch"], n["velocity"], n["note_on"], n["note_off"]) for n in part.notes]
    damper = [(c["time"], c["value"]) for c in part.controls if c["number"] == DAMPER]
    return Read(notes, damper)


def _by_music21(path: Path) -> Read:
    import music21

    midi = music21.midi.MidiFile()
    midi.open(str(path))
    midi.read()
    midi.close()
    told, tick, us_a_quarter = [], 0, 500_000
    for event in midi.tracks[0].events:
        if event.isDeltaTime():
            tick += event.time
            continue
        at = tick / midi.ticksPerQuarterNote * us_a_quarter / 1e6
        if event.isNoteOn():
            told.append((at, bytes([0x90, event.pitch, event.velocity])))
        elif event.isNoteOff():
            told.append((at, bytes([0x80, event.pitch, 64])))
        elif event.type == music21.midi.ChannelVoiceMessages.CONTROLLER_CHANGE:
            told.append((at, bytes([0xB0, event.parameter1, event.parameter2])))
    return _from_events(told)


@pytest.mark.parametrize("read", [_by_mido, _by_partitura, _by_music21])
def test_every_reader_finds_the_same_notes_and_pedals(take: tuple[Path, Read], read) -> None:
    path, kept = take
    found = read(path)
    assert len(kept.notes) > 150
    assert len(kept.damper) > 2
    assert sorted(n[:2] for n in found.notes) == sorted(n[:2] for n in kept.notes)
    for k in (2, 3):
        ours, theirs = (np.sort([n[k] for n in one.notes]) for one in (kept, found))
        assert np.abs(ours - theirs).max() < 0.001
    assert [value for _, value in found.damper] == [value for _, value in kept.damper]
    moments = [(a - b) for (a, _), (b, _) in zip(found.damper, kept.damper, strict=True)]
    assert np.abs(moments).max() < 0.001
