"""Like passages told apart afterwards, on labels written by hand."""

from __future__ import annotations

import pytest

from engine.follow.hindsight import find_doubts, mend_twins
from engine.follow.path import EXTRA, ORNAMENT, RIGHT, WRONG
from engine.follow.refine import Label
from engine.follow.scoremap import ScoreMap, map_score
from tests.follow.pages import note, page

PHRASE = [60, 64, 67, 71, 72, 69, 65, 62]


def phrases(odd: tuple[int, ...] = ()) -> ScoreMap:
    """A at 0, B at 8, A again at 16 (other keys where `odd`), C at 24; one note a quarter."""
    rows = [note(q, p) for q, p in enumerate(PHRASE)]
    rows += [note(q + 8, 50 + q) for q in range(8)]
    rows += [note(q + 16, p + (20 if q in odd else 0)) for q, p in enumerate(PHRASE)]
    rows += [note(q + 24, 89 - q) for q in range(8)]
    return map_score(page(rows))


def said(m: ScoreMap, *parts: range, pause_s: float = 0.5) -> list[Label]:
    """What was followed, part by part, each but the first after a jump; half a second a note."""
    out: list[Label] = []
    now_s = 1.0
    for part in parts:
        now_s += pause_s - 0.5 if out else 0.0
        for i, k in enumerate(part):
            out.append(Label(len(out), m.pitch[k], now_s, RIGHT, k, i == 0))
            now_s += 0.5
    return out


def notes(labels: list[Label]) -> list[int]:
    return [x.note for x in labels]


def jumps(labels: list[Label]) -> list[int]:
    return [i for i, x in enumerate(labels) if x.fresh]


def test_a_detour_through_the_like_place_is_put_back() -> None:
    m = phrases()
    labels = said(m, range(8, 16), range(0, 8), range(24, 32))
    mend_twins(labels, m)
    assert notes(labels) == list(range(8, 32))
    assert jumps(labels) == [0]


def test_a_wrong_beginning_is_put_right() -> None:
    m = phrases()
    labels = said(m, range(0, 8), range(24, 32))
    mend_twins(labels, m)
    assert notes(labels) == list(range(16, 32))
    assert jumps(labels) == [0]


@pytest.mark.parametrize(("pause_s", "is_mended"), [(0.59, True), (0.61, False), (3.0, False)])
def test_not_where_the_player_paused(pause_s: float, is_mended: bool) -> None:
    m = phrases()
    labels = said(m, range(0, 8), range(24, 32), pause_s=pause_s)
    mend_twins(labels, m)
    assert (notes(labels)[0] == 16) == is_mended


@pytest.mark.parametrize(
    ("last", "to", "is_mended"),
    [(8, 24, True), (8, 26, True), (8, 27, False), (6, 24, True), (5, 24, False)],
)
def test_joints_may_be_three_quarters_apart(last: int, to: int, is_mended: bool) -> None:
    m = phrases()
    labels = said(m, range(0, last), range(to, 32))
    mend_twins(labels, m)
    assert (notes(labels)[0] == 16) == is_mended


@pytest.mark.parametrize(
    ("before", "middle", "moved", "jumped"),
    [
        (range(8, 15), range(0, 8), 16, [0]),
        (range(8, 14), range(0, 8), 16, [0]),
        (range(8, 13), range(0, 8), 16, [0, 5]),
        (range(8, 11), range(0, 8), 16, [0, 3]),
        (range(8, 16), range(0, 6), 16, [0]),
        (range(8, 16), range(0, 5), 0, [0, 8, 13]),
        (range(8, 16), range(1, 8), 16, [0]),
    ],
)
def test_both_joints_of_a_detour(
    before: range, middle: range, moved: int, jumped: list[int]
) -> None:
    """With more than three quarters left out before it, only its end was put right."""
    m = phrases()
    labels = said(m, before, middle, range(24, 32))
    mend_twins(labels, m)
    there = notes(labels)[len(before) : len(before) + len(middle)]
    assert there == [k + moved for k in middle]
    assert jumps(labels) == jumped


