"""Keys and mouse: every action reachable, keys rebindable, the small piano, spans by pointing."""

from __future__ import annotations

from dataclasses import replace

import pytest

from engine.arrangement import Span
from practice.window.actions import act_on
from practice.window.compose import parts_for
from practice.window.desk import find_places
from practice.window.form_map import map_places
from practice.window.gestures import (
    Press,
    piano_pitch,
    press_key,
    press_mouse,
    release_mouse,
)
from practice.window.keys import ACTIONS, PIANO_KEYS, bind, can_bind, key_of
from practice.window.overlays import row_boxes, setting_rows
from practice.window.preferences import read_preferences, write_preferences
from practice.window.slip_words import slips_alike
from practice.window.view import Preferences, View
from tests.pictures import SHOTS

SIZE = (1920, 1080)


@pytest.fixture(scope="module")
def rest() -> View:
    view = SHOTS["after-pass"].make(SIZE)
    assert view is not None
    return view


def kinds(outcome) -> list[str]:
    return [command.kind for command in outcome.commands]


def test_every_action_has_a_key_of_its_own_and_none_is_on_the_small_piano():
    keys = [a.key for a in ACTIONS]
    assert len(set(keys)) == len(keys)
    assert all(can_bind(key) for key in keys)


def test_every_action_does_something(rest: View):
    for action in ACTIONS:
        view = replace(rest, performing=False)
        if action.name in ("pass-after",):
            view = replace(view, looked_at=1)
        if action.name == "page-back":
            view = replace(view, slots=(3, 4, 5))
        outcome = act_on(view, action.name)
        assert outcome.commands or outcome.view != view or outcome.fullscreen, action.name


def test_the_small_piano_is_an_octave_and_a_half_of_neighbouring_keys():
    assert sorted(PIANO_KEYS.values()) == list(range(60, 78))
    black = [key for key, pitch in PIANO_KEYS.items() if pitch % 12 in (1, 3, 6, 8, 10)]
    assert black == ["w", "e", "t", "y", "u", "o", "p"]  # the row above: as black keys lie


def test_letters_play_and_octaves_move(rest: View):
    assert piano_pitch(rest, "a", 0) == 60
    assert piano_pitch(rest, "a", -1) == 48
    assert piano_pitch(rest, "q", 0) is None
    assert piano_pitch(replace(rest, overlay="settings"), "a", 0) is None


def test_keys_become_commands(rest: View):
    assert kinds(press_key(rest, Press("space"))) == ["again"]
    assert kinds(press_key(rest, Press("return"))) == ["stop"]
    assert press_key(rest, Press("f3")).commands[0].hands == "right"
    assert press_key(rest, Press("f4")).commands[0].pulse_kind == "strict"
    assert press_key(rest, Press("=")).commands[0].rate == pytest.approx(1.05)


def test_an_action_moves_to_another_key(rest: View):
    view = replace(rest, overlay="settings", row=len(setting_rows(rest)) - 1)
    waiting = press_key(view, Press("return")).view
    assert waiting.rebinding == ACTIONS[0].name
    assert press_key(waiting, Press("a")).view.rebinding  # a letter plays; it is not taken
    bound = press_key(waiting, Press("f8")).view
    assert key_of("again", bound.preferences.keys) == "f8"
    assert bind(bound.preferences.keys)["f8"] == "again"
    assert kinds(press_key(replace(bound, overlay=""), Press("f8"))) == ["again"]
    assert read_preferences(write_preferences(bound.preferences)) == bound.preferences


def test_preferences_that_make_no_sense_take_their_defaults():
    assert read_preferences(None) == Preferences()
    bad = {"scale": "big", "theme": "pink", "average_of": -3, "keys": {"again": 7, "no": "f1"}}
    assert read_preferences(bad) == Preferences(average_of=2)
    assert read_preferences({"scale": 9}).scale == 2.0


def test_a_click_on_the_map_chooses_a_section(rest: View):
    parts = parts_for(rest, SIZE)
    place = map_places(rest, parts)[2]
    point = place.box.middle
    pressed = press_mouse(rest, parts, point).view
    outcome = release_mouse(pressed, parts, point)
    section = place.section
    assert outcome.commands[0].span == Span(section.from_bar, section.to_bar - 1)
    assert outcome.view.anchor_bar is None


def test_a_drag_on_the_desk_chooses_bars(rest: View):
    parts = parts_for(rest, SIZE)
    place = find_places(rest, parts)[1]
    assert rest.page is not None
    edges = [rest.page.bar_edges(place.line.from_bar + k) for k in (1, 3)]
    points = [place.at((a + b) / 2, 8) for a, b in edges]
    outcome = release_mouse(press_mouse(rest, parts, points[1]).view, parts, points[0])
    first = place.line.from_bar
    assert outcome.commands[0].span == Span(first + 1, first + 3)


def test_shift_and_a_click_widens_the_span(rest: View):
    parts = parts_for(rest, SIZE)
    place = map_places(rest, parts)[4]
    outcome = press_mouse(rest, parts, place.box.middle, shift=True)
    span = outcome.commands[0].span
    assert span is not None
    assert span.from_bar == rest.snapshot.span.from_bar
    assert span.to_bar > rest.snapshot.span.to_bar


def test_arrows_move_the_span_by_sections(rest: View):
    sections = rest.snapshot.arrangement.form.sections
    outcome = act_on(rest, "span-right")
    assert outcome.commands[0].span == Span(sections[2].from_bar, sections[2].to_bar - 1)
    assert act_on(rest, "span-longer").commands[0].span == Span(4, 25)
    assert act_on(rest, "span-shorter").commands[0].span == Span(4, 23)


