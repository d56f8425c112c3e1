"""A note named by where it stands is found again when the page around it was edited."""

from __future__ import annotations

import pytest

from engine.read import read_score_bytes
from engine.read.note_places import find_places, place_text, read_place

BARS = ("C4 E4 G4 C5", "D4 F4 A4 D5", "E4 G4 B4 E5", "D4 F4 A4 D5", "F4 A4 C5 F5")


def page(*bars, sidecar=""):
    """Quarters in 4/4, no ids of their own."""
    note = "<note><pitch><step>{}</step><octave>{}</octave></pitch><duration>1</duration></note>"
    head = "<attributes><divisions>1</divisions><time><beats>4</beats><beat-type>4</beat-type></time></attributes>"  # noqa: E501
    measures = "".join(
        f'<measure number="{k}">{head if k == 1 else ""}'
        + "".join(note.format(*name) for name in bar.split())
        + "</measure>"
        for k, bar in enumerate(bars, 1)
    )
    text = (
        '<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>Piano</part-name>'
        f'</score-part></part-list><part id="P1">{measures}</part></score-partwise>'
    )
    return read_score_bytes(text.encode(), "page.musicxml", sidecar.encode())


def fingered(*bars, place):
    """(bar, name) of the notes that have the finger of a place; what is said of the sidecar."""
    arrangement = page(*bars, sidecar=f'[fingering]\n"{place}" = "3"\n')
    notes = [n for n in arrangement.notes if n.fingering]
    return [(arrangement.bars[n.bar].number, n.name) for n in notes], [
        p.what for p in arrangement.problems if "sidecar" in p.what
    ]


@pytest.fixture
def places():
    """The place of each note of the page as it was, by its number."""
    before = page(*BARS)
    return [place_text(before, note) for note in before.notes]


def test_a_place_says_bar_beat_name_and_what_the_bars_hold(places):
    found = read_place(places[9])
    assert places[9].startswith("3:2 G4 ~")
    assert found is not None
    assert (found.bar, found.beat, found.name) == ("3", 2, "G4")


@pytest.mark.parametrize("k", range(20))
def test_a_bar_put_in_at_the_front_moves_every_place_with_its_bar(places, k):
    found, problems = fingered("G4 G4 G4 G4", *BARS, place=places[k])
    assert found == [(str(k // 4 + 2), BARS[k // 4].split()[k % 4])]
    assert not problems


def test_of_two_bars_alike_the_neighbours_tell_which(places):
    put_in = ("G4 G4 G4 G4", "A4 A4 A4 A4")
    assert fingered(*put_in, *BARS, place=places[4])[0] == [("4", "D4")]
    assert fingered(*put_in, *BARS, place=places[12])[0] == [("6", "D4")]


def test_a_bar_taken_out_before_it(places):
    assert fingered(*BARS[1:], place=places[9])[0] == [("2", "G4")]


def test_its_own_bar_changed_and_another_put_in(places):
    edited = ("G4 G4 G4 G4", *BARS[:2], "E4 G4 B4 B4", *BARS[3:])
    assert fingered(*edited, place=places[9])[0] == [("4", "G4")]


def test_a_note_that_is_gone_is_said_by_its_place(places):
    found, problems = fingered(*BARS[:2], "E4 A4 B4 E5", *BARS[3:], place=places[9])
    assert not found
    assert problems == ["the sidecar names notes that the score has not: 3:2 G4"]


def test_a_place_without_what_its_bars_hold_goes_by_the_number():
    assert fingered(*BARS, place="3:2 G4")[0] == [("3", "G4")]
    assert find_places(page(*BARS), ["3:2 A4", "n1"]) == {"3:2 A4": None}
