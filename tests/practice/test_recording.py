"""Recordings in and out: ticks to seconds, notes in order, read back by others as they were."""

import io
import struct

import mido
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from engine.errors import TakeError
from engine.performance import KeyEvent, pair_notes
from practice.store.recording import events_of, read_events, read_recording, write_recording


def midi_file(path, tracks, division=480, kind=1):
    """A file of tracks of (delta, message) pairs."""
    midi = mido.MidiFile(type=kind, ticks_per_beat=division)
    for pairs in tracks:
        track = mido.MidiTrack()
        track.extend(message.copy(time=delta) for delta, message in pairs)
        midi.tracks.append(track)
    midi.save(path)
    return path


def on(pitch, velocity=64, channel=0):
    return mido.Message("note_on", note=pitch, velocity=velocity, channel=channel)


def off(pitch, channel=0):
    return mido.Message("note_off", note=pitch, channel=channel)


def tempo(microseconds):
    return mido.MetaMessage("set_tempo", tempo=microseconds)


def raw_file(path, division_bytes, body):
    track = body + b"\x00\xff\x2f\x00"
    head = b"MThd" + struct.pack(">IHH", 6, 0, 1) + division_bytes
    path.write_bytes(head + b"MTrk" + struct.pack(">I", len(track)) + track)
    return path


def test_tempo_marks_in_one_track_hold_for_all(tmp_path):
    tracks = [
        [(0, tempo(500_000)), (480, tempo(1_000_000))],
        [(0, on(60)), (480, off(60)), (240, on(62)), (240, off(62))],
    ]
    notes = read_recording(midi_file(tmp_path / "a.mid", tracks)).notes
    assert [(n.onset_s, n.release_s) for n in notes] == [(0.0, 0.5), (1.0, 1.5)]


def test_all_tracks_and_channels_are_one_keyboard(tmp_path):
    tracks = [[(0, on(40, channel=3)), (480, off(40, channel=3))], [(240, on(70)), (240, off(70))]]
    notes = read_recording(midi_file(tmp_path / "a.mid", tracks)).notes
    assert [n.pitch for n in notes] == [40, 70]


def test_notes_of_one_tick_are_numbered_upwards(tmp_path):
    pairs = [(0, on(67)), (0, on(60)), (0, on(64)), (480, off(67)), (0, off(60)), (0, off(64))]
    notes = read_recording(midi_file(tmp_path / "a.mid", [pairs])).notes
    assert [n.pitch for n in notes] == [60, 64, 67]


def test_a_key_struck_again_at_the_tick_of_its_release_is_two_notes(tmp_path):
    pairs = [(0, on(60)), (480, on(60)), (0, off(60)), (480, off(60))]
    notes = read_recording(midi_file(tmp_path / "a.mid", [pairs])).notes
    assert [(n.onset_s, n.release_s) for n in notes] == [(0.0, 0.5), (0.5, 1.0)]


def test_a_note_of_no_length_leaves_no_key_down(tmp_path):
    pairs = [(0, on(60)), (0, off(60)), (480, on(64)), (480, off(64))]
    notes = read_recording(midi_file(tmp_path / "a.mid", [pairs])).notes
    assert [(n.onset_s, n.release_s) for n in notes] == [(0.0, 0.0), (0.5, 1.0)]


@pytest.mark.parametrize(
    ("division", "tick_s"),
    [
        (struct.pack("bB", -25, 40), 1 / 1000),
        (struct.pack("bB", -24, 80), 1 / 1920),
        (struct.pack("bB", -29, 100), 1001 / 3_000_000),
        (struct.pack("bB", -30, 80), 1 / 2400),
    ],
)
def test_smpte_divisions_count_frames(tmp_path, division, tick_s):
    # Standard MIDI Files 1.0: the high byte is minus the frames a second, -29 being 30 drop frame
    path = raw_file(tmp_path / "a.mid", division, b"\x00\x90\x3c\x40\x64\x80\x3c\x40")
    (note,) = read_recording(path).notes
    assert note.release_s == pytest.approx(100 * tick_s)


def test_half_pedal_and_all_three_pedals_come_through(tmp_path):
    def pedal(number, value):
        return mido.Message("control_change", control=number, value=value)

    pairs = [
        (0, pedal(64, 40)), (0, on(60)), (120, pedal(67, 127)), (0, pedal(66, 1)), (0, pedal(7, 9)),
        (120, off(60)), (0, mido.Message("pitchwheel", pitch=5)),
    ]  # fmt: skip
    pedals = read_recording(midi_file(tmp_path / "a.mid", [pairs])).pedals
    assert [(p.controller, p.value) for p in pedals] == [(64, 40), (67, 127), (66, 1)]


