"""Runs of like things, and the twins of pages that have very many, against plain counting."""

from __future__ import annotations

from itertools import combinations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from engine.arrangement import Arrangement
from engine.form import twins
from engine.form.alike import Alike, named
from engine.form.twins import MOST, find_twins
from tests.form.pages import each, page

KINDS = ("C4 D4 E4 G4 ", "D4 E4 F4 A4 ", "C4 A4 G4 E4 ")


def counted(things: str, i: int, j: int) -> int:
    """How long two places go on alike, one by one."""
    n = 0
    while max(i, j) + n < len(things) and things[i + n] == things[j + n]:
        n += 1
    return n


@given(st.text("ab", min_size=1, max_size=40))
def test_lengths_are_those_counted_one_by_one(things: str) -> None:
    places = np.arange(len(things) + 1)
    i, j = np.repeat(places, len(places)), np.tile(places, len(places))
    lengths = Alike(named(things)).lengths(i, j).tolist()
    assert lengths == [counted(things, a, b) for a, b in zip(i.tolist(), j.tolist(), strict=True)]


def jumbled(kinds: str) -> Arrangement:
    """A page of bars of three kinds, the second kind the first a tone higher or so."""
    return page(right=each("".join(KINDS[int(k)] for k in kinds), 1))


def longest_bars(kinds: str) -> int:
    """Bars of the longest passage that comes twice without overlapping itself."""
    fit = [
        n
        for i, j in combinations(range(len(kinds)), 2)
        if (n := counted(kinds, i, j)) <= j - i and (not i or kinds[i - 1] != kinds[j - 1])
    ]
    return max(fit, default=0)


@given(st.text("02", min_size=2, max_size=24))
def test_the_longest_twins_are_as_long_as_counted(kinds: str) -> None:
    lengths = [int(t.length_q) // 4 for t in find_twins(jumbled(kinds), ()) if not t.transposed]
    assert max(lengths, default=0) == longest_bars(kinds)


def test_of_very_many_twins_the_longest_are_kept(monkeypatch) -> None:
    kinds = "".join(map(str, np.random.default_rng(4).integers(0, 3, 200)))
    whole = find_twins(jumbled(kinds), ())
    assert len(whole) == MOST
    assert max(int(t.length_q) // 4 for t in whole) == longest_bars(kinds)
    monkeypatch.setattr(twins, "BATCH", 50)
    monkeypatch.setattr(twins, "LOOKED_AT", 400)
    assert find_twins(jumbled(kinds), ()) == whole
