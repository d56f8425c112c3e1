"""A long session does not grow with what was played."""

from __future__ import annotations

import sys
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from engine.arrangement import Arrangement, Span
from engine.follow import Follower
from engine.performance import PlayedNote, Pulse
from engine.read import read_arrangement
from practice.drill import Drill
from practice.listen import spare_memory
from practice.listen.happenings import PassEnded, TakeEnded
from practice.listen.judge import judge_pass
from practice.listen.outcome import Outcome
from practice.listen.recalled import (
    LEAST_WHOLE,
    MEASURED,
    WHOLE_NOTES,
    count_whole,
    recall,
    without_lists,
)
from practice.listen.session import Session
from practice.player import CHARACTERS, perform
from practice.snapshot import PassRecord
from tests.measure.by_hand import measured
from tests.measure.known_playing import Known, play_known

SPAN = Span(2, 4)


@pytest.fixture(scope="module")
def pump(exercises) -> Arrangement:
    return read_arrangement(exercises / "brine-pump.musicxml")


def record(number: int, notes: int) -> PassRecord:
    played = tuple(PlayedNote(k, 60, 64, float(k), k + 0.5) for k in range(notes))
    return PassRecord(
        number, number, Span(0, 1), "both", Pulse("free"), 0.0, 4.0, played, (), (), (), (),
        object(), True, "", 60.0, "",
    )  # fmt: skip


def test_the_newest_passes_are_held_whole_within_bounds():
    assert count_whole([]) == 0
    assert count_whole([10] * 30) == 30
    assert count_whole([WHOLE_NOTES // 10] * 30) == 10
    assert count_whole([WHOLE_NOTES * 2] * 30) == LEAST_WHOLE


def test_old_records_keep_their_number_and_lose_their_notes_then_their_measures():
    records: tuple[PassRecord, ...] = ()
    for number in range(1, 101):
        records = recall(records, record(number, 1000))
    assert [r.number for r in records] == list(range(1, 101))
    held = [bool(r.notes) for r in records]
    assert held == [False] * (100 - WHOLE_NOTES // 1000) + [True] * (WHOLE_NOTES // 1000)
    assert [r.measures is not None for r in records] == [False] * (100 - MEASURED) + [
        True
    ] * MEASURED


def test_an_older_pass_keeps_what_it_came_to_and_not_what_is_told_bar_by_bar():
    known = play_known(Known(bars=8), 1)
    measures = measured(known.arrangement, known.notes, known.findings)
    short = without_lists(measures)
    assert measures.evenness.places
    assert short.evenness.places == ()
    assert short.notes.right_share == measures.notes.right_share
    assert short.evenness.sd_ms == measures.evenness.sd_ms
    assert short.evenness.fingering == measures.evenness.fingering
    records = (replace(record(1, WHOLE_NOTES), measures=measures),)
    for number in range(2, 9):
        records = recall(records, record(number, WHOLE_NOTES))
    assert records[0].measures == short
    assert without_lists(None) is None


def test_short_passes_are_held_whole_beyond_those_measured():
    records: tuple[PassRecord, ...] = ()
    for number in range(1, 101):
        records = recall(records, record(number, 10))
    assert all(r.notes and r.measures for r in records)


def played(pump: Arrangement, keeps_all: bool) -> list[TakeEnded | PassEnded]:
    session = Session(pump, Drill(SPAN), Follower, keeps_all)
    events = perform(pump, CHARACTERS["demo"], np.random.default_rng(5), span=SPAN, start_s=1.0)
    told = [h for event in events for h in session.hear(event)]
    told += session.end(events[-1].time_s + 10.0)
    return [h for h in told if isinstance(h, TakeEnded | PassEnded)]


def test_a_take_that_is_not_asked_for_afterwards_holds_nothing_and_passes_are_the_same(
    pump: Arrangement,
):
    kept, lean = played(pump, True), played(pump, False)
    assert [h for h in kept if isinstance(h, PassEnded)] == [
        h for h in lean if isinstance(h, PassEnded)
    ]
    (whole,), (bare,) = ([h for h in told if isinstance(h, TakeEnded)] for told in (kept, lean))
    assert whole.notes
    assert whole.live
    assert (bare.notes, bare.pedals, bare.live) == ((), (), ())


def test_an_outcome_that_is_not_asked_for_afterwards_still_finds_the_newest_passes(
    pump: Arrangement,
):
    ended = next(h for h in played(pump, True) if isinstance(h, PassEnded))
    (judged,) = judge_pass(ended)
    lean = Outcome(keeps_all=False)
    many = WHOLE_NOTES // len(judged.review.notes) + 5
    for number in range(1, many + 1):
        assert lean.add(replace(judged, ended=replace(ended, take=number))) == number
    assert lean.takes == list(range(1, many + 1))
    assert lean.find(1) is None
    assert lean.find(many + 1) is None
    newest = lean.find(many)
    assert newest is not None
    assert newest.ended.take == many


@pytest.mark.parametrize("platform", ["linux", "darwin", "win32"])
def test_spare_memory_is_given_back_where_the_system_takes_it(
    platform: str, monkeypatch: pytest.MonkeyPatch
):
    if platform == sys.platform:
        spare_memory.keep_pieces_few()
        spare_memory.give_back()
    asked: list[tuple[str, ...]] = []
    library = SimpleNamespace(
        malloc_trim=lambda *values: asked.append(("malloc_trim", *values)),
        mallopt=lambda *values: asked.append(("mallopt", *values)),
    )
    monkeypatch.setattr(spare_memory.ctypes, "CDLL", lambda _: library)
    monkeypatch.setattr(spare_memory.sys, "platform", platform)
    spare_memory.keep_pieces_few()
    spare_memory.give_back()
    # M_MMAP_THRESHOLD is -3 and M_ARENA_MAX -8 in glibc's malloc.h.
    told = [("mallopt", -3, 32768), ("mallopt", -8, 2), ("malloc_trim", 0)]
    assert asked == (told if platform == "linux" else [])
    monkeypatch.setattr(spare_memory.ctypes, "CDLL", lambda _: object())
    spare_memory.give_back()
