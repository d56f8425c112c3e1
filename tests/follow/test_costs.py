"""What each thing a player does costs, worked by hand from the table's words."""

from __future__ import annotations

import math

import pytest

from engine.follow import costs
from engine.follow.path import (
    EXTRA,
    ORNAMENT,
    RIGHT,
    WRONG,
    Path,
    note_cost,
    oddness,
    skip_cost,
    take_note,
    timing_cost,
    weight,
)
from engine.follow.scoremap import ScoreMap, map_score
from engine.follow.ways import (
    AGAIN,
    again,
    extra_cost,
    go_on,
    ornament,
    right_notes,
    wrong_note,
)
from tests.follow.pages import note, page


def scale(**more: object) -> ScoreMap:
    """A note a quarter, a semitone each, right hand."""
    return map_score(page([note(q, 60 + q) for q in range(16)], qpm=120.0))


def both() -> ScoreMap:
    """Right hand every quarter, left hand every second one."""
    rows = [note(q, 70 + q) for q in range(16)]
    rows += [note(q, 40 + q, hand="left") for q in range(0, 16, 2)]
    return map_score(page(rows, qpm=120.0))


def at(m: ScoreMap, group: int, *, steady: bool = True, time_s: float | None = None) -> Path:
    """A path that has played everything up to a group, half a second a quarter."""
    path = Path(0.0, None)
    path.front = path.since = 0
    for g in range(group + 1):
        for k in m.members[g]:
            take_note(path, k, k, m.group_q[g] * 0.5, m)
            path.node = None
    path.steps = 9 if steady else 0
    return path


def t(z: float) -> float:
    """Student's t, three degrees of freedom, in nats above its top."""
    return 2.0 * math.log(1.0 + z * z / 3.0)


def test_costs_are_chances_roughly_known() -> None:
    """Minus the logarithm of one in so many."""
    one_in = {
        "MISS": 33,
        "MISS_MORE": 12,
        "SKIP_AT_MOST": 4900,
        "ONE_HAND": 10,
        "EXTRA": 245,
        "EXTRA_AT_LEAST": 81,
        "DOUBLE_STRIKE": 55,
        "ORNAMENT": 3.3,
        "LOST": 67,
        "GET_LOST": 8100,
        "TIMING_AT_MOST": 8100,
        "HESITATION": 55,
        "TURN": 20,
        "TURN_BACK": 150,
        "BEFORE_LANDING": 20,
    }
    for name, count in one_in.items():
        assert math.exp(getattr(costs, name)) == pytest.approx(count, rel=0.02), name
    assert {k: round(math.exp(c)) for k, c in costs.WRONG.items()} == {
        1: 67, 2: 81, 12: 148, 3: 221, 4: 221,
    }  # fmt: skip


def test_a_jump_gets_cheaper_with_the_pause_before_it() -> None:
    assert math.exp(-costs.jump_at(0.0)) == pytest.approx(3e-6)
    # After a long pause one in four, beside what the pause costs anyone.
    assert math.exp(-costs.jump_at(1.0)) == pytest.approx(0.25 * math.exp(-4.0))
    assert costs.jump_at(0.5) == pytest.approx((costs.jump_at(0.0) + costs.jump_at(1.0)) / 2)


@pytest.mark.parametrize(
    ("belief", "counts"), [(0.0, 0.5), (3.0, 0.9975), (-3.0, 0.0025), (1.0, 0.8808)]
)
def test_how_much_a_hand_counts(belief: float, counts: float) -> None:
    assert weight(belief) == pytest.approx(counts, abs=1e-4)


def test_how_odd_a_moment_is() -> None:
    """30 ms, 3 % of a beat, 12 % of the way; at a quarter's distance at 120: 0.105 s."""
    path = at(scale(), 4)
    assert oddness(path, 1.0, 0.0, 0) == 0.0
    assert oddness(path, 1.0, 0.105, 0) == pytest.approx(t(1.0))
    assert oddness(path, 1.0, -0.21, 0) == pytest.approx(t(2.0))
    assert oddness(path, -1.0, 0.105, 0) == pytest.approx(t(1.0))
    # Graces and rolls are 80 ms freer; a way counts up to two and a half seconds.
    assert oddness(path, 1.0, 0.185, 1) == pytest.approx(t(1.0))
    assert oddness(path, 40.0, 0.345, 0) == pytest.approx(t(1.0))
    # While the tempo is not known, 40 % of the way more.
    path.steps = 2
    assert oddness(path, 1.0, 0.305, 0) == pytest.approx(t(1.0))
    path.steps = 3
    assert oddness(path, 1.0, 0.105, 0) == pytest.approx(t(1.0))
    # A beat slower than a second counts as one.
    path.s_per_q = 4.0
    assert oddness(path, 0.0, 0.06, 0) == pytest.approx(t(1.0))


