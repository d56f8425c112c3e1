"""A change is called one only when it is one."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import scipy.stats

from engine.findings import Estimate, no_estimate
from engine.measure.change import (
    Session,
    compare_passes,
    compare_sessions,
    cost_of_other_hand,
)
from tests.measure.test_evenness import drone, evenness


def sessions(means, spread=0.0, passes=5, seed=0, instrument="upright"):
    draw = np.random.default_rng(seed)
    return [Session(instrument, tuple(draw.normal(m, spread, passes))) for m in means]


def test_permutation_on_paper():
    # 10, 11, 12, 13 against 1, 2, 3, 4: only 2 of the 70 ways to deal eight sessions part them
    # as far.
    found = compare_sessions(sessions([10, 11, 12, 13]), sessions([1, 2, 3, 4]), "lower")
    assert found.p_value == pytest.approx(2 / 70)
    assert found.verdict == "better"
    assert found.superiority == 1.0
    assert found.difference.value == pytest.approx(-9.0)
    assert "permutation" in found.words


def test_permutation_and_welch_agree_with_scipy():
    draw = np.random.default_rng(7)
    a, b = draw.normal(10, 2, 6), draw.normal(8.5, 1, 7)
    found = compare_sessions(sessions(a), sessions(b), "lower")
    exact = scipy.stats.permutation_test(
        (b, a), lambda x, y: abs(x.mean() - y.mean()), n_resamples=np.inf, alternative="greater"
    )
    assert found.p_value == pytest.approx(exact.pvalue, abs=1e-9)
    welch = scipy.stats.ttest_ind(b, a, equal_var=False).confidence_interval(0.95)
    assert (found.difference.low, found.difference.high) == pytest.approx((welch.low, welch.high))
    u = scipy.stats.mannwhitneyu(a, b).statistic / 42
    assert found.superiority == pytest.approx(u)


def test_many_passes_of_few_sessions_prove_nothing():
    found = compare_sessions(sessions([20, 20, 20], 1, 50), sessions([10, 10, 10], 1, 50), "lower")
    assert found.verdict == "too early to say"
    assert found.p_value is None


def test_chance_is_claimed_one_time_in_twenty():
    claimed = 0
    for seed in range(300):
        draw = np.random.default_rng(seed)
        a, b = sessions(draw.normal(10, 2, 6)), sessions(draw.normal(10, 2, 6))
        claimed += compare_sessions(a, b, "lower").verdict in ("better", "worse")
    assert 0.02 <= claimed / 300 <= 0.08


def test_looking_at_twenty_things_asks_for_more():
    a, b = sessions([10, 11, 12, 13]), sessions([1, 2, 3, 4])
    assert compare_sessions(a, b, "lower", looks=20).verdict == "too early to say"


def test_no_change_needs_a_narrow_interval():
    a, b = sessions([10.0, 10.1, 9.9, 10.0, 10.05]), sessions([10.02, 10.0, 9.95, 10.1, 9.9])
    assert compare_sessions(a, b, "lower", worth=1.0).verdict == "no change"
    assert compare_sessions(a, b, "lower", worth=0.01).verdict == "too early to say"


def test_instruments_are_not_mixed():
    a, b = sessions([1, 2, 3, 4]), sessions([9, 9, 9, 9], instrument="other")
    assert compare_sessions(a, b, "lower").verdict == "not comparable"


def test_two_passes_by_their_intervals():
    worse = compare_passes(Estimate(10, 9, 11, 50, "ms"), Estimate(15, 13, 17, 50, "ms"), "lower")
    assert worse.verdict == "worse"
    assert worse.difference.value == 5
    close = compare_passes(Estimate(10, 8, 12, 50, "ms"), Estimate(11, 9, 13, 50, "ms"), "lower")
    assert close.verdict == "too early to say"
    nothing = compare_passes(no_estimate("no figure", "ms"), Estimate(1, 0, 2, 9, "ms"), "lower")
    assert nothing.verdict == "too early to say"
    assert "no figure" in nothing.words


def test_cost_of_the_other_hand():
    draw = np.random.default_rng(11).normal(0, 1, 160)
    alone = evenness(drone(cells=40), lambda i: 4 * draw[i])
    together = evenness(drone(cells=40), lambda i: 12 * draw[i])
    found = cost_of_other_hand(alone, together)
    assert found.verdict == "worse"
    assert found.difference.value == pytest.approx(8, abs=2)
    assert cost_of_other_hand(alone, evenness(drone(places=3, cells=9))).verdict == "not comparable"
    otherwise = replace(together, fingering="5 3 2 1")
    assert cost_of_other_hand(alone, otherwise).words == "the two were fingered otherwise"
    slower = cost_of_other_hand(alone, evenness(drone(cells=40), rate=0.85))
    assert (slower.verdict, slower.words) == ("not comparable", "the two were played at two tempos")
    assert cost_of_other_hand(alone, evenness(drone(cells=40), rate=0.95)).difference.value < 0


@pytest.mark.parametrize(("before", "after", "told"), [(4, 4, True), (3, 5, False), (5, 3, False)])
def test_four_sessions_on_either_side(before, after, told):
    found = compare_sessions(sessions(range(before)), sessions(range(20, 20 + after)), "lower")
    assert (found.verdict == "worse") == told
    assert (found.p_value is not None) == told
    if not told:
        assert found.words == "3 sessions on one side, 4 are needed"


def test_higher_is_better_where_it_is():
    fewer, more = sessions([1, 2, 3, 4]), sessions([10, 11, 12, 13])
    assert compare_sessions(fewer, more, "higher").verdict == "better"
    assert compare_sessions(more, fewer, "higher").verdict == "worse"
    assert compare_sessions(fewer, more, "higher").superiority == 1.0
    assert compare_sessions(fewer, more, "lower").superiority == 0.0


def test_ties_count_half():
    # Of sixteen pairs the later is lower in six and equal in four.
    found = compare_sessions(sessions([1, 2, 3, 4]), sessions([1, 2, 3, 4]), "lower")
    assert found.superiority == 0.5
    shifted = compare_sessions(sessions([1, 2, 3, 4]), sessions([2, 3, 4, 5]), "lower")
    # Later lower: 2 under 3 4, 3 under 4: three pairs; equal: three.
    assert shifted.superiority == pytest.approx((3 + 1.5) / 16)


def test_many_sessions_are_dealt_by_a_fixed_draw():
    # 10 and 10 sessions can be dealt in 184,756 ways: 20,000 of them are drawn.
    draw = np.random.default_rng(4)
    a, b = draw.normal(10, 2, 10), draw.normal(9, 2, 10)
    found = compare_sessions(sessions(a), sessions(b), "lower")
    theirs = scipy.stats.permutation_test(
        (b, a), lambda x, y: abs(x.mean() - y.mean()), n_resamples=12_000,
        alternative="greater", random_state=1,
    )  # fmt: skip
    assert found.p_value == pytest.approx(theirs.pvalue, abs=0.012)
    assert found.p_value == compare_sessions(sessions(a), sessions(b), "lower").p_value
    uneven = compare_sessions(sessions(a[:9]), sessions([*b, *b]), "lower")
    theirs = scipy.stats.permutation_test(
        (np.array([*b, *b]), a[:9]), lambda x, y: abs(x.mean() - y.mean()), n_resamples=12_000,
        alternative="greater", random_state=1,
    )  # fmt: skip
    assert uneven.p_value == pytest.approx(theirs.pvalue, abs=0.012)


@pytest.mark.parametrize(
    ("low", "high", "verdict"),
    [(-0.9, 0.9, "no change"), (-1.1, 0.5, "too early to say"), (-0.5, 1.1, "too early to say")],
)
def test_no_change_lies_inside_what_is_worth_having_on_both_sides(low, high, verdict):
    middle = (low + high) / 2
    one = Estimate(10.0, 10.0, 10.0, 30, "ms")
    other = Estimate(10.0 + middle, 10.0 + low, 10.0 + high, 30, "ms")
    found = compare_passes(one, other, "lower", worth=1.0)
    assert found.verdict == verdict
    if verdict == "no change":
        assert found.words == "no change of 1 or more"


def test_sessions_of_no_spread():
    found = compare_sessions(sessions([3, 3, 3, 3]), sessions([3, 3, 3, 3]), "lower", worth=0.5)
    assert (found.difference.low, found.difference.high) == (0.0, 0.0)
    assert found.p_value == 1.0
    assert found.verdict == "no change"


def test_a_session_counts_once_however_many_passes_it_has():
    long = [Session("upright", (4.0,) * 90), *sessions([1, 2, 3], passes=1)]
    short = [Session("upright", (4.0,)), *sessions([1, 2, 3], passes=1)]
    later = sessions([7, 8, 9, 10], passes=2)
    assert compare_sessions(long, later, "lower") == compare_sessions(short, later, "lower")
    empty = [Session("upright", ()), Session("upright", (float("nan"),))]
    assert compare_sessions([*empty, *short], later, "lower") == compare_sessions(
        short, later, "lower"
    )
