"""Messages to notes and pedal moves."""

from __future__ import annotations

import math

from hypothesis import given, settings
from hypothesis import strategies as st

from engine.performance import KeyEvent, NotePairer, PedalMove, PlayedNote, pair_notes


def event(time_s: float, *data: int) -> KeyEvent:
    return KeyEvent(time_s, 0.0, bytes(data))


def test_a_note_on_of_velocity_0_is_a_note_off():
    # MIDI 1.0 Detailed Specification 4.2.1, p. 10: 9n kk 00 means the same as 8n.
    as_on = pair_notes([event(0, 0x90, 60, 64), event(1, 0x90, 60, 0)])
    as_off = pair_notes([event(0, 0x90, 60, 64), event(1, 0x80, 60, 64)])
    assert as_on == as_off
    assert as_on.notes == (PlayedNote(0, 60, 64, 0.0, 1.0, 0.0),)


def test_a_key_struck_twice_without_release_is_two_notes():
    # Common practice: the second stroke ends the first.
    notes = pair_notes(
        [event(0, 0x90, 60, 64), event(1, 0x90, 60, 70), event(3, 0x80, 60, 0)]
    ).notes
    assert [(n.index, n.onset_s, n.release_s) for n in notes] == [(0, 0.0, 1.0), (1, 1.0, 3.0)]


def test_notes_left_hanging_end_with_the_recording():
    notes = pair_notes([event(0, 0x90, 60, 64), event(2, 0xB0, 64, 127)]).notes
    assert notes[0].release_s == 2.0


def test_pedals_of_three_kinds_and_half_values_are_kept():
    moves = pair_notes(
        [
            event(0, 0xB0, 64, 63),
            event(1, 0xB3, 66, 127),
            event(2, 0xB0, 67, 1),
            event(3, 0xB0, 7, 9),
        ]
    ).pedals
    assert moves == (PedalMove(0, 64, 63), PedalMove(1, 66, 127), PedalMove(2, 67, 1))


def test_all_notes_off_ends_what_is_down():
    # MIDI 1.0, p. 24: controller 123 and the mode messages 124 to 127 turn all notes off.
    for controller in (120, 123, 124, 125, 126, 127):
        pairer = NotePairer()
        pairer.hear(event(0, 0x90, 60, 64))
        assert [n.release_s for n in pairer.hear(event(1, 0xB0, controller, 0))] == [1.0]
        assert pairer.keys_down == ()


def test_clock_and_active_sensing_say_nothing():
    pairer = NotePairer()
    assert pairer.hear(event(0, 0xFE)) == pairer.hear(event(0, 0xF8)) == []


@settings(max_examples=300, derandomize=True, deadline=None)
@given(st.lists(st.binary(max_size=5), max_size=60))
def test_any_bytes_leave_no_key_down(messages: list[bytes]):
    pairer = NotePairer()
    started, ended = set(), set()
    for i, data in enumerate(messages):
        for thing in pairer.hear(KeyEvent(float(i), 0.0, data)):
            if isinstance(thing, PlayedNote):
                (started if math.isnan(thing.release_s) else ended).add(thing.index)
    ended |= {n.index for n in pairer.close(float(len(messages)))}
    assert pairer.keys_down == ()
    assert started == ended == set(range(len(started)))
