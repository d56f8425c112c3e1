"""The drill's one question: what next, and why."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.arrangement import Span
from engine.drill import DrillSheet, Ladder, NextPass, PassResult, next_pass
from engine.drill.next_pass import minutes_since_rest

PLACE, OTHER = Span(4, 7), Span(12, 15)
LAST_BAR = 15


def drill(
    sheet: DrillSheet,
    places: list[Span],
    judge: object,
    at_most: int = 200,
    seconds: float = 20.0,
) -> tuple[list[PassResult], list[NextPass]]:
    """Run a drill with `judge(next_pass, number) -> good`."""
    history: list[PassResult] = []
    asked: list[NextPass] = []
    for number in range(at_most):
        one = next_pass(sheet, places, LAST_BAR, history)
        asked.append(one)
        if one.span is None:
            break
        good = judge(one, number)  # type: ignore[operator]
        start_s = number * seconds * 1.1
        why_not = "" if good else "notes off"
        history.append(
            PassResult(one.span, one.hands, one.rate, good, why_not, start_s, seconds, one.rest)
        )
    return history, asked


def test_good_passes_climb_to_the_goal_and_end_there() -> None:
    history, asked = drill(DrillSheet(), [PLACE], lambda one, n: True)
    rates = [p.rate for p in history]
    assert rates[0] == pytest.approx(0.6)
    assert rates == sorted(rates)
    assert rates[-2:] == [1.0, 1.0]
    assert asked[-1].span is None
    assert not asked[-1].given_up
    assert "stands" in asked[-1].reason


def test_poor_passes_ease_off_and_it_is_put_aside_without_urging() -> None:
    history, asked = drill(DrillSheet(), [PLACE], lambda one, n: False)
    rates = [p.rate for p in history]
    assert rates == sorted(rates, reverse=True)
    assert len(history) == Ladder().enough_poor
    assert asked[-1].given_up
    assert "one hand" in asked[-1].reason
    assert all("up to" not in one.reason for one in asked)


def test_one_who_fails_is_eased_to_what_they_can_do() -> None:
    """Asked for 80 % with a limit of 55 %: each fall in a row is longer, and it comes off."""
    sheet = DrillSheet(ladder=Ladder(start=0.8))
    history, _ = drill(sheet, [PLACE], lambda one, n: one.rate <= 0.55, at_most=8)
    falls = -np.diff(list(dict.fromkeys(p.rate for p in history)))
    assert np.all(np.diff(falls[:3]) > 0)
    assert history[-1].good or history[-2].good


def test_the_tempo_settles_just_under_what_the_player_can_do() -> None:
    """A player whose limit is 83 %: rungs shrink near it and the rate stays close."""
    sheet = DrillSheet(ladder=Ladder(enough_still=1000))
    history, _ = drill(sheet, [PLACE], lambda one, n: one.rate <= 0.83, at_most=60)
    late = [p.rate for p in history[25:]]
    assert max(late) <= 0.83 + Ladder().step
    assert min(late) >= 0.83 - 2 * Ladder().step
    rises = np.diff(sorted(set(late)))
    assert min(rises[rises > 1e-9]) < Ladder().step


def test_where_nothing_moves_any_more_it_is_put_aside() -> None:
    history, asked = drill(DrillSheet(), [PLACE], lambda one, n: one.rate <= 0.71)
    assert asked[-1].given_up
    assert "enough of it for today" in asked[-1].reason
    assert len(history) < 40


def test_a_player_who_learns_is_followed_upwards() -> None:
    limit = lambda n: 0.62 + 0.012 * n  # noqa: E731
    history, asked = drill(DrillSheet(), [PLACE], lambda one, n: one.rate <= limit(n))
    assert asked[-1].span is None
    assert history[-1].rate == 1.0


def test_every_move_has_a_reason() -> None:
    rng = np.random.default_rng(3)
    _, asked = drill(DrillSheet(), [PLACE], lambda one, n: bool(rng.random() < 0.6))
    assert all(one.reason for one in asked)
    moves = [b for a, b in itertools.pairwise(asked) if b.span and b.rate > a.rate]
    assert moves
    assert all("well in a row" in b.reason for b in moves)


def test_slow_and_at_tempo_by_turns() -> None:
    sheet = DrillSheet(ladder=Ladder(way="alternate", start=0.7))
    history, _ = drill(sheet, [PLACE], lambda one, n: one.rate < 0.95, at_most=12)
    rates = [p.rate for p in history]
    assert rates[1] == 1.0
    assert rates[0] < 1.0
    assert rates[2] < 1.0
    assert all(not (a == b == 1.0) for a, b in itertools.pairwise(rates))


def test_backwards_chaining_joins_the_whole_then_climbs() -> None:
    sheet = DrillSheet(order="backwards", ladder=Ladder(good_to_rise=1, start=0.8))
    history, asked = drill(sheet, [PLACE], lambda one, n: True)
    spans = [p.span for p in history]
    assert spans[:4] == [Span(7, 7), Span(6, 7), Span(5, 7), Span(4, 7)]
    assert all(p.rate == 0.8 for p in history[:4])
    assert history[-1].rate == 1.0
    assert asked[0].reason.startswith("the last bar")


def test_start_anywhere_draws_from_the_whole_and_is_repeatable() -> None:
    sheet = DrillSheet(order="anywhere", passes=300, pulse="free")
    history, _ = drill(sheet, [Span(0, 15)], lambda one, n: n % 3 > 0, at_most=301)
    starts = [p.span.from_bar for p in history]
    assert set(starts) == set(range(16))
    again, _ = drill(sheet, [Span(0, 15)], lambda one, n: n % 3 > 0, at_most=301)
    assert [p.span for p in again] == [p.span for p in history]
    other, _ = drill(replace(sheet, seed=1), [Span(0, 15)], lambda one, n: n % 3 > 0, at_most=301)
    assert [p.span for p in other] != [p.span for p in history]


def test_twins_are_taken_by_turns() -> None:
    history, _ = drill(DrillSheet(passes=6), [PLACE, OTHER], lambda one, n: True)
    assert [p.span for p in history] == [PLACE, OTHER] * 3


def test_hands_one_after_the_other_then_together() -> None:
    sheet = DrillSheet(hands=("left", "right", "both"), ladder=Ladder(way="level", good_to_rise=2))
    history, _ = drill(sheet, [PLACE], lambda one, n: True)
    assert [p.hands for p in history] == ["left", "left", "right", "right", "both", "both"]


def test_overlap_plays_on_but_not_past_the_end() -> None:
    sheet = DrillSheet(overlap=1)
    assert next_pass(sheet, [PLACE], LAST_BAR, []).play_to_bar == 8
    assert next_pass(sheet, [OTHER], LAST_BAR, []).play_to_bar == 15


def test_free_pulse_goes_on_until_the_player_ends() -> None:
    sheet = DrillSheet(pulse="free")
    history, _ = drill(sheet, [PLACE], lambda one, n: True, at_most=30)
    assert len(history) == 30


def test_a_rest_is_proposed_after_the_minutes_set_and_only_then() -> None:
    sheet = DrillSheet(pulse="free")
    _, asked = drill(sheet, [PLACE], lambda one, n: True, at_most=60, seconds=60.0)
    first = next(n for n, one in enumerate(asked) if one.rest)
    assert first == 25
    assert "stop if it hurts" in asked[first].reason
    assert not asked[first + 1].rest


def test_a_long_pause_counts_as_a_rest() -> None:
    one = PassResult(PLACE, "both", 1.0, True, start_s=0.0, seconds=600.0)
    later = replace(one, start_s=1000.0)
    assert minutes_since_rest([one, later]) == pytest.approx(10.0)


@given(st.lists(st.booleans(), max_size=40), st.sampled_from(["step", "alternate", "level"]))
def test_rates_stay_in_bounds_and_never_rise_after_a_poor_pass(
    results: list[bool], way: str
) -> None:
    ladder = Ladder(way=way, start=0.5, goal=0.9)  # type: ignore[arg-type]
    sheet = DrillSheet(ladder=ladder)
    history, _ = drill(sheet, [PLACE], lambda one, n: results[n], at_most=len(results))
    for before, after in itertools.pairwise(history):
        assert ladder.slowest - 1e-9 <= after.rate <= ladder.goal + 1e-9
        if not before.good and way == "step":
            assert after.rate <= before.rate