def test_a_kept_recording_opens_in_music21_with_the_same_notes(tmp_path):
    import music21

    rng = np.random.default_rng(3)
    onsets = np.sort(rng.uniform(0, 20, 60))
    events = []
    for i, at in enumerate(onsets):
        pitch = 30 + i
        events.append(KeyEvent(at, 0.0, bytes((0x90, pitch, 1 + i))))
        events.append(KeyEvent(at + 0.4, 0.0, bytes((0x80, pitch, 0))))
    events.sort(key=lambda e: e.time_s)
    path = tmp_path / "a.mid"
    write_recording(path, events, "a take")
    midi = music21.midi.MidiFile()
    midi.open(str(path))
    midi.read()
    midi.close()
    at_s, heard = 0.0, []
    for event in midi.tracks[0].events:
        if event.isDeltaTime():
            at_s += event.time / midi.ticksPerQuarterNote * 0.5
        elif event.isNoteOn():
            heard.append((at_s, event.pitch, event.velocity))
    assert [(p, v) for _, p, v in heard] == [(30 + i, 1 + i) for i in range(60)]
    assert np.abs(np.array([s for s, _, _ in heard]) - onsets).max() < 0.001


note_rows = st.lists(
    st.tuples(
        st.integers(21, 108), st.integers(1, 127), st.integers(0, 4000), st.integers(1, 3000)
    ),
    min_size=1,
    max_size=30,
)


@settings(max_examples=40, deadline=None)
@given(note_rows)
def test_what_is_written_is_read_again(tmp_path_factory, rows):
    events, at_ms = [], 0
    for pitch, velocity, gap_ms, length_ms in rows:
        at_ms += gap_ms
        events.append(KeyEvent(at_ms / 1000, 0.0, bytes((0x90, pitch, velocity))))
        at_ms += length_ms
        events.append(KeyEvent(at_ms / 1000, 0.0, bytes((0x80, pitch, 64))))
    path = tmp_path_factory.getbasetemp() / "again.mid"
    write_recording(path, events)
    before, after = pair_notes(events), read_recording(path)
    assert [(n.pitch, n.velocity) for n in after.notes] == [
        (n.pitch, n.velocity) for n in before.notes
    ]
    for was, now in zip(before.notes, after.notes, strict=True):
        assert now.onset_s == pytest.approx(was.onset_s, abs=0.0005)
        assert now.release_s == pytest.approx(was.release_s, abs=0.0011)


def test_notes_as_events_pair_to_the_same_notes():
    events = [
        KeyEvent(0.0, 0.0, b"\xb0\x40\x7f"), KeyEvent(0.1, 0.0, b"\x90\x3c\x40"),
        KeyEvent(0.5, 0.0, b"\x80\x3c\x40"), KeyEvent(0.5, 0.0, b"\x90\x3c\x41"),
        KeyEvent(0.9, 0.0, b"\x80\x3c\x40"),
    ]  # fmt: skip
    recording = pair_notes(events)
    assert pair_notes(events_of(recording)) == recording


def empty_file(kind, division):
    head = b"MThd" + struct.pack(">IHHH", 6, kind, 1, division)
    return head + b"MTrk\x00\x00\x00\x04\x00\xff\x2f\x00"


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "not a MIDI file"),
        (b"a diary", "not a MIDI file"),
        (b"MThd", "broken MIDI file"),
        (empty_file(2, 480), "format 2"),
        (empty_file(0, 0), "0 ticks"),
        (empty_file(0, 480), "no notes"),
    ],
)
def test_what_is_no_recording_is_one_line(tmp_path, content, words):
    path = tmp_path / "a.mid"
    path.write_bytes(content)
    with pytest.raises(TakeError, match=words) as told:
        read_recording(path)
    assert "\n" not in str(told.value)


def test_a_missing_file_is_one_line(tmp_path):
    with pytest.raises(TakeError, match="cannot be read"):
        read_recording(tmp_path / "none.mid")


@settings(max_examples=150, deadline=None)
@given(st.data())
def test_a_damaged_file_is_read_or_refused(tmp_path_factory, data):
    midi = mido.MidiFile(type=1)
    track = mido.MidiTrack([on(60).copy(time=3), off(60).copy(time=200), tempo(9)])
    midi.tracks.append(track)
    out = io.BytesIO()
    midi.save(file=out)
    content = bytearray(out.getvalue())
    for _ in range(data.draw(st.integers(1, 6))):
        content[data.draw(st.integers(0, len(content) - 1))] = data.draw(st.integers(0, 255))
    path = tmp_path_factory.getbasetemp() / "damaged.mid"
    path.write_bytes(bytes(content))
    try:
        events = read_events(path)
    except TakeError:
        return
    assert all(e.time_s == e.time_s for e in events)


def test_every_recording_with_truth_is_in_its_order(data_sets):
    import csv

    for path in sorted(data_sets.glob("*/p1.mid")):
        truth = path.with_suffix("").with_suffix(".truth.tsv")
        with truth.open(newline="") as file:
            rows = list(csv.DictReader(file, delimiter="\t"))
        notes = read_recording(path).notes
        assert [n.pitch for n in notes] == [int(r["pitch"]) for r in rows], path
        for note, row in zip(notes, rows, strict=True):
            assert note.onset_s * 1000 == pytest.approx(float(row["onset_ms"]), abs=0.1)