def test_a_detour_is_put_back_wherever_it_is() -> None:
    rows = [note(q, 30 + q) for q in range(12)]
    rows += [note(q + 12, p) for q, p in enumerate(PHRASE)]
    rows += [note(q + 20, 50 + q) for q in range(8)]
    rows += [note(q + 28, p) for q, p in enumerate(PHRASE)]
    rows += [note(q + 36, 89 - q) for q in range(8)]
    m = map_score(page(rows))
    labels = said(m, range(20, 28), range(12, 20), range(36, 44))
    mend_twins(labels, m)
    assert notes(labels) == list(range(20, 44))
    assert jumps(labels) == [0]


def test_the_like_place_must_have_nearly_all() -> None:
    m = phrases(odd=(5,))
    labels = said(m, range(0, 8), range(24, 32))
    mend_twins(labels, m)
    # Seven of eight: moved, and the eighth is no note there.
    assert notes(labels)[:8] == [16, 17, 18, 19, 20, -1, 22, 23]
    assert labels[5].what == EXTRA
    m = phrases(odd=(4, 5))
    labels = said(m, range(0, 8), range(24, 32))
    mend_twins(labels, m)
    assert notes(labels)[:8] == list(range(8))
    assert jumps(labels) == [0, 8]


def test_wrong_notes_and_signs_go_along() -> None:
    m = phrases(odd=(5,))
    labels = said(m, range(0, 8), range(24, 32))
    labels[3].what, labels[3].pitch = WRONG, 70
    labels[5].what, labels[5].pitch = ORNAMENT, 70
    mend_twins(labels, m)
    assert (labels[3].what, labels[3].note) == (WRONG, 19)
    assert (labels[5].what, labels[5].note) == (EXTRA, -1)
    assert labels[3].pitch == 70


def test_a_place_before_is_not_where_the_player_went_on() -> None:
    m = phrases()
    labels = said(m, range(16, 24), range(8, 16))
    mend_twins(labels, m)
    assert notes(labels) == [*range(0, 16)]
    assert jumps(labels) == [0]


def test_leaving_out_a_repeat_is_no_mistake() -> None:
    rows = [note(q + 8 * t, p, id=f"n{q}") for t in (0, 1) for q, p in enumerate(PHRASE)]
    rows += [note(16 + q, 90 - q, id=f"m{q}") for q in range(8)]
    arrangement = page(rows, written=[0, 1, 0, 1, 2, 3])
    m = map_score(arrangement)
    labels = said(m, range(0, 8), range(16, 24))
    mend_twins(labels, m)
    assert notes(labels) == [*range(0, 8), *range(16, 24)]
    assert jumps(labels) == [0, 8]
    plain = map_score(page(rows, written=list(range(6))))
    labels = said(plain, range(0, 8), range(16, 24))
    mend_twins(labels, plain)
    assert notes(labels) == list(range(8, 24))


def test_doubt_is_kept_where_every_note_is_elsewhere_too() -> None:
    m = phrases()
    doubts = find_doubts(said(m, range(0, 8)), m)
    assert doubts == {i: (16 + i,) for i in range(8)}
    assert find_doubts(said(m, range(0, 9)), m) == {}
    assert find_doubts(said(phrases(odd=(5,)), range(0, 8)), phrases(odd=(5,))) == {}
    # Each going-through by itself; wrong notes do not count.
    labels = said(m, range(18, 22), range(24, 30), range(2, 5))
    labels[1].what = WRONG
    doubts = find_doubts(labels, m)
    assert doubts == {0: (2,), 2: (4,), 3: (5,), 10: (18,), 11: (19,), 12: (20,)}


def test_of_many_like_places_four_are_told() -> None:
    m = map_score(page([note(q, 60 + q % 4) for q in range(32)]))
    doubts = find_doubts(said(m, range(8, 12)), m)
    assert doubts[1] == (9, 13, 17, 21) or doubts[1] == (1, 5, 13, 17)
    assert all(len(d) == 4 for d in doubts.values())
