"""Strokes of a key against its notes: against the plain recursion, and worked by hand."""

from __future__ import annotations

import math
from functools import cache

import numpy as np
import pytest

from engine.follow.path import EXTRA, ORNAMENT, RIGHT, UNCLEAR, WRONG
from engine.follow.refine import Due, Label, due_notes, goings, match_sequences, refine
from engine.follow.scoremap import ScoreMap, map_score
from engine.follow.timemap import TimeMap
from tests.follow.pages import note, page, two_hands


def odd(away_s: float, spread_s: float) -> float:
    """Student's t with three degrees of freedom, in nats above its top."""
    return 2.0 * math.log(1.0 + (away_s / spread_s) ** 2 / 3.0)


def repeated(count: int, small: tuple[int, ...] = ()) -> ScoreMap:
    """One key over and over."""
    return map_score(page([note(q, 60, optional=q in small) for q in range(count)]))


def cheapest(played: list[Label], notes: list[Due], m: ScoreMap) -> tuple[float, list[int]]:
    """The plain recursion over (strokes left, notes left), nothing left out of sight."""

    def pair(x: Label, d: Due) -> float:
        cost = min([odd(x.time_s - s, d.spread_s) for s in (d.time_s, *d.others_s)])
        return cost - (0.7 if x.what == RIGHT and x.note == d.note else 0.0)

    @cache
    def best(i: int, j: int) -> tuple[float, tuple[int, ...]]:
        if i == len(played):
            return sum(3.5 * max(m.heed[d.note], 0.3) for d in notes[j:]), ()
        cost, rest = best(i + 1, j)
        ways = [(cost + 4.5 - (0.7 if played[i].what != RIGHT else 0.0), (-1, *rest))]
        if j < len(notes):
            cost, rest = best(i + 1, j + 1)
            ways.append((cost + pair(played[i], notes[j]), (j, *rest)))
            cost, rest = best(i, j + 1)
            ways.append((cost + 3.5 * max(m.heed[notes[j].note], 0.3), rest))
        return min(ways)

    total, answer = best(0, 0)
    return total, list(answer)


@pytest.mark.parametrize("seed", range(40))
def test_the_cheapest_that_does_not_cross(seed: int) -> None:
    rng = np.random.default_rng(seed)
    count = int(rng.integers(1, 14))
    m = repeated(count, tuple(k for k in range(count) if rng.random() < 0.3))
    due_s = np.cumsum(rng.choice([0.1, 0.2, 0.5], count))
    notes = [
        Due(k, float(due_s[k]), (float(due_s[k]) + 0.3,) if rng.random() < 0.2 else (), 0.05)
        for k in range(count)
    ]
    times = np.sort(rng.choice(due_s, int(rng.integers(1, 12))) + rng.normal(0, 0.05))
    times += rng.normal(0.0, 0.02, len(times))
    what = rng.choice([RIGHT, EXTRA], len(times), p=[0.7, 0.3])
    played = [
        Label(i, 60, float(s), int(w), int(rng.integers(0, count)) if w == RIGHT else -1)
        for i, (s, w) in enumerate(zip(np.sort(times), what, strict=True))
    ]
    _, answer = cheapest(played, notes, m)
    assert match_sequences(played, notes, m) == answer


def test_a_long_row_of_one_key_is_found_though_only_the_near_ones_are_looked_at() -> None:
    m = repeated(60)
    notes = [Due(k, 0.5 * k, (), 0.05) for k in range(60)]
    gone, added = {5, 6, 30, 59}, {12, 41}
    played = [Label(k, 60, 0.5 * k + 0.01, RIGHT, k) for k in range(60) if k not in gone]
    played += [Label(-1, 60, 0.5 * k + 0.22, EXTRA, -1) for k in added]
    played.sort(key=lambda x: x.time_s)
    answer = match_sequences(played, notes, m)
    assert [a for a, x in zip(answer, played, strict=True) if x.what == RIGHT] == [
        k for k in range(60) if k not in gone
    ]
    assert [a for a, x in zip(answer, played, strict=True) if x.what == EXTRA] == [-1, -1]


def test_how_odd_a_moment_is() -> None:
    plain = Due(0, 2.0, (), 0.05)
    assert plain.cost_at(2.0) == 0.0
    assert plain.cost_at(2.1) == pytest.approx(2.0 * math.log(1.0 + 4.0 / 3.0))
    assert plain.cost_at(1.9) == pytest.approx(plain.cost_at(2.1))
    halted = Due(0, 2.0, (3.0, 2.5), 0.05)
    assert halted.cost_at(3.0) == 0.0
    assert halted.cost_at(2.45) == pytest.approx(odd(0.05, 0.05))
    assert halted.cost_at(1.9) == pytest.approx(odd(0.1, 0.05))


