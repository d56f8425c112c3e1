"""A keyboard calibrated from hand-made events, and a take reviewed with what was found."""

from __future__ import annotations

import argparse
import io
import json
import threading
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from engine.arrangement import Arrangement, whole_span
from engine.measure.instrument import Instrument, calibrate, profile_of, read_profile
from engine.performance import KeyEvent, Pulse, pair_notes
from engine.read import read_arrangement
from engine.review import PassReview, review_take
from practice.cli import main
from practice.clock import ManualClock
from practice.commands.ports import check_touch
from practice.drill import Drill
from practice.environment import Environment, find_places
from practice.listen.happenings import PassEnded
from practice.listen.judge import Judge, Judged, JudgeFailed
from practice.listen.kept_before import read_history
from practice.listen.sitting import Setting, Sitting
from practice.player import CHARACTERS, perform
from practice.ports.instrument_profiles import (
    ProfileError,
    find_profile,
    keep_profile,
    read_profiles,
)
from practice.ports.ports import Callback, PortChange
from practice.store.importing import judge_kept
from practice.store.keeper import TakeKeeper
from practice.store.kept import TakeStart
from practice.store.store import Store

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


NOON = datetime(2026, 5, 1, 12, 0, tzinfo=UTC)
SCORE = "salt-pans-night-shift.musicxml"


def decibels(measures: dict) -> float | None:
    return measures["balance"]["line_over_figure_db"]["value"]


@pytest.fixture(scope="module")
def pans(exercises: Path) -> Arrangement:
    return read_arrangement(exercises / SCORE)


@pytest.fixture(scope="module")
def playing(pans: Arrangement) -> list[KeyEvent]:
    return perform(pans, CHARACTERS["demo"], np.random.default_rng(1))


def test_a_sitting_judges_by_the_calibrated_keyboard_and_keeps_it_with_the_take(
    pans: Arrangement, playing: list[KeyEvent], instrument: Instrument, exercises: Path,
    tmp_path: Path,
) -> None:  # fmt: skip
    places = find_places(str(tmp_path), {})
    keep_profile(places.instruments, "Stage Piano 20:0", instrument)
    clock = ManualClock()
    setting = Setting(pans, str(exercises / SCORE), Drill(whole_span(pans)), clock, lambda: NOON)
    keeper = TakeKeeper(places.store, lambda: NOON)
    sitting = Sitting(setting, keeper, profiles=read_profiles(places.instruments))
    sitting.port_changed(PortChange("Stage Piano 28:0", True, 0.0))
    sitting.start()
    for event in playing:
        clock.move_to(event.time_s)
        sitting.hand_on(event)
    sitting.stop()
    with Store(places.store) as store:
        start, detail = store.take(1).start, store.detail(1, 1)
    assert (start.instrument, start.profile) == ("Stage Piano", instrument)
    assert decibels(dict(detail.measures)) is not None
    assert "calibrated" in detail.measures["octaves"]["slope_source"]
    assert sitting.snapshot().passes[0].instrument == "Stage Piano"
    # Calibrated anew since: the take is judged by what it was played on.
    keep_profile(places.instruments, "Stage Piano", Instrument("Stage Piano", db_per_velocity=0.5))
    told = review_json(exercises / SCORE, "1", tmp_path)
    assert told["instrument"]["split_ms_per_velocity"]["value"] == pytest.approx(0.8, abs=0.01)
    told = told["measures"]
    assert decibels(told) == pytest.approx(decibels(dict(detail.measures)), abs=0.02)


def review_json(score: Path, take: str, data: Path) -> dict:
    said = io.StringIO()
    env = Environment(stdout=said, stderr=io.StringIO(), variables={})
    assert main(["review", str(score), take, "--json", "-", "--data", str(data)], env) == 0
    return json.loads(said.getvalue())["passes"][0]


def keep_take(
    store: Store, pans: Arrangement, playing: list[KeyEvent], name: str,
    profile: Instrument | None,
) -> int:  # fmt: skip
    number = store.begin_take(
        TakeStart(pans.content_hash, pans.title, "", name, "played", NOON, whole_span(pans), None,
                  "free", 1.0, profile)
    )  # fmt: skip
    store.append(number, playing, NOON)
    store.end_take(number, NOON)
    return number


def test_kept_takes_are_judged_again_by_what_they_were_played_on(
    pans: Arrangement, playing: list[KeyEvent], instrument: Instrument, tmp_path: Path
) -> None:
    with Store(tmp_path / "takes.db") as store:
        told = []
        for profile in (instrument, None):
            number = keep_take(store, pans, playing, "Stage Piano", profile)
            assert store.take(number).start.profile == profile
            judge_kept(store, pans, store.take(number))
            told.append(decibels(dict(store.detail(number, 1).measures)))
        assert told[0] is not None
        assert told[1] is None
        # Two takes on one keyboard as calibrated share one row of it.
        keep_take(store, pans, playing[:40], "Stage Piano", instrument)
        assert store.query("SELECT count(*) FROM profiles") == [(1,)]


def test_what_is_usual_is_told_for_each_instrument(
    pans: Arrangement, playing: list[KeyEvent], tmp_path: Path
) -> None:
    with Store(tmp_path / "takes.db") as store:
        for name in ("Stage Piano", "Stage Piano", "Upright"):
            number = keep_take(store, pans, playing, name, None)
            judge_kept(store, pans, store.take(number))
    history = read_history(tmp_path / "takes.db", pans)
    assert {name: len(passes) for name, passes in history.items()} == {
        "Stage Piano": 2, "Upright": 1,
    }  # fmt: skip

    def usual(name: str) -> float | None:
        heard = pair_notes(playing)
        ended = PassEnded(pans, 1, 1, 0, heard.notes, heard.pedals, whole_span(pans), None, Pulse())
        told: list[Judged | JudgeFailed] = []
        judge = Judge(told.append, {"Upright": history["Upright"] * 9})
        judge.submit(ended, name)
        judge.stop()
        assert isinstance(told[0], Judged)
        return told[0].facts.usual_ms

    assert usual("Upright") == pytest.approx(history["Upright"][0][1], abs=0.1)
    assert usual("Stage Piano") is None


def test_a_take_of_an_uncalibrated_keyboard_is_shown_by_what_was_found_since(
    pans: Arrangement, playing: list[KeyEvent], instrument: Instrument, exercises: Path,
    tmp_path: Path,
) -> None:  # fmt: skip
    places = find_places(str(tmp_path), {})
    with Store(places.store) as store:
        keep_take(store, pans, playing, "Stage Piano", None)
    out = tmp_path / "take.json"
    words = ["export", "1", str(out), "--score", str(exercises / SCORE), "--data", str(tmp_path)]
    env = Environment(stdout=io.StringIO(), stderr=io.StringIO(), variables={})

    def exported() -> float | None:
        assert main(words, env) == 0
        return decibels(json.loads(out.read_text(encoding="utf-8"))["passes"][0]["measures"])

    assert exported() is None
    keep_profile(places.instruments, "Stage Piano 24:0", instrument)
    assert exported() is not None
    assert decibels(review_json(exercises / SCORE, "1", tmp_path)["measures"]) == exported()
