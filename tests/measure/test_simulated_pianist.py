"""The simulated pianist, who knows the page and nothing of measuring, is measured true."""

from __future__ import annotations

import numpy as np
import pytest

from engine.arrangement import whole_span
from engine.findings import Finding
from engine.measure import measure
from engine.performance import Pulse, pair_notes
from engine.read.score_file import read_arrangement
from practice.player import Character, Pedalling, perform_with_truth

SEEDS = 20
PLAYER = Character(
    timekeeper_sd_ms=6.0, finger_sd_ms=5.0, level_sd=4.0, right_over=14.0, top_over=5.0,
    lead_ms=14.0, split_ms=4.0, spread_sd_ms=5.0,
    pedalling=Pedalling(release_ms=50.0, press_ms=200.0, sd_ms=20.0),
)  # fmt: skip


def findings_of(truth, missing) -> list[Finding]:
    said = [
        Finding(
            t.played, t.score if t.what == "right" else None, t.what,
            t.stands_for if t.what == "wrong" else None, final=True,
        )
        for t in truth
    ]  # fmt: skip
    return [*said, *(Finding(None, i, "missing", final=True) for i in missing)]


@pytest.fixture(scope="module")
def passes(exercises):
    arrangement = read_arrangement(exercises / "salt-pans-night-shift.musicxml")
    found = []
    for seed in range(SEEDS):
        played = perform_with_truth(arrangement, PLAYER, np.random.default_rng(seed))
        recording = pair_notes(list(played.events))
        said = findings_of(played.truth, played.missing)
        found.append(
            measure(
                arrangement, recording.notes, recording.pedals, said,
                span=whole_span(arrangement), hands="both", pulse=Pulse(),
            )
        )  # fmt: skip
    return found


def covered(estimates, truth: float) -> float:
    told = [e for e in estimates if e.value is not None]
    assert len(told) > SEEDS / 2
    return sum(e.low <= truth <= e.high for e in told) / len(told)


def test_timekeeper_and_finger(passes):
    assert covered([p.evenness.timekeeper_sd_ms for p in passes], 6.0) >= 0.75
    assert covered([p.evenness.finger_sd_ms for p in passes], 5.0) >= 0.75


def test_split_and_level_of_the_octaves(passes):
    # 4 ms from the lower to the upper, which is also 5 steps louder.
    assert covered([p.octaves.split_ms for p in passes], 4.0) >= 0.75
    assert covered([p.octaves.level_velocity for p in passes], 5.0) >= 0.75


def test_pedal_changes(passes):
    for p in passes:
        assert p.pedal.marked
        assert p.pedal.leaks == ()
        assert len(p.pedal.changes) >= 5
    assert covered([p.pedal.lift_ms for p in passes], 50.0) >= 0.75
    assert covered([p.pedal.catch_ms for p in passes], 200.0) >= 0.75


def test_no_slip_and_no_hesitation_is_invented(passes):
    for p in passes:
        assert p.notes.right_share.value == 1.0
        assert p.timing.hesitations == ()
        assert p.form.complete
