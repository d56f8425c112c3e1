"""A keyboard calibrated from hand-made events, and a take reviewed with what was found."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from engine.measure.instrument import Instrument, calibrate, profile_of, read_profile
from engine.performance import KeyEvent, pair_notes
from engine.read import read_arrangement
from engine.review import PassReview, review_take
from practice.player import CHARACTERS, perform

#: Each step louder, the upper note of an octave comes so much earlier.
SLOPE_MS = 0.8


def octaves_and_pedal() -> list[KeyEvent]:
    """Sixteen octaves with the top 0 to 15 steps louder and earlier for it, then the pedal."""
    events = []
    for k in range(16):
        low_s, early_s = 1.0 + k, k * SLOPE_MS / 1000
        events += [
            KeyEvent(low_s - early_s, 0.0005, bytes((0x90, 72, 50 + k))),
            KeyEvent(low_s, 0.0005, bytes((0x90, 60, 50))),
            KeyEvent(low_s + 0.4, 0.0005, bytes((0x80, 60, 0))),
            KeyEvent(low_s + 0.4, 0.0005, bytes((0x80, 72, 0))),
        ]
    pedal = ((20.0, 10), (20.1, 41), (20.6, 60), (20.7, 77), (21.2, 127))
    return [*events, *(KeyEvent(s, 0.0005, bytes((0xB0, 64, v))) for s, v in pedal)]


@pytest.fixture(scope="module")
def instrument() -> Instrument:
    heard = pair_notes(octaves_and_pedal())
    return calibrate(heard.notes, heard.pedals, "made by hand")


def test_what_was_played_is_what_is_found(instrument: Instrument) -> None:
    assert instrument.touch_range == (50, 65)
    assert instrument.split_ms_per_velocity.value == pytest.approx(SLOPE_MS, abs=0.01)
    assert (instrument.bite, instrument.clear) == (41, 77)
    assert instrument.stamp_uncertainty_ms == pytest.approx(0.5)
    assert read_profile(profile_of(instrument)) == instrument


def test_a_review_uses_the_calibrated_keyboard(exercises: Path, instrument: Instrument) -> None:
    arrangement = read_arrangement(exercises / "salt-pans-night-shift.musicxml")
    recording = pair_notes(perform(arrangement, CHARACTERS["demo"], np.random.default_rng(1)))

    def first(known: Instrument | None) -> PassReview:
        return review_take(arrangement, recording, hands="both", instrument=known).passes[0]

    without, calibrated = first(None), first(instrument)
    assert without.measures.balance.line_over_figure_db.value is None
    assert calibrated.measures.balance.line_over_figure_db.value is not None
    assert calibrated.measures.octaves != without.measures.octaves
    assert calibrated.findings == without.findings
