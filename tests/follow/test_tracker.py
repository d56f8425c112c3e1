"""Pauses, surprises and landings, worked by hand."""

from __future__ import annotations

import pytest

from engine.follow.path import EXTRA, RIGHT, Node, Path
from engine.follow.scoremap import ScoreMap, map_score
from engine.follow.tracker import Recent, Tracker, _keep
from engine.performance import PlayedNote
from tests.follow.pages import note, page, play, two_hands


def scale(qpm: float = 120.0, step_q: float = 1.0) -> ScoreMap:
    return map_score(page([note(q * step_q, 48 + q) for q in range(24)], qpm=qpm))


def tracked(m: ScoreMap, count: int, s_per_q: float = 0.5) -> Tracker:
    """The first so many notes at an even pace."""
    tracker = Tracker(m)
    for k in range(count):
        tracker.hear(PlayedNote(k, m.pitch[k], 64, 1.0 + m.q[k] * s_per_q))
    return tracker


def pause(tracker: Tracker, gap_s: float) -> float:
    last = tracker._recent[-1].note
    return tracker._pause_before(PlayedNote(99, 60, 64, last.onset_s + gap_s))


@pytest.mark.parametrize(
    ("gap_s", "length"),
    [
        # Under 0.6 s nothing is a pause. Then: late by more than half of 0.6 s, long at twice that.
        (0.59, 0.0),
        (0.7, 0.04),
        (0.95, 0.25 / 1.5),
        (1.4, (0.9 / 0.6 - 0.5) / 1.5),
        (1.7, 1.0),
        (5.0, 1.0),
    ],
)
def test_how_long_a_pause_is(gap_s: float, length: float) -> None:
    """After an even half second a note; the next is due half a second later."""
    assert pause(tracked(scale(), 10), gap_s) == pytest.approx(length, abs=0.02)


def test_a_pause_on_a_long_note_is_none_and_at_a_slow_pace_it_is_longer() -> None:
    m = map_score(page([note(q if q < 10 else q + 6, 48 + q) for q in range(16)], qpm=120.0))
    assert pause(tracked(m, 10), 3.5) == pytest.approx(0.5)
    assert pause(tracked(m, 10), 0.8) == pytest.approx(0.08)
    # At two seconds a quarter: late by 0.6 s and by 1.2 s.
    slow = tracked(scale(qpm=30.0), 10, 2.0)
    assert pause(slow, 3.2) == pytest.approx(0.5, abs=0.02)
    assert pause(slow, 2.0 + 1.8) == pytest.approx(1.0 / 1.5, abs=0.03)


def test_before_the_first_note_there_was_a_long_pause() -> None:
    assert Tracker(scale())._pause_before(PlayedNote(0, 60, 64, 5.0)) == 1.0


def test_the_first_note_may_be_anywhere_but_rather_at_the_start() -> None:
    m = map_score(page([note(q, 60 + q % 8) for q in range(24)]))
    tracker = Tracker(m)
    tracker.hear(PlayedNote(0, 60, 64, 1.0))
    found = next(p for p in tracker.paths if p.front >= 0)
    assert m.group_q[found.front] == 0.0
    fronts = {m.group_q[p.front] for p in tracker.paths if p.front >= 0}
    assert fronts == {0.0, 8.0, 16.0}


def test_costs_of_four_notes_together_are_a_surprise() -> None:
    tracker = tracked(scale(), 10)

    def with_costs(*costs: float) -> bool:
        node: Node | None = None
        for i, c in enumerate(costs):
            node = Node(node, i, RIGHT, i, 0.0, c, 0.0)
        tracker.best.node = node
        return tracker._is_surprised()

    assert not with_costs(9.0, 1.0, 2.0, 2.0, 1.9)
    assert with_costs(0.0, 1.0, 2.0, 2.0, 2.1)
    assert with_costs(7.1)
    assert not with_costs(6.9)


def test_less_is_one_where_the_notation_turns() -> None:
    rows = [note(q + 8 * t, 60 + q, id=f"n{q}") for t in (0, 1) for q in range(8)]
    rows += [note(16 + q, 80 + q, id=f"m{q}") for q in range(8)]
    m = map_score(page(rows, written=[0, 1, 0, 1, 2, 3], qpm=120.0))
    for count, is_one in ((3, False), (6, True), (8, True), (10, True), (22, False)):
        tracker = tracked(m, count)
        tracker.best.node = Node(None, 0, RIGHT, 0, 0.0, 4.1, 0.0)
        assert tracker._is_surprised() == is_one, count
        tracker.best.node = Node(None, 0, RIGHT, 0, 0.0, 3.9, 0.0)
        assert not tracker._is_surprised()


