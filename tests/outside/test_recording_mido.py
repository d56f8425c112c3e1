"""Recordings taken apart by us and by mido 1.3: the same messages at the same ticks."""

from __future__ import annotations

import io
from pathlib import Path

import mido
import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.performance import PEDALS
from practice.store.midi_file import MidiParts, take_apart
from tests.conftest import data_sets_folder

BYTES = st.integers(0, 127)
CHANNELS = st.integers(0, 15)
MESSAGES = st.one_of(
    st.builds(
        mido.Message, st.sampled_from(["note_on", "note_off"]), note=BYTES, velocity=BYTES,
        channel=CHANNELS,
    ),
    st.builds(
        mido.Message, st.just("control_change"), channel=CHANNELS, value=BYTES,
        control=st.sampled_from([1, 7, 64, 66, 67, 120, 123]),
    ),
    st.builds(mido.Message, st.just("program_change"), program=BYTES, channel=CHANNELS),
    st.builds(mido.Message, st.just("aftertouch"), value=BYTES, channel=CHANNELS),
    st.builds(mido.Message, st.just("polytouch"), note=BYTES, value=BYTES, channel=CHANNELS),
    st.builds(mido.Message, st.just("pitchwheel"), pitch=st.integers(-8192, 8191)),
    st.builds(mido.Message, st.just("sysex"), data=st.lists(BYTES, max_size=300)),
    st.builds(mido.MetaMessage, st.just("set_tempo"), tempo=st.integers(1, 2**24 - 1)),
    st.builds(mido.MetaMessage, st.just("text"), text=st.text("abc", max_size=200)),
)  # fmt: skip
TIMED = st.builds(lambda m, delta: m.copy(time=delta), MESSAGES, st.integers(0, 2**21))


def by_mido(data: bytes) -> MidiParts:
    """The same with mido."""
    file = mido.MidiFile(file=io.BytesIO(data), clip=True)
    parts, marks = MidiParts(file.type, file.ticks_per_beat), []
    for track in file.tracks:
        tick = 0
        for message in track:
            tick += message.time
            if message.type == "set_tempo":
                marks.append((tick, message.tempo))
            elif message.type in ("note_on", "note_off") or (
                message.type == "control_change"
                and (message.control in PEDALS or message.control >= 120)
            ):
                parts.events.append((tick, bytes(message.bytes())))
    parts.events.sort(key=lambda event: event[0])
    parts.tempos = dict(sorted(marks, key=lambda mark: mark[0]))
    return parts


def by_us(data: bytes) -> MidiParts:
    return take_apart(data, frozenset(PEDALS), 10**6)


@given(st.lists(st.lists(TIMED, max_size=30), min_size=1, max_size=4), st.integers(1, 32767))
def test_whatever_mido_writes_is_read_alike(
    tracks: list[list[mido.Message]], division: int
) -> None:
    file = mido.MidiFile(type=1, ticks_per_beat=division)
    file.tracks.extend(mido.MidiTrack(track) for track in tracks)
    out = io.BytesIO()
    file.save(file=out)
    assert by_us(out.getvalue()) == by_mido(out.getvalue())


def test_recordings_of_the_data_sets_are_read_alike() -> None:
    folder = data_sets_folder()
    if folder is None:
        pytest.skip("no data sets on this machine")
    files = sorted(Path(folder).rglob("*.mid"))
    assert files
    for file in files:
        assert by_us(file.read_bytes()) == by_mido(file.read_bytes()), file


@pytest.mark.parametrize(
    ("track", "why"),
    [
        (b"\x00\x90\x3c", "breaks off"),
        (b"\x00", "breaks off"),
        (b"\x00\x3c\x40", "without its status"),
        (b"\x80\x80\x80\x80\x00\x90\x3c\x40", "more than four bytes"),
        (b"\x00\xf0\x7f\x01", "breaks off"),
        (b"\x00\xf4", "undefined"),
        (b"\x00\xff\x51\x01\x07", "less than three"),
        (b"\x00\x90\x3c\x40" + b"\x01\x3c\x00\x01\x3c\x40" * 9, "more than 10 messages"),
    ],
)
def test_what_is_damaged_is_said(track: bytes, why: str) -> None:
    head = b"MThd\x00\x00\x00\x06\x00\x00\x00\x01\x01\xe0MTrk"
    with pytest.raises(ValueError, match=why):
        take_apart(head + len(track).to_bytes(4, "big") + track, frozenset(PEDALS), 10)


def test_chunks_of_other_kinds_are_passed_over() -> None:
    # Standard MIDI Files 1.0: programs must expect alien chunks and treat them as if not there
    alien = b"XFIH\x00\x00\x00\x03abc"
    track = b"MTrk\x00\x00\x00\x04\x00\x90\x3c\x40"
    head = b"MThd\x00\x00\x00\x06\x00\x00\x00\x01\x01\xe0"
    assert by_us(head + alien + track).events == [(0, b"\x90\x3c\x40")]
