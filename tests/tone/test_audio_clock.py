"""The sound card's clock: offset and drift read off late sightings."""

from __future__ import annotations

import numpy as np
import pytest

from practice.clock import ManualClock
from practice.sound.audio_clock import AudioClock
from practice.sound.delay_check import measure_delay

RATE_HZ, BLOCK = 44_100, 512


def run_card(clock: AudioClock, ppm: float, minutes: float, seed: int = 1) -> tuple[int, float]:
    """A card that is so much slow, seen late by a millisecond or two and now and then by thirty.

    Returns the last sample and when it was truly begun.
    """
    rng = np.random.default_rng(seed)
    blocks = int(minutes * 60 * RATE_HZ / BLOCK)
    true_s = 5.0 + np.arange(blocks) * BLOCK / RATE_HZ * (1 + ppm * 1e-6)
    late_s = rng.exponential(0.0012, blocks) + 0.03 * (rng.random(blocks) < 0.01)
    for i in range(blocks):
        clock.hear_taken(float(true_s[i] + late_s[i]), i * BLOCK)
    return (blocks - 1) * BLOCK, float(true_s[-1])


@pytest.mark.parametrize("ppm", [-300.0, 0.0, 120.0])
def test_after_ten_minutes_a_click_is_where_it_is_judged(ppm: float) -> None:
    clock = AudioClock(RATE_HZ)
    sample, true_s = run_card(clock, ppm, minutes=10)
    assert clock.drift_ppm == pytest.approx(ppm, abs=30)
    assert abs(clock.time_at(sample) - true_s) < 0.002
    ahead_s = 0.5
    assert abs(clock.sample_at(true_s + ahead_s) - sample - ahead_s * RATE_HZ) < 0.002 * RATE_HZ


def test_a_card_that_keeps_no_even_time_is_followed() -> None:
    """A virtual card: its rate sways by a thousandth every twenty seconds."""
    clock, rng = AudioClock(RATE_HZ), np.random.default_rng(2)
    at_s = np.arange(60 * RATE_HZ // BLOCK) * BLOCK / RATE_HZ
    true_s = at_s + 0.001 * 20 / (2 * np.pi) * np.sin(2 * np.pi * at_s / 20)
    off_s = []
    for i, (begun_s, late_s) in enumerate(
        zip(true_s, rng.exponential(0.0012, len(true_s)), strict=True)
    ):
        clock.hear_taken(float(begun_s + late_s), i * BLOCK)
        off_s.append(clock.time_at(i * BLOCK) - begun_s)
    assert np.max(np.abs(off_s[500:])) < 0.002


def test_without_correction_it_would_be_far_off() -> None:
    """The check above can fail: a card 300 parts in a million slow is 180 ms late by then."""
    _, true_s = run_card(AudioClock(RATE_HZ), 300.0, minutes=10)
    nominal_s = 5.0 + (int(600 * RATE_HZ / BLOCK) - 1) * BLOCK / RATE_HZ
    assert true_s - nominal_s > 0.1


def test_there_and_back() -> None:
    clock = AudioClock(RATE_HZ)
    run_card(clock, 50.0, minutes=0.2)
    assert clock.sample_at(clock.time_at(123_456)) == pytest.approx(123_456)


def test_a_card_that_ran_dry_is_followed_again() -> None:
    clock = AudioClock(RATE_HZ)
    sample, true_s = run_card(clock, 80.0, minutes=1)
    clock.restart()
    assert not clock.running
    clock.hear_taken(true_s + 0.7, sample + BLOCK)
    assert clock.time_at(sample + BLOCK) == pytest.approx(true_s + 0.7)
    assert clock.drift_ppm == pytest.approx(80.0, abs=60)


def test_the_delay_told_is_from_handing_over_to_the_sample() -> None:
    """A card that plays each stroke 512 samples after it was handed over."""

    class Card:
        gaps = 0

        def __init__(self) -> None:
            self.clock = AudioClock(RATE_HZ)
            self.clock.hear_taken(0.0, 0)
            self.marks: list[tuple[float, int]] = []

        def mark(self, now_s: float) -> None:
            self.marks.append((now_s, round(self.clock.sample_at(now_s)) + 512))

    delay = measure_delay(Card(), ManualClock())  # type: ignore[arg-type]
    assert delay.median_s == pytest.approx(512 / RATE_HZ, abs=1e-4)
    assert delay.most_s == pytest.approx(512 / RATE_HZ, abs=1e-4)
