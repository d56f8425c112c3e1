"""The coach and the session: what is asked for is what comes, and what is played counts."""

from __future__ import annotations

import math
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from engine.arrangement import Arrangement, Span
from engine.drill import DrillSheet, Ladder
from engine.follow import Follower
from engine.performance import KeyEvent, NotePairer, PedalMove, PlayedNote, Pulse
from engine.read import read_arrangement
from practice.drill import Drill
from practice.drills.coach import Coach
from practice.drills.gestures import DOUBLE_S, Gestures
from practice.listen.happenings import Asked, EventHeard, PassEnded, PulseBegan, PulseEnded
from practice.listen.judge import judge_pass
from practice.listen.judged_pass import make_record
from practice.listen.session import Session
from practice.player import CHARACTERS, perform
from practice.snapshot import Command, PassRecord
from practice.sound.again import play_again
from practice.sound.sounding import Sounding

SPAN = Span(2, 3)


@pytest.fixture(scope="module")
def pump(exercises: Path) -> Arrangement:
    return read_arrangement(exercises / "brine-pump.musicxml")


def session_with(arrangement: Arrangement, drill: Drill) -> Session:
    session = Session(arrangement, drill, Follower)
    session.port_changed("Upright", True, 0.0)
    return session


def of_kind(told: list, kind: type) -> list:  # type: ignore[type-arg]
    return [h for h in told if isinstance(h, kind)]


def play(session: Session, arrangement: Arrangement, drill: Drill, start_s: float) -> list:  # type: ignore[type-arg]
    events = perform(
        arrangement, CHARACTERS["steady"], np.random.default_rng(1), span=drill.span,
        hands=drill.hands or "both", start_s=start_s, rate=drill.rate,
    )  # fmt: skip
    return [h for event in events for h in session.hear(event)]


def record_of(span: Span, rate: float, good: bool) -> PassRecord:
    notes = tuple(PlayedNote(k, 60, 60, 0.5 * k) for k in range(5))
    return PassRecord(
        1, 1, span, "both", Pulse("strict", 0.0, 0.0, rate), 0.0, 1.0, notes, (), (), (), (),
        None, good, "" if good else "off", 80.0, "2026-05-01T09:00:00+00:00",
    )  # fmt: skip


def test_each_pass_counts_at_the_tempo_it_was_played(pump: Arrangement) -> None:
    """A pass begun before the last word was heard says nothing of the tempo asked for since."""
    coach = Coach(DrillSheet(ladder=Ladder(good_to_rise=1)), pump, [SPAN])
    assert coach.drill.rate == pytest.approx(0.6)
    raised = coach.judged(record_of(SPAN, 0.6, good=True)).extra["drill"]
    assert raised.rate == pytest.approx(0.65)
    late = coach.judged(record_of(SPAN, 0.6, good=True)).extra["drill"]
    assert late.rate == pytest.approx(0.65)
    assert [row["rate"] for row in coach.log] == [0.6, 0.6]


def test_a_hand_with_nothing_to_play_is_left_out(pump: Arrangement) -> None:
    coach = Coach(DrillSheet(hands=("right", "left", "both")), pump, [Span(2, 2)])
    assert coach.drill.hands == "left"


def test_next_goes_on_to_the_next_place(pump: Arrangement) -> None:
    coach = Coach(DrillSheet(), pump, [SPAN, Span(6, 7)])
    assert coach.drill.span == SPAN
    assert coach.skip().extra["drill"].span == Span(6, 7)
    assert coach.skip().extra["drill"].span == Span(6, 7)


