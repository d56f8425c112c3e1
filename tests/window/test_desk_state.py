"""The page between frames: it turns for what is sure, and has the beginning ready at the end."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import cast

from engine.performance import PlayedNote
from practice.engrave import Engraver
from practice.snapshot import Snapshot
from practice.window.compose import parts_for
from practice.window.desk_state import COME_ROUND_S, SURE_NOTES, DeskState
from practice.window.view import View
from tests.window.staging import stage, waiting

SIZE = (1280, 800)


def desk() -> DeskState:
    """With an engraver that has nothing new."""
    return DeskState(cast(Engraver, SimpleNamespace(score=None, poll=lambda: False)))


def heard(view: View, bar: int, notes: int, doubt: bool) -> Snapshot:
    """So many notes heard, the last at the beginning of a bar."""
    return replace(
        view.snapshot, state="playing", doubt=doubt,
        place_q=float(view.snapshot.arrangement.bars[bar].onset_q),
        notes=tuple(PlayedNote(k, 60, 64, 0.2 * k) for k in range(notes)),
    )  # fmt: skip


def opened() -> View:
    view = stage().view(waiting(stage().arrangement), SIZE)
    return desk().step(view, parts_for(view, SIZE), 0.0)


def test_one_stray_note_does_not_turn_the_page():
    view, state = opened(), desk()
    parts = parts_for(view, SIZE)
    view = state.step(view, parts, 0.0)
    stray = replace(view, snapshot=heard(view, 42, 1, doubt=True))
    assert state.step(stray, parts, 0.1).slots == view.slots


def test_a_place_that_is_sure_or_agreed_on_turns_it():
    view = opened()
    parts = parts_for(view, SIZE)
    line = view.page.line_of_bar(42).index  # type: ignore[union-attr]
    sure = replace(view, snapshot=heard(view, 42, 1, doubt=False))
    assert line in desk().step(sure, parts, 0.1).slots
    state = desk()
    for notes in range(1, SURE_NOTES + 1):
        view = replace(view, snapshot=heard(view, 42, notes, doubt=True))
        view = state.step(view, parts, 0.1 * notes)
        assert (line in view.slots) == (notes >= SURE_NOTES)


def test_after_a_pass_the_line_read_last_stays_and_the_first_is_there_again():
    view, state = opened(), desk()
    parts = parts_for(view, SIZE)
    view = state.step(view, parts, 0.0)
    for bar in (10, 30, 42):
        view = state.step(replace(view, snapshot=heard(view, bar, 40, False)), parts, 1.0)
    last = view.page.line_of_bar(42).index  # type: ignore[union-attr]
    before = view.slots
    assert 0 not in before
    rest = replace(view, snapshot=replace(view.snapshot, state="rest", place_q=None, notes=()))
    rest = state.step(rest, parts, 2.0)
    assert rest.slots == before  # the marks come first
    after = state.step(rest, parts, 2.0 + COME_ROUND_S)
    assert 0 in after.slots
    assert after.slots.index(last) == before.index(last)
    turned = replace(after, slots=(5, 6, 7)[: len(after.slots)])
    assert state.step(turned, parts, 3.0).slots == turned.slots  # pages turned by hand stay