def test_a_hesitation_costs_no_more_than_so_much_and_too_early_does() -> None:
    m = scale()
    path = at(m, 4)
    assert timing_cost(path, 5, 5.0, 2.5, 0) == 0.0
    assert timing_cost(path, 5, 5.0, 2.605, 0) == pytest.approx(t(1.0))
    assert timing_cost(path, 5, 5.0, 9.0, 0) == 4.0
    assert timing_cost(path, 4, 4.0, 9.0, 0) == 4.0
    assert timing_cost(path, 4, 4.0, 1.0, 0) == 9.0
    assert timing_cost(path, 3, 3.0, 9.0, 0) == 9.0


def test_what_is_left_out_on_the_way() -> None:
    """3.5 for the first note, 2.5 for each further one, 8.5 at most; by how sure the hand plays."""
    m = both()
    path = at(m, 4)
    path.left = path.right = 40.0
    assert skip_cost(path, 5, m) == 0.0
    assert skip_cost(path, 6, m) == pytest.approx(3.5)
    assert skip_cost(path, 7, m) == pytest.approx(3.5 + 2 * 2.5)
    assert skip_cost(path, 12, m) == 8.5
    path.left = -40.0
    assert skip_cost(path, 7, m) == pytest.approx(3.5 + 2.5)
    path.right = 0.0
    assert skip_cost(path, 6, m) == pytest.approx(3.5 / 2)
    # What was played of the front is not left out.
    path = Path(0.0, None)
    path.front, path.left, path.right = 4, 40.0, 40.0
    assert skip_cost(path, 5, m) == pytest.approx(3.5 + 2.5)
    path.front_left = 1.0
    assert skip_cost(path, 5, m) == pytest.approx(3.5)
    path.front_right = 1.0
    assert skip_cost(path, 5, m) == 0.0


def test_small_print_that_is_most_of_a_hand_counts_for_who_plays_it() -> None:
    """A tenth of a note, and four tenths more as far as the player is believed to play it."""
    rows = [note(q, 60 + q, optional=q % 4 != 0) for q in range(16)]
    m = map_score(page(rows, qpm=120.0))
    path = at(m, 4)
    path.right, path.small = 40.0, -40.0
    assert skip_cost(path, 7, m) == pytest.approx(3.5 * 0.2)
    path.small = 40.0
    assert skip_cost(path, 7, m) == pytest.approx(3.5 * (0.2 + 0.8))
    assert skip_cost(path, 6, m) == pytest.approx(3.5 * (0.1 + 0.4))
    path.small = 0.0
    take_note(path, 5, 5, 2.5, m)
    assert path.small == 1.5
    take_note(path, 7, 7, 3.5, m)
    assert path.small == pytest.approx(1.5 + 1.5 - 0.6)
    take_note(path, 8, 8, 4.0, m)
    take_note(path, 10, 10, 5.0, m)
    # 2.4, less 0.6, and 1.5 more: no more than three.
    assert path.small == 3.0


def test_a_note_after_all_makes_good_most_of_its_being_left_out() -> None:
    m = scale()
    path = at(m, 6)
    path.right, path.owed = 40.0, 5.0
    del path.used[5]
    late = t(0.5 / (0.03 + 0.015 + 0.12 * 0.5))
    assert note_cost(path, 5, 3.0, m) == pytest.approx(late - 0.6 * 3.5)
    # One from before the landing costs three more instead.
    path.since = 6
    assert note_cost(path, 5, 3.0, m) == pytest.approx(late + 3.0)
    assert note_cost(path, 7, 3.5, m) == 0.0
    assert note_cost(path, 8, 4.0, m) == pytest.approx(3.5)