def test_the_session_takes_up_a_new_tempo_between_passes(pump: Arrangement) -> None:
    session = session_with(pump, Drill(SPAN, "left", "strict", 1.0))
    (pulse,) = of_kind(session.tell(Command("again"), 0.0), PulseBegan)
    new = Drill(SPAN, "left", "strict", 1.1, reason="up")
    session.tell(Command("drill", extra={"drill": new}), pulse.start_s + 0.2)
    assert session.picture(pulse.start_s + 0.2).drill.rate == 1.0
    told = play(session, pump, Drill(SPAN, "left", "strict", 1.0), pulse.start_s)
    told += [h for t in np.arange(0, 12, 0.1) for h in session.tick(pulse.start_s + 4 + t)]
    (ended, *_) = of_kind(told, PassEnded)
    assert ended.pulse.rate == 1.0
    (again, *_) = of_kind(told, PulseBegan)
    assert again.rate == 1.1
    assert session.picture(again.start_s).drill.reason == "up"


def test_a_new_tempo_during_the_count_in_is_counted_in_anew(pump: Arrangement) -> None:
    session = session_with(pump, Drill(SPAN, "left", "strict", 1.0))
    (pulse,) = of_kind(session.tell(Command("again"), 0.0), PulseBegan)
    at_s = pulse.count_in_s[0] + 0.1
    told = session.tell(Command("drill", extra={"drill": Drill(SPAN, "left", "strict", 0.8)}), at_s)
    assert [type(h) for h in told] == [PulseEnded, PulseBegan]
    again = told[-1]
    assert again.rate == 0.8
    assert again.count_in_s[0] > at_s
    told = play(session, pump, Drill(SPAN, "left", "strict", 0.8), again.start_s)
    told += [h for t in np.arange(0, 12, 0.1) for h in session.tick(again.start_s + 5 + t)]
    (ended, *_) = of_kind(told, PassEnded)
    assert ended.pulse.rate == 0.8


def test_other_bars_during_the_count_in_are_counted_in_anew(pump: Arrangement) -> None:
    session = session_with(pump, Drill(SPAN, "left", "strict", 1.0))
    (pulse,) = of_kind(session.tell(Command("again"), 0.0), PulseBegan)
    new = Drill(Span(6, 7), "left", "strict", 1.0)
    told = session.tell(Command("drill", extra={"drill": new}), pulse.count_in_s[1])
    assert [p.span for p in of_kind(told, PulseBegan)] == [Span(6, 7)]


def test_a_word_upon_the_downbeat_or_of_the_same_waits(pump: Arrangement) -> None:
    """Nobody is counted out of a bar that they are about to play, or for a reason alone."""
    session = session_with(pump, Drill(SPAN, "left", "strict", 1.0))
    (pulse,) = of_kind(session.tell(Command("again"), 0.0), PulseBegan)
    same = Drill(SPAN, "left", "strict", 1.0, reason="once more")
    assert not session.tell(Command("drill", extra={"drill": same}), pulse.count_in_s[1])
    new = Drill(SPAN, "left", "strict", 0.8)
    assert not session.tell(Command("drill", extra={"drill": new}), pulse.start_s - 0.05)
    assert session.picture(pulse.start_s).drill.rate == 1.0


def test_other_bars_are_counted_in_by_themselves(pump: Arrangement) -> None:
    session = session_with(pump, Drill(SPAN, "left", "strict", 1.0))
    (pulse,) = of_kind(session.tell(Command("again"), 0.0), PulseBegan)
    told = play(session, pump, Drill(SPAN, "left", "strict", 1.0), pulse.start_s)
    told += session.tick(pulse.start_s + 5.5)
    assert of_kind(told, PassEnded)
    new = Drill(Span(6, 7), "left", "strict", 1.0)
    told = session.tell(Command("drill", extra={"drill": new}), pulse.start_s + 5.6)
    (again,) = of_kind(told, PulseBegan)
    assert again.span == Span(6, 7)


