"""The figure: its cell, its places and its cells, worked out by hand."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from engine.arrangement import Arrangement, Figure
from engine.form.figure import contours, find_figures
from engine.read import read_arrangement
from tests.form.pages import each, page


def cells(arrangement: Arrangement, figure: Figure) -> list[str]:
    return [" ".join(arrangement.notes[i].name for i in cell) for cell in figure.occurrences]


def only(arrangement: Arrangement) -> Figure:
    (figure,) = find_figures(arrangement)
    return figure


def test_a_drone_of_eight_places_is_one_cell() -> None:
    drone = "Eb2 Bb2 F3 Gb3 Bb2 F3 Gb3 F3 "
    arrangement = page(left=each(drone * 8, 0.25), beats=2)
    figure = only(arrangement)
    assert (figure.hand, figure.cell_q, figure.places) == ("left", 2, 8)
    assert cells(arrangement, figure) == [drone.strip()] * 8


def test_it_goes_on_through_changes_of_harmony_and_altered_notes() -> None:
    bars = "C3 G3 C4 Eb4 " * 4 + "Ab2 Eb3 Ab3 C4 " * 2 + "F2 C3 F3 Ab3 " * 2 + "G2 D3 G3 B3 " * 4
    arrangement = page(left=each(bars, 0.5))
    figure = only(arrangement)
    assert (figure.cell_q, figure.places, len(figure.occurrences)) == (2, 4, 12)


def test_a_broken_triad_with_the_middle_note_higher_is_not_cut_in_two() -> None:
    arrangement = page(left=each("C3 G3 E3 G3 " * 6 + "B2 G3 D3 G3 " * 6, 0.25))
    assert only(arrangement).places == 4


def test_broken_chords_take_their_lowest_note_at_each_place() -> None:
    arrangement = page(left=each("C3 E3+G3 E3+G3 " * 8, 1), beats=3)
    figure = only(arrangement)
    assert figure.places == 3
    assert cells(arrangement, figure)[0] == "C3 E3 E3"


def test_a_period_free_of_the_bar_is_found() -> None:
    arrangement = page(left=each("C3 G3 C4 " * 16, 0.5))
    figure = only(arrangement)
    assert (figure.cell_q, figure.places) == (Fraction(3, 2), 3)


def test_an_irregular_cell_is_left_out() -> None:
    good = "C3 G3 C4 Eb4 "
    arrangement = page(left=each(good * 4 + "C3 - C4 - " + good * 4, 0.5))
    figure = only(arrangement)
    assert len(figure.occurrences) == 8
    assert all(len(c) == 4 for c in figure.occurrences)


def small_but_for(arrangement: Arrangement, kept: int, of: int) -> Arrangement:
    """The page with all but the first `kept` of every `of` notes in small print."""
    notes = enumerate(arrangement.notes)
    return replace(arrangement, notes=tuple(replace(n, optional=i % of >= kept) for i, n in notes))


def test_a_figure_in_small_print_is_one_where_most_of_the_hand_is_small() -> None:
    drone = "Eb2 Bb2 F3 Gb3 Bb2 F3 Gb3 F3 "
    arrangement = small_but_for(page(left=each(drone * 8, 0.25), beats=2), 1, 8)
    figure = only(arrangement)
    assert (figure.cell_q, figure.places) == (2, 8)
    assert cells(arrangement, figure) == [drone.strip()] * 8


def test_small_print_here_and_there_is_no_part_of_a_figure() -> None:
    # A cue of four small notes after every four of the figure.
    arrangement = page(left=each("C3 G3 C4 Eb4 D5 E5 F5 G5 " * 8, 0.25), beats=2)
    figure = only(small_but_for(arrangement, 4, 8))
    assert {name for cell in cells(arrangement, figure) for name in cell.split()} == {
        "C3", "G3", "C4", "Eb4",
    }  # fmt: skip


def test_the_harp_of_the_first_study_is_six_notes_to_the_beat_in_both_hands(
    data_sets: Path,
) -> None:
    arrangement = read_arrangement(data_sets / "chopin-op25-1" / "score.musicxml")
    right, left = find_figures(arrangement)
    assert (right.hand, right.cell_q, right.places) == ("right", 1, 6)
    assert (left.hand, left.cell_q, left.places) == ("left", 1, 6)
    # 49 bars of four beats; the last five and some cells with runs in them go their own way.
    assert len(right.occurrences) >= 160
    assert len(left.occurrences) >= 130


def test_it_may_be_in_either_hand_and_change_hands() -> None:
    down = "Bb5 F5 Db5 Bb4 Db5 F5 "
    up = "Bb2 F3 Ab3 Bb3 Ab3 F3 "
    arrangement = page(right=each(down * 8, 0.5, 24), left=each(up * 8, 0.5), beats=6, beat_unit=8)
    found = {(f.hand, f.places, len(f.occurrences)) for f in find_figures(arrangement)}
    assert found == {("left", 6, 8), ("right", 6, 8)}


def test_a_tune_is_no_figure() -> None:
    tune = "E4 D4 C4 D4 E4 E4 E4 - D4 D4 D4 - E4 G4 G4 - A4 F4 G4 B3 C4 A4 G4 F4"
    assert find_figures(page(right=each(tune, 1))) == ()


def test_the_lullaby_figure_runs_nearly_from_end_to_end(data_sets: Path) -> None:
    arrangement = read_arrangement(data_sets / "chopin-op57" / "score.musicxml")
    figure = find_figures(arrangement)[0]
    assert (figure.hand, figure.cell_q, figure.places) == ("left", 3, 5)
    assert len(figure.occurrences) >= 64  # of 70 bars, two of rest and four of close


def test_two_bars_of_the_first_prelude_are_eight_half_bars(data_sets: Path) -> None:
    arrangement = read_arrangement(data_sets / "bach-bwv846" / "score.musicxml")
    places = {f.hand: (f.cell_q, f.places) for f in find_figures(arrangement)}
    assert places == {"right": (2, 6), "left": (2, 2)}


@given(
    st.lists(st.integers(36, 60), min_size=3, max_size=8, unique=True),
    st.lists(st.integers(-5, 6), min_size=4, max_size=10),
)
def test_a_cell_moved_about_keeps_its_places(keys: list[int], moves: list[int]) -> None:
    names = ["C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B"]
    cell_q = len(keys)
    written = [
        (k * cell_q + p, 1, names[(key + move) % 12] + str((key + move) // 12 - 1))
        for k, move in enumerate(moves)
        for p, key in enumerate(keys)
    ]
    arrangement = page(left=written, beats=cell_q)
    figures = find_figures(arrangement)
    onsets = [arrangement.notes[i].onset_q for f in figures for c in f.occurrences for i in c]
    assert len(onsets) == len(set(onsets))  # no note is in two cells
    for figure in figures:
        starts = [arrangement.notes[c[0]].onset_q for c in figure.occurrences]
        for start, cell in zip(starts, figure.occurrences, strict=True):
            offsets = [arrangement.notes[i].onset_q - start for i in cell]
            first = figure.occurrences[0]
            assert offsets == [arrangement.notes[i].onset_q - starts[0] for i in first]


def test_a_contour_forgets_the_pitches() -> None:
    cells = np.array([(48, 55, 60, 55), (46, 50, 58, 50), (48, 60, 55, 60)])
    one, moved, other = contours(cells).tolist()
    assert one == moved == [1, 1, -1, 1, 1]
    assert other == [1, -1, 1, 1, 1]
