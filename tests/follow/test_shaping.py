"""How loudness tells like places apart, worked by hand."""

from __future__ import annotations

import math

import pytest

from engine.follow.path import EXTRA, RIGHT, Node, Path
from engine.follow.shaping import Shaping
from engine.performance import PlayedNote


def path_at(note: int, played: int, landing: int = 0, *, young: int = 0, what: int = RIGHT) -> Path:
    path = Path(0.0, Node(None, played, what, note, 0.0, 0.0, played * 0.3, True))
    path.front, path.landing, path.young = 0, landing, young
    return path


def struck(index: int, velocity: int) -> PlayedNote:
    return PlayedNote(index, 60, velocity, index * 0.3)


def learnt(rounds: int = 4, away: int = 0) -> Shaping:
    """Twelve notes played again and again, each `away` louder every time; surely at their place."""
    shaping = Shaping(48)
    chain: Node | None = None
    index = 0
    for turn in range(rounds):
        for k in range(12):
            chain = Node(chain, index, RIGHT, k, 0.0, 0.0, index * 0.3)
            path = Path(0.0, chain)
            shaping.hear(struck(index, 30 + 5 * k + away * turn), [path])
            index += 1
    for _ in range(24):
        chain = Node(chain, index, EXTRA, -1, 0.0, 0.0, index * 0.3)
        shaping.hear(struck(index, 64), [Path(0.0, chain)])
        index += 1
    return shaping


def told(shaping: Shaping, velocity: int, places: tuple[int, int]) -> tuple[float, float]:
    """What a note of some loudness costs at one of two places."""
    paths = [path_at(k, 900, n + 1, young=5) for n, k in enumerate(places)]
    shaping.weigh(paths, struck(900, velocity))
    return paths[0].shaped, paths[1].shaped


def test_a_player_who_repeats_to_the_step_is_known_by_it() -> None:
    """Three repetitions in four all alike: the share is above a pianist's quarter, and tells."""
    here, there = told(learnt(), 30, (0, 6))
    assert here == 0.0
    assert there > 1.0
    here, there = told(learnt(), 60, (0, 6))
    assert here > 1.0
    assert there == 0.0
    # Within one step is alike, two steps are not.
    assert told(learnt(), 31, (0, 6))[0] == 0.0
    assert told(learnt(), 33, (0, 6)) == (0.0, 0.0)


def test_what_a_share_tells() -> None:
    """From 0.3 of 4 guessed before any: the log of hits over a quarter, of misses over the rest."""
    shaping = learnt(rounds=3)
    compared, same = 4.0, 1.2
    for _ in range(24):
        same, compared = (same + 1.0) * 0.98, (compared + 1.0) * 0.98
    share = same / compared
    expected = math.log(share / 0.25) - math.log((1.0 - share) / 0.75)
    assert told(shaping, 30, (0, 6))[1] == pytest.approx(expected)


def test_a_pianist_is_not() -> None:
    """Whose notes come back three steps louder each time."""
    assert told(learnt(away=3), 30, (0, 6)) == (0.0, 0.0)


def test_nothing_is_told_where_nothing_is_known() -> None:
    shaping = learnt()
    # Neither place was ever played; only one place is asked for; a note that is not right.
    assert told(shaping, 30, (20, 30)) == (0.0, 0.0)
    alone = path_at(0, 901, 1, young=5)
    shaping.weigh([alone], struck(901, 90))
    assert alone.shaped == 0.0
    wrong = path_at(0, 902, 1, young=5, what=EXTRA)
    shaping.weigh([wrong, path_at(6, 902, 2, young=5)], struck(902, 60))
    assert (wrong.shaped, wrong.young) == (0.0, 5)


def test_a_place_not_played_yet_tells_neither_way() -> None:
    here, there = told(learnt(), 30, (0, 20))
    assert (here, there > 0.5) == (0.0, True)
    known, unknown = told(learnt(), 90, (0, 20))
    assert (known > 0.5, unknown) == (True, 0.0)


def test_only_young_paths_are_weighed_and_hasty_ones_pay() -> None:
    shaping = learnt()
    old, young = path_at(6, 903, 1), path_at(0, 903, 2, young=2)
    young.hasty = 0.4
    shaping.weigh([old, young], struck(903, 60))
    assert (old.shaped, old.logp, old.young) == (0.0, 0.0, 0)
    assert young.young == 1
    assert young.logp == pytest.approx(-0.4 - young.shaped)
    assert young.shaped > 1.0


def test_a_landing_is_weighed_for_all_its_notes() -> None:
    shaping = learnt()
    node: Node | None = Node(None, 899, RIGHT, 0, 0.0, 0.0, 0.0)
    for i, k in enumerate((6, 7, 8)):
        node = Node(node, 900 + i, RIGHT, k, -1.0 * i, 0.0, i * 0.3, i == 0)
    landed = Path(-5.0, node)
    landed.landing, landed.young, landed.hasty = 8, 24, 0.4
    other: Node | None = Node(None, 899, RIGHT, 0, 0.0, 0.0, 0.0)
    for i, k in enumerate((0, 1, 2)):
        other = Node(other, 900 + i, RIGHT, k, -1.0 * i, 0.0, i * 0.3, i == 0)
    beside = Path(-5.0, other)
    beside.landing, beside.young, beside.hasty = 9, 24, 0.4
    notes = [struck(900 + i, 30 + 5 * k) for i, k in enumerate((0, 1, 2))]
    shaping.weigh_landed([landed, beside], notes)
    assert beside.shaped == 0.0
    assert beside.logp == pytest.approx(-5.0 - 3 * 0.4)
    one = landed.shaped / 3
    assert one > 1.0
    assert landed.logp == pytest.approx(-5.0 - 3 * 0.4 - 3 * one)
    assert (landed.young, beside.young) == (21, 21)
    # Each step carries what was charged before it.
    assert node is not None
    assert node.prev is not None
    assert node.prev.prev is not None
    assert node.logp == pytest.approx(-2.0 - 2 * one)
    assert node.prev.logp == pytest.approx(-1.0 - one)
    assert node.prev.prev.logp == 0.0


def test_a_keyboard_without_touch_tells_nothing() -> None:
    shaping = Shaping(24)
    chain: Node | None = None
    for index in range(96):
        chain = Node(chain, index, RIGHT, index % 12, 0.0, 0.0, index * 0.3)
        shaping.hear(struck(index, 64), [Path(0.0, chain)])
    assert told(shaping, 64, (0, 20)) == (0.0, 0.0)


def doubtful(lead: float) -> Shaping:
    """Two paths say two places of every note, one of them so much likelier."""
    shaping = Shaping(48)
    one: Node | None = None
    two: Node | None = None
    for index in range(96):
        one = Node(one, index, RIGHT, index % 12, 0.0, 0.0, index * 0.3)
        two = Node(two, index, RIGHT, 24 + index % 12, 0.0, 0.0, index * 0.3)
        first, second = Path(0.0, one), Path(-lead, two)
        first.landing, second.landing = 1, 2
        shaping.hear(struck(index, 30 + 5 * (index % 12)), [first, second])
    return shaping


def test_what_may_have_been_elsewhere_is_not_learnt() -> None:
    assert told(doubtful(2.9), 30, (0, 6)) == (0.0, 0.0)
    assert told(doubtful(3.1), 30, (0, 6))[1] > 0.5
