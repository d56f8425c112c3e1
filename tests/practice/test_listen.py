"""The listener's threads: everything heard is told, whoever fails."""

import threading
import time

import numpy as np
import pytest

from engine.arrangement import Span
from engine.follow import Follower
from engine.performance import KeyEvent
from engine.read import read_arrangement
from practice.clock import FastClock, ManualClock
from practice.drill import Drill
from practice.listen import listen as listening
from practice.listen.happenings import Asked, EventHeard, PassEnded
from practice.listen.judge import judge_pass
from practice.listen.listen import Listener
from practice.listen.session import Session
from practice.listen.sitting import Setting, Sitting
from practice.player import CHARACTERS, perform
from practice.ports.ports import PortChange
from practice.snapshot import Command


@pytest.fixture(scope="module")
def pump(exercises):
    return read_arrangement(exercises / "brine-pump.musicxml")


SPAN = Span(2, 4)


def playing(arrangement, who="demo", start_s=1.0):
    return perform(
        arrangement, CHARACTERS[who], np.random.default_rng(2), span=SPAN, start_s=start_s
    )


class _Follower(Follower):
    """Fails at one note."""

    def hear(self, note):
        if note.index == 3:
            raise ArithmeticError("a planted fault")
        return super().hear(note)


def listen(arrangement, clock, told, **more):
    listener = Listener(arrangement, Drill(SPAN), clock, told.append, **more)
    listener.start()
    listener.port_changed(PortChange("Upright", True, 0.0))
    return listener


def test_the_thread_tells_what_the_session_alone_would(pump):
    clock, told, events = ManualClock(), [], playing(pump)
    listener = listen(pump, clock, told)
    alone = Session(pump, Drill(SPAN), Follower)
    alone.port_changed("Upright", True, 0.0)
    expected = [h for e in events for h in alone.hear(e)]
    for event in events:
        clock.move_to(event.time_s)
        listener.hand_on(event)
    clock.move_to(events[-1].time_s + 0.05)
    listener.stop()
    assert told[: len(expected)] == expected
    assert [type(h).__name__ for h in told[len(expected) :]] == ["TakeEnded"]


def test_a_fault_at_one_note_is_told_and_the_note_is_judged_all_the_same(pump):
    told, events = [], playing(pump)
    listener = listen(pump, ManualClock(), told, make_follower=_Follower)
    for event in events:
        listener.hand_on(event)
    listener.stop()
    snapshot = listener.snapshot()
    assert snapshot.lost_notes == 0
    assert "planted fault" in snapshot.message
    (ended,) = [h for h in told if isinstance(h, PassEnded)]
    assert len(ended.notes) == len([e for e in events if e.data[0] == 0x90 and e.data[2]])
    heard = [h.event.data for h in told if isinstance(h, EventHeard)]
    assert heard == [e.data for e in events]


def test_a_thread_held_up_ends_no_pass_that_is_being_played(pump):
    """Seconds go by while one note is judged; what was played and asked meanwhile waits."""
    clock, told, events = ManualClock(), [], playing(pump)
    at = next(k for k, e in enumerate(events) if e.data[0] == 0x90 and k > 8)

    class Slow(Follower):
        def hear(self, note):
            if note.index == 3:
                for k, event in enumerate(events[at:]):
                    clock.move_to(event.time_s)
                    listener.hand_on(event)
                    if k == 5:
                        listener.tell(Command("gesture", name="none"))
            return super().hear(note)

    listener = listen(pump, clock, told, make_follower=Slow)
    for event in events[:at]:
        clock.move_to(event.time_s)
        listener.hand_on(event)
    deadline = time.monotonic() + 20
    while len(told) < len(events) and time.monotonic() < deadline:
        time.sleep(0.01)
    listener.stop()
    (ended,) = [h for h in told if isinstance(h, PassEnded)]
    assert len(ended.notes) == len([e for e in events if e.data[0] == 0x90 and e.data[2]])


