"""A run-through's place among those before it; a pass that cannot be judged ends no drill."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from engine.arrangement import Arrangement, Span, whole_span
from engine.drill import DrillSheet
from engine.performance import Pulse
from engine.read import read_arrangement
from practice.clock import ManualClock
from practice.drills.coach import ENOUGH_UNJUDGED, Coach
from practice.drills.run_throughs import (
    RunThrough,
    find_run_through,
    read_run_throughs,
    say_place,
)
from practice.listen import judge
from practice.listen.sitting import Setting, Sitting
from practice.player import CHARACTERS, perform
from practice.store.kept import KeptPass, PassDetail, TakeStart
from practice.store.store import Store

NOW = datetime(2026, 5, 1, 9, tzinfo=UTC)


@pytest.fixture(scope="module")
def pump(exercises: Path) -> Arrangement:
    return read_arrangement(exercises / "brine-pump.musicxml")


def kept(arrangement: Arrangement, take: int, right: int, wrong: int = 0) -> KeptPass:
    span = whole_span(arrangement)
    end_q = float(arrangement.table["onset_q"].max())
    return KeptPass(
        take, 1, NOW, NOW.date().isoformat(), 0, 99, span, 0.0, end_q, "both",
        Pulse("free"), 80.0, True, right, wrong, 0, 0, None, None, False, "",
    )  # fmt: skip


def test_the_place_is_by_the_share_of_right_notes_then_by_fewer_added() -> None:
    first = RunThrough(1, "2026-04-01", "both", 90, 100, 0)
    second = RunThrough(2, "2026-04-02", "both", 95, 100, 3)
    assert say_place(first, []) == "The first run-through: 90 of 100 right"
    one = RunThrough(3, "2026-04-03", "both", 95, 100, 5)
    assert say_place(one, [first, second]) == (
        "Run-through: place 2 of 3 by notes: 95 of 100 right, 5 added; the best before:"
        " take 2, 2026-04-02, 95 of 100 right, 3 added"
    )
    assert "place 1 of 3" in say_place(replace(one, extra=0), [first, second])


def test_one_hand_is_not_compared_with_two() -> None:
    right_alone = RunThrough(1, "2026-04-01", "right", 60, 60, 0)
    both = RunThrough(2, "2026-04-02", "both", 90, 100, 0)
    assert say_place(both, [right_alone]).startswith("The first")


def test_only_the_whole_form_to_its_end_is_a_run_through(pump: Arrangement) -> None:
    one = kept(pump, 1, 90, 10)
    assert find_run_through(pump, one) == RunThrough(1, "2026-05-01", "both", 90, 100, 0)
    assert find_run_through(pump, replace(one, completed=False)) is None
    assert find_run_through(pump, replace(one, span=Span(0, 3))) is None


def test_they_are_read_from_the_store_and_the_demo_is_no_player(
    pump: Arrangement, tmp_path: Path
) -> None:
    assert read_run_throughs(tmp_path / "takes.db", pump, demo=False) == []
    with Store(tmp_path / "takes.db") as store:
        for source, right in (("played", 80), ("demo", 100)):
            start = TakeStart(
                pump.content_hash, pump.title, "", "Upright", source, NOW, whole_span(pump), None,
                "free", 1.0,
            )  # fmt: skip
            take = store.begin_take(start)
            store.add_pass(kept(pump, take, right, 100 - right), PassDetail())
    found = {demo: read_run_throughs(tmp_path / "takes.db", pump, demo) for demo in (False, True)}
    assert [[one.right for one in found[demo]] for demo in (False, True)] == [[80], [100]]


def sit(arrangement: Arrangement, sheet: DrillSheet, earlier: list[RunThrough]) -> Sitting:
    coach = Coach(sheet, arrangement, [whole_span(arrangement)])
    clock = ManualClock()
    setting = Setting(arrangement, "", coach.drill, clock, lambda: NOW)
    return Sitting(setting, None, coach=coach, run_throughs=earlier)


def play_through(one: Sitting, arrangement: Arrangement) -> None:
    clock = one.clock
    assert isinstance(clock, ManualClock)
    one.start()
    events = perform(arrangement, CHARACTERS["steady"], np.random.default_rng(1), start_s=1.0)
    for event in events:
        clock.move_to(event.time_s)
        one.hand_on(event)
    one.finish()


RUN = DrillSheet(pulse="free", passes=1, run_through=True)


def test_a_run_through_says_its_place(pump: Arrangement) -> None:
    one = sit(pump, RUN, [RunThrough(7, "2026-04-01", "both", 50, 100, 0)])
    play_through(one, pump)
    (record,) = one.snapshot().passes
    assert record.place.startswith("Run-through: place 1 of 2")
    assert "take 7" in record.place
    assert record.place in one.snapshot().state_text


def test_the_coach_is_told_of_a_pass_that_could_not_be_judged(
    pump: Arrangement, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(*_args: object) -> list[judge.Judged]:
        raise ArithmeticError("a planted fault")

    monkeypatch.setattr(judge, "judge_pass", fail)
    one = sit(pump, RUN, [])
    play_through(one, pump)
    snapshot = one.snapshot()
    assert "could not be judged" in snapshot.message
    assert "planted fault" in snapshot.reason
    assert snapshot.state == "ended"


def test_what_cannot_be_judged_is_asked_for_again_but_not_for_ever(pump: Arrangement) -> None:
    coach = Coach(DrillSheet(), pump, [Span(2, 3)])
    before = coach.drill
    again = coach.unjudged("a fault").extra
    assert again["drill"] == replace(before, reason=again["drill"].reason)
    assert "once more" in again["drill"].reason
    assert not again["over"]
    for _ in range(ENOUGH_UNJUDGED - 1):
        last = coach.unjudged("a fault").extra
    assert last["over"]
    assert coach.log[0] == {"pass": None, "unjudged": "a fault"}


def test_a_pass_with_nothing_of_the_page_in_it_is_told() -> None:
    told: list[object] = []
    one = judge.Judge(told.append)
    ended = judge.PassEnded.__new__(judge.PassEnded)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(judge, "judge_pass", lambda *_args: [])
        one.submit(ended)
        one.stop()
    assert [type(t) for t in told] == [judge.JudgeFailed]
