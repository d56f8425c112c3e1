"""Remarks in words that follow from their numbers: which cells, how wide, how many."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest

from engine.arrangement import Arrangement, Twins
from engine.form.find import find_form
from engine.proof import find_remarks
from engine.proof.read_back import heading, line_lines, twin_words
from tests.form.pages import page

LINE = ["G5", "A5", "B5", "C6", "B5", "A5", "G5", "F5", "E5", "F5", "G5", "A5"]


def reasons(arrangement: Arrangement, kind: str) -> list[str]:
    found = find_remarks(replace(arrangement, form=find_form(arrangement)))
    return [r.why for r in found if r.kind == kind]


def with_one_cell_off(number: int) -> Arrangement:
    """Eight cells of C3 G3 E4 G3 in eighths, F sharp for the E of one of them."""
    cells = [["C3", "G3", "F#4" if k == number else "E4", "G3"] for k in range(8)]
    left = [(k / 2, 0.5, name) for k, name in enumerate(n for cell in cells for n in cell)]
    return page(right=[(k, 1, "C6") for k in range(16)], left=left)


@pytest.mark.parametrize(
    ("number", "sides"), [(0, "after"), (1, "before and after"), (4, "before and after"),
                          (7, "before")],
)  # fmt: skip
def test_a_cell_at_the_end_of_a_row_has_others_on_one_side_only(number: int, sides: str) -> None:
    (why,) = reasons(with_one_cell_off(number), "figure")
    assert why == f"place 3 of the figure is F♯4 here and E4 in the cells {sides}"


@pytest.mark.parametrize(
    ("low", "size"),
    [
        ("Ab4", "an augmented octave"),  # 13 semitones, eight letters
        ("A#4", "a diminished octave"),
        ("G4", "a major ninth"),  # 14 semitones, nine letters: no second
        ("G#4", "a minor ninth"),
        ("Bb4", "a major seventh"),
    ],
)
def test_what_stands_in_an_octaves_place_is_called_as_wide_as_it_is(low: str, size: str) -> None:
    right = [(k, 1, name) for k, name in enumerate(LINE)]
    copies = [name[0] + str(int(name[1]) - 1) for name in LINE]
    copies[5] = low
    right += [(k, 1, name) for k, name in enumerate(copies)]
    (why,) = reasons(page(right, [(k, 4, "C3") for k in (0, 4, 8)]), "octave")
    assert f"under A5 is {size}, where all notes around it are octaves" in why


def test_one_of_a_thing_is_no_plural() -> None:
    one = page(right=[(0, 4, "C5")])
    one = replace(one, form=find_form(one))
    assert heading(one) == "A page: 1 bar, no sharps or flats"
    assert list(line_lines(one)) == ["right hand, 1 note, single notes"]
    zero, bar = Fraction(0), Fraction(4)
    twins = Twins(zero, zero, bar, (bar, bar), transposed=-1, words="x")
    assert "begin alike, 1 semitone down for 1 bar" in twin_words(one, twins)


def test_a_bar_that_holds_a_note_where_its_twin_goes_on_does_not_rest() -> None:
    """Bars 2 and 4 begin on F5: a quarter in bar 2, a dotted one in bar 4, or a rest after it."""
    start = [(0, 1, "C5"), (1, 1, "D5"), (2, 1, "E5"), (3, 1, "G5")]
    goes_on = [(4, 1, "F5"), (5, 0.5, "G5"), (5.5, 0.5, "A5"), (6, 2, "C6")]
    for length, words in ((1.5, "bar 4 holds F5"), (1, "bar 4 rests")):
        other = [(4, length, "F5"), (5.5, 0.5, "A5"), (6, 2, "C6")]
        right = start + goes_on + [(8 + q, d, name) for q, d, name in start + other]
        (twins,) = find_form(page(right)).twins
        assert twins.words == f"bar 2 goes on with G5; {words}"
