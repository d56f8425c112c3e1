"""The live follower's promises, at their limits: what stands when, what is told of the place."""

from __future__ import annotations

import math

import pytest

from engine.findings import Finding
from engine.follow import Follower, Place
from engine.follow.follower import finding_of
from engine.follow.path import EXTRA, ORNAMENT, RIGHT, UNCLEAR, WRONG, Node
from engine.performance import PlayedNote
from tests.follow.pages import note, page, play, strokes, two_hands


def scale(count: int = 24, **more: object):
    return page([note(q, 48 + q) for q in range(count)], qpm=100.0)


def finals(findings: list[Finding]) -> list[int]:
    return [f.played for f in findings if f.final and f.played is not None]


def test_a_finding_stands_after_three_more_notes() -> None:
    arrangement = scale()
    follower = Follower(arrangement)
    told = [finals(follower.hear(n)) for n in play(arrangement, range(8), s_per_q=0.1)]
    assert told == [[], [], [], [0], [1], [2], [3], [4]]
    assert finals(follower.finish()) == [5, 6, 7]


def test_or_after_half_a_second() -> None:
    arrangement = scale()
    follower = Follower(arrangement)
    told = [finals(follower.hear(n)) for n in play(arrangement, range(5), s_per_q=0.3)]
    assert told == [[], [], [0], [1], [2]]
    assert finals(follower.tick(1.0 + 0.9 + 0.49)) == []
    assert finals(follower.tick(1.0 + 0.9 + 0.51)) == [3]
    assert finals(follower.tick(9.0)) == [4]
    assert follower.tick(99.0) == []
    assert follower.finish() == []


def test_what_each_link_says() -> None:
    def said(what: int) -> Finding:
        return finding_of(Node(None, 7, what, 3, 0.0, 0.0, 0.0), 0.5, True)

    assert said(RIGHT) == Finding(7, 3, "right", None, 0.5, True)
    assert said(WRONG) == Finding(7, None, "wrong", 3, 0.5, True)
    assert said(ORNAMENT) == Finding(7, None, "ornament", 3, 0.5, True)
    assert said(EXTRA) == Finding(7, None, "extra", None, 0.5, True)
    assert said(UNCLEAR) == Finding(7, None, "unclear", None, 0.5, True)
    plain = finding_of(Node(None, 7, RIGHT, 3, 0.0, 0.0, 0.0))
    assert (plain.certainty, plain.final, plain.alternatives) == (1.0, False, ())


def test_nothing_is_known_of_the_place_before_the_first_note() -> None:
    place = Follower(scale()).place
    assert place.lost
    assert math.isnan(place.place_q)
    assert (place.certainty, place.alternatives_q) == (0.0, ())
    assert Place().lost


def test_like_places_are_told_with_their_doubt() -> None:
    """A phrase that comes three times: the first is taken, the others are kept."""
    phrase = [60, 64, 67, 71, 72, 69]
    rows = [note(q + 12 * t, p) for t in range(3) for q, p in enumerate(phrase)]
    rows += [note(q + 6 + 12 * t, 40 + q + 7 * t) for t in range(3) for q in range(6)]
    arrangement = page(rows)
    notes = strokes([(1.0 + 0.6 * i, p) for i, p in enumerate(phrase)])
    follower = Follower(arrangement)
    said = [follower.hear(n)[-1] for n in notes]
    place = follower.place
    assert place.place_q == 5.0
    assert set(place.alternatives_q) <= {17.0, 29.0}
    assert 0.3 < place.certainty < 1.0
    assert not place.lost
    assert said[-1].certainty < 1.0
    last = arrangement.notes[said[-1].score or 0]
    assert (last.onset_q, last.pitch) == (5, 69)
    for k in said[-1].alternatives:
        assert arrangement.notes[k].pitch == 69
    # What follows tells.
    for n in strokes([(1.0 + 0.6 * (6 + i), 47 + i) for i in range(6)], first=6):
        follower.hear(n)
    assert follower.place.place_q == 23.0
    assert follower.place.alternatives_q == ()
    assert follower.place.certainty > 0.9


def test_what_was_said_is_revised_and_then_stands() -> None:
    """A key beside the next note, then the note itself: first a wrong note, then only an extra."""
    arrangement = scale()
    rows = [(1.0 + 0.6 * q, 48 + q) for q in range(8)]
    rows += [(1.0 + 0.6 * 8 - 0.03, 57), (1.0 + 0.6 * 8 + 0.05, 56)]
    rows += [(1.0 + 0.6 * q, 48 + q) for q in range(9, 14)]
    follower = Follower(arrangement)
    said: list[Finding] = []
    for n in strokes(rows):
        said += follower.hear(n)
    said += follower.finish()
    of_note = [f for f in said if f.played == 8]
    assert [f.final for f in of_note] == [False] * (len(of_note) - 1) + [True]
    assert len({f.what for f in of_note}) > 1
    assert of_note[-1].what == "extra"
    assert [f.score for f in said if f.what == "missing"] == []


def test_findings_come_in_the_order_of_the_notes() -> None:
    arrangement = two_hands()
    follower = Follower(arrangement)
    for n in play(arrangement, range(20)):
        said = [f.played for f in follower.hear(n) if f.played is not None and not f.final]
        assert said[0] == n.index
        assert said[1:] == sorted(said[1:])


def test_a_long_take_is_followed_though_the_far_past_is_let_go() -> None:
    arrangement = two_hands(30)
    follower = Follower(arrangement)
    notes = play(arrangement)
    for n in notes:
        follower.hear(n)
    count, node = 0, follower._tracker.best.node
    while node is not None:
        count, node = count + 1, node.prev
    assert len(notes) > 300
    assert 24 < count <= 49
    assert follower.place.place_q == float(arrangement.notes[-1].onset_q)


@pytest.mark.parametrize("hands", ["left", "right"])
def test_told_hands_alone_are_looked_for(hands: str) -> None:
    arrangement = two_hands()
    follower = Follower(arrangement, hands=hands)
    other = [k for k, n in enumerate(arrangement.notes) if n.hand != hands][:20]
    said = [f for n in play(arrangement, other) for f in follower.hear(n)]
    assert not [f for f in said if f.score is not None and arrangement.notes[f.score].hand != hands]


def test_a_note_alone_is_a_place() -> None:
    arrangement = scale()
    follower = Follower(arrangement)
    (found,) = follower.hear(PlayedNote(0, 48, 64, 1.0))
    assert (found.what, found.score) == ("right", 0)
    assert follower.place.place_q == 0.0
