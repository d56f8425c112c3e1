"""Arithmetic on the line of fifths: cases from the trade, and properties."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.form.fifths import (
    MODES,
    degree_words,
    interval_between,
    mode_of,
    name_at,
    pitch_class_at,
    place_from_text,
    place_of,
    places_for,
    spell,
    text_at,
    transpose,
)

PLACES = st.integers(-22, 26)  # triple flats to triple sharps
KEYS = st.integers(21, 108)


@pytest.mark.parametrize(
    ("name", "place"),
    [("C", 0), ("F", -1), ("B", 5), ("Gb", -6), ("Cb", -7), ("Fb", -8), ("Bbb", -9), ("Ebb", -10),
     ("Abb", -11), ("Dbb", -12), ("F##", 13), ("C##", 14), ("B###", 26), ("Fbbb", -22)],
)  # fmt: skip
def test_places_of_names(name: str, place: int) -> None:
    assert place_from_text(name) == place
    assert text_at(place) == name


@pytest.mark.parametrize(
    ("low", "high", "name"),
    [("Gb4", "Bbb4", "m3"), ("Cb4", "Ebb4", "m3"), ("Db4", "Abb4", "d5"), ("C4", "Ebb4", "d3"),
     ("F4", "Bbb4", "d4"), ("Ebb4", "Bbb4", "P5"), ("C4", "F#5", "A11"), ("B3", "Cb4", "d2"),
     ("Eb4", "Bbb4", "d5"), ("C4", "C4", "P1"), ("C4", "C#4", "A1"), ("E4", "G##4", "A3"),
     ("C4", "F##4", "AA4")],
)  # fmt: skip
def test_intervals_are_spelled(low: str, high: str, name: str) -> None:
    assert interval_between(_pitch(low), _pitch(high)).name == name


def _pitch(name: str) -> tuple[str, int, int]:
    step, alter = name_at(place_from_text(name))
    return step, alter, int(name.lstrip("ABCDEFGb#"))


def test_the_octave_follows_the_letter() -> None:
    assert spell(59, place_of("C", -1)) == ("C", -1, 4)
    assert spell(60, place_of("B", 1)) == ("B", 1, 3)
    assert spell(58, place_of("C", -2)) == ("C", -2, 4)


def test_a_name_that_does_not_sound_the_key_is_refused() -> None:
    with pytest.raises(ValueError, match="does not sound"):
        spell(60, place_of("D", 0))


def test_the_flat_fifth_keeps_the_letter_of_the_fifth() -> None:  # common practice
    root, flat_fifth = place_from_text("Eb"), place_from_text("Bbb")
    assert degree_words(flat_fifth - root) == "flat fifth"
    assert name_at(root + 1)[0] == name_at(flat_fifth)[0] == "B"
    assert pitch_class_at(flat_fifth) == pitch_class_at(place_from_text("A"))
    assert degree_words(place_from_text("A") - root) == "sharp eleventh"


def test_dorian_is_the_mode_of_a_minor_chord_with_a_major_sixth() -> None:  # common practice
    root = place_from_text("D")
    assert mode_of([place_from_text(n) for n in "DFAB"], root) == ("dorian", "melodic minor")


def test_the_ninth_and_the_eleventh_are_a_third_apart() -> None:  # common practice
    ninth, eleventh = _pitch("F4"), _pitch("Ab4")  # over E flat
    assert interval_between(ninth, eleventh).words == "minor third"
    assert [degree_words(p) for p in (2, -1)] == ["ninth", "eleventh"]


@given(PLACES, KEYS)
def test_spelling_and_sounding_are_inverse(place: int, pitch: int) -> None:
    pitch += (pitch_class_at(place) - pitch) % 12
    step, alter, octave = spell(pitch, place)
    assert place_of(step, alter) == place
    letters = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
    assert 12 * (octave + 1) + letters[step] + alter == pitch


@given(PLACES, KEYS, PLACES, KEYS)
def test_an_interval_leads_from_its_first_note_to_its_second(
    p: int, low: int, q: int, high: int
) -> None:
    low += (pitch_class_at(p) - low) % 12
    high += (pitch_class_at(q) - high) % 12
    first, second = spell(low, p), spell(high, q)
    assert transpose(first, interval_between(first, second)) == second


@given(KEYS)
def test_every_key_has_its_names(pitch: int) -> None:
    places = places_for(pitch)
    assert all(pitch_class_at(p) == pitch % 12 for p in places)
    assert len(places) >= 4
    assert all(abs(name_at(p)[1]) <= 3 for p in places)


def test_every_mode_has_seven_notes_with_seven_letters() -> None:
    for places in MODES.values():
        assert len({name_at(p)[0] for p in places}) == 7
