"""A keyboard calibrated from hand-made events, and a take reviewed with what was found."""

from __future__ import annotations

import argparse
import io
import threading
from pathlib import Path

import numpy as np
import pytest

from engine.measure.instrument import Instrument, calibrate, profile_of, read_profile
from engine.performance import KeyEvent, pair_notes
from engine.read import read_arrangement
from engine.review import PassReview, review_take
from practice.clock import ManualClock
from practice.commands.ports import check_touch
from practice.environment import Environment, find_places
from practice.player import CHARACTERS, perform
from practice.ports.instrument_profiles import ProfileError, find_profile, keep_profile
from practice.ports.ports import Callback

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


class PlayedDriver(ManualClock):
    """A port on which the events are played as soon as somebody waits, and its clock."""

    windows = False

    def __init__(self, events: list[KeyEvent]) -> None:
        super().__init__()
        self._left = sorted(events, key=lambda e: e.time_s)
        self._callback: Callback | None = None

    def inputs(self) -> list[str]:
        return ["Stage Piano 20:0"]

    def grain_s(self, name: str) -> float:
        return 0.001

    def open_input(self, name: str, callback: Callback) -> PlayedDriver:
        self._callback = callback
        return self

    def close(self) -> None:
        self._callback = None

    def wait(self, event: threading.Event, timeout_s: float) -> bool:
        end_s, before_s = self.now_s() + timeout_s, self.now_s()
        while self._left and self._left[0].time_s <= end_s:
            one = self._left.pop(0)
            self.move_to(one.time_s)
            assert self._callback is not None
            self._callback((one.data, one.time_s - before_s), None)
            before_s = one.time_s
        self.move_to(end_s)
        return False


def check(events: list[KeyEvent], data: Path) -> str:
    driver, said = PlayedDriver(events), io.StringIO()
    env = Environment(stdout=said, variables={}, clock=driver)
    check_touch(driver, "Stage Piano 20:0", argparse.Namespace(data=str(data)), env)
    return said.getvalue()


def test_the_check_says_and_keeps_what_was_played(tmp_path: Path) -> None:
    said = check(octaves_and_pedal(), tmp_path)
    assert "softest was 50, your loudest 65" in said
    assert "lift from 41 and are clear at 77" in said
    found = find_profile(find_places(str(tmp_path), {}).instruments, "stage piano 28:0")
    assert found is not None
    assert found.touch_range == (50, 65)


def test_silence_keeps_nothing(tmp_path: Path) -> None:
    assert "No key was heard" in check([], tmp_path)
    assert not list(tmp_path.iterdir())


def test_a_damaged_file_is_left_as_it_is(tmp_path: Path, instrument: Instrument) -> None:
    path = tmp_path / "instruments.json"
    path.write_text("{", encoding="utf-8")
    assert find_profile(path, "Stage Piano") is None
    with pytest.raises(ProfileError):
        keep_profile(path, "Stage Piano", instrument)
    assert path.read_text(encoding="utf-8") == "{"