def test_a_span_round_the_first_slip_takes_in_the_joins(rest: View):
    assert rest.record is not None
    first = min(s.score for s in rest.record.slips if s.score is not None)
    bar = rest.snapshot.arrangement.notes[first].bar
    assert act_on(rest, "span-slip").commands[0].span == Span(bar - 1, bar + 1)


def test_a_word_is_said_on_the_slip_told_first_then_on_the_next(rest: View):
    assert rest.record is not None
    lines = list(slips_alike(rest.snapshot.arrangement, rest.record).values())
    view = rest
    for slips, key, kind in zip(
        lines, ",." * len(lines), ("page-wrong", "meant-that") * len(lines), strict=False
    ):
        outcome = press_key(view, Press(key))
        (told,) = outcome.commands
        assert (told.kind, told.pass_number, told.slip) == (kind, rest.record.number, slips[0])
        view = outcome.view
    after = press_key(view, Press(","))
    assert not after.commands
    assert "every slip" in after.view.note


def test_the_word_said_last_is_taken_back_and_its_slip_is_told_first_again(rest: View):
    assert rest.record is not None
    lines = list(slips_alike(rest.snapshot.arrangement, rest.record).values())
    spoken = press_key(press_key(rest, Press(",")).view, Press(".")).view
    outcome = press_key(spoken, Press("delete"))
    assert kinds(outcome) == ["unsay"]
    (again,) = press_key(outcome.view, Press(".")).commands
    assert again.slip == lines[min(1, len(lines) - 1)][0]
    left = press_key(press_key(outcome.view, Press("delete")).view, Press("delete"))
    assert not left.commands
    assert left.view.note


def test_nothing_is_said_of_slips_while_playing_or_before_a_pass(rest: View):
    playing = replace(rest, snapshot=replace(rest.snapshot, state="playing"))
    assert not act_on(playing, "page-wrong").commands
    before = replace(rest, snapshot=replace(rest.snapshot, passes=()))
    assert not act_on(before, "meant-that").commands


def test_passes_are_stepped_through(rest: View):
    assert act_on(rest, "pass-before").view.looked_at == 2
    assert act_on(replace(rest, looked_at=1), "pass-before").view.looked_at == 1
    assert act_on(rest, "average").view.looking == "average"


def test_settings_change_by_keys_and_mouse(rest: View):
    view = replace(rest, overlay="settings", row=1)
    dark = press_key(view, Press("right")).view
    assert dark.preferences.theme == "dark"
    parts = parts_for(view, SIZE)
    box = row_boxes(view, parts)[2]
    larger = press_mouse(view, parts, (box.right - 10, box.middle[1])).view
    assert larger.preferences.scale == 1.125
    assert press_mouse(view, parts, (5, 5)).view.overlay == ""


def test_what_means_again_is_told_to_the_session(rest: View):
    rows = [row.name for row in setting_rows(rest)]
    view = replace(rest, overlay="settings", row=rows.index("again_by"))
    outcome = press_key(view, Press("right"))
    assert outcome.view.preferences.again_by == "soft-pedal"
    assert (outcome.commands[0].kind, outcome.commands[0].name) == ("gesture", "soft-pedal")


def test_escape_goes_back_one_step_and_then_leaves(rest: View):
    opened = replace(rest, overlay="help")
    assert act_on(opened, "leave").view.overlay == ""
    assert not act_on(opened, "leave").leave
    assert not act_on(replace(rest, performing=True), "leave").leave
    assert act_on(rest, "leave").leave
    assert kinds(act_on(rest, "leave")) == ["quit"]


def test_first_start_is_choose_check_done(rest: View):
    view = replace(rest, overlay="welcome", ports=("Upright", "Other"), row=1)
    chosen = press_key(view, Press("return"))
    assert chosen.commands[0].name == "Other"
    heard = replace(chosen.view, heard_test=60, snapshot=replace(rest.snapshot, port="Other"))
    done = press_key(heard, Press("return"))
    assert done.view.overlay == ""
    assert kinds(done) == ["stop"]  # the note that checked is no part of a pass


def test_marking_a_pass_to_keep_is_confirmed_and_what_is_not_stored_is_told(rest: View):
    marked = act_on(rest, "keep")
    assert kinds(marked) == ["keep"]
    assert "marked" in marked.view.note
    record = replace(rest.snapshot.passes[-1], take=0)
    unstored = replace(rest, snapshot=replace(rest.snapshot, passes=(record,)), looked_at=0)
    told = act_on(unstored, "keep")
    assert not told.commands
    assert "stored" in told.view.note


def test_fingering_goes_from_note_to_note_of_a_hand(rest: View):
    view = act_on(rest, "finger").view
    notes = view.snapshot.arrangement.notes
    assert view.fingered is not None
    first = notes[view.fingered]
    outcome = press_key(view, Press("3"))
    assert outcome.commands[0].extra == {"note_id": first.note_id, "fingering": "3"}
    assert outcome.view.fingered is not None
    assert notes[outcome.view.fingered].hand == first.hand
    assert press_key(outcome.view, Press("left")).view.fingered == view.fingered


def test_pages_are_turned_by_hand_in_the_performance_view(rest: View):
    view = act_on(rest, "perform").view
    assert view.performing
    on = press_key(view, Press("space"))
    assert not on.commands  # nothing is told to the session: the page is turned
    assert on.view.slots[0] == max(s for s in view.slots if s is not None) + 1
    rescue = replace(view, rescue_bars=(20, 36))
    assert view.page is not None
    turned = press_key(rescue, Press("2")).view
    line = view.page.line_of_bar(36)
    assert line is not None
    assert turned.slots[0] == line.index


def test_a_rescue_point_comes_and_goes(rest: View):
    marked = act_on(rest, "rescue").view
    assert marked.rescue_bars == (4,)
    assert act_on(marked, "rescue").view.rescue_bars == ()
