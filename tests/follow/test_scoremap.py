"""How a page is laid out for following, worked by hand."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest

from engine.arrangement import Arrangement, Span, TempoMark
from engine.follow.scoremap import (
    heard_onsets,
    leaders,
    map_score,
    written_trills,
)
from engine.follow.turns import find_turns
from tests.follow.pages import note, page


def plain() -> Arrangement:
    """Two bars: left and right together on even quarters, the left alone on odd ones."""
    rows = [note(q, 70 + q) for q in range(0, 8, 2)]
    rows += [note(q, 40 + q, hand="left") for q in range(8)]
    return page(rows, qpm=120.0)


def test_groups_are_moments() -> None:
    m = map_score(plain())
    assert m.group_q == [float(q) for q in range(8)]
    assert [len(g) for g in m.members] == [2, 1] * 4
    assert [m.pitch[k] for k in m.members[2]] == [42, 72]
    assert [m.group[k] for k in m.members[2]] == [2, 2]
    assert m.pitch_q[42] == [2.0]
    assert m.pitch_notes[42] == [m.members[2][0]]
    assert [m.right[k] for k in m.members[2]] == [0, 1]
    assert m.s_per_q == pytest.approx([0.5] * 8)
    assert m.bar == [0] * 4 + [1] * 4
    assert m.bar_start.tolist() == [True, False, False, False] * 2


def test_what_leaving_out_counts() -> None:
    """One a note, four tenths for each further note of a hand's chord, a tenth for small print."""
    rows = [note(0, 60), note(0, 64), note(0, 67), note(0, 40, hand="left")]
    rows += [note(1, 62), note(2, 63, optional=True), note(3, 50, hand="left")]
    rows += [note(3, 79, grace="before")]
    m = map_score(page(rows))
    by_pitch = {m.pitch[k]: m.heed[k] for k in m.notes}
    assert by_pitch == pytest.approx(
        {60: 0.6, 64: 0.6, 67: 0.6, 40: 1.0, 62: 1.0, 63: 0.1, 50: 1.0, 79: 0.0}
    )
    assert {m.pitch[k] for k in m.notes if not m.counted[k]} == {63, 79}
    assert m.before_left == pytest.approx([0.0, 1.0, 1.0, 1.0, 1.0, 2.0])
    assert m.before_right == pytest.approx([0.0, 1.8, 2.8, 2.9, 2.9, 2.9])
    assert [b.tolist() for b in m.before] == [m.before_left, m.before_right]


def test_graces_are_heard_before_the_beat_or_at_the_end() -> None:
    rows = [note(q, 60 + q, duration=2.0) for q in range(0, 8, 2)]
    rows += [note(4, 80, grace="before"), note(2, 82, grace="after")]
    rows += [note(6, 30, hand="left", duration=0.1), note(6, 31, hand="left", grace="after")]
    arrangement = page(rows)
    q = {
        n.pitch: float(s) for n, s in zip(arrangement.notes, heard_onsets(arrangement), strict=True)
    }
    assert q[80] == pytest.approx(3.92)
    assert q[82] == pytest.approx(3.75)
    # Of its own staff; a very short note still comes before it.
    assert q[31] == pytest.approx(6.05)
    assert q[64] == 4.0
    m = map_score(arrangement)
    assert (
        m.bar[m.group[arrangement.notes.index(next(n for n in arrangement.notes if n.pitch == 80))]]
        == 1
    )


def test_a_hand_and_a_span() -> None:
    arrangement = plain()
    assert len(map_score(arrangement, hands="left").notes) == 8
    assert len(map_score(arrangement, hands="right").notes) == 4
    m = map_score(arrangement, Span(1, 1))
    assert m.group_q == [4.0, 5.0, 6.0, 7.0]
    assert [g >= 0 for g in m.group] == [n.bar == 1 for n in arrangement.notes]
    assert len(m.q) == len(arrangement.notes)


def test_a_unison_is_there_once_by_its_leader_where_that_is_played() -> None:
    rows = [note(0, 60), note(0, 60, hand="left"), note(1, 62)]
    arrangement = page(rows)
    first, second, _ = arrangement.notes
    lead = 0 if first.hand == "right" else 1
    notes = tuple(replace(n, unison=lead) if n.pitch == 60 else n for n in arrangement.notes)
    arrangement = replace(arrangement, notes=notes)
    whole = Span(0, 0)
    assert leaders(arrangement, whole, "both").tolist() == [lead, 2]
    assert leaders(arrangement, whole, "right").tolist() == [lead, 2]
    assert leaders(arrangement, whole, "left").tolist() == [1 - lead]
    assert second.pitch == 60


@pytest.mark.parametrize(
    ("sign", "reach"),
    [
        ("trill", {0, 1, 2, -1, -2}),
        ("turn", {0, 1, 2, -1, -2}),
        ("mordent", {0, -1, -2}),
        ("inverted-mordent", {0, 1, 2}),
        ("tremolo", {0}),
    ],
)
def test_signs_sound_from_just_before_their_note_to_its_end(sign: str, reach: set[int]) -> None:
    rows = [note(q, 60 + q) for q in range(8)]
    rows[4] = note(4, 80, ornament=sign, duration=2.0)
    m = map_score(page(rows))
    (k,) = m.reach
    assert m.pitch[k] == 80
    assert set(m.reach[k]) == reach
    assert [g for g, ks in enumerate(m.signs) if ks] == [3, 4, 5]
    assert [m.loose[i] for i in m.notes] == [i == k for i in m.notes]


