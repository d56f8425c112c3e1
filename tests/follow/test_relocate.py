"""The search for a place anywhere: chances worked by hand, and nothing lost by looking less."""

from __future__ import annotations

import math

import numpy as np
import pytest

from engine.follow import costs, relocate
from engine.follow.relocate import Heard, find_landings, jump_cost
from engine.follow.scoremap import ScoreMap, map_score
from tests.follow.golden import drone_page
from tests.follow.pages import note, page


def scale(count: int = 16) -> ScoreMap:
    return map_score(page([note(q, 40 + q) for q in range(count)], qpm=120.0))


def chance(m: ScoreMap, group: int, origins: relocate.Origins, habits: np.ndarray) -> float:
    return float(np.exp(-jump_cost(np.array([group], dtype=np.int32), origins, habits, m)[0]))


def test_where_a_jump_lands() -> None:
    """Of all landings 0.13 at bars and 0.12 anywhere; 0.45 behind and 0.2 ahead, dying away over
    12 and 4 quarters, half of these at bars; a tenth at the start, half of them after the end."""
    m, none = scale(), np.zeros(16)
    anywhere = 0.12 / 16
    at_bar = anywhere + 0.13 / 4
    # Sixteen quarters, four bars: near landings are 0.5 on each note and 2 more at each bar.
    behind = 0.45 / 12 * math.exp(-3 / 12) * 0.5
    assert chance(m, 5, [(8, 1.0)], none) == pytest.approx(anywhere + behind)
    ahead = 0.2 / 4 * math.exp(-2 / 4) * 0.5
    assert chance(m, 10, [(8, 1.0)], none) == pytest.approx(anywhere + ahead)
    behind = 0.45 / 12 * math.exp(-4 / 12) * 2.5
    assert chance(m, 4, [(8, 1.0)], none) == pytest.approx(at_bar + behind)
    here = 0.45 / 12 * 2.5
    assert chance(m, 8, [(8, 1.0)], none) == pytest.approx(at_bar + here)
    start = 0.45 / 12 * math.exp(-8 / 12) * 2.5
    assert chance(m, 0, [(8, 1.0)], none) == pytest.approx(at_bar + start + 0.1)
    second = 0.45 / 12 * math.exp(-7 / 12) * 0.5
    assert chance(m, 1, [(8, 1.0)], none) == pytest.approx(anywhere + second + 0.01)


def test_after_the_end_half_begin_again() -> None:
    m, none = scale(), np.zeros(16)
    rest = 0.12 / 16 + 0.13 / 4
    far = 0.45 / 12 * math.exp(-13 / 12) * 2.5
    assert chance(m, 0, [(13, 1.0)], none) == pytest.approx(rest + far + 0.5)
    far = 0.45 / 12 * math.exp(-12 / 12) * 2.5
    assert chance(m, 0, [(12, 1.0)], none) == pytest.approx(rest + far + 0.1)
    assert chance(m, 0, [], none) == pytest.approx(rest + 0.5)
    assert chance(m, 1, [], none) == pytest.approx(0.12 / 16 + 0.05)


def test_several_places_to_come_from_and_habits() -> None:
    m, habits = scale(), np.zeros(16)
    habits[5] = 0.07
    first = 0.45 / 12 * math.exp(-3 / 12) * 0.5
    second = 0.2 / 4 * math.exp(-3 / 4) * 0.5
    assert chance(m, 5, [(8, 0.7), (2, 0.3)], habits) == pytest.approx(
        0.12 / 16 + 0.07 + 0.7 * first + 0.3 * second
    )


def heard(
    *rows: tuple[int, float, float],
    pauses: tuple[float, ...] = (),
    origins: relocate.Origins | None = None,
) -> list[Heard]:
    """(pitch, seconds, log probability before), with pauses before and one set of origins."""
    long = [*pauses, *[0.0] * len(rows)]
    return [Heard(p, s, long[i], b, origins or []) for i, (p, s, b) in enumerate(rows)]


def test_one_note_back_by_hand() -> None:
    """A step costs 0.4 and 0.6 for each share of its time it is late; a note left out 2.5."""
    m = scale()
    said = np.array([-0.5, -0.5, -0.5])
    at = np.array([5, 6, 9], dtype=np.int32)
    note_, later = heard((44, 1.0, 0.0), (45, 1.6, 0.0))
    where, matched = relocate._step_back(at, note_, later, 0.5, said, m, False, (1.0, 1.0))
    assert where.tolist() == [4, 4, 4]
    assert matched.all()
    # From 4 to 5: half a second due, a tenth late of 0.1 + 0.25.
    assert said[0] == pytest.approx(-0.5 - 0.4 - 0.6 * 0.1 / 0.35)
    assert said[1] == pytest.approx(-0.5 - 0.4 - 0.6 * 0.4 / 0.6 - 2.5)
    # No more than 5.5: then the note is extra.
    assert said[2] == pytest.approx(-0.5 - 5.5)


def test_back_no_further_than_twelve_moments_and_from_a_repeated_key_before_it() -> None:
    m = map_score(page([note(q, (60 if q in (0, 14, 15) else 70)) for q in range(18)], qpm=120.0))
    said = np.zeros(3)
    at = np.array([12, 13, 15], dtype=np.int32)
    here, later = heard((60, 1.0, 0.0), (70, 1.5, 0.0))
    where, matched = relocate._step_back(at, here, later, 0.5, said, m, False, None)
    assert where.tolist() == [0, 13, 15]
    assert matched.tolist() == [True, False, True]
    assert said[1] == -5.5
    where, _ = relocate._step_back(at, here, later, 0.5, np.zeros(3), m, True, None)
    assert where.tolist() == [0, 13, 14]


