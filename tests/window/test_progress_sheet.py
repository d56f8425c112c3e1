"""The progress sheet: it says what the command says, and all of it can be come to."""

from __future__ import annotations

from dataclasses import replace

import pytest

from practice.progress.progress_text import say_progress
from practice.window.compose import compose_layers
from practice.window.gestures import Press, press_key, turn_wheel
from practice.window.ops import Words
from practice.window.progress_sheet import list_rows, say_claim, say_cold, say_fastest, say_figure
from practice.window.theme import LIGHT
from practice.window.view import View
from tests.window.days_practised import made_up_progress
from tests.window.staging import stage, waiting

SIZE = (1280, 800)


@pytest.fixture
def sheet() -> View:
    arrangement = stage().arrangement
    return View(waiting(arrangement), overlay="progress", progress=made_up_progress(arrangement))


def said(view: View) -> list[str]:
    overlay = next(layer for layer in compose_layers(view, LIGHT, SIZE) if layer.part == "overlay")
    return [op.text for op in overlay.ops if isinstance(op, Words)]


def test_every_row_is_come_to_by_scrolling(sheet: View):
    seen: set[str] = set()
    for _ in range(200):
        seen |= set(said(sheet))
        moved = press_key(sheet, Press("down")).view
        if moved.row == sheet.row:
            break
        sheet = moved
    for section in sheet.progress.sections:  # type: ignore[union-attr]
        assert section.name in seen
        for hand in section.hands:
            for text in (say_fastest(hand), say_figure(hand), say_cold(hand)):
                assert text in seen
            assert {say_claim(claim) for claim in hand.claims} <= seen
    assert any(text.startswith("Slips in 2031-02") for text in seen)


def test_totals_are_in_the_words_of_the_command(sheet: View):
    assert next(iter(say_progress(sheet.progress, False))) in said(sheet)  # type: ignore[arg-type]


def test_columns_worked_out_by_hand(sheet: View):
    hand = sheet.progress.sections[0].hands[0]  # type: ignore[union-attr]
    # 21 days from 60 % by 2 % a day; the last evenness is 22 - 14 ms and a wave; kept 96 % cold
    assert say_fastest(hand) == "100 %"
    assert say_figure(hand) == "8 ms (6 to 10)"
    assert say_cold(hand) == "96 %, 1 night"


def test_it_stops_at_both_ends_and_the_wheel_moves_it_too(sheet: View):
    assert press_key(sheet, Press("up")).view.row == 0
    end = press_key(sheet, Press("end")).view
    assert press_key(end, Press("down")).view.row == end.row < len(list_rows(end.progress))  # type: ignore[arg-type]
    assert turn_wheel(end, 1).view.row == end.row - 3
    assert press_key(end, Press("home")).view.row == 0


def test_before_it_is_read_and_when_it_cannot_be(sheet: View):
    assert "Reading the days …" in said(replace(sheet, progress=None))
    trouble = replace(sheet, progress=None, progress_trouble="the store is newer than this program")
    assert "the store is newer than this program" in said(trouble)
