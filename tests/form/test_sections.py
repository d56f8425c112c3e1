"""Sections, phrases and twins: pages whose form was written down first."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from itertools import pairwise
from pathlib import Path

from engine.arrangement import Arrangement, Mark
from engine.form import find_form
from engine.form.sections import find_phrases, find_sections
from engine.form.twins import find_twins
from engine.read import read_arrangement
from engine.read.sidecar import read_sidecar
from tests.form.pages import each, page

TUNE = "C4 D4 E4 G4 A4 G4 E4 D4 "
OTHER = "F4 F4 A4 C5 B4 A4 G4 F4 "
LAST = "E4 D4 C4 B3 C4 - - - "


def spans(arrangement: Arrangement) -> list[tuple[str, str, int, int]]:
    return [(s.name, s.letter, s.from_bar, s.to_bar) for s in find_sections(arrangement)]


def mark(kind: str, bar: int, text: str = "") -> Mark:
    return Mark(kind, Fraction(4 * bar), bar, text)


def test_rehearsal_marks_name_the_sections_and_what_stands_before_is_the_introduction() -> None:
    arrangement = page(
        right=each((TUNE + OTHER) * 2 + TUNE, 1), marks=[mark("rehearsal", 2, "Sea"),
                                                         mark("rehearsal", 6, "Land")],
    )  # fmt: skip
    assert [(n, a, b) for n, _, a, b in spans(arrangement)] == [
        ("Introduction", 0, 2),
        ("Sea", 2, 6),
        ("Land", 6, 10),
    ]


def test_double_bars_and_words_open_sections() -> None:
    arrangement = page(
        right=each((TUNE + OTHER) * 2 + TUNE + LAST, 1),
        marks=[mark("double-bar", 3), mark("words", 8, "Coda")],
    )
    assert [(a, b) for _, _, a, b in spans(arrangement)] == [(0, 4), (4, 8), (8, 12)]
    assert spans(arrangement)[-1][0] == "Coda"


def test_what_comes_again_has_the_same_letter() -> None:
    arrangement = page(
        right=each(TUNE * 2 + OTHER * 2 + TUNE * 2, 1),
        marks=[mark("double-bar", 3), mark("double-bar", 7)],
    )
    assert spans(arrangement) == [("A", "A", 0, 4), ("B", "B", 4, 8), ("A again", "A", 8, 12)]


def test_without_marks_blocks_that_come_again_are_sections() -> None:
    arrangement = page(right=each(TUNE + LAST + OTHER * 2 + TUNE + LAST, 1))
    assert spans(arrangement) == [("A", "A", 0, 4), ("B", "B", 4, 8), ("A again", "A", 8, 12)]


def test_a_repeat_begins_a_section_again_and_an_ending_does_not() -> None:
    ending = Mark("ending", Fraction(12), 3, "1")
    second = Mark("ending", Fraction(28), 7, "2")
    arrangement = page(
        right=each(TUNE + OTHER + LAST, 1), order=[0, 1, 2, 3, 0, 1, 2, 4, 5],
        marks=[ending, second],
    )  # fmt: skip
    assert spans(arrangement) == [("A", "A", 0, 4), ("A again", "A", 4, 9)]


def test_sections_cover_every_bar_once(exercises: Path) -> None:
    for path in sorted(exercises.glob("*.musicxml")):
        arrangement = read_arrangement(path)
        edges = [(s.from_bar, s.to_bar) for s in arrangement.form.sections]
        assert edges[0][0] == 0
        assert edges[-1][1] == len(arrangement.bars)
        assert all(a[1] == b[0] for a, b in pairwise(edges))
        names = [s.name for s in arrangement.form.sections]
        assert len(names) == len(set(names))


def test_a_phrase_ends_where_the_line_breathes() -> None:
    breathing = "C4 D4 E4 F4 G4 G4 G4 - "  # two bars, the second with a rest
    arrangement = page(right=each(breathing * 4, 1))
    sections = find_sections(arrangement)
    line = range(len(arrangement.notes))
    starts = [p.from_q for p in find_phrases(arrangement, sections, line)]
    assert all(q % 8 == 0 for q in starts)


def test_twins_part_where_they_were_written_to() -> None:
    arrangement = page(right=each(TUNE + "A4 B4 C5 D5 " + OTHER + TUNE + "A4 B4 F4 D4 " + LAST, 1))
    (twins,) = find_twins(arrangement, ())
    assert (twins.first_q, twins.second_q, twins.length_q) == (0, 20, 10)
    assert twins.parting == (10, 30)
    assert twins.words == "bar 3 goes on with C5; bar 8 goes on with F4"


def test_transposed_twins_say_by_how_much() -> None:
    high = "D4 E4 F#4 A4 B4 A4 F#4 E4 "
    arrangement = page(right=each(TUNE + "C4 - - - " + high + "B3 - - - ", 1))
    found = [(t.first_q, t.second_q, t.transposed, t.length_q) for t in find_twins(arrangement, ())]
    assert (0, 12, 2, 8) in found


def test_twins_that_enter_after_a_silent_bar_are_found() -> None:
    rest = "- - - - "
    arrangement = page(right=each(OTHER + rest + TUNE + LAST + rest + TUNE + OTHER, 1))
    found = {(t.first_q, t.second_q, t.length_q) for t in find_twins(arrangement, ())}
    assert (12, 32, 8) in found


def test_after_silence_a_run_goes_on_only_at_the_same_distance() -> None:
    high = "D4 E4 F#4 A4 B4 A4 F#4 E4 "
    rest = "- - - - "
    arrangement = page(right=each(TUNE + rest + TUNE + LAST + high + rest + TUNE + OTHER, 1))
    found = {(t.first_q, t.second_q, t.transposed) for t in find_twins(arrangement, ())}
    assert (12, 40, 0) in found
    assert (0, 28, 2) in found


def test_one_hand_alike_is_a_twin_of_that_hand() -> None:
    arrangement = page(
        right=each(TUNE + "C5 B4 A4 G4 " + OTHER + TUNE + "E5 B4 A4 G4 ", 1),
        left=each("C3 E3 G3 F3 D3 A2 B2 C3 F3 G3", 2),
    )
    hands = {t.hands for t in find_twins(arrangement, ()) if (t.first_q, t.second_q) == (0, 20)}
    assert hands == {"right"}


def test_a_drone_alone_has_no_twins() -> None:
    arrangement = page(left=each("C3 G3 C4 Eb4 " * 16, 0.5))
    form = find_form(arrangement)
    assert form.figures
    assert form.twins == ()


def test_a_repeat_with_another_ending_is_its_own_twin(exercises: Path) -> None:
    arrangement = read_arrangement(exercises / "salt-pans-night-shift.musicxml")
    repeated = [t for t in arrangement.form.twins if t.length_q > 90]
    assert len(repeated) == 1
    first, second = (arrangement.bar_at(q) for q in repeated[0].parting)
    assert (first.number, second.number) == ("52", "53")


def test_the_partings_the_exercise_was_composed_with_are_found(exercises: Path) -> None:
    arrangement = read_arrangement(exercises / "salt-pans-night-shift.musicxml")
    partings = {
        tuple(arrangement.bar_at(q).number for q in t.parting) for t in arrangement.form.twins
    }
    assert {("10", "18"), ("9", "33"), ("9", "49")} <= partings


def test_the_player_may_say_otherwise() -> None:
    sidecar = read_sidecar(
        b'[[sections]]\nname = "Dawn"\nfrom = "1"\nto = "3"\n[[phrases]]\nfrom = "2"\nto = "3:2"\n',
        "x.toml",
    )
    form = find_form(page(right=each(TUNE * 4, 1)), sidecar)
    assert next((s.name, s.from_bar, s.to_bar) for s in form.sections) == ("Dawn", 0, 3)
    assert (Fraction(4), Fraction(10)) in [(p.from_q, p.to_q) for p in form.phrases]


def test_sections_named_by_the_player_throughout_are_lettered_from_a() -> None:
    told = '[[sections]]\nname = "{}"\nfrom = "{}"\nto = "{}"\n'
    names = (("Gate", 1, 4), ("Flood", 5, 8))
    sidecar = read_sidecar("".join(told.format(*n) for n in names).encode(), "x.toml")
    form = find_form(page(right=each((TUNE + OTHER) * 2, 1)), sidecar)
    assert [(s.name, s.letter) for s in form.sections] == [("Gate", "A"), ("Flood", "B")]


def test_form_does_not_look_at_the_form_already_there(exercises: Path) -> None:
    arrangement = read_arrangement(exercises / "two-sluices.musicxml")
    assert find_form(replace(arrangement, form=type(arrangement.form)())) == arrangement.form