def test_straight_on_the_next_pass_begins_where_the_last_one_ends(pump: Arrangement) -> None:
    drill = Drill(SPAN, "left", "strict", 1.0, rest_beats=0)
    session = session_with(pump, drill)
    (pulse,) = of_kind(session.tell(Command("again"), 0.0), PulseBegan)
    from_q, to_q = (float(q) for q in SPAN.quarters(pump))
    length_s = float(np.diff(pump.seconds_at([from_q, to_q]))[0])
    told: list = []  # type: ignore[type-arg]
    for k in range(3):
        told += play(session, pump, drill, pulse.start_s + k * length_s)
    end_s = pulse.start_s + 3 * length_s
    told += [h for t in np.arange(0, 20, 0.1) for h in session.tick(end_s + t)]
    starts = [p.start_s for p in of_kind(told, PulseBegan)]
    assert starts[:3] == pytest.approx([pulse.start_s + k * length_s for k in (1, 2, 3)])
    assert all(p.count_in_s == () for p in of_kind(told, PulseBegan))
    passes = of_kind(told, PassEnded)
    assert [len(p.notes) for p in passes] == [len(passes[0].notes)] * 3
    assert len(of_kind(told, PulseEnded)) == 1  # it ended because nothing more was played


def test_the_drill_is_over_when_the_coach_says_so(pump: Arrangement) -> None:
    session = session_with(pump, Drill(SPAN))
    session.tell(Command("drill", extra={"drill": Drill(SPAN, reason="stands"), "over": True}), 1.0)
    assert session.state == "ended"
    assert session.picture(1.0).drill.reason == "stands"


def press(time_s: float, kind: str) -> list[KeyEvent]:
    if kind == "soft-pedal":
        return [
            KeyEvent(time_s, 0.0, b"\xb0\x43\x7f"),
            KeyEvent(time_s + 0.1, 0.0, b"\xb0\x43\x00"),
        ]
    return [KeyEvent(time_s, 0.0, b"\x90\x15\x40"), KeyEvent(time_s + 0.1, 0.0, b"\x80\x15\x40")]


@pytest.mark.parametrize("kind", ["soft-pedal", "lowest-key"])
def test_once_is_again_and_twice_is_next(kind: str) -> None:
    gestures = Gestures(kind)  # type: ignore[arg-type]
    assert [gestures.hear(e) for e in press(1.0, kind)] == ["", ""]
    assert gestures.tick(1.0 + DOUBLE_S - 0.01) == ""
    assert gestures.tick(1.0 + DOUBLE_S + 0.01) == "again"
    assert gestures.tick(9.0) == ""
    heard = [gestures.hear(e) for at in (10.0, 10.3) for e in press(at, kind)]
    assert heard == ["", "", "next", ""]
    assert gestures.tick(20.0) == ""


@pytest.mark.parametrize("kind", ["soft-pedal", "lowest-key"])
def test_a_gesture_is_never_heard_as_a_note_or_a_pedal(pump: Arrangement, kind: str) -> None:
    session = session_with(pump, Drill(SPAN, "left", "free", gesture=kind))  # type: ignore[arg-type]
    told = [h for e in [*press(1.0, kind), *press(1.2, kind)] for h in session.hear(e)]
    assert not of_kind(told, EventHeard)
    assert [a.command.kind for a in of_kind(told, Asked)] == ["next"]


def test_off_by_default(pump: Arrangement) -> None:
    session = session_with(pump, Drill(SPAN, "left", "free"))
    told = [h for e in press(1.0, "lowest-key") for h in session.hear(e)]
    assert len(of_kind(told, EventHeard)) == 2


def test_a_strict_pass_is_armed_by_the_gesture(pump: Arrangement) -> None:
    session = session_with(pump, Drill(SPAN, "left", "strict", gesture="lowest-key"))
    told = [h for e in press(1.0, "lowest-key") for h in session.hear(e)]
    assert not of_kind(told, PulseBegan)
    assert of_kind(session.tick(2.0), PulseBegan)


def test_listening_follows_the_page_and_a_key_ends_it(pump: Arrangement) -> None:
    session = session_with(pump, Drill(SPAN))
    (asked,) = of_kind(session.tell(Command("listen"), 10.0), Asked)
    assert asked.command.span == SPAN
    start_s = asked.command.extra["start_s"]
    assert session.state == "listening"
    assert session.picture(start_s - 0.1).place_q is None
    from_q = float(SPAN.quarters(pump)[0])
    assert session.picture(start_s + 0.01).place_q == from_q
    later = session.picture(start_s + 1.0).place_q
    assert later is not None
    assert later > from_q
    told = session.hear(KeyEvent(start_s + 1.5, 0.0, b"\x90\x3c\x40"))
    assert [a.command.kind for a in of_kind(told, Asked)] == ["hush"]
    assert session.state == "playing"


