"""Harmonies, the line, and what its notes are to them."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from engine.arrangement import Arrangement
from engine.form import find_form
from engine.form.function import function_words, harmony_at, held_over, mode_over
from engine.form.harmony import find_harmonies
from engine.form.line import find_doublings, find_line
from engine.read import read_arrangement
from tests.form.pages import each, page


def symbols(arrangement: Arrangement) -> list[str]:
    return [h.symbol for h in arrangement.form.harmonies]


def with_form(arrangement: Arrangement) -> Arrangement:
    return replace(arrangement, form=find_form(arrangement))


@pytest.mark.parametrize(
    ("chord", "symbol"),
    [("C3+E3+G3", "C"), ("A2+C3+E3", "Am"), ("G2+B2+D3+F3", "G7"), ("D3+F3+A3+C4", "Dm7"),
     ("F2+A2+C3+E3", "Fmaj7"), ("B2+D3+F3+A3", "Bm7b5"), ("B2+D3+F3+Ab3", "Bdim7"),
     ("C3+E3+G#3", "Caug"), ("C3+Eb3+G3+B3", "Cm(maj7)"), ("E3+G3+C4", "C/E"),
     ("C3+F3+G3", "Csus4"), ("Ebb3+Gb3+Bbb3", "Ebb"), ("Cb3+Ebb3+Gb3", "Cbm")],
)  # fmt: skip
def test_a_plain_chord_is_called_by_its_name(chord: str, symbol: str) -> None:
    written = each(f"{chord} {chord}", 4)
    assert [h.symbol for h in find_harmonies(page(left=written), ())] == [symbol]


def test_a_drone_with_its_ninth_is_one_harmony_with_the_ninth_as_colour() -> None:
    arrangement = with_form(page(left=each("Eb2 Bb2 F3 Gb3 Bb2 F3 Gb3 F3 " * 8, 0.25), fifths=-6))
    assert symbols(arrangement) == ["Ebm(add9)"]
    assert arrangement.form.harmonies[0].colours == ("ninth F",)


def test_a_change_comes_where_it_is_written() -> None:
    arrangement = with_form(page(left=each("C3 G3 C4 E4 " * 4 + "A2 E3 A3 C4 " * 4, 0.5)))
    assert [(h.symbol, h.from_q) for h in arrangement.form.harmonies] == [("C", 0), ("Am", 8)]


def test_a_passing_note_makes_no_chord() -> None:
    tune = each("E5 D5 C5 D5 E5 F#5 G5 E5", 1)
    arrangement = with_form(page(right=tune, left=each("C3+E3+G3 " * 8, 1)))
    assert symbols(arrangement) == ["C"]


def test_the_page_spells_the_root() -> None:
    flat = with_form(page(left=each("Gb2 Db3 Gb3 Bb3 " * 4, 0.5), fifths=-6))
    sharp = with_form(page(left=each("F#2 C#3 F#3 A#3 " * 4, 0.5), fifths=6))
    assert (symbols(flat), symbols(sharp)) == (["Gb"], ["F#"])


def test_the_lowered_fifth_is_named_by_its_letter() -> None:
    arrangement = page(
        right=[(0, 4, "Bbb5"), (4, 4, "A5"), (8, 4, "G5"), (12, 4, "Ab5")],
        left=each("Eb2 Bb2 Gb3 Bb2 " * 8, 0.5),
        fifths=-6,
    )
    arrangement = with_form(arrangement)
    harmony = arrangement.form.harmonies[0]
    said = [function_words(n, harmony) for n in arrangement.notes if n.hand == "right"]
    assert said == ["flat fifth", "sharp eleventh", "major third over a minor chord", "eleventh"]


def test_a_held_note_changes_its_function_with_the_harmony() -> None:
    arrangement = with_form(
        page(right=[(0, 16, "F5")], left=each("Eb2 Bb2 Gb3 Bb2 " * 4 + "C2 G2 Eb3 G2 " * 4, 0.5),
             fifths=-3)
    )  # fmt: skip
    k = harmony_at(arrangement.form.harmonies, 10)
    ((_, words),) = held_over(arrangement)[k]
    assert words == "eleventh, held over from the ninth of the chord before"


def test_the_mode_of_the_line_over_a_minor_chord() -> None:
    arrangement = with_form(
        page(right=each("D5 E5 F5 G5 A5 B5 C6 D6", 1), left=each("D3 A3 F4 A3 " * 4, 0.5))
    )
    assert mode_over(arrangement, 0)[0] == "dorian"


def test_the_exercise_moves_where_its_notes_say(exercises: Path) -> None:
    arrangement = read_arrangement(exercises / "salt-pans-night-shift.musicxml")
    first = [
        (arrangement.bar_at(h.from_q).number, h.root, h.quality)
        for h in arrangement.form.harmonies
        if arrangement.bar_at(h.from_q).time == 1
    ]
    assert first == [
        ("1", "Eb", "minor"),
        ("37", "Cb", "major"),
        ("41", "Fb", "major"),
        ("45", "Eb", "minor"),
    ]


def test_the_line_is_above_the_figure_and_its_octaves_are_copies(exercises: Path) -> None:
    arrangement = read_arrangement(exercises / "salt-pans-night-shift.musicxml")
    form = arrangement.form
    right = [i for i, n in enumerate(arrangement.notes) if n.hand == "right"]
    assert {i for pair in form.doublings for i in pair} == set(right)
    for upper, lower in form.doublings:
        assert arrangement.notes[upper].pitch - arrangement.notes[lower].pitch == 12


def test_the_left_hand_sings_where_it_has_the_octaves(exercises: Path) -> None:
    arrangement = read_arrangement(exercises / "two-sluices.musicxml")
    hands = {}
    for i in arrangement.form.line:
        note = arrangement.notes[i]
        hands.setdefault(arrangement.bars[note.bar].number, set()).add(note.hand)
    assert all(hands[str(n)] == {"right"} for n in range(1, 9))
    assert all(hands[str(n)] == {"left"} for n in range(9, 12))


def test_inner_notes_under_a_held_line_are_not_the_line() -> None:
    arrangement = page(right=[(0, 4, "G5"), (1, 1, "E4"), (2, 1, "D4"), (4, 4, "A5")])
    line = find_line(arrangement, ())
    assert [arrangement.notes[i].name for i in line] == ["G5", "A5"]
    assert find_doublings(arrangement, line) == ()