def test_snapshots_only_grow_newer_and_never_wait(pump):
    clock, told = FastClock(50.0), []
    listener = listen(pump, clock, told)
    seen, stop = [], threading.Event()

    def watch():
        while not stop.is_set():
            seen.append(listener.snapshot())

    watcher = threading.Thread(target=watch)
    watcher.start()
    for event in playing(pump, start_s=clock.now_s() + 0.5):
        clock.wait(threading.Event(), event.time_s - clock.now_s())
        listener.hand_on(event)
    listener.stop()
    stop.set()
    watcher.join()
    versions = [s.version for s in seen]
    assert versions == sorted(versions)
    assert max(len(s.notes) for s in seen) > 10
    assert all(len(s.notes) >= len([f for f in s.findings if f.played is not None]) for s in seen)


def test_commands_are_obeyed_and_end_it(pump):
    listener = listen(pump, ManualClock(), [])
    listener.tell(Command("hands", hands="left"))
    listener.tell(Command("quit"))
    assert listener.ended.wait(5.0)
    assert listener.snapshot().hands == "left"
    assert listener.snapshot().state == "ended"
    listener.stop()


class _Partner:
    """Writes down what it is asked."""

    def __init__(self):
        self.told = []

    problem = ""

    def notice(self, happening):
        if isinstance(happening, Asked):
            self.told.append(happening.command.kind)

    def close(self):
        self.told.append("close")

    def hear(self, event):
        self.told.append("note")


def test_a_sitting_judges_and_shows_each_pass(pump, tmp_path):
    clock, partner = ManualClock(), _Partner()
    from datetime import UTC, datetime

    from practice.store.keeper import TakeKeeper
    from practice.store.store import Store

    def now():
        return datetime(2026, 5, 1, 9, tzinfo=UTC)

    keeper = TakeKeeper(tmp_path / "takes.db", now)
    setting = Setting(pump, "pump.musicxml", Drill(SPAN), clock, now)
    sitting = Sitting(setting, keeper, partner)
    sitting.start()
    sitting.port_changed(PortChange("Upright", True, 0.0))
    for k in range(2):
        for event in playing(pump, start_s=1.0 + 30 * k):
            clock.move_to(event.time_s)
            sitting.hand_on(event)
    sitting.tell(Command("listen"))
    deadline = time.monotonic() + 20
    while len(sitting.snapshot().passes) < 1 and time.monotonic() < deadline:
        time.sleep(0.01)
    sitting.tell(Command("keep", pass_number=1))
    sitting.stop()
    records = sitting.snapshot().passes
    assert [r.number for r in records] == [1, 2]
    assert [r.take for r in records] == [1, 1]
    assert sitting.snapshot().cells
    assert partner.told.count("note") == 2 * len(playing(pump))
    assert "listen" in partner.told
    assert partner.told[-1] == "close"
    with Store(tmp_path / "takes.db") as store:
        (take,) = store.takes()
        assert (take.passes, take.keeper, take.start.instrument) == (2, True, "Upright")
        kept = store.passes(take=1)
        assert [(p.right, p.wrong, p.missing) for p in kept] == [
            tuple(sum(f.what == w for f in r.findings) for w in ("right", "wrong", "missing"))
            for r in records
        ]
        assert store.detail(1, 1).findings[0].what == records[0].findings[0].what
    result = sitting.outcome.result(pump, sitting.numbers())
    indices = [
        n["played_index"]
        for one in result["passes"]
        for n in one["notes"]
        if n["played_index"] is not None
    ]
    assert sorted(indices) == list(range(len(indices)))
    assert [one["take"] for one in result["passes"]] == [1, 1]


def test_reviewing_the_kept_take_says_what_was_said_at_the_keyboard(pump):
    session = Session(pump, Drill(SPAN), Follower)
    told = [h for e in playing(pump) for h in session.hear(e)]
    ended = next(h for h in told if isinstance(h, PassEnded))
    heard = [h.event for h in told if isinstance(h, EventHeard)]
    from engine.performance import pair_notes

    again = pair_notes(heard)
    assert again.notes[: len(ended.notes)] == ended.notes
    assert judge_pass(ended)[0].review.findings