def test_where_the_player_began_is_remembered() -> None:
    arrangement = two_hands()
    m = map_score(arrangement)
    tracker = Tracker(m)
    start = next(i for i, q in enumerate(m.group_q) if q == 8.0)
    for n in play(arrangement, [k for k in m.notes if 8 <= m.q[k] < 18]):
        tracker.hear(n)
    assert tracker._habits[start] == pytest.approx(0.2 * 0.35)
    assert tracker._habits.sum() == pytest.approx(0.2 * 0.35)
    end_s = tracker._recent[-1].note.onset_s
    again = [k for k in m.notes if 4 <= m.q[k] < 14]
    index = tracker._count
    for i, n in enumerate(play(arrangement, again, start_s=end_s + 0.5)):
        tracker.hear(PlayedNote(index + i, n.pitch, 64, n.onset_s))
    second = next(i for i, q in enumerate(m.group_q) if q == 4.0)
    assert tracker._habits[second] == pytest.approx(0.2 * 0.35)
    assert tracker._habits[start] == pytest.approx(0.2 * 0.35 * 0.65)


def path(logp: float, front: int, landing: int = 0, note_: int = 0, left: float = 1.0) -> Path:
    out = Path(logp, Node(None, 0, RIGHT, note_, logp, 0.0, 0.0))
    out.front, out.landing, out.left = front, landing, left
    return out


def test_which_paths_are_kept() -> None:
    """Each place once; four of a landing, of these no further than 11 behind; 20 in all, none
    further than 24 behind."""
    alike = [path(-2.0, 5), path(-1.0, 5), path(-3.0, 5, note_=1), path(-4.0, 5, left=-1.0)]
    assert [p.logp for p in _keep(list(alike))] == [-1.0, -3.0, -4.0]
    many = [path(-float(k), k) for k in range(6)]
    assert [p.logp for p in _keep(many)] == [0.0, -1.0, -2.0, -3.0]
    far = [path(0.0, 1), path(-10.9, 2), path(-11.1, 3), path(-23.9, 4, 1), path(-24.1, 5, 2)]
    assert [p.logp for p in _keep(far)] == [0.0, -10.9, -23.9]
    landings = [path(-float(k), k, k) for k in range(23)]
    assert [p.logp for p in _keep(landings)] == [-float(k) for k in range(20)]
    lost = Path(-1.0, None)
    assert _keep([lost]) == [lost]


def test_origins_are_the_places_of_likely_landings() -> None:
    tracker = tracked(scale(), 4)
    tracker.paths = [path(-1.0, 7, 1), path(-2.0, 8, 1), path(-3.0, 3, 2), path(-6.1, 2, 3)]
    origins = tracker._origins()
    assert [(o.front, o.landing) for o in origins] == [(7, 1), (3, 2)]
    told = Recent(PlayedNote(4, 60, 64, 3.0), 0.5, origins).as_heard()
    one, two = 1.0, 2.718281828**-2
    assert [g for g, _ in told.origins] == [7, 3]
    shares = [s for _, s in told.origins]
    assert shares == pytest.approx([one / (one + two), two / (one + two)])
    assert (told.pitch, told.time_s, told.pause, told.before) == (60, 3.0, 0.5, -1.0)
    tracker.paths = [path(-1.0, -1), path(-1.5, 4, 1)]
    assert [o.front for o in tracker._origins()] == [-1]
    assert Recent(PlayedNote(4, 60, 64, 3.0), 0.5, tracker._origins()).as_heard().origins == []
    tracker.paths = [path(-1.0, k, k) for k in range(6)]
    assert [o.front for o in tracker._origins()] == [0, 1, 2, 3]


def test_a_jump_to_where_the_player_is_anyway_is_none() -> None:
    m = scale(step_q=0.25)
    tracker = Tracker(m)
    before = Node(Node(None, 0, RIGHT, 8, 0.0, 0.0, 0.0), 1, EXTRA, -1, 0.0, 0.0, 0.0)
    assert [g for g in range(24) if tracker._is_near(g, before)] == [7, 8, 9]
    assert not tracker._is_near(5, None)