def test_leaving_out_the_other_hand_counts_less_while_it_is_open() -> None:
    rows = [note(q, 70 + q) for q in range(8)]
    rows += [note(q + 0.5, 40 + q, hand="left") for q in range(8)]
    m = map_score(page(rows))
    where, at = np.array([0, 0, 0]), np.array([2, 3, 6])
    # Between 0 and 2 one left note; between 0 and 3 one of each; then two of the right, three left.
    assert relocate._skipped(where, at, None, m) == pytest.approx(
        [2.5 * 0.3, 2.5 * 1.3, 2.5 * (2 + 0.3 * 3)]
    )
    assert relocate._skipped(where, at, (1.0, 0.1), m) == pytest.approx([2.5, 2.75, 8.0])
    assert relocate._skipped(where, np.array([2, 3, 15]), (1.0, 1.0), m)[2] == 8.5
    assert relocate._skipped(np.array([3]), np.array([3]), (1.0, 1.0), m)[0] == 0.0


def test_the_place_is_found_from_a_few_notes() -> None:
    m = map_score(drone_page())
    none = np.zeros(len(m.group_q))
    order = [k for k in m.notes if 20 <= m.q[k] < 24][:9]
    rows = [(m.pitch[k], m.q[k] * 0.6, -6.0 * i) for i, k in enumerate(order)]
    recent = heard(*rows, pauses=(1.0,), origins=[(3, 1.0)])
    found = find_landings(recent, none, 0.6, m, None)
    best = found[0]
    assert (best.first, m.group_q[best.group]) == (0, 20.0)
    assert m.group_q[best.now] == m.q[order[8]]
    assert found == sorted(found, key=lambda x: -x.total)
    assert len({x.group for x in found}) == len(found) <= 9
    both = find_landings(recent, none, 0.6, m, (1.0, 1.0))
    assert len(both) <= 5
    assert both[0].group == best.group
    # What is below the least is not told.
    assert find_landings(recent, none, 0.6, m, (1.0, 1.0), both[0].total + 0.01) == []
    assert find_landings(recent, none, 0.6, m, (1.0, 1.0), both[0].total - 0.01)[0] == both[0]
    assert find_landings(heard(*rows[:-1], (127, 9.0, 0.0)), none, 0.6, m, None) == []


def test_a_turn_of_the_notation_is_a_cheap_jump() -> None:
    rows = [note(q + 8 * t, 60 + q, id=f"n{q}") for t in (0, 1) for q in range(8)]
    rows += [note(16 + q, 80 + q, id=f"m{q}") for q in range(8)]
    m = map_score(page(rows, written=[0, 1, 0, 1, 2, 3], qpm=120.0))
    none = np.zeros(len(m.group_q))
    recent = heard((67, 3.5, -1.0), (80, 4.0, -1.2), (81, 4.5, -9.0), origins=[(7, 1.0)])
    found = find_landings(recent, none, 0.5, m, (1.0, 1.0))
    assert (found[0].first, found[0].group, found[0].jump) == (1, 16, costs.TURN)
    assert found[0].total == pytest.approx(-1.2 - 0.5 - 0.4 - costs.TURN)
    back = heard((67, 7.5, -1.0), (60, 8.0, -1.2), (61, 8.5, -9.0), origins=[(15, 1.0)])
    found = find_landings(back, none, 0.5, m, (1.0, 1.0))
    at_start = next(x for x in found if x.group == 8)
    assert at_start.jump == costs.TURN_BACK
    for group, turns in ((-1, []), (3, []), (8, [(0, costs.TURN_BACK), (16, costs.TURN)])):
        there, cost = relocate._turns(group, m)
        assert list(zip(there, cost, strict=True)) == turns


@pytest.mark.parametrize("seed", range(6))
def test_letting_hopeless_places_go_loses_nothing(
    seed: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The same places as when every one is followed to the end."""
    m = map_score(drone_page())
    rng = np.random.default_rng(seed)
    start = int(rng.integers(0, len(m.notes) - 12))
    order = m.notes[start : start + 10]
    logp, rows = 0.0, []
    for i, k in enumerate(order):
        rows.append((m.pitch[k] + int(rng.random() < 0.15), m.q[k] * 0.6, logp))
        logp -= float(rng.exponential(1.0 if i < 3 else 5.0))
    pauses = tuple(float(rng.random() < 0.2) for _ in rows)
    recent = heard(*rows, pauses=pauses, origins=[(int(rng.integers(0, 40)), 1.0)])
    none = np.zeros(len(m.group_q))
    quick = find_landings(recent, none, 0.6, m, (1.0, 1.0))
    monkeypatch.setattr(relocate, "THIN_TO", 10**6)
    monkeypatch.setattr(relocate, "LIKELY_SLACK", 1e6)
    monkeypatch.setattr(relocate, "FAR_Q", 1e9)
    slow = find_landings(recent, none, 0.6, m, (1.0, 1.0))
    assert quick[:1] == slow[:1]


def test_where_a_jump_came_from() -> None:
    """Of two places the nearer one behind, unless it was hardly there."""
    m = scale()
    assert relocate.likely_origin(5, [(3, 1.0)], m) == 0
    assert relocate.likely_origin(5, [(15, 0.5), (6, 0.5)], m) == 1
    assert relocate.likely_origin(5, [(7, 0.5), (15, 0.5)], m) == 0
    assert relocate.likely_origin(5, [(7, 0.01), (15, 0.99)], m) == 1
