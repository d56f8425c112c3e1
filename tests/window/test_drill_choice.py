"""The sheet of drills by keys alone: chosen, changed, named, saved, begun."""

from __future__ import annotations

from dataclasses import replace

import pytest

from engine.arrangement import Span
from practice.drills.coaching import CHOSEN
from practice.drills.kept_sheets import KeptSheet
from practice.drills.offers import Shelf
from practice.drills.places import Weaknesses
from practice.drills.ready_made import READY_MADE
from practice.snapshot import Command
from practice.window.compose import compose_layers
from practice.window.drill_choice import take_shelf, type_text
from practice.window.gestures import Press, piano_pitch, press_key
from practice.window.keys import PIANO_KEYS
from practice.window.ops import Words
from practice.window.theme import LIGHT
from practice.window.view import Preferences, View
from tests.window.staging import read_exercise, waiting

SHELF = Shelf(
    Weaknesses((4,), (4,)),
    (KeptSheet("slow", READY_MADE["memory"]), KeptSheet("broken", trouble="not understood")),
)


@pytest.fixture
def view() -> View:
    snapshot = waiting(read_exercise("brine-pump"), Span(2, 5), hands="left")
    opened = press_key(View(snapshot), Press("c")).view
    assert opened.overlay == "drills"
    assert opened.drills.wanted
    return take_shelf(opened, SHELF)


def keys(view: View, *pressed: str) -> tuple[View, list[Command]]:
    told: list[Command] = []
    for key in pressed:
        outcome = press_key(view, Press(key))
        view = outcome.view
        told += outcome.commands
    return view, told


def at(view: View, title: str) -> View:
    titles = [one.title for one in view.drills.offers]
    return keys(view, "home", *["down"] * titles.index(title))[0]


def said(view: View) -> list[str]:
    layers = compose_layers(view, LIGHT, (1280, 800))
    return [
        op.text for la in layers if la.part == "overlay" for op in la.ops if isinstance(op, Words)
    ]


def test_a_drill_is_begun_by_enter_with_its_places_and_the_player_s_gesture(view: View) -> None:
    view = replace(
        at(view, "Chained from the back"), preferences=Preferences(again_by="soft-pedal")
    )
    view, (told,) = keys(view, "return")
    assert view.overlay == ""
    assert told.kind == CHOSEN
    sheet = told.extra["sheet"]
    assert (sheet.order, sheet.hands, sheet.gesture) == ("backwards", ("left",), "soft-pedal")
    assert told.extra["places"] == (Span(2, 5),)
    assert told.extra["arrangement"] is view.snapshot.arrangement


def test_the_weakest_bars_are_found_by_what_was_read(view: View) -> None:
    _, (told,) = keys(at(view, "The weakest bars"), "return")
    assert told.extra["places"] == (Span(3, 5),)


def test_what_is_not_there_is_said_in_one_line_and_nothing_begins(view: View) -> None:
    for title, why in (("Twins by turns", "there are none"), ("broken", "not understood")):
        now, told = keys(at(view, title), "return")
        assert told == []
        assert now.overlay == "drills"
        assert why in now.note
        assert "\n" not in now.note
        assert any(why in text for text in said(now))
    assert keys(at(view, "broken"), "right")[0].drills.stage == "list"


def test_every_offer_is_come_to_and_shown(view: View) -> None:
    seen: set[str] = set()
    for _ in view.drills.offers:
        seen |= set(said(view))
        view, _ = keys(view, "down")
    assert view.row == 0
    assert {one.title for one in view.drills.offers} <= seen


def test_a_number_is_changed_and_begun_with(view: View) -> None:
    view, _ = keys(at(view, "Tempo ladder"), "right")
    names = [f.name for f in view.drills.fields]
    view, _ = keys(view, *["down"] * names.index("ladder.start"))
    assert any("5 % to 100 %" in text for text in said(view))
    view, _ = keys(view, "left", "left", "left")
    assert "‹ 45 % ›" in said(view)
    view, (told,) = keys(view, "return")
    assert told.extra["sheet"].ladder.start == 0.45


def test_letters_of_a_name_sound_no_notes_and_do_nothing_else(view: View) -> None:
    view, _ = keys(at(view, "Tempo ladder"), "tab")
    assert view.drills.stage == "name"
    for key in (*PIANO_KEYS, "m", "c", "z", "space", "/", "-", "f5", "home", "delete"):
        assert piano_pitch(view, key, 0) is None
        now, told = keys(view, key)
        assert told == []
        assert (now.drills, now.overlay, now.performing) == (view.drills, "drills", False)
    view = type_text(type_text(view, "Octaves, "), "é1")
    assert view.drills.typed == "Octaves, é1"
    assert type_text(view, "\x08") is view
    view, _ = keys(view, "backspace", "backspace")
    assert view.drills.typed == "Octaves, "


def test_a_name_is_saved_over_only_when_asked_twice(view: View) -> None:
    view, _ = keys(at(view, "Tempo ladder"), "tab")
    view, _ = keys(type_text(view, "slow"), "return")
    assert view.drills.saving is None
    assert "enter once more replaces it" in view.note
    asked = view
    view, _ = keys(type_text(view, "er"), "return")
    assert view.drills.saving is not None
    assert view.drills.saving[0] == "slower"
    view, _ = keys(asked, "return")
    assert view.drills.saving is not None
    assert (view.drills.saving[0], view.drills.saving[1].name) == ("slow", "slow")


@pytest.mark.parametrize("name", ["", "a/b", ".x", "x.toml", "x.json", "ladder", "today-1"])
def test_a_name_that_cannot_be_is_refused_in_the_window(view: View, name: str) -> None:
    view, _ = keys(at(view, "Tempo ladder"), "tab")
    view, _ = keys(type_text(view, name), "return")
    assert view.drills.saving is None
    assert view.note
    assert view.drills.typed == name


def test_escape_goes_one_step_back_each_time_and_keeps_the_row(view: View) -> None:
    view = at(view, "From memory")
    row = view.row
    view, _ = keys(view, "right", "down", "tab", "escape")
    assert view.drills.stage == "numbers"
    view, _ = keys(view, "escape")
    assert (view.drills.stage, view.row) == ("list", row)
    view, told = keys(view, "escape")
    assert (view.overlay, told) == ("", [])


def test_the_list_keeps_its_row_when_the_kept_ones_come(view: View) -> None:
    view = at(view, "Phrase 2")
    assert view.drills.offers[take_shelf(view, Shelf()).row].title != "Phrase 2"
    assert (
        take_shelf(view, Shelf()).drills.offers[take_shelf(view, Shelf()).row].title == "Phrase 2"
    )


def test_the_same_key_puts_the_sheet_away(view: View) -> None:
    assert keys(view, "c")[0].overlay == ""
    assert keys(view, "f1")[0].overlay == "help"