def test_the_store_failing_is_told_and_practising_goes_on(pump, tmp_path, monkeypatch):
    from datetime import UTC, datetime

    from practice.store import keeper as keeping
    from practice.store.store import Store, StoreError

    monkeypatch.setattr(keeping, "SYNC_S", 0.05)
    monkeypatch.setattr(keeping, "COMMIT_S", 0.02)
    full = threading.Event()
    full.set()
    append = Store.append

    def append_or_fail(self, *args):
        if full.is_set():
            raise StoreError("the disk is full", "takes.db", "make room")
        append(self, *args)

    monkeypatch.setattr(Store, "append", append_or_fail)
    clock = ManualClock()
    keeper = keeping.TakeKeeper(tmp_path / "takes.db", lambda: datetime(2026, 5, 1, tzinfo=UTC))
    setting = Setting(pump, "", Drill(SPAN), clock, lambda: datetime(2026, 5, 1, tzinfo=UTC))
    sitting = Sitting(setting, keeper)
    sitting.start()
    events = playing(pump)
    for event in events:
        clock.move_to(event.time_s)
        sitting.hand_on(event)
    deadline = time.monotonic() + 10
    while "disk is full" not in sitting.snapshot().message and time.monotonic() < deadline:
        time.sleep(0.01)
    assert "disk is full" in sitting.snapshot().message
    full.clear()
    sitting.stop()
    assert keeper.problem == ""
    with Store(tmp_path / "takes.db") as store:
        assert [e.data for e in store.events(1)] == [e.data for e in events]


def test_a_pass_that_cannot_be_judged_is_told_and_the_next_one_is_judged(pump, monkeypatch):
    from datetime import UTC, datetime

    import practice.listen.judge

    calls = []
    real = practice.listen.judge.judge_pass

    def sometimes(ended, *told):
        calls.append(ended.number)
        if len(calls) == 1:
            raise ZeroDivisionError("a planted fault")
        return real(ended, *told)

    monkeypatch.setattr(practice.listen.judge, "judge_pass", sometimes)
    clock = ManualClock()
    sitting = Sitting(
        Setting(pump, "", Drill(SPAN), clock, lambda: datetime(2026, 5, 1, tzinfo=UTC)), None
    )
    sitting.start()
    for k in range(2):
        for event in playing(pump, start_s=1.0 + 30 * k):
            clock.move_to(event.time_s)
            sitting.hand_on(event)
    sitting.stop()
    assert "planted fault" in sitting.snapshot().message
    assert len(sitting.snapshot().passes) == 1


def test_garbage_from_the_driver_harms_nothing(pump):
    told = []
    listener = listen(pump, ManualClock(), told)
    rng = np.random.default_rng(4)
    for size in rng.integers(0, 6, 500):
        data = rng.integers(0, 256, size).astype(np.uint8).tobytes()
        listener.hand_on(KeyEvent(float(rng.uniform(0, 10)), 0.001, data))
    for event in playing(pump, start_s=20.0):
        listener.hand_on(event)
    listener.stop()
    assert listener.snapshot().lost_notes == 0
    assert any(isinstance(h, PassEnded) for h in told)


def test_a_flood_is_dropped_and_counted_and_leaves_no_key_down(pump, monkeypatch):
    monkeypatch.setattr(listening, "MOST_WAITING", 50)
    told, clock = [], ManualClock(2.0)
    listener = Listener(pump, Drill(SPAN), clock, told.append)
    for pitch in range(21, 109):
        listener.hand_on(KeyEvent(1.0, 0.0, bytes((0x90, pitch, 64))))
    listener.start()
    deadline = time.monotonic() + 60
    while listener.snapshot().lost_notes < 38 and time.monotonic() < deadline:
        time.sleep(0.01)
    assert "38 messages dropped" in listener.snapshot().message
    listener.stop()
    heard = [h.event.data for h in told if isinstance(h, EventHeard)]
    down = {data[1] for data in heard if data[0] == 0x90}
    assert down == {data[1] for data in heard if data[0] == 0x80} == set(range(21, 71))