def test_no_more_is_made_good_than_was_left_out() -> None:
    """Five notes left out cost 8.5 at most, of which 0.6 come back: not 0.6 times 3.5 a note."""
    m = scale()
    path = at(m, 2)
    path.right = 40.0
    take_note(path, 8, 8, 4.0, m)
    assert path.owed == pytest.approx(0.6 * 8.5)
    for left in (0.6 * 8.5 - 2.1, 0.6 * 8.5 - 4.2, 0.0, 0.0):
        path.right = 40.0
        here = timing_cost(path, m.group[7], m.q[7], 4.0, 0)
        assert note_cost(path, 7, 4.0, m) == pytest.approx(here - min(2.1, path.owed))
        take_note(path, 7, 7, 4.0, m)
        assert path.owed == pytest.approx(left)
    # The next one left out counts anew.
    path.right = 40.0
    take_note(path, 10, 10, 5.0, m)
    assert path.owed == pytest.approx(2.1)


def test_where_a_note_is_looked_for() -> None:
    """From a quarter behind the front to two ahead (four more where there is nothing nearer)."""
    rows = [note(q, 60 if q in (2, 3, 4, 6, 8, 12) else 70 + q) for q in range(20)]
    m = map_score(page(rows, qpm=120.0))
    path = at(m, 4)
    path.used = {}
    assert sorted(k for _, k in right_notes(path, 60, 2.5, m)) == [3, 4, 6]
    path.used = {3: 3, 4: 4}
    assert [k for _, k in right_notes(path, 60, 2.5, m)] == [6]
    path.used = {3: 3, 4: 4, 6: 6}
    assert [k for _, k in right_notes(path, 60, 2.5, m)] == [8]
    path.used[8] = 8
    assert right_notes(path, 60, 2.5, m) == []
    # Time that has passed carries further ahead.
    assert [k for _, k in right_notes(path, 60, 5.0, m)] == [12]
    # No more than half a quarter before the landing.
    path.used, path.since = {}, 4
    assert sorted(k for _, k in right_notes(path, 60, 2.5, m)) == [4, 6]
    # The three next ones are enough.
    row = map_score(page([note(q / 4, 60, duration=0.25) for q in range(40)], qpm=120.0))
    path = at(row, 8)
    assert sorted(k for _, k in right_notes(path, 60, 1.125, row)) == [9, 10, 11]
    best = right_notes(path, 60, 1.125, row)
    assert best == sorted(best)
    assert best[0][1] == 9


def test_what_another_key_was_struck_for() -> None:
    m = scale()
    path = at(m, 4)
    assert wrong_note(path, 66, 2.5, m) == (pytest.approx(4.2), WRONG, 5)
    way = wrong_note(path, 77, 2.5, m)
    assert way is not None
    assert way[2] == 5
    assert way[0] == pytest.approx(5.0)
    assert wrong_note(path, 90, 2.5, m) is None
    # Up to two groups ahead of the front, from one behind it, none twice.
    path.used = {}
    notes = {k for p in range(40, 90) if (w := wrong_note(path, p, 2.5, m)) for k in (w[2],)}
    assert notes <= {3, 4, 5, 6}
    assert {3, 5, 6} <= notes


def test_signs() -> None:
    rows = [note(q, 60 + q) for q in range(8)]
    rows[4] = note(4, 80, ornament="trill")
    m = map_score(page(rows))
    path = at(m, 3)
    assert ornament(path, 82, 1.6, m) == (1.2, ORNAMENT, 4)
    assert ornament(path, 80, 1.6, m) is None
    assert ornament(path, 84, 1.6, m) is None
    path = at(m, 4)
    assert ornament(path, 80, 2.3, m) == (1.2, ORNAMENT, 4)
    # Once its note is over, being late costs: by 0.2 s, two quarters after the last sure moment.
    assert ornament(path, 80, 2.7, m) == (pytest.approx(1.2 + t(0.2 / 0.245)), ORNAMENT, 4)


def test_what_an_extra_note_costs_this_player() -> None:
    """Minus the logarithm of the share of slips lately, 1.6 more, between 4.4 and 5.5."""
    path = Path(0.0, None)
    path.slips = 0.03
    assert path.extra == pytest.approx(1.6 - math.log(0.03))
    path.slips = 0.5
    assert path.extra == 4.4
    path.slips = 0.0001
    assert path.extra == 5.5


