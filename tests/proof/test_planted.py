"""Errors planted in copies of the exercises are all found, and the originals raise no alarm.

What each plant should bring was written down with it, before the proof was run.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from xml.etree.ElementTree import Element, SubElement

import pytest

from engine.proof import find_remarks
from engine.read import read_arrangement
from tests.proof.planting import (
    Tree,
    add_to_chord,
    measure,
    notes,
    pedals,
    planted,
    remove,
    respell,
)

SALT, PUMP, SLUICES, PANS = (
    "salt-pans-night-shift.musicxml",
    "brine-pump.musicxml",
    "two-sluices.musicxml",
    "evaporation.musicxml",
)


def one_figure_note_changed(root: Tree) -> None:
    respell(notes(root, 14, 2)[2], "E", 0, 3)  # F3, place 3, a key too low


def a_key_that_only_another_chord_has(root: Tree) -> None:
    respell(notes(root, 1, 2)[1], "B", 0, 2)  # B2 for B flat; the figure has it late in the form


def one_figure_note_left_out(root: Tree) -> None:
    note = notes(root, 15, 2)[3]
    rest = Element("rest")
    pitch = note.find("pitch")
    assert pitch is not None
    note.insert(list(note).index(pitch), rest)
    note.remove(pitch)


def figure_of_the_pump_changed(root: Tree) -> None:
    respell(notes(root, 3, 2)[1], "C", -1, 3)


def octave_left_out(root: Tree) -> None:
    remove(root, 14, notes(root, 14, 1)[-1])  # the chord's upper note


def octave_a_step_off(root: Tree) -> None:
    respell(notes(root, 22, 1)[0], "E", -1, 4)


def octave_left_out_in_the_left_hand(root: Tree) -> None:
    chord = [n for n in notes(root, 10, 2) if n.find("chord") is not None]
    remove(root, 10, chord[0])


def pedal_held_over_the_change(root: Tree) -> None:
    for direction in pedals(root, 37):
        measure(root, 37).remove(direction)


def pedal_lifted_in_the_middle(root: Tree) -> None:
    for number, kind in ((20, "stop"), (22, "start")):
        direction = Element("direction")
        SubElement(SubElement(direction, "direction-type"), "pedal", type=kind)
        SubElement(direction, "staff").text = "2"
        measure(root, number).insert(0, direction)


def pedal_over_two_bars_of_evaporation(root: Tree) -> None:
    for direction in pedals(root, 3):
        measure(root, 3).remove(direction)


def flat_fifth_written_as_fourth(root: Tree) -> None:
    for note in notes(root, 18, 1)[:2]:
        respell(note, "A", 0, int(note.findtext("pitch/octave") or 0))


def third_of_the_figure_respelled(root: Tree) -> None:
    respell(notes(root, 9, 2)[3], "F", 1, 3)


def below_the_keyboard(root: Tree) -> None:
    respell(notes(root, 3, 2)[0], "E", -1, 0)


def above_the_keyboard(root: Tree) -> None:
    respell(notes(root, 16, 1)[1], "D", -1, 8)


def a_twelfth_in_one_hand(root: Tree) -> None:
    add_to_chord(root, 2, notes(root, 2, 2)[0], "E", 0, 4)  # over A2 E3


def two_places_for_the_left_hand(root: Tree) -> None:
    add_to_chord(root, 4, notes(root, 4, 2)[0], "G", 1, 5)


def bar_too_long(root: Tree) -> None:
    for note in notes(root, 6, 1)[-2:]:  # an octave
        duration = note.find("duration")
        assert duration is not None
        duration.text = str(int(duration.text or 0) + 4)


def bar_too_short(root: Tree) -> None:
    bar = measure(root, 11)
    for note in bar.findall("note"):
        duration = note.find("duration")
        assert duration is not None
        duration.text = str(int(duration.text or 0) // 2)
    for backup in bar.findall("backup"):
        duration = backup.find("duration")
        assert duration is not None
        duration.text = str(int(duration.text or 0) // 2)


def jump_to_a_segno_that_is_not_there(root: Tree) -> None:
    direction = Element("direction")
    SubElement(SubElement(direction, "direction-type"), "words").text = "D.S."
    SubElement(direction, "sound", dalsegno="segno")
    measure(root, 8).append(direction)


def second_ending_never_reached(root: Tree) -> None:
    for repeat in measure(root, 52).findall("barline"):
        for sign in repeat.findall("repeat"):
            repeat.remove(sign)


def tie_to_nowhere(root: Tree) -> None:
    note = notes(root, 4, 1)[0]
    pitch = note.find("duration")
    assert pitch is not None
    note.insert(list(note).index(pitch) + 1, Element("tie", type="start"))


def pedal_never_lifted(root: Tree) -> None:
    last = [d for bar in root.iter("measure") for d in pedals(root, int(bar.get("number") or 0))]
    parent = next(b for b in root.iter("measure") if last[-1] in list(b))
    parent.remove(last[-1])


#: exercise, plant, kind of remark, printed bar.
PLANTS: list[tuple[str, Callable[[Tree], None], str, str]] = [
    (SALT, one_figure_note_changed, "figure", "14"),
    (SALT, a_key_that_only_another_chord_has, "figure", "1"),
    (SALT, one_figure_note_left_out, "figure", "15"),
    (PUMP, figure_of_the_pump_changed, "figure", "3"),
    (SALT, octave_left_out, "octave", "14"),
    (SALT, octave_a_step_off, "octave", "22"),
    (SLUICES, octave_left_out_in_the_left_hand, "octave", "10"),
    (SALT, pedal_held_over_the_change, "pedal", "37"),
    (SALT, pedal_lifted_in_the_middle, "pedal", "20"),
    (PANS, pedal_over_two_bars_of_evaporation, "pedal", "3"),
    (SALT, flat_fifth_written_as_fourth, "spelling", "18"),
    (SALT, third_of_the_figure_respelled, "spelling", "9"),
    (SALT, below_the_keyboard, "keyboard", "3"),
    (PUMP, above_the_keyboard, "keyboard", "16"),
    (SLUICES, a_twelfth_in_one_hand, "stretch", "2"),
    (SLUICES, two_places_for_the_left_hand, "two places", "4"),
    (SLUICES, bar_too_long, "bar", "6"),
    (SLUICES, bar_too_short, "bar", "11"),
    (SLUICES, jump_to_a_segno_that_is_not_there, "repeat", "8"),
    (SALT, second_ending_never_reached, "repeat", "53"),
    (SLUICES, tie_to_nowhere, "tie", "4"),
    (PANS, pedal_never_lifted, "pedal", ""),
]


@pytest.mark.parametrize("name", [SALT, PUMP, SLUICES, PANS])
def test_an_exercise_raises_no_alarm(exercises: Path, name: str) -> None:
    assert find_remarks(read_arrangement(exercises / name)) == ()


@pytest.mark.parametrize(
    ("name", "plant", "kind", "bar"), PLANTS, ids=[p[1].__name__ for p in PLANTS]
)
def test_a_planted_error_is_found(
    exercises: Path, name: str, plant: Callable[[Tree], None], kind: str, bar: str
) -> None:
    remarks = find_remarks(planted(exercises / name, plant))
    found = [r for r in remarks if r.kind == kind and (r.bar == bar or not bar)]
    assert found, [(r.kind, r.bar, r.why) for r in remarks]
    others = [r for r in remarks if r.kind != kind and r.bar != bar]
    assert not others, [(r.kind, r.bar, r.why) for r in others]
