"""No key is dead: in every state each action does something, or a line says why it cannot."""

from __future__ import annotations

from dataclasses import replace

import pytest

from engine.arrangement import Span, whole_span
from practice.window.actions import SLOWEST, act_on
from practice.window.gestures import Press, piano_pitch, press_key
from practice.window.keys import ACTIONS
from practice.window.preferences import clamp_scale
from practice.window.view import View
from tests.pictures import SHOTS

SIZE = (1600, 900)
STATES = ("no-keyboard", "waiting", "count-in", "strict-pass", "free-pass", "after-pass", "drill",
          "from-memory", "take-heard", "fingering", "help", "progress")  # fmt: skip


def staged(name: str) -> View:
    view = SHOTS[name].make(SIZE)
    assert view is not None
    return replace(view, note="")


def heard_only(takes: bool) -> View:
    """A window of `undersong listen`, with the page or with kept takes."""
    view = staged("waiting")
    pulse = "free" if takes else "strict"
    return replace(view, snapshot=replace(view.snapshot, only_heard=True, pulse_kind=pulse))


@pytest.mark.parametrize("name", STATES)
def test_each_action_does_something_or_says_why_not(name: str) -> None:
    view = staged(name)
    for action in ACTIONS:
        outcome = act_on(view, action.name)
        told = outcome.commands or outcome.fullscreen or outcome.leave
        assert told or outcome.view != view, action.name


@pytest.mark.parametrize("takes", [False, True])
def test_in_a_window_to_listen_in_no_key_asks_what_only_practising_has(takes: bool) -> None:
    heard = {"again", "stop", "listen", "hush", "rate", "hands", "span", "quit"}
    if takes:
        heard -= {"rate", "hands", "span"}
    view = heard_only(takes)
    for action in ACTIONS:
        outcome = act_on(view, action.name)
        assert {command.kind for command in outcome.commands} <= heard, action.name
        told = outcome.commands or outcome.fullscreen or outcome.leave
        assert told or outcome.view != view, action.name


@pytest.mark.parametrize(
    ("name", "action", "says"),
    [
        ("waiting", "hear-again", "No pass yet"),
        ("waiting", "stop", "Nothing is under way"),
        ("waiting", "peek", "Nothing is hidden"),
        ("free-pass", "unsay", "Once the pass is over"),
        ("after-pass", "pass-after", "No pass after this one"),
    ],
)
def test_the_line_says_why(name: str, action: str, says: str) -> None:
    outcome = act_on(staged(name), action)
    assert outcome.view.note.startswith(says)
    assert outcome.commands == ()


@pytest.mark.parametrize(
    ("span", "action", "says"),
    [
        ((0, 0), "span-shorter", "The span is a single bar already"),
        ((3, None), "span-longer", "There is no bar beyond this one"),
        ((0, None), "span-longer", "The span is the whole piece"),
        ((0, None), "span-all", "The span is the whole piece"),
    ],
)
def test_the_same_span_again_ends_no_pass_and_leaves_no_drill(
    span: tuple[int, int | None], action: str, says: str
) -> None:
    view = staged("free-pass")
    last = whole_span(view.snapshot.arrangement).to_bar
    here = Span(span[0], last if span[1] is None else span[1])
    view = replace(view, snapshot=replace(view.snapshot, span=here))
    outcome = act_on(view, action)
    assert (outcome.view.note, outcome.commands) == (says, ())


def test_there_is_no_section_before_the_first_or_after_the_last() -> None:
    view = staged("free-pass")
    for action in ("span-left", "span-right"):
        for _ in range(40):
            outcome = act_on(view, action)
            if not outcome.commands:
                break
            (command,) = outcome.commands
            view = replace(view, snapshot=replace(view.snapshot, span=command.span))
        assert outcome.view.note == "There is no section beyond this one"


def test_limits_of_tempo_and_size_are_told() -> None:
    view = staged("after-pass")
    slowest = replace(view, snapshot=replace(view.snapshot, rate=SLOWEST))
    assert act_on(slowest, "slower").view.note == "It goes no slower"
    largest = replace(view, preferences=replace(view.preferences, scale=clamp_scale(99.0)))
    assert act_on(largest, "larger").view.note == "As large as it goes"


def test_in_a_free_pulse_a_tempo_is_said_to_be_of_what_is_strict() -> None:
    view = staged("after-pass")
    assert view.snapshot.pulse_kind == "free"
    outcome = act_on(view, "slower")
    assert "95%" in outcome.view.note
    assert [command.kind for command in outcome.commands] == ["rate"]


def test_over_the_list_of_takes_nothing_behind_it_is_changed() -> None:
    view = staged("takes")
    for action in ACTIONS:
        if action.name in ("again", "stop"):
            continue  # space marks and enter hears
        assert press_key(view, Press(action.key)).commands == (), action.name
    said = press_key(view, Press("delete"))
    assert (
        said.view.note
        == f"In a terminal: undersong takes --delete {view.takes.rows[view.row].number}"
    )
    assert said.view.spoken_of == view.spoken_of
    assert piano_pitch(view, "d", 0) is None
