"""Bare keys get the names a musician would give them; a hidden name is found again."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from engine.form.fifths import place_of, text_at
from engine.form.naming import Page, PageHabits, name_in_context, name_notes
from engine.form.spelling import spell_pitches
from engine.pitch_names import SIGNS, midi_number
from engine.read import read_arrangement
from tests.form.pages import each, page

SCALE = (0, 2, 4, 5, 7, 9, 11, 12)


def names(pitches: list[int], fifths: int | None = None) -> list[str]:
    spelled = spell_pitches(pitches, [0.5 * k for k in range(len(pitches))], fifths)
    return [text_at(place_of(step, alter)) for step, alter, _ in spelled]


@pytest.mark.parametrize(
    ("tonic", "scale"),
    [(60, "C D E F G A B C"), (61, "Db Eb F Gb Ab Bb C Db"), (63, "Eb F G Ab Bb C D Eb"),
     (64, "E F# G# A B C# D# E"), (68, "Ab Bb C Db Eb F G Ab"), (59, "B C# D# E F# G# A# B")],
)  # fmt: skip
def test_a_major_scale_is_written_in_its_simplest_key(tonic: int, scale: str) -> None:
    up = [tonic + s for s in SCALE]
    assert names(up + up[::-1] + up) == scale.split() + scale.split()[::-1] + scale.split()


def test_a_minor_key_has_its_leading_note() -> None:
    pitches = [57, 60, 64, 69, 68, 64, 71, 74, 68, 69, 64, 60, 57]
    assert names(pitches)[4] == "G#"
    assert names([p + 6 for p in pitches])[4] == "D"  # E flat minor, not D sharp


def test_with_the_key_signature_the_player_decides() -> None:
    up = [66 + s for s in SCALE]
    assert names(up * 2, 6)[0] == "F#"
    assert names(up * 2, -6)[0] == "Gb"


def test_each_key_signature_holds_from_its_moment() -> None:
    up = [66 + s for s in SCALE] * 16  # 64 quarters
    onsets = [0.5 * k for k in range(2 * len(up))]
    for first, second, wanted in ((6, -6, "F# Gb"), (-6, 6, "Gb F#")):
        spelled = spell_pitches(up * 2, onsets, [(0, first), (64, second)])
        found = [text_at(place_of(step, alter)) for step, alter, _ in spelled]
        assert [found[0], found[len(up)]] == wanted.split()


@settings(max_examples=25, deadline=None)
@given(st.lists(st.integers(33, 96), min_size=1, max_size=20))
def test_octaves_struck_together_are_named_alike(pitches: list[int]) -> None:
    onsets = [0.5 * k for k in range(len(pitches))]
    spelled = spell_pitches([*pitches, *(p + 12 for p in pitches)], onsets * 2)
    low, high = spelled[: len(pitches)], spelled[len(pitches) :]
    assert [n[:2] for n in low] == [n[:2] for n in high]


def test_chromatic_steps_go_up_with_sharps_and_down_with_flats() -> None:  # common practice
    chord = [48, 55, 64]
    up = [*chord, 60, 61, 62, 64, *chord, 60, 61, 62]
    down = [*chord, 62, 60, 59, 58, 57, *chord, 55]
    assert names(up, 0)[4] == "C#"
    assert names(down, 0)[6] == "Bb"


def test_the_order_given_does_not_matter() -> None:
    pitches, onsets = [60, 64, 67, 72, 61], [0.0, 0.0, 0.0, 1.0, 0.5]
    forward = spell_pitches(pitches, onsets)
    back = spell_pitches(pitches[::-1], onsets[::-1])
    assert forward == back[::-1]


def test_one_onset_for_each_pitch_is_asked_for() -> None:
    assert spell_pitches([], []) == []
    with pytest.raises(ValueError, match="2 pitches but 1 onsets"):
        spell_pitches([60, 61], [0.0])


@settings(max_examples=40, deadline=None)
@given(st.lists(st.integers(21, 108), min_size=1, max_size=30), st.sampled_from([None, -5, 0, 4]))
def test_a_name_always_sounds_its_key(pitches: list[int], fifths: int | None) -> None:
    for pitch, (step, alter, octave) in zip(
        pitches, spell_pitches(pitches, [0.5 * k for k in range(len(pitches))], fifths), strict=True
    ):
        assert midi_number(step, alter, octave) == pitch


def test_a_key_struck_by_mistake_is_named_as_the_page_would(exercises: Path) -> None:
    arrangement = read_arrangement(exercises / "salt-pans-night-shift.musicxml")
    over_e_flat, over_c_flat = 30.0, 74.0
    assert name_in_context(arrangement, 81, over_e_flat, "right") == "Bbb5"
    assert name_in_context(arrangement, 74, over_c_flat, "right") == "Ebb5"
    assert name_in_context(arrangement, 78, over_e_flat, "right") == "Gb5"


def test_a_page_without_notes_nearby_goes_by_its_signature() -> None:
    arrangement = page(right=each("Ab4 Bb4 C5", 1), fifths=-4)
    assert name_in_context(arrangement, 61, 200.0, "right") == "Db4"


def test_hidden_names_of_the_exercises_are_found_again(exercises: Path) -> None:
    asked = right = doubles = doubles_right = 0
    for path in sorted(exercises.glob("*.musicxml")):
        arrangement = read_arrangement(path)
        indices = [i for i, n in enumerate(arrangement.notes) if n.time == 1]
        notes = [arrangement.notes[i] for i in indices]
        places = np.array([place_of(n.step, n.alter) for n in notes])
        spelled = Page(
            np.array([n.pitch for n in notes]),
            places,
            np.array([float(n.onset_q) for n in notes]),
            arrangement.fifths,
        )
        habits = PageHabits(arrangement)
        habit = np.array(
            [habits.of(arrangement.notes[i].pitch, arrangement.notes[i].onset_q, (i,))
             for i in indices]
        )  # fmt: skip
        same = name_notes(spelled, range(len(notes)), habit) == places
        double = (places <= -9) | (places >= 13)
        asked, right = asked + len(notes), right + int(same.sum())
        doubles, doubles_right = (
            doubles + int(double.sum()),
            doubles_right + int(same[double].sum()),
        )
    assert right / asked >= 0.99
    assert doubles_right / doubles >= 0.9, f"{doubles_right} of {doubles}"


@pytest.mark.parametrize(
    ("signatures", "names"),
    [
        ((2, -5), "D F# A C# Db Gb Ab Db"),
        ((-5, 2), "Db Gb Ab Db D F# A C#"),
        ((2, 7), "D F# A C# C# F# G# C#"),
    ],
)
def test_a_signature_that_changes_holds_from_there(signatures, names):
    """The same keys are D flat major in five flats, C sharp major in seven sharps."""
    flats, sharps = (61, 66, 68, 73), (62, 66, 69, 73)
    keys = (flats + sharps) if signatures[0] < 0 else (sharps + flats)
    found = spell_pitches(keys, range(8), [(0, signatures[0]), (4, signatures[1])])
    assert [step + SIGNS[alter] for step, alter, _ in found] == names.split()
