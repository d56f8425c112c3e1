"""When a note left out is told, and when it is not."""

from __future__ import annotations

import pytest

from engine.follow.missing import MissingNotes
from engine.follow.scoremap import ScoreMap, map_score
from tests.follow.pages import note, page


def both() -> ScoreMap:
    """Right hand on every quarter, left hand on every half of it."""
    rows = [note(q, 70 + q) for q in range(16)]
    rows += [note(q + 0.5, 40 + q, hand="left") for q in range(16)]
    return map_score(page(rows))


def take(
    missing: MissingNotes, groups: list[int], m: ScoreMap, fresh: bool = False
) -> list[tuple[int, list[int]]]:
    """(group taken, groups then told as missing) where anything was."""
    out = []
    for i, g in enumerate(groups):
        told = missing.take(m.members[g][0], fresh and i == 0)
        if told:
            out.append((g, [m.group[k] for k in told]))
    return out


def test_it_is_told_once_the_player_is_a_quarter_and_a_half_further() -> None:
    m = both()
    missing = MissingNotes(m, False)
    assert take(missing, [0, 1, 2, 3, 5, 6, 7, 8, 9], m) == [(8, [4])]
    assert missing.close() == []


def test_a_note_that_came_late_is_not_missing() -> None:
    m = both()
    missing = MissingNotes(m, False)
    assert take(missing, [0, 1, 2, 3, 5, 6, 4, 7, 8, 9], m) == []
    assert missing.close() == []


def test_at_the_end_all_up_to_the_furthest_is_told_and_nothing_after() -> None:
    m = both()
    missing = MissingNotes(m, False)
    assert take(missing, [4, 5, 7], m) == []
    assert [m.group[k] for k in missing.close()] == [6]
    assert missing.close() == []


def test_the_rest_of_a_first_chord_is_missing_at_the_end() -> None:
    m = map_score(page([note(0, 60), note(0, 64), note(1, 66)]))
    missing = MissingNotes(m, False)
    assert missing.take(0, False) == []
    assert missing.close() == [1]


def test_a_jump_ends_what_was_played_before() -> None:
    m = both()
    missing = MissingNotes(m, False)
    assert take(missing, [4, 5, 7], m) == []
    assert take(missing, [20, 21], m, fresh=True) == [(20, [6])]
    # What lies between was not played; going back plays it again.
    assert take(missing, [4, 6], m, fresh=True) == []
    assert [m.group[k] for k in missing.close()] == [5]


def test_a_hand_that_does_not_play_is_soon_not_missed() -> None:
    """Belief in a hand begins at 1 and loses 0.6 for each note left out: one is told, then none."""
    m = both()
    missing = MissingNotes(m, True)
    told = [*take(missing, list(range(0, 24, 2)), m), (-1, [m.group[k] for k in missing.close()])]
    assert [g for _, gs in told for g in gs] == [1]
    told_by_hand = MissingNotes(m, False)
    told = take(told_by_hand, list(range(0, 12, 2)), m)
    told.append((-1, [m.group[k] for k in told_by_hand.close()]))
    assert [g for _, gs in told for g in gs] == [1, 3, 5, 7, 9]


def test_a_hand_that_comes_in_again_is_missed_again() -> None:
    m = both()
    missing = MissingNotes(m, True)
    # Ten left out: belief is at the bottom (-3). Three struck: 1.5 each, at 1.5 again.
    take(missing, list(range(0, 20, 2)), m)
    take(missing, [20, 21, 22, 23, 24, 25], m)
    told = [*take(missing, [26, 28, 29, 30, 31], m), (-1, [m.group[k] for k in missing.close()])]
    assert [g for _, gs in told for g in gs] == [27]


def test_belief_grows_to_three_and_no_further() -> None:
    m = both()
    missing = MissingNotes(m, True)
    take(missing, list(range(9)), m)
    # Five times 0.6 from 3: the first four are still told.
    told = [*take(missing, list(range(10, 30, 2)), m), (-1, [m.group[k] for k in missing.close()])]
    assert [g for _, gs in told for g in gs] == [9, 11, 13, 15]


@pytest.mark.parametrize("kind", [{"optional": True}, {"grace": "before"}])
def test_small_print_and_graces_are_never_missing(kind: dict[str, object]) -> None:
    rows = [note(q, 70 + q) for q in range(12)]
    rows.append(note(5, 90, **kind))
    m = map_score(page(rows))
    missing = MissingNotes(m, False)
    for k in m.notes:
        if m.pitch[k] != 90:
            assert missing.take(k, False) == []
    assert missing.close() == []
