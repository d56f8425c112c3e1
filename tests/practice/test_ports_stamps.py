"""Stamps: the driver's deltas anchored to the callbacks, and what each may be off by."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from practice.ports.stamps import PARTED_MESSAGES, StampClock


def hear(true_s, late_s, deltas=None, grain_s=0.0):
    """Stamps of messages struck at `true_s` whose callbacks ran `late_s` after; with doubts."""
    clock = StampClock(grain_s)
    deltas = np.diff(true_s, prepend=true_s[0]) if deltas is None else deltas
    told = [clock.stamp(t + late, d) for t, late, d in zip(true_s, late_s, deltas, strict=True)]
    stamps, doubts = np.array(told).T
    return stamps, doubts


def test_late_callbacks_do_not_move_the_stamps():
    rng = np.random.default_rng(1)
    true_s = 100.0 + np.cumsum(rng.uniform(0.02, 0.3, 400))
    late_s = rng.exponential(0.004, 400)
    stamps, doubts = hear(true_s, late_s)
    after_some = slice(40, None)
    assert np.ptp((stamps - true_s)[after_some]) < 0.1 * np.ptp(late_s)
    assert (stamps <= true_s + late_s + 1e-12).all()
    assert doubts[-1] < doubts[0]


def test_one_stall_of_the_interpreter_leaves_the_next_notes_where_they_were():
    true_s = 5.0 + 0.05 * np.arange(60)
    late_s = np.where((true_s > 6.0) & (true_s < 6.08), 6.08 - true_s, 0.001)
    stamps, _ = hear(true_s, late_s)
    assert np.abs(stamps - true_s).max() == pytest.approx(0.001)


def test_a_long_stall_is_covered_by_the_doubt():
    true_s = 5.0 + 0.05 * np.arange(60)
    late_s = np.where((true_s > 6.0) & (true_s < 6.4), 6.4 - true_s, 0.0)
    stamps, doubts = hear(true_s, late_s)
    assert (np.abs(stamps - true_s) <= doubts + 1e-9).all()


def test_a_driver_that_leaves_time_out_is_seen_through_after_a_few_messages():
    true_s = 5.0 + 0.25 * np.arange(40)
    deltas = np.diff(true_s, prepend=true_s[0])
    deltas[20] = 0.01  # a message that was not handed over took the rest of this delta with it
    stamps, doubts = hear(true_s, np.full(40, 0.001), deltas)
    off = np.abs(stamps - true_s)
    assert off[:20].max() <= 0.001 + 1e-9
    assert off[20 + PARTED_MESSAGES :].max() <= 0.001 + 1e-9
    assert (off <= doubts + 0.001).all()


def test_a_delta_told_twice_never_puts_a_note_after_its_callback():
    true_s = 5.0 + 0.25 * np.arange(20)
    deltas = np.diff(true_s, prepend=true_s[0])
    true_s = np.insert(true_s, 10, true_s[10])
    deltas = np.insert(deltas, 10, deltas[10])  # as python-rtmidi 1.5.8 does on macOS in a packet
    stamps, _ = hear(true_s, np.full(21, 0.002), deltas)
    assert np.abs(stamps - true_s).max() <= 0.002 + 1e-9


def test_a_slow_drift_between_driver_and_clock_is_followed():
    true_s = np.arange(0.0, 600.0, 0.5)
    deltas = np.diff(true_s, prepend=0.0) * (1 - 100e-6)
    stamps, _ = hear(true_s, np.zeros(len(true_s)), deltas)
    assert np.abs(stamps - true_s).max() < 0.001


def test_the_step_of_the_driver_is_part_of_the_doubt():
    _, fine = hear(np.arange(30.0), np.zeros(30), grain_s=0.0005)
    _, coarse = hear(np.arange(30.0), np.zeros(30), grain_s=0.0053)
    assert coarse[-1] - fine[-1] == pytest.approx((0.0053 - 0.0005) / 2)


@given(
    st.lists(st.tuples(st.floats(0, 5), st.floats(-1, 5, allow_nan=False)), min_size=1, max_size=60)
)
def test_whatever_the_driver_says_stamps_stay_before_their_callbacks(steps):
    clock, now_s = StampClock(), 0.0
    for step_s, delta_s in steps:
        now_s += step_s
        stamp_s, doubt_s = clock.stamp(now_s, delta_s)
        assert stamp_s <= now_s + 1e-9
        assert 0 <= doubt_s < 70.0
