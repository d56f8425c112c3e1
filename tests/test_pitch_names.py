"""Names of pitches, checked against music21's own arithmetic."""

from __future__ import annotations

import music21
import pytest

from engine.pitch_names import midi_number, pitch_name, printed


@pytest.mark.parametrize("octave", [-1, 3, 4, 7])
@pytest.mark.parametrize("alter", range(-3, 4))
@pytest.mark.parametrize("step", "CDEFGAB")
def test_midi_numbers_agree_with_music21(step: str, alter: int, octave: int):
    theirs = music21.pitch.Pitch(step=step, octave=octave)
    theirs.accidental = music21.pitch.Accidental(alter) if alter else None
    assert midi_number(step, alter, octave) == theirs.ps


def test_the_octave_follows_the_letter():
    assert midi_number("C", -1, 4) == 59
    assert midi_number("B", 1, 3) == 60


def test_plain_names_sound_their_own_key():
    for pitch in range(12, 128):  # below C0 the minus sign would be read as a flat
        assert music21.pitch.Pitch(pitch_name(pitch).replace("b", "-")).midi == pitch
    assert pitch_name(0) == "C-1"


def test_signs_are_printed_properly():
    assert printed("Bbb4") == "B𝄫4"
    assert printed("F##3") == "F𝄪3"
    assert printed("Eb-1") == "E♭-1"
    assert printed("C4") == "C4"
    assert printed("Bb3") == "B♭3"