def test_a_pass_is_heard_again_as_it_was_played_the_page_following(pump: Arrangement) -> None:
    session = session_with(pump, Drill(SPAN))
    events = perform(pump, CHARACTERS["steady"], np.random.default_rng(1), span=SPAN, start_s=1.0)
    told = [h for event in events for h in session.hear(event)]
    told += [h for t in np.arange(0, 8, 0.1) for h in session.tick(events[-1].time_s + t)]
    (ended, *_) = of_kind(told, PassEnded)
    (judged,) = judge_pass(ended)
    record = make_record(judged, 1, 1, datetime(2026, 5, 1, tzinfo=UTC))
    (asked,) = of_kind(session.tell(Command("listen", extra={"pass": record}), 30.0), Asked)
    start_s = asked.command.extra["start_s"]
    again = play_again(record.notes, record.pedals, start_s)
    first_s = record.notes[0].onset_s
    heard = sorted((e.time_s, e.data) for e in again if e.data[0] == 0x90)
    wanted = [
        (n.onset_s - first_s + start_s, bytes((0x90, n.pitch, n.velocity))) for n in record.notes
    ]
    assert [data for _, data in heard] == [data for _, data in sorted(wanted)]
    assert [t for t, _ in heard] == pytest.approx([t for t, _ in sorted(wanted)])
    assert session.state == "listening"
    onset_q = pump.table["onset_q"]
    by_note = {f.played: f.score for f in record.findings if f.what == "right"}
    for note in record.notes[:: len(record.notes) // 5]:
        place_q = session.picture(note.onset_s - first_s + start_s + 1e-6).place_q
        assert place_q == onset_q[by_note[note.index]]
    session.tick(start_s + 60.0)
    assert session.state == "waiting"


def test_a_pass_is_heard_again_message_for_message() -> None:
    """Release velocities and half pedal too; a keyboard that lifts by velocity 0 has none."""
    sent = [
        (1.0, (0xB0, 64, 50)), (1.1, (0x90, 60, 70)), (1.3, (0x80, 60, 9)), (1.4, (0x90, 62, 71)),
        (1.5, (0xB0, 64, 61)), (1.6, (0x90, 62, 0)), (1.7, (0xB0, 64, 0)),
    ]  # fmt: skip
    pairer = NotePairer()
    told = [one for t, data in sent for one in pairer.hear(KeyEvent(t, 0.0, bytes(data)))]
    notes = [one for one in told if isinstance(one, PlayedNote) and one.release_s > 0]
    pedals = [one for one in told if isinstance(one, PedalMove)]
    again = [(round(e.time_s, 6), tuple(e.data)) for e in play_again(notes, pedals, 11.1)]
    wanted = [(round(t + 10.0, 6), data) for t, data in sent]
    wanted[5] = (11.6, (0x80, 62, 64))
    assert again == wanted


def test_what_is_heard_again_leaves_nothing_down() -> None:
    notes = [PlayedNote(0, 60, 70, 2.0, 2.5), PlayedNote(1, 64, 70, 2.2)]
    pedals = [PedalMove(1.9, 64, 127), PedalMove(2.1, 66, 127)]
    sounding = Sounding()
    for event in play_again(notes, pedals, 10.0):
        sounding.hear(event.data)
    assert not sounding.keys
    assert not sounding.pedals
    assert play_again([], pedals, 10.0) == []


def test_listening_ends_by_itself(pump: Arrangement) -> None:
    session = session_with(pump, Drill(SPAN))
    session.tell(Command("listen", rate=2.0), 0.0)
    session.tick(60.0)
    assert session.state == "waiting"
    assert math.isclose(session.picture(60.0).drill.rate, 1.0)
