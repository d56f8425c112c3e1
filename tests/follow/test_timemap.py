"""When each moment was due: against numpy's own least squares, and worked by hand."""

from __future__ import annotations

import numpy as np
import pytest

from engine.follow.timemap import TimeMap, _line, _weighted_median


def told(clock: TimeMap, q: float) -> tuple[list[float], float, float]:
    """(before, after, both), how far the next known moment is, the pace: of one moment."""
    due, near_s, pace = clock.due(np.array([q]))
    return due[:, 0].tolist(), float(near_s[0]), float(pace[0])


def even(count: int = 10) -> tuple[np.ndarray, np.ndarray]:
    q = np.arange(count, dtype=float)
    return q, 3.0 + 0.5 * q


@pytest.mark.parametrize("q", [4.0, 4.5, 3.0, 6.25])
def test_on_an_even_way_all_three_tell_the_same(q: float) -> None:
    due, near_s, pace = told(TimeMap(*even()), q)
    assert due == pytest.approx([3.0 + 0.5 * q] * 3)
    assert pace == pytest.approx(0.5)
    # The nearest other moment is a whole quarter away from a known one.
    assert near_s == pytest.approx(0.5 * (1.0 if q == int(q) else min(q % 1, 1 - q % 1)))


def test_one_side_alone_tells_nothing_with_fewer_than_two_moments() -> None:
    clock = TimeMap(*even())
    assert np.isnan(told(clock, 0.0)[0][0])
    assert np.isnan(told(clock, 1.0)[0][0])
    assert told(clock, 2.0)[0][0] == pytest.approx(4.0)
    assert told(clock, 7.0)[0][1] == pytest.approx(6.5)
    assert np.isnan(told(clock, 8.0)[0][1])
    assert told(clock, 9.5)[0][2] == pytest.approx(7.75)
    assert np.isnan(told(clock, 11.0)[0][1])
    assert told(clock, -1.0)[0][2] == pytest.approx(2.5)


def test_a_moment_does_not_vouch_for_itself() -> None:
    q, s = even()
    s[5] += 2.0
    assert told(TimeMap(q, s), 5.0)[0] == pytest.approx([5.5] * 3)


def test_nor_does_the_last_one() -> None:
    q, s = even()
    s[9] += 2.0
    due, near_s, _ = told(TimeMap(q, s), 9.0)
    assert (due[0], due[2]) == pytest.approx((7.5, 7.5))
    assert near_s == pytest.approx(0.5)


def test_a_halt_is_seen_from_each_side_alone() -> None:
    q, s = even()
    s[5:] += 2.0
    before, after, _ = told(TimeMap(q, s), 5.0)[0]
    assert (before, after) == pytest.approx((5.5, 7.5))


def test_a_chord_was_heard_at_the_middle_of_its_strokes() -> None:
    clock = TimeMap(np.array([1.0, 0.0, 1.0, 1.0]), np.array([5.3, 4.0, 5.0, 5.1]))
    assert clock.q.tolist() == [0.0, 1.0]
    assert clock.s.tolist() == [4.0, 5.1]
    assert len(clock) == 2


def test_lines_are_those_of_weighted_least_squares() -> None:
    rng = np.random.default_rng(4)
    for _ in range(20):
        x = np.sort(rng.uniform(-3.0, 3.0, 6))
        y = 1.0 + 0.6 * x + rng.normal(0.0, 0.1, 6)
        w = rng.uniform(0.1, 1.0, 6)
        due, pace = _line(x[None], y[None], w[None])
        slope, at_zero = np.polyfit(x, y, 1, w=np.sqrt(w))
        assert (due[0], pace[0]) == pytest.approx((at_zero, slope))


def test_time_never_runs_backwards_nor_stands_still() -> None:
    x, w = np.array([[-1.0, 0.0, 1.0]]), np.ones((1, 3))
    assert _line(x, np.array([[2.0, 1.0, 0.0]]), w)[1][0] == 0.05
    assert _line(x, np.array([[0.0, 40.0, 80.0]]), w)[1][0] == 20.0
    due, pace = _line(np.ones((1, 3)), np.array([[4.0, 5.0, 6.0]]), w)
    assert (due[0], pace[0]) == (4.5, 0.5)


@pytest.mark.parametrize(
    ("weights", "middle"),
    [
        ([1.0, 1.0, 1.0], 0.2),
        ([1.0, 1.0, 3.0], 0.4),
        ([3.0, 1.0, 1.0], 0.1),
        ([1.0, 1.0, 2.0], 0.2),
    ],
)
def test_the_weighted_middle(weights: list[float], middle: float) -> None:
    error, weight = np.array([[0.4, 0.1, 0.2]]), np.array([[weights[2], *weights[:2]]])
    assert _weighted_median(error, weight)[0] == middle


def due_in_plain_loops(q: np.ndarray, s: np.ndarray, at: float) -> float:
    """The same by both sides: four moments each, near ones and those on the line count more."""
    behind = [i for i in range(len(q)) if q[i] < at - 1e-6][-4:]
    ahead = [i for i in range(len(q)) if q[i] > at + 1e-6][:4]
    x = np.array([q[i] - at for i in behind + ahead])
    y = np.array([s[i] for i in behind + ahead])
    near = max(float(np.min(np.abs(x))), 0.05)
    w = 1.0 / (1.0 + (np.abs(x) / near) ** 1.5)
    slope, at_zero = np.polyfit(x, y, 1, w=np.sqrt(w))
    error = np.abs(y - at_zero - slope * x)
    order = np.argsort(error)
    summed = np.cumsum(w[order])
    middle = error[order][np.searchsorted(summed, 0.5 * summed[-1])]
    w = w / (1.0 + (error / (3.0 * max(middle, 0.01))) ** 2)
    return float(np.polyfit(x, y, 1, w=np.sqrt(w))[1])


@pytest.mark.parametrize("spread_s", [0.002, 0.02, 0.2])
def test_by_both_sides_in_plain_loops(spread_s: float) -> None:
    rng = np.random.default_rng(9)
    q = np.cumsum(rng.choice([0.02, 0.25, 0.5, 1.0], 30))
    s = 0.6 * q + rng.normal(0.0, spread_s, 30)
    s[12] += 0.4
    clock = TimeMap(q, s)
    for at in [*q[2:-2].tolist(), *((q[3:-3] + q[4:-2]) / 2).tolist()]:
        assert told(clock, at)[0][2] == pytest.approx(due_in_plain_loops(q, s, at), abs=1e-9)
