"""Likeness of bars and blocks that recur, against plain counting."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from engine.form.recurrence import Likeness, recurring_blocks

#: Bars of few notes out of few, so that many are alike without being equal.
BARS = st.lists(st.frozensets(st.integers(0, 6), max_size=6), min_size=1, max_size=24)


def like(a: frozenset[int], b: frozenset[int]) -> float:
    """Jaccard (1901): what two sets share, of all that they have."""
    return len(a & b) / len(a | b) if a or b else 1.0


@given(BARS)
def test_likeness_is_the_share_of_notes_in_common(bars: list[frozenset[int]]) -> None:
    likeness = Likeness(bars)
    for k, bar in enumerate(bars):
        assert likeness.to_all(k).tolist() == [like(bar, other) for other in bars]


@given(BARS, st.integers(0, 3), st.sampled_from([0.5, 0.75, 1.0]))
def test_rows_that_recur_are_those_counted(
    bars: list[frozenset[int]], first: int, enough: float
) -> None:
    counted = []
    for lag in range(2, len(bars)):
        same = [like(a, b) >= enough for a, b in zip(bars, bars[lag:], strict=False)]
        run = 0
        for i in range(first, len(same) + 1):
            if i < len(same) and same[i]:
                run += 1
                continue
            if run >= 2:
                counted.append((i - run, lag, run))
            run = 0
    assert list(recurring_blocks(bars, first, 2, enough)) == counted


def test_bars_joined_by_a_like_one_between_them_need_not_be_alike() -> None:
    a, b, c = frozenset({1, 2, 3}), frozenset({2, 3, 4}), frozenset({3, 4, 5})
    assert np.allclose(Likeness([a, b, c]).to_all(0), [1, 0.5, 0.2])
    assert list(recurring_blocks([a, a, b, b], 0, 2, 0.5)) == [(0, 2, 2)]
    assert list(recurring_blocks([a, a, c, c, b], 0, 2, 0.5)) == []
