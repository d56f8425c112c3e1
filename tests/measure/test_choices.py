"""The choices that the measures rest on, as they are documented: whoever changes one says so here.

Times in ms or seconds as their names say. "ours" is a choice of this project, made from the
counted percentiles; what is from a standard, a paper or memory says so.
"""

from __future__ import annotations

import math

import pytest

from engine.measure import (
    balance,
    cells,
    change,
    even_fit,
    form,
    harmony_times,
    instrument,
    interval,
    lead,
    octaves,
    pedal,
    pedal_state,
    ringing,
    smear,
    steps,
    tempo,
    timekeeper,
    timing,
    yardsticks,
)

CHOICES = {
    "MIDI 1.0 Detailed Specification 4.2.1: 64 to 127 is on": [
        (pedal_state, "ON", 64),
    ],
    "half-pedal values fill a third of the time, so events have hysteresis; ours": [
        (pedal_state, "SURELY_OFF", 58),
        (pedal_state, "SURELY_ON", 70),
    ],
    "from the percentiles of 57,286 legato changes in (n)ASAP; ours": [
        (pedal, "CLEAN_LIFT_MS", (-80.0, 110.0)),
        (pedal, "CLEAN_CATCH_MS", (70.0, 320.0)),
        (pedal, "LATE_LIFT_MS", 150.0),
        (pedal, "GAP_UP_MS", 500.0),
        (pedal, "BEFORE_S", 0.5),
        (pedal, "AFTER_S", 1.0),
        (pedal, "BLUR_AFTER_S", 0.35),
        (harmony_times, "WITH_PEDAL_BARS", 8),
        (harmony_times, "EDGE_Q", 0.5),
    ],
    "when line notes are a smear; ours": [
        (smear, "SMEAR_DB", 6.0),
        (smear, "SMEAR_NOTES", 2),
        (smear, "STILL_THERE_DB", 20.0),
        (smear, "READ_AFTER_S", 0.15),
        (smear, "READ_BEFORE", 0.6),
    ],
    "orders of magnitude after Fletcher & Rossing, ch. 12, from memory": [
        (
            ringing,
            "RING_T60_S",
            ((21, 25.0), (36, 20.0), (60, 11.0), (84, 4.0), (96, 1.5), (108, 0.7)),
        ),
        (ringing, "DAMPED_T60_S", ((21, 0.6), (36, 0.4), (60, 0.25), (88, 0.15))),
        (ringing, "UNDAMPED_FROM", 90),
        (ringing, "FLOOR_DB", 60.0),
    ],
    "from the percentiles of 48,510 octaves in (n)ASAP; ours": [
        (octaves, "ROLLED_MS", 60.0),
        (octaves, "APART_MS", 200.0),
        (lead, "APART_MS", 200.0),
        (
            octaves,
            "TOGETHER",
            ((10.0, "together"), (20.0, "normal"), (30.0, "loose"), (math.inf, "heard as split")),
        ),
    ],
    "how few say nothing; ours": [
        (cells, "LEAST_CELLS", 5),
        (cells, "LEAST_NOTES", 24),
        (octaves, "LEAST_OCTAVES", 6),
        (lead, "LEAST_SHARED", 6),
        (balance, "LEAST_LINE_NOTES", 6),
        (tempo, "LEAST_MOMENTS", 6),
        (timekeeper, "LEAST_INTERVALS", 48),
        (instrument, "LEAST_OCTAVES", 12),
        (change, "LEAST_SESSIONS", 4),
        (change, "CLAIM", 0.05),
        (change, "LIKE_TEMPO", 0.1),
        (form, "BAR_PLAYED_SHARE", 0.5),
    ],
    "how tempo is followed; ours": [
        (tempo, "SIDE_MOMENTS", 8),
        (tempo, "SIDE_BEATS", 2.0),
        (tempo, "MOST_SIDE", 32),
        (tempo, "HESITATION_BEATS", 0.5),
        (tempo, "HESITATION_S", 0.25),
        (tempo, "JUMP_BEATS", 1.0),
        (tempo, "JUMP_S", 0.5),
        (tempo, "BACK_Q", 1.0),
        (tempo, "AHEAD_Q", 4.0),
        (tempo, "LOOK_ON", 5),
        (tempo, "AGREEING", 3),
        (tempo, "OUTLIER_SHARE", 0.02),
        (timing, "REST_Q", 1.0),
        (timing, "RUSHING_MS_PER_MINUTE", 60.0),
        (even_fit, "PIECE_CELLS", 1),
        (even_fit, "PIECE_NOTES", 8),
        (even_fit, "CURVE_CELLS", 48),
        (steps, "WINDOW_INTERVALS", 16),
    ],
    "seen to cover by simulation": [
        (timekeeper, "LEAST_FREEDOM", 40.0),
        (interval, "LEVEL", 0.95),
        (interval, "MOST_STRETCHES", 20),
        (interval, "SHORTEST_STRETCH", 4),
    ],
    "Lehtonen et al. 2009 and common practice, from memory": [
        (instrument, "USUAL_BITE", 30),
        (instrument, "USUAL_CLEAR", 90),
    ],
    "how a keyboard is calibrated; ours": [
        (instrument, "OCTAVE_APART_S", 0.1),
        (instrument, "SHARP_MS_PER_VELOCITY", 0.4),
    ],
    "counted in (n)ASAP": [(yardsticks, "HAMMER_SPLIT_MS_PER_VELOCITY", 0.77)],
    "Slade et al. 2022": [
        (yardsticks, "DB_PER_VELOCITY", 0.26),
    ],
}


@pytest.mark.parametrize("source", CHOICES)
def test_choices_are_as_documented(source: str) -> None:
    for module, name, value in CHOICES[source]:
        assert getattr(module, name) == value, f"{module.__name__}.{name} ({source})"
