"""The engraved page under the arrangement: lines in order of playing, places of notes."""

from __future__ import annotations

import pytest

from engine.arrangement import Span
from practice.engrave import PageLayout
from practice.window.page import Page
from tests.window.staging import Stage, engraved, exercise_path, read_exercise, stage


@pytest.fixture(scope="module")
def page() -> Page:
    return Page(read_exercise(), engraved(exercise_path(), PageLayout(160, 9)))


def test_every_bar_has_a_line_and_lines_follow_the_playing(page: Page):
    bars = [bar for line in page.lines for bar in range(line.from_bar, line.to_bar + 1)]
    assert bars == list(range(len(page.arrangement.bars)))


def test_a_repeat_makes_lines_of_its_own(page: Page):
    times = {line.time for line in page.lines}
    assert times == {1, 2}
    again = next(line for line in page.lines if line.time == 2)
    # the repeat leaves the introduction out: it goes back into the first system
    assert again.system == 0
    assert page.arrangement.bars[again.from_bar].number == "5"


def test_every_note_has_its_head(page: Page):
    for index, note in enumerate(page.arrangement.notes):
        head = page.head(index)
        assert head is not None, note.score_id
        assert head.staff == note.staff - 1


@pytest.mark.parametrize("name", ["brine-pump", "two-sluices", "evaporation"])
def test_no_note_is_lost_on_any_exercise(name: str):
    which = stage(name)
    page = Page(which.arrangement, engraved(which.path, PageLayout(150, 8)))
    assert all(page.head(k) is not None for k in range(len(which.arrangement.notes)))


def test_heads_stand_as_high_as_they_sound(page: Page):
    # on the treble staff the middle line is B4, and a step is half a space (common practice)
    for index, note in enumerate(page.arrangement.notes[:200]):
        if note.staff != 1:
            continue
        line = page.line_of_bar(note.bar)
        assert line is not None
        staff, head = page.system(line).staves[0], page.head(index)
        steps = 7 * (note.octave - 4) + "CDEFGAB".index(note.step) - 6
        assert head is not None
        assert head.y == pytest.approx((staff.top + staff.bottom) / 2 - steps / 2, abs=0.02)


def test_time_runs_from_left_to_right(page: Page):
    for line in page.lines:
        first, last = page.arrangement.bars[line.from_bar], page.arrangement.bars[line.to_bar]
        start, end = float(first.onset_q), float(last.onset_q + last.duration_q)
        places = [page.x_at(line, start + k * (end - start) / 40) for k in range(41)]
        assert places == sorted(places)
        assert places[-1] <= page.system(line).width


def test_a_moment_stands_on_its_note(page: Page):
    for index, note in enumerate(page.arrangement.notes[:60]):
        line, head = page.line_of_bar(note.bar), page.head(index)
        assert line is not None
        assert head is not None
        assert page.x_at(line, float(note.onset_q)) == pytest.approx(head.x, abs=1.3)


def test_a_span_comes_round_in_the_order_of_reading(page: Page):
    span = Span(4, 24)
    order = page.order_of_reading(span)
    inside = [k for k in order if page.lines[k].from_bar <= 24]
    assert page.order_of_reading(span, inside[1])[: len(inside)] == [*inside[1:], inside[0]]


def test_bars_are_found_under_the_pointer(page: Page):
    line = page.lines[1]
    for bar in range(line.from_bar, line.to_bar + 1):
        left, right = page.bar_edges(bar)
        assert page.bar_under(line, (left + right) / 2) == bar


def test_half_a_page_has_half_the_lines():
    from dataclasses import replace

    which: Stage = stage()
    whole = engraved(which.path, PageLayout(160, 9))
    some = replace(whole, systems=whole.systems[:2])
    page = Page(which.arrangement, some)
    last = page.lines[1]
    assert page.line_of_bar(last.to_bar) == last
    assert page.line_of_bar(last.to_bar + 1) is None