def labels_of(m: ScoreMap, s_per_q: float = 0.6) -> list[Label]:
    """The whole page as written, at an even pace."""
    return [
        Label(i, m.pitch[k], 1.0 + m.q[k] * s_per_q, RIGHT, k, i == 0)
        for i, k in enumerate(m.notes)
    ]


def test_when_notes_were_due_and_how_sure_that_is() -> None:
    rows = [note(q, 60 + q) for q in range(12)]
    rows += [note(6, 48, hand="left"), note(6, 52, hand="left"), note(7, 90, arpeggiated=True)]
    arrangement = page(rows)
    m = map_score(arrangement)
    labels = labels_of(m)
    late = {48: 0.03, 52: 0.05, 66: 0.01}
    for x in labels:
        x.time_s += late.get(x.pitch, 0.0)
    right = [x for x in labels if not m.loose[x.note]]
    q = np.array([m.q[x.note] for x in right])
    due = due_notes(TimeMap(q, np.array([x.time_s for x in right])), right, m, 0.0, 11.5)
    by_pitch = {m.pitch[k]: d for k, d in due.items()}
    assert len(by_pitch) == len(rows)
    # Alone: between its neighbours, 30 ms and 3 % of a beat and 12 % of the way from the nearest.
    assert by_pitch[63].time_s == pytest.approx(1.0 + 3 * 0.6, abs=2e-3)
    assert by_pitch[63].spread_s == pytest.approx(0.03 + 0.03 * 0.6 + 0.12 * 0.6, abs=2e-3)
    assert len(by_pitch[63].others_s) == 2
    # In a chord: with its own hand's others, else with the other hand's; surer.
    assert by_pitch[48].time_s == pytest.approx(1.0 + 6 * 0.6 + 0.05)
    assert by_pitch[66].time_s == pytest.approx(1.0 + 6 * 0.6 + 0.05)
    assert by_pitch[48].spread_s == pytest.approx(0.03 + 0.03 * 0.6, abs=2e-3)
    assert by_pitch[48].others_s == ()
    # A rolled note is free, and no witness.
    assert by_pitch[90].spread_s == pytest.approx(0.03 + 0.03 * 0.6 + 0.072 + 0.08, abs=3e-3)
    assert by_pitch[90].time_s == pytest.approx(1.0 + 7 * 0.6, abs=1e-2)
    assert due_notes(TimeMap(q, q), right, m, 20.0, 30.0) == {}
    assert set(due_notes(TimeMap(q, q), right, m, 3.0, 5.0)) == {3, 4}


def test_two_strokes_of_a_key_that_were_crossed_are_put_in_order() -> None:
    m = map_score(page([note(q, 72 if q % 2 else 50 + q) for q in range(16)]))
    labels = labels_of(m)
    labels[5].note, labels[7].note = 7, 5
    labels.append(Label(99, 72, labels[11].time_s + 0.3, EXTRA, -1))
    labels.sort(key=lambda x: x.time_s)
    refine(labels, m)
    assert [x.note for x in labels if x.played != 99] == list(m.notes)


@pytest.mark.parametrize(
    ("away", "is_tied"), [(1, True), (-2, True), (12, True), (-4, True), (5, False), (7, False)]
)
def test_a_stroke_beside_a_note_left_out_stands_for_it(away: int, is_tied: bool) -> None:
    rows = [note(q, 40 + 2 * q) for q in range(20)]
    m = map_score(page(rows))
    labels = labels_of(m)
    labels[9].pitch += away
    labels[9].what, labels[9].note = EXTRA, -1
    refine(labels, m)
    assert (labels[9].what, labels[9].note) == ((WRONG, 9) if is_tied else (EXTRA, -1))


@pytest.mark.parametrize(("late_s", "is_tied"), [(0.2, True), (0.95, True), (1.3, False)])
def test_not_when_struck_at_another_time(late_s: float, is_tied: bool) -> None:
    m = map_score(page([note(4 * q, 40 + 3 * q) for q in range(14)]))
    labels = labels_of(m)
    labels[6].pitch += 1
    labels[6].what, labels[6].note = EXTRA, -1
    labels[6].time_s += late_s
    refine(labels, m)
    assert (labels[6].what == WRONG) == (is_tied and odd(late_s, 0.336) + 4.2 < 8.0)


