"""What is believed and what is called unclear, at the limits."""

from __future__ import annotations

import pytest

from engine.follow.doubt import Belief, mark_unclear
from engine.follow.path import EXTRA, ORNAMENT, RIGHT, UNCLEAR
from engine.follow.refine import Label


def labels(what: list[int], fresh: tuple[int, ...] = (), gap_s: float = 0.3) -> list[Label]:
    return [
        Label(i, 60, i * gap_s, w, i if w == RIGHT else -1, i in fresh) for i, w in enumerate(what)
    ]


def unclear(rows: list[Label]) -> list[int]:
    mark_unclear(rows)
    assert all(x.note == -1 and not x.fresh for x in rows if x.what == UNCLEAR)
    return [i for i, x in enumerate(rows) if x.what == UNCLEAR]


def test_half_of_what_is_around_must_be_right() -> None:
    """Sixteen notes on either side are counted with each."""
    assert unclear(labels([RIGHT, EXTRA] * 30)) == list(range(17, 60, 2))
    assert unclear(labels([RIGHT, RIGHT, EXTRA] * 20)) == []
    assert unclear(labels([EXTRA, EXTRA, RIGHT] * 20)) == list(range(60))
    assert unclear(labels([ORNAMENT, RIGHT, EXTRA] * 20)) == []
    # After fifty right notes, fifty that are not: those with more than half of 33 behind stay.
    assert unclear(labels([RIGHT] * 50 + [EXTRA] * 50)) == list(range(50, 100))
    assert unclear(labels([EXTRA] * 20 + [RIGHT] * 60)) == list(range(20))
    assert unclear(labels([RIGHT] * 50 + [EXTRA] * 16 + [RIGHT] * 50)) == []
    assert unclear(labels([RIGHT] * 50 + [EXTRA] * 17 + [RIGHT] * 50)) == list(range(50, 67))
    assert unclear([]) == []


@pytest.mark.parametrize(
    ("gap_s", "fresh", "count"),
    [
        (0.3, (25, 28, 31, 34, 37), 21),
        (0.61, (25, 28, 31, 34, 37), 0),
        (0.3, (25, 29, 33, 37), 0),
        (0.3, (0,), 0),
    ],
)
def test_jumping_about_without_pausing_is_not_believed(
    gap_s: float, fresh: tuple[int, ...], count: int
) -> None:
    """Each such jump takes away four notes; the very first is none."""
    assert len(unclear(labels([RIGHT] * 60, fresh, gap_s))) == count


def believed(belief: Belief, good: bool, count: int, start_s: float = 0.0) -> list[bool]:
    return [belief.hear(good, False, start_s + 0.3 * i) for i in range(count)]


def test_live_belief_fades_and_comes_back() -> None:
    belief = Belief()
    assert all(believed(belief, True, 5))
    # (15/16)^n falls below 0.4 after fifteen notes.
    assert believed(belief, False, 30).index(False) == 14
    assert not belief.hear(False, False, 20.0)
    # Down to 0.15 or so; up again by a sixteenth of what is missing.
    assert 3 < believed(belief, True, 30, 21.0).index(True) < 9


def test_it_never_falls_further_than_can_be_made_good() -> None:
    belief = Belief()
    for i in range(40):
        belief.hear(False, True, 0.3 * i)
    # From half a note below nothing: 1 - 1.5 (15/16)^n is 0.4 after fifteen.
    assert believed(belief, True, 30, 12.3).index(True) == 14


def test_a_jump_without_a_pause_costs_four_notes_live() -> None:
    def after(gap_s: float, jumps: int) -> bool:
        belief, now_s = Belief(), 0.0
        for _ in range(jumps):
            now_s += gap_s
            told = belief.hear(True, True, now_s)
        return told

    # The first is no jump; each other takes the share from s to s + (1 - 4 - s) / 16.
    assert after(0.5, 3)
    assert not after(0.5, 4)
    assert after(0.7, 20)
