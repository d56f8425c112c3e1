"""Another drill chosen at the keyboard: the old one's last word must not reach the new one."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from engine.arrangement import Arrangement, Hands, Span
from engine.drill import DrillSheet, Ladder
from engine.follow import Follower
from engine.performance import PlayedNote, Pulse
from engine.read import read_arrangement
from practice.drill import Drill
from practice.drills.coach import Coach
from practice.drills.coaching import CHOSEN, LEFT, NONE_RUNS, SCORE_CHANGED, Coaching
from practice.listen.happenings import PassEnded, TakeBegan
from practice.listen.session import Session
from practice.player import CHARACTERS, perform
from practice.snapshot import Command, PassRecord

SPAN, OTHER = Span(2, 3), Span(6, 7)
SHEET = DrillSheet(ladder=Ladder(good_to_rise=1))


@pytest.fixture(scope="module")
def pump(exercises: Path) -> Arrangement:
    return read_arrangement(exercises / "brine-pump.musicxml")


def record_of(span: Span, good: bool, hands: Hands = "both") -> PassRecord:
    notes = tuple(PlayedNote(k, 60, 60, 0.5 * k) for k in range(5))
    return PassRecord(
        1, 1, span, hands, Pulse("strict", 0.0, 0.0, 0.6), 0.0, 1.0, notes, (), (), (), (),
        None, good, "" if good else "off", 80.0, "2026-05-01T09:00:00+00:00",
    )  # fmt: skip


def chosen(arrangement: Arrangement, sheet: DrillSheet, *places: Span) -> Command:
    return Command(CHOSEN, extra={"sheet": sheet, "places": places, "arrangement": arrangement})


def asked(told: list[Command]) -> list[Drill]:
    return [command.extra["drill"] for command in told if command.kind == "drill"]


def test_a_late_verdict_goes_to_the_drill_it_was_played_in(pump: Arrangement) -> None:
    """Same bars, hands and tempo in both drills, so that only the number tells them apart."""
    told: list[Command] = []
    first = Coach(SHEET, pump, [SPAN])
    coaching = Coaching(first, told.append)
    assert coaching.begin(chosen(pump, SHEET, SPAN), pump) == ""
    assert [(d.number, d.rate) for d in asked(told)] == [(1, 0.6)]
    coaching.judged(0, record_of(SPAN, good=True))
    assert len(told) == 1
    assert first.drill.rate == pytest.approx(0.65)
    coaching.judged(1, record_of(SPAN, good=False))
    assert [(d.number, d.rate) for d in asked(told)] == [(1, 0.6), (1, 0.6)]
    assert [row["good"] for row in coaching.log] == [True, False]


def test_a_late_pass_that_cannot_be_judged_is_not_the_new_drill_s(pump: Arrangement) -> None:
    told: list[Command] = []
    coaching = Coaching(Coach(SHEET, pump, [SPAN]), told.append)
    coaching.begin(chosen(pump, SHEET, OTHER), pump)
    for _ in range(3):
        coaching.unjudged(0, "too few notes")
    assert len(told) == 1
    coaching.unjudged(1, "too few notes")
    assert "could not be judged" in asked(told)[-1].reason


def test_a_sitting_without_a_drill_can_begin_one(pump: Arrangement) -> None:
    told: list[Command] = []
    coaching = Coaching(None, told.append)
    assert coaching.skip() == NONE_RUNS
    assert coaching.leave() == ""
    coaching.judged(0, record_of(SPAN, good=True))
    assert told == []
    coaching.begin(chosen(pump, SHEET, SPAN, OTHER), pump)
    coaching.skip()
    assert [d.span for d in asked(told)] == [SPAN, OTHER]


def test_a_drill_that_was_left_is_said_to_be_once_and_has_no_next_task(pump: Arrangement) -> None:
    told: list[Command] = []
    coaching = Coaching(Coach(SHEET, pump, [SPAN, OTHER]), told.append)
    assert coaching.leave() == LEFT
    assert coaching.leave() == ""
    assert coaching.skip() == NONE_RUNS
    assert told == []
    coaching.begin(chosen(pump, SHEET, SPAN), pump)
    assert coaching.skip() == ""
    assert coaching.leave() == LEFT


def test_places_of_a_score_saved_since_are_not_begun(pump: Arrangement) -> None:
    told: list[Command] = []
    coaching = Coaching(None, told.append)
    assert coaching.begin(chosen(replace(pump), SHEET, SPAN), pump) == SCORE_CHANGED
    assert told == []


def word(drill: Drill, over: bool = False) -> Command:
    return Command("drill", extra={"drill": drill, "over": over})


def session_in(arrangement: Arrangement, drill: Drill) -> Session:
    session = Session(arrangement, drill, Follower)
    session.port_changed("Upright", True, 0.0)
    return session


def test_another_drill_begins_at_once_and_what_was_played_counts_for_the_old(
    pump: Arrangement,
) -> None:
    session = session_in(pump, Drill(SPAN, "left", number=1))
    events = perform(
        pump, CHARACTERS["steady"], np.random.default_rng(1), span=SPAN, hands="left", start_s=1.0
    )
    for event in events[:20]:
        session.hear(event)
    told = session.tell(word(Drill(OTHER, "right", "strict", 0.7, number=2)), events[19].time_s)
    (ended,) = [h for h in told if isinstance(h, PassEnded)]
    assert (ended.span, ended.drill_number) == (SPAN, 1)
    picture = session.picture(events[19].time_s)
    assert (picture.state, picture.drill.span, picture.drill.number) == ("waiting", OTHER, 2)
    heard = [h for h in session.hear(replace(events[0], time_s=30.0)) if isinstance(h, TakeBegan)]
    assert heard[0].drill.number == 2


def test_the_old_drill_s_word_that_was_overtaken_is_not_heard(pump: Arrangement) -> None:
    session = session_in(pump, Drill(SPAN, "left", number=1))
    session.tell(word(Drill(OTHER, "right", number=2)), 1.0)
    session.tell(word(Drill(SPAN, "left", reason="once more", number=1)), 1.1)
    session.tell(word(Drill(SPAN, "left", reason="enough", number=1), over=True), 1.2)
    picture = session.picture(1.3)
    assert (picture.drill.span, picture.drill.reason, picture.state) == (OTHER, "", "waiting")


@pytest.mark.parametrize(
    "own",
    [Command("span", span=OTHER), Command("hands", hands="both"),
     Command("pulse", pulse_kind="strict")],
)  # fmt: skip
def test_bars_hands_or_pulse_chosen_by_hand_leave_the_drill(
    pump: Arrangement, own: Command
) -> None:
    """Nobody is taken back to bars that they have just left; another drill is taken up."""
    session = session_in(pump, Drill(SPAN, "left", passes=3, reason="up", number=1))
    session.tell(own, 1.0)
    left = session.picture(1.0).drill
    assert (left.passes, left.reason) == (0, "")
    session.tell(word(Drill(SPAN, "left", reason="once more", number=1)), 2.0)
    session.tell(word(Drill(SPAN, "left", reason="enough", number=1), over=True), 2.1)
    assert session.picture(2.2).drill == left
    assert session.state == "waiting"
    session.tell(word(Drill(SPAN, "right", number=2)), 3.0)
    session.tell(word(Drill(OTHER, "right", number=2)), 3.1)
    assert session.picture(3.2).drill.span == OTHER


def test_a_drill_can_be_begun_after_one_that_is_over(pump: Arrangement) -> None:
    session = session_in(pump, Drill(SPAN, "left", passes=1))
    session.tell(word(Drill(SPAN, "left", reason="all of it stands"), over=True), 1.0)
    assert session.state == "ended"
    session.tell(word(Drill(OTHER, "left", number=1)), 2.0)
    assert session.state == "waiting"
    notes = perform(
        pump, CHARACTERS["steady"], np.random.default_rng(1), span=OTHER, hands="left", start_s=3.0
    )
    told = [h for event in notes for h in session.hear(event)] + session.tick(math.inf)
    (ended,) = [h for h in told if isinstance(h, PassEnded)]
    assert (ended.span, ended.drill_number) == (OTHER, 1)