def test_of_two_strokes_the_likelier_stands_for_the_note() -> None:
    m = map_score(page([note(q, 40 + 3 * q) for q in range(16)]))
    labels = labels_of(m)
    at_s = labels[7].time_s
    del labels[7]
    labels[7:7] = [Label(90, 63, at_s - 0.15, EXTRA, -1), Label(91, 62, at_s, EXTRA, -1)]
    refine(labels, m)
    told = {x.played: (x.what, x.note) for x in labels}
    assert told[91] == (WRONG, 7)
    assert told[90] == (EXTRA, -1)


def with_sign() -> ScoreMap:
    rows = [note(q, 48 + q) for q in range(16)]
    rows[8] = note(8, 80, ornament="trill")
    return map_score(page(rows))


@pytest.mark.parametrize(
    ("at_q", "pitch", "what"),
    [
        (8.4, 82, ORNAMENT),
        (8.4, 79, ORNAMENT),
        (7.6, 82, ORNAMENT),
        (9.2, 81, ORNAMENT),
        (7.2, 82, EXTRA),
        (9.7, 82, EXTRA),
        (8.4, 86, EXTRA),
    ],
)
def test_what_belongs_to_a_sign(at_q: float, pitch: int, what: int) -> None:
    """From 0.3 s before the note to 0.15 s after it, and two semitones around (0.6 s a quarter)."""
    m = with_sign()
    labels = labels_of(m)
    labels.append(Label(50, pitch, 1.0 + at_q * 0.6, EXTRA, -1))
    labels.sort(key=lambda x: x.time_s)
    refine(labels, m)
    (told,) = [x for x in labels if x.played == 50]
    assert (told.what, told.note) == (what, m.notes[8] if what == ORNAMENT else -1)


def row(
    *what: int, fresh: tuple[int, ...] = (0,), gaps: dict[int, float] | None = None
) -> list[Label]:
    out, now_s = [], 0.0
    for i, w in enumerate(what):
        now_s += (gaps or {}).get(i, 0.3)
        out.append(Label(i, 60, now_s, w, i if w == RIGHT else -1, i in fresh))
    return out


def test_going_throughs_reach_from_jump_to_jump() -> None:
    assert goings(row(*[RIGHT] * 6, fresh=(0, 4))) == [(0, 4), (4, 6)]
    assert goings(row(UNCLEAR, *[RIGHT] * 5, fresh=(1, 3))) == [(1, 3), (3, 6)]
    assert goings(row(*[RIGHT] * 3, UNCLEAR, RIGHT, RIGHT)) == [(0, 3)]
    assert goings(row(RIGHT, RIGHT, fresh=())) == []


def test_notes_that_answer_to_nothing_go_with_what_they_are_nearer_to() -> None:
    what = [RIGHT, RIGHT, EXTRA, WRONG, RIGHT, RIGHT]
    assert goings(row(*what, fresh=(0, 4), gaps={2: 0.9})) == [(0, 2), (2, 6)]
    assert goings(row(*what, fresh=(0, 4), gaps={3: 0.9})) == [(0, 3), (3, 6)]
    assert goings(row(*what, fresh=(0, 4), gaps={4: 0.9})) == [(0, 4), (4, 6)]
    assert goings(row(*what, fresh=(0, 4), gaps={1: 0.9})) == [(0, 2), (2, 6)]
    assert goings(row(EXTRA, RIGHT, RIGHT, EXTRA, fresh=(1,))) == [(1, 4)]
    # At the very beginning there is nothing before to go with; no further than eight notes back.
    assert goings(row(EXTRA, EXTRA, RIGHT, RIGHT, fresh=(2,))) == [(2, 4)]
    many = [RIGHT, *[EXTRA] * 10, RIGHT]
    assert goings(row(*many, fresh=(0, 11), gaps={2: 2.0, 5: 0.9})) == [(0, 5), (5, 12)]


@pytest.mark.parametrize(("chords", "is_kept"), [(3, True), (4, False)])
def test_nor_are_few_moments_enough(chords: int, is_kept: bool) -> None:
    rows = [note(q, 50 + 7 * k + q) for q in range(chords) for k in range(4)]
    m = map_score(page(rows))
    labels = labels_of(m)
    labels[5].what, labels[5].note = EXTRA, -1
    refine(labels, m)
    assert (labels[5].what == EXTRA) == is_kept


def test_few_notes_keep_what_was_said_first() -> None:
    m = map_score(two_hands())
    for count, is_kept in ((7, True), (12, False)):
        labels = labels_of(m)[:count]
        labels[5].what, labels[5].note = EXTRA, -1
        refine(labels, m)
        assert (labels[5].what == EXTRA) == is_kept
