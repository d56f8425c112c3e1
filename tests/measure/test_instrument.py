"""Calibration by playing."""

from __future__ import annotations

import json

import numpy as np
import pytest

from engine.findings import Estimate, no_estimate
from engine.measure.instrument import (
    Instrument,
    calibrate,
    profile_of,
    read_profile,
    slope_for,
    split_slope,
    without_loudness,
)
from engine.performance import DAMPER, PedalMove, PlayedNote


def octaves(slope: float, count: int = 24, scatter: float = 0.0, seed: int = 0):
    """Octaves a second apart whose upper note is louder by 0 to 25 and earlier by slope a step."""
    draw = np.random.default_rng(seed)
    notes = []
    for k in range(count):
        louder = 5 * (k % 6)
        late = (slope * louder + draw.normal(0, scatter)) / 1000.0
        notes.append(PlayedNote(2 * k, 72, 50 + louder, float(k), k + 0.5, 0.0005))
        notes.append(PlayedNote(2 * k + 1, 60, 50, k + late, k + 0.5, 0.0005))
    return notes


def test_the_slope_is_found():
    found = split_slope(octaves(0.8))
    assert found.value == pytest.approx(0.8)
    assert found.n == 24


def test_the_slope_is_covered():
    hits = sum(
        e.low <= 0.6 <= e.high for e in (split_slope(octaves(0.6, 30, 6.0, s)) for s in range(200))
    )
    assert 0.91 <= hits / 200 <= 0.985


def test_a_profile_from_octaves_a_crescendo_and_a_slow_pedal():
    crescendo = [PlayedNote(100 + k, 64, 8 + 7 * k, 40.0 + k, 40.5 + k, 0.001) for k in range(17)]
    # The foot goes down slowly, rests where the sound begins to ring on (34), and where it rings
    # freely (81), then all the way.
    travel = [0, 12, 25, 34, 40, 55, 70, 81, 95, 110, 127]
    moves, at = [], 60.0
    for v in travel:
        moves.append(PedalMove(at, DAMPER, v))
        at += 0.8 if v in (34, 81) else 0.05
    found = calibrate([*octaves(0.3), *crescendo], moves, "stage piano")
    assert found.name == "stage piano"
    assert found.touch_range == (8, 120)
    assert found.split_ms_per_velocity.value == pytest.approx(0.3)
    assert (found.bite, found.clear) == (34, 81)
    assert found.pedal_steps == len(travel)
    assert found.stamp_uncertainty_ms == pytest.approx(1.0)


def test_a_profile_is_kept_and_read_again():
    found = calibrate(octaves(0.4, scatter=2.0), [], "upright")
    assert read_profile(json.loads(json.dumps(profile_of(found)))) == found
    assert read_profile({"name": "old one", "colour": "black"}) == Instrument("old one")


def test_what_is_taken_of_an_unknown_keyboard():
    usual = Instrument()
    assert usual.touch_range == (1, 127)
    assert calibrate([], []).touch_range == (1, 127)
    assert (usual.pedal_steps, usual.stamp_uncertainty_ms) == (128, 0.0)
    assert "not calibrated" in usual.split_ms_per_velocity.reason


def test_a_switch_pedal_has_two_steps_and_no_bite():
    moves = [PedalMove(1.0, DAMPER, 127), PedalMove(2.0, DAMPER, 0), PedalMove(3.0, DAMPER, 127)]
    found = calibrate([], moves)
    assert found.pedal_steps == 2
    assert (found.bite, found.clear) == (Instrument().bite, Instrument().clear)


def test_what_was_not_played_has_a_reason():
    assert "too few octaves" in calibrate([], []).split_ms_per_velocity.reason
    alike = [PlayedNote(i, 60 + 12 * (i % 2), 64, i // 2 + 0.003 * (i % 2), 9.0) for i in range(40)]
    assert "voiced alike" in split_slope(alike).reason


def test_which_slope_is_used():
    sharp = Estimate(0.5, 0.3, 0.7, 60, "ms")
    blunt = Estimate(0.5, -0.2, 1.2, 9, "ms")
    known = Instrument("x", split_ms_per_velocity=Estimate(0.9, 0.8, 1.0, 60, "ms"))
    assert slope_for(known, sharp, 0.77).ms_per_velocity == 0.9
    assert slope_for(None, sharp, 0.77).ms_per_velocity == 0.5
    assert slope_for(Instrument(), sharp, 0.77).half == pytest.approx(0.2)
    assert slope_for(None, blunt, 0.77).ms_per_velocity == 0.77
    assert slope_for(None, Estimate(0.5, 0.0, 0.8, 60, "ms"), 0.77).ms_per_velocity == 0.5
    assert slope_for(None, Estimate(0.5, 0.0, 0.82, 60, "ms"), 0.77).ms_per_velocity == 0.77
    assert "published" in slope_for(None, no_estimate("none"), 0.77).source


def test_the_slopes_own_doubt_widens_what_is_left():
    values, louder = np.full(30, 12.0), np.full(30, 10.0)
    slope = slope_for(None, Estimate(0.5, 0.3, 0.7, 60, "ms"), 0.77)
    left = without_loudness(values, louder, slope, "octaves")
    assert (left.value, left.low, left.high) == pytest.approx((7.0, 5.0, 9.0))
