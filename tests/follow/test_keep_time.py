"""How a path follows the player's tempo, worked by hand."""

from __future__ import annotations

import pytest

from engine.follow.path import Path, take_note
from engine.follow.scoremap import map_score
from tests.follow.pages import note, page
from tests.follow.test_costs import at, scale


def test_the_tempo_is_followed() -> None:
    m = scale()
    path = at(m, 4)
    assert path.s_per_q == pytest.approx(0.5)
    take_note(path, 5, 5, 2.6, m)
    # A fifth slower on one quarter: three tenths of the way there; the moment is pulled 25 ms.
    assert path.s_per_q == pytest.approx(0.5 + 0.3 * 0.1)
    assert (path.at_q, path.at_s) == (5.0, pytest.approx(2.575))
    assert (path.before_q, path.before_s) == (4.0, pytest.approx(2.0))
    assert path.usual == pytest.approx(0.5 + 0.02 * 0.03)
    # Twice as long and 0.3 s more says nothing of the tempo: the usual one is taken up again.
    path = at(m, 4)
    path.usual = 0.47
    take_note(path, 5, 5, 3.2, m)
    assert (path.s_per_q, path.steps, path.at_s) == (0.47, 1, 3.2)
    # The rest of a chord pulls the moment a little, unless it comes much later.
    pair = map_score(page([note(q, p) for q in range(8) for p in (60 + q, 80 + q)], qpm=120.0))
    path = at(pair, 3)
    before_s = path.at_s
    path.used.pop(pair.members[3][1])
    take_note(path, pair.members[3][1], 9, before_s + 0.1, pair)
    assert path.at_s == pytest.approx(before_s + 0.03)
    take_note(path, pair.members[3][0], 9, before_s + 0.4, pair)
    assert path.at_s == pytest.approx(before_s + 0.03)


def test_while_nobody_knows_the_tempo_it_is_learnt_quickly() -> None:
    m = scale()
    path = Path(0.0, None)
    path.front = path.since = 0
    take_note(path, 0, 0, 0.0, m)
    take_note(path, 1, 1, 0.8, m)
    assert path.s_per_q == pytest.approx(0.5 + 0.3 / 1.5)
    take_note(path, 2, 2, 1.6, m)
    assert path.s_per_q == pytest.approx(0.7 + 0.1 / 2.5, abs=0.02)
    # No pace is believed that is more than twice, or less than half, the one known.
    path = Path(0.0, None)
    path.front = path.since = 0
    take_note(path, 0, 0, 0.0, m)
    take_note(path, 1, 1, 5.0, m)
    assert path.s_per_q == pytest.approx(0.5 + 0.5 / 1.5)
