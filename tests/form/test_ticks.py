"""Whole ticks: exact for every time of a page, whatever its tuplets, and of bounded size."""

from __future__ import annotations

from fractions import Fraction

from hypothesis import given
from hypothesis import strategies as st

from engine.form.ticks import MOST_PER_Q, ticks_for
from tests.form.pages import page

TIMES = st.fractions(min_value=0, max_value=500, max_denominator=64)


@given(st.lists(st.tuples(TIMES, TIMES), min_size=1, max_size=6))
def test_every_time_comes_back_as_it_was(times: list[tuple[Fraction, Fraction]]) -> None:
    arrangement = page(left=[(0, 1, "C3"), (Fraction(1, 3), Fraction(2, 7), "D3")])
    written = [q for pair in times for q in pair]
    ticks = ticks_for(arrangement, written)
    notes = [q for n in arrangement.notes for q in (n.onset_q, n.duration_q)]
    for q in [*written, *notes, *(b.onset_q for b in arrangement.bars)]:
        assert ticks.quarters(ticks.of(q)) == q
    assert sorted(written) == sorted(written, key=ticks.of)


def test_as_few_ticks_as_will_do() -> None:
    arrangement = page(left=[(0, Fraction(1, 2), "C3"), (Fraction(1, 2), Fraction(1, 3), "D3")])
    assert ticks_for(arrangement).per_q == 6


def test_lengths_no_music_needs_are_rounded_and_keep_their_order() -> None:
    primes = (1009, 2003, 3001, 4001, 5003, 6007, 7001, 8009)
    arrangement = page(left=[(Fraction(k, p), 1, "C3") for k, p in enumerate(primes)])
    ticks = ticks_for(arrangement)
    assert ticks.per_q == MOST_PER_Q
    onsets = sorted(n.onset_q for n in arrangement.notes)
    assert sorted(map(ticks.of, onsets)) == list(map(ticks.of, onsets))
    assert all(abs(ticks.quarters(ticks.of(q)) - q) <= Fraction(1, MOST_PER_Q) for q in onsets)