def struck(m: ScoreMap, count: int) -> Path:
    """The first so many notes through `go_on`, half a second a quarter."""
    path = Path(0.0, None)
    path.front = path.since = 0
    for k in range(count):
        go_on(path, m.pitch[k], 1.0 + k * 0.5, k, m, alone=True)
    return path


def test_a_share_of_slips_follows_what_is_played() -> None:
    m = scale()
    path = struck(m, 5)
    assert path.slips == pytest.approx(0.02 * 0.98**5)
    go_on(path, 30, 3.2, 5, m, alone=True)
    assert path.node is not None
    assert path.node.what == EXTRA
    assert path.slips == pytest.approx(0.02 * 0.98**6 + 0.02)


def test_a_double_strike_and_an_extra_note_after_a_pause() -> None:
    m = scale()
    path = struck(m, 5)
    assert extra_cost(path, 64, 3.14, 0.0, m) == 4.0
    assert extra_cost(path, 64, 3.16, 0.0, m) == path.extra == 5.5
    assert extra_cost(path, 63, 3.14, 0.0, m) == 5.5
    assert extra_cost(path, 30, 3.14, 0.5, m) == pytest.approx(5.5 + 1.5)
    path.slips = 0.5
    assert extra_cost(path, 30, 3.14, 1.0, m) == pytest.approx(4.4 + 3.0)


def test_the_second_stroke_may_be_the_note_and_the_first_too_many() -> None:
    m = scale()
    path = struck(m, 9)
    go_on(path, m.pitch[9], 1.0 + 9 * 0.5 - 0.2, 9, m, alone=True)
    way = again(path, m.pitch[9], 1.0 + 9 * 0.5, m)
    assert way is not None
    assert way[1:] == (AGAIN, 9)
    due_s = path.before_s + path.s_per_q
    spread_s = 0.03 + 0.03 * path.s_per_q + 0.12 * path.s_per_q
    then, now = t((5.3 - due_s) / spread_s), t((5.5 - due_s) / spread_s)
    assert way[0] == pytest.approx(path.extra + now - then)
    assert again(path, 99, 5.5, m) is None
    # A note from too far back (four strokes) is not asked again.
    for k in range(10, 14):
        go_on(path, m.pitch[k], 1.0 + k * 0.5, k, m, alone=True)
    assert again(path, m.pitch[9], 8.0, m) is None
    assert again(path, m.pitch[10], 8.0, m) is not None


def test_ways_on_are_kept_while_they_are_near_the_best() -> None:
    m = scale()
    path = struck(m, 5)
    ways = go_on(path, m.pitch[5], 3.5, 5, m)
    assert [w.node.note for w in ways if w.node] == [5]
    path = struck(m, 5)
    # A key a semitone above the next note: wrong for it, or the note after, the next left out.
    ways = go_on(path, m.pitch[6], 3.5, 5, m)
    assert {(w.node.what, w.node.note) for w in ways if w.node} >= {(RIGHT, 6), (WRONG, 5)}
    assert next(w.logp for w in ways) == max(w.logp for w in ways)
    assert all(w.logp > ways[0].logp - 6.0 for w in ways)


def test_hands_are_believed_by_what_they_play_and_leave_out() -> None:
    m = both()
    path = Path(0.0, None)
    path.front = path.since = 0
    take_note(path, m.members[0][1], 0, 0.0, m)
    assert (path.left, path.right) == (1.0, 2.5)
    take_note(path, m.members[1][0], 1, 0.5, m)
    assert (path.left, path.right) == (pytest.approx(0.4), 3.0)
    take_note(path, m.members[3][0], 2, 1.5, m)
    assert (path.left, path.right) == (pytest.approx(-0.2), pytest.approx(3.0))
    for g in range(5, 15, 2):
        take_note(path, m.members[g][0], g, g * 0.5, m)
    assert path.left == -3.0 + 0.0
    assert path.right == pytest.approx(3.0)


def test_a_lost_player_stays_lost_until_found() -> None:
    m = scale()
    path = Path(0.0, None)
    ways = go_on(path, 60, 1.0, 0, m)
    assert ways == [path]
    assert path.logp == -4.2