def trill(
    count: int, step_q: float = 0.125, pitches: tuple[int, ...] = (72, 74), at: float = 2.0
) -> Arrangement:
    rows = [note(q, 60 + q) for q in (0, 1, 6, 7)]
    rows += [
        note(at + k * step_q, pitches[k % len(pitches)], duration=step_q) for k in range(count)
    ]
    return page(rows)


def runs(arrangement: Arrangement) -> list[list[int]]:
    order = np.arange(len(arrangement.notes))
    return [run.tolist() for run in written_trills(arrangement.table, order)]


def test_a_trill_written_out_is_free_but_for_its_first_note() -> None:
    assert runs(trill(6)) == [[2, 3, 4, 5, 6, 7]]
    assert runs(trill(9)) == [list(range(2, 11))]
    m = map_score(trill(9))
    assert [m.counted[k] for k in m.notes] == [1, 1, 1] + [0] * 8 + [1, 1]
    assert [m.heed[k] for k in m.notes] == [1, 1, 1] + [0] * 8 + [1, 1]
    assert [m.loose[k] for k in m.notes] == [0, 0] + [1] * 9 + [0, 0]


def test_a_trill_written_out_sounds_like_a_sign_to_its_end() -> None:
    m = map_score(trill(8))
    assert m.reach == {2: (0, 2)}
    assert m.sign_end_q == {2: 3.0}
    assert [m.group_q[g] for g, ks in enumerate(m.signs) if ks] == [2 + k / 8 for k in range(8)]


def test_what_is_no_trill() -> None:
    assert runs(trill(5)) == []
    assert runs(trill(9, 0.25)) == []
    assert runs(trill(9, pitches=(72, 74, 76))) == []
    assert runs(trill(9, pitches=(72,))) == []
    # Three keys at first: the trill begins where two alternate.
    mixed = trill(9, pitches=(72, 74, 76, 74, 76, 74, 76, 74, 76))
    assert runs(mixed) == [list(range(3, 11))]


def test_two_trills_are_two() -> None:
    rows = [note(2 + k / 8, (72, 74)[k % 2], duration=0.125) for k in range(8)]
    rows += [note(4 + k / 8, (72, 74)[k % 2], duration=0.125) for k in range(8)]
    assert runs(page(rows)) == [list(range(8)), list(range(8, 16))]


def test_small_print_that_is_most_of_a_hand() -> None:
    """Leaving it out counts 0.4 more for a player who plays it, and nothing where it is little."""
    rows = [note(q, 60 + q, optional=q % 3 != 0) for q in range(9)]
    m = map_score(page(rows))
    assert [m.small[k] for k in m.notes] == [0, 1, 1] * 3
    assert m.before_small == pytest.approx([0.0, 0.0, 0.4, 0.8, 0.8, 1.2, 1.6, 1.6, 2.0, 2.4])
    few = map_score(page([note(q, 60 + q, optional=q % 2 == 1) for q in range(8)]))
    assert few.before_small == []
    assert sum(few.small) == 0


def test_where_a_key_was_last_and_everywhere() -> None:
    m = map_score(page([note(q, (60, 62, 60, 64, 62, 60)[q]) for q in range(6)]))
    assert m.groups_of(60).tolist() == [0, 2, 5]
    assert m.last_at(60).tolist() == [0, 0, 2, 2, 2, 5]
    assert m.last_at(62).tolist() == [-1, 1, 1, 1, 4, 4]
    assert m.last_at(99).tolist() == [-1] * 6
    assert m.groups_of(99).tolist() == []


def test_chances_of_landing_add_up() -> None:
    """From anywhere: 0.13 shared by the bars' first moments, 0.12 by all; near: half at bars."""
    m = map_score(page([note(q, 60 + q) for q in range(12)]))
    anywhere, near = m.landing_shares
    assert anywhere.sum() == pytest.approx(0.25)
    assert anywhere[4] == pytest.approx(0.13 / 3 + 0.12 / 12)
    assert anywhere[5] == pytest.approx(0.12 / 12)
    # Twelve quarters: on average one a quarter.
    assert near.sum() == pytest.approx(12.0)
    assert near[4] == pytest.approx(0.5 * 12 / 3 + 0.5)
    assert near[5] == pytest.approx(0.5)


def test_the_tempo_of_each_moment() -> None:
    arrangement = replace(
        plain(), tempo=(TempoMark(Fraction(0), 120.0), TempoMark(Fraction(4), 60.0))
    )
    assert map_score(arrangement).s_per_q == pytest.approx([0.5] * 4 + [1.0] * 4)


def test_turns_of_repeats_and_endings() -> None:
    """| 1 2 | 3 first ending | 1 2 | 4 second ending | 5, unfolded: what may follow each bar."""
    arrangement = page([note(q, 60) for q in range(28)], written=[0, 1, 2, 0, 1, 3, 4])
    turns = find_turns(arrangement.bars, {b.index: b.index for b in arrangement.bars})
    assert turns == {1: (5,), 4: (2,)}
    plain_turns = find_turns(plain().bars, {0: 0, 1: 4})
    assert plain_turns == {}
    twice = page([note(q, 60) for q in range(16)], written=[0, 0, 0, 1])
    first_group = {0: 10, 1: 11, 3: 13}
    # After bar 1 comes bar 1 (any time through, but the one next) or bar 2.
    assert find_turns(twice.bars, first_group) == {0: (10, 13), 1: (10, 11, 13), 2: (10, 11)}
