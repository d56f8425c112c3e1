"""Where a pass ends and what is told of it, at the limits; labels written by hand."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from typing import Any

import pytest

from engine.arrangement import Arrangement, Mark
from engine.findings import Finding, Pass
from engine.follow.passes import Struck, find_passes, pace_of
from engine.performance import PlayedNote
from tests.follow.pages import note, page


def scale(count: int = 32, **more: Any) -> Arrangement:
    """A note a quarter, none like another."""
    return page([note(q, 40 + q, **more) for q in range(count)], qpm=100.0)


def passes(arrangement: Arrangement, *rows: tuple[float, int | str]) -> list[Pass]:
    """(seconds, note index or what else it was)."""
    notes = [PlayedNote(i, 60, 64, s) for i, (s, _) in enumerate(rows)]
    said = [
        Finding(i, k, "right") if isinstance(k, int) else Finding(i, None, k)
        for i, (_, k) in enumerate(rows)
    ]
    return find_passes(arrangement, notes, said)


def run(
    first: int, last: int, start_s: float = 0.0, s_per_q: float = 0.5
) -> list[tuple[float, int | str]]:
    return [(start_s + (k - first) * s_per_q, k) for k in range(first, last + 1)]


def ends(found: list[Pass]) -> list[tuple[int, int]]:
    return [(p.first, p.last) for p in found]


# The next note is due half a second after the last; a stop is more than two seconds later yet.
@pytest.mark.parametrize(("late_s", "count"), [(1.95, 1), (2.05, 2)])
def test_two_seconds_are_a_stop(late_s: float, count: int) -> None:
    found = passes(scale(), *run(0, 7), *run(8, 15, 4.0 + late_s))
    assert len(found) == count


@pytest.mark.parametrize(("late_s", "count"), [(2.9, 1), (3.1, 2)])
def test_at_a_slow_pace_three_beats_are(late_s: float, count: int) -> None:
    assert len(passes(scale(), *run(0, 7, 0.0, 1.0), *run(8, 15, 8.0 + late_s, 1.0))) == count


@pytest.mark.parametrize(("late_s", "count"), [(2.9, 1), (3.1, 2)])
def test_beats_are_those_of_the_bar(late_s: float, count: int) -> None:
    """Of eighths, at two seconds a quarter: three beats are three seconds."""
    arrangement = scale()
    bars = tuple(replace(b, beats=8, beat_unit=8) for b in arrangement.bars)
    arrangement = replace(arrangement, bars=bars)
    rows = [*run(0, 7, 0.0, 2.0), *run(8, 15, 16.0 + late_s, 2.0)]
    assert len(passes(arrangement, *rows)) == count


@pytest.mark.parametrize(("late_s", "count"), [(5.9, 1), (6.1, 2)])
@pytest.mark.parametrize("at", [7, 8])
def test_a_fermata_accounts_for_three_times_as_much(late_s: float, count: int, at: int) -> None:
    arrangement = replace(scale(), marks=(Mark("fermata", Fraction(at), at // 4),))
    assert len(passes(arrangement, *run(0, 7), *run(8, 15, 4.0 + late_s))) == count


def test_a_fermata_elsewhere_accounts_for_nothing() -> None:
    for mark in (Mark("fermata", Fraction(5), 1), Mark("fermata", Fraction(10), 2)):
        arrangement = replace(scale(), marks=(mark,))
        assert len(passes(arrangement, *run(0, 7), *run(8, 15, 6.1))) == 2
    arrangement = replace(scale(), marks=(Mark("breath", Fraction(7), 1),))
    assert len(passes(arrangement, *run(0, 7), *run(8, 15, 6.1))) == 2


@pytest.mark.parametrize(("back", "count"), [(1, 1), (2, 1), (3, 2), (6, 2)])
def test_going_back_is_a_new_pass(back: int, count: int) -> None:
    """When most of the next three notes lie more than a quarter and a half behind."""
    found = passes(scale(), *run(0, 9), *run(9 - back, 16, 5.0))
    assert len(found) == count
    if count == 2:
        assert ends(found) == [(0, 9), (10, 10 + 7 + back)]
        assert (found[1].from_q, found[1].to_q) == (9.0 - back, 16.0)


@pytest.mark.parametrize(("to", "count"), [(12, 1), (13, 1), (14, 2)])
def test_going_on_further_ahead_is_too(to: int, count: int) -> None:
    """From 9 to 14 four moments lie between, from 9 to 13 three, but no further than four."""
    assert len(passes(scale(), *run(0, 9), *run(to, 20, 5.0))) == count


@pytest.mark.parametrize(
    ("between", "count"), [((10, 11, 12), 2), ((11, 12), 1), ((12, 13, 14), 2), ((13, 14), 1)]
)
def test_three_written_moments_must_lie_between(between: tuple[int, ...], count: int) -> None:
    rows = [note(q, 40 + q) for q in (*range(10), *between, *range(15, 22))]
    there = 10 + len(between)
    notes = [(5.0 + 0.5 * i, there + i) for i in range(7)]
    assert len(passes(page(rows), *run(0, 9), *notes)) == count


def test_not_over_a_long_note() -> None:
    rows = [note(q, 40 + q) for q in range(8)] + [note(q, 40 + q) for q in range(20, 28)]
    found = passes(page(rows), *run(0, 7), *[(10.0 + k * 0.5, 8 + k) for k in range(8)])
    assert len(found) == 1


def test_one_note_elsewhere_is_no_pass() -> None:
    found = passes(scale(), *run(0, 9), (5.0, 25), *run(10, 16, 5.5))
    assert ends(found) == [(0, 17)]
    found = passes(scale(), *run(0, 9), (5.0, 2), *run(10, 16, 5.5))
    assert ends(found) == [(0, 17)]
    found = passes(scale(), *run(0, 9), *run(2, 3, 5.0), *run(10, 16, 6.0))
    assert ends(found) == [(0, 9), (12, 18)]


def test_fewer_than_three_notes_are_none() -> None:
    assert passes(scale(), *run(0, 1)) == []
    assert ends(passes(scale(), *run(0, 2))) == [(0, 2)]


def test_notes_that_answer_to_nothing_go_with_the_nearer_pass() -> None:
    rows = [*run(0, 7), (3.8, "extra"), (4.1, "wrong"), (9.0, "extra"), *run(8, 15, 9.4)]
    assert ends(passes(scale(), *rows)) == [(0, 9), (11, 18)]
    rows = [
        *run(0, 7),
        (9.0, "extra"),
        *run(8, 15, 9.4),
        (13.3, "extra"),
        (13.5, "unclear"),
        (13.7, "extra"),
    ]
    assert ends(passes(scale(), *rows)) == [(0, 7), (9, 17)]
    rows = [*run(0, 7), (3.8, "unclear"), (3.9, "extra"), *run(8, 15, 9.4)]
    assert ends(passes(scale(), *rows)) == [(0, 7), (10, 17)]


def test_the_turns_of_the_notation_are_gone_without_a_new_pass() -> None:
    rows = [note(q + 8 * t, 60 + q, id=f"n{q}") for t in (0, 1) for q in range(8)]
    rows += [note(16 + q, 80 + q, id=f"m{q}") for q in range(8)]
    arrangement = page(rows, written=[0, 1, 0, 1, 2, 3])
    assert len(passes(arrangement, *run(0, 7), *run(16, 23, 4.0))) == 1
    assert len(passes(arrangement, *run(0, 15), *run(0, 7, 8.0))) == 1
    # A little into the next bar still counts as the turn; after a stop nothing does.
    assert len(passes(arrangement, *run(0, 8), *run(16, 23, 4.5))) == 1
    assert len(passes(arrangement, *run(0, 7), *run(16, 23, 6.1))) == 2
    assert len(passes(arrangement, *run(0, 5), *run(16, 23, 3.0))) == 1
    assert len(passes(arrangement, *run(0, 2), *run(16, 23, 1.5))) == 2
    # The stop is measured from the last note, not from the one before it.
    late = [*run(0, 6), (4.9, 7), *run(16, 23, 6.6)]
    assert len(passes(arrangement, *late)) == 1
    # Going back from the middle of a bar after the turn is a new pass.
    assert len(passes(arrangement, *run(16, 22), *run(8, 12, 3.5))) == 2


def two(left_struck: int) -> list[Pass]:
    """Twenty quarters of both hands; all of the right struck, the first few of the left."""
    rows = [note(q, 70 + q) for q in range(20)]
    rows += [note(q, 40 + q, hand="left") for q in range(20)]
    struck = [(k * 0.25, k) for k in range(40) if k % 2 or k < 2 * left_struck]
    return passes(page(rows), *struck)


@pytest.mark.parametrize(("left", "hands"), [(2, "right"), (3, "both"), (20, "both")])
def test_a_hand_plays_from_three_twentieths_on(left: int, hands: str) -> None:
    (one,) = two(left)
    assert one.hands == hands


def test_hands_are_told_by_what_is_written_on_the_way() -> None:
    rows = [note(q, 70 + q) for q in range(8)]
    rows += [note(q, 40 + q, hand="left", optional=True) for q in range(8)]
    rows += [note(q, 40 + q, hand="left") for q in range(12, 20)]
    arrangement = page(rows)
    right = [k for k, n in enumerate(arrangement.notes) if n.hand == "right"]
    left = [k for k, n in enumerate(arrangement.notes) if n.hand == "left" and not n.optional]
    (one,) = passes(arrangement, *[(i * 0.5, k) for i, k in enumerate(right)])
    assert one.hands == "right"
    (one,) = passes(arrangement, *[(i * 0.5, k) for i, k in enumerate(left)])
    assert one.hands == "left"
    assert one.reached_end
    assert not passes(arrangement, *[(i * 0.5, k) for i, k in enumerate(left[:-1])])[0].reached_end


def pace(*rows: tuple[float, float]) -> float:
    return pace_of([Struck(i, s, i, q) for i, (q, s) in enumerate(rows)])


def test_the_pace_is_the_middle_one_by_length() -> None:
    assert pace((0, 0), (1, 0.5), (2, 1.0), (3, 1.5)) == pytest.approx(0.5)
    # Three short steps at 0.4 against a long one at 0.7.
    assert pace((0, 0), (0.5, 0.2), (1, 0.4), (1.5, 0.6), (4.5, 2.7)) == pytest.approx(0.7)
    assert pace((0, 0), (0.5, 0.2), (1, 0.4), (1.5, 0.6), (2.5, 1.3)) == pytest.approx(0.4)
    # A chord counts once, by its first stroke; what goes backwards does not count.
    assert pace((0, 0), (1, 0.5), (1, 0.9), (2, 1.0)) == pytest.approx(0.5)
    assert pace((0, 1.0), (1, 0.5), (2, 1.2)) == pytest.approx(0.7)
    assert pace((0, 1.0)) == pace((0, 1.0), (0, 2.0)) == pace((0, 1.0), (1, 0.5)) == 0.6


def test_the_tempo_of_two_moments_is_told_and_of_one_not() -> None:
    chord = page([note(0, 60 + k) for k in range(4)] + [note(1, 70), note(3, 71)])
    (one,) = passes(chord, (0.0, 0), (0.01, 1), (0.02, 2), (0.5, 4))
    assert one.tempo_qpm == pytest.approx(120.0)
    (one,) = passes(chord, (0.0, 0), (0.01, 1), (0.02, 2))
    assert one.tempo_qpm != one.tempo_qpm
