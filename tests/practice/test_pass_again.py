"""The last pass heard again: the messages that go out are those that came in."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from engine.arrangement import Arrangement, Span
from engine.follow import Follower
from engine.performance import DAMPER, SOFT, KeyEvent, PedalMove, PlayedNote
from engine.read import read_arrangement
from practice.clock import ManualClock
from practice.drill import Drill
from practice.listen.happenings import Asked, PassEnded
from practice.listen.judge import judge_pass
from practice.listen.judged_pass import make_record
from practice.listen.ringing_on import HELD, RingingOn
from practice.listen.session import Session
from practice.player import CHARACTERS, perform
from practice.snapshot import Command
from practice.sound.partner import PartnerSettings, SecondPiano
from tests.waiting import wait_for

SPAN = Span(2, 4)
#: The damper comes up so long after the last key.
RINGING_S = 0.4


@pytest.fixture(scope="module")
def page(exercises: Path) -> Arrangement:
    return read_arrangement(exercises / "brine-pump.musicxml")


def pedal(time_s: float, controller: int, value: int) -> KeyEvent:
    return KeyEvent(time_s, 0.0, bytes((0xB0, controller, value)))


def play_shaded(page: Arrangement) -> list[KeyEvent]:
    """Releases of their own speed; una corda from before the pass; half pedal to after its end."""
    played = perform(page, CHARACTERS["steady"], np.random.default_rng(3), span=SPAN, start_s=1.0)
    keys = [e for e in played if e.data[0] & 0xF0 != 0xB0]
    out = [pedal(0.2, SOFT, 90)]
    for k, event in enumerate(keys):
        data = event.data
        if data[0] & 0xF0 == 0x80:
            data = bytes((data[0], data[1], 1 + 7 * k % 127))
        out.append(replace(event, data=data))
        if k % 20 == 10:
            out.append(pedal(event.time_s + 0.0015, DAMPER, 30 + k % 90))
    out.sort(key=lambda e: e.time_s)
    last_s = out[-1].time_s
    return [*out, pedal(last_s + RINGING_S, DAMPER, 0), pedal(last_s + RINGING_S, SOFT, 0)]


class Written:
    """An instrument that writes down what it is told."""

    lead_s = 0.0
    problem = ""

    def __init__(self) -> None:
        self.told: list[tuple[float, bytes]] = []

    def play(self, time_s: float, data: bytes) -> None:
        self.told.append((time_s, data))

    def play_now(self, data: bytes) -> None:
        self.play(math.nan, data)

    def silence(self) -> None:
        pass

    def close(self) -> None:
        pass


def hear_out(page: Arrangement, events: list[KeyEvent]) -> tuple[Session, Asked]:
    """Play a pass, and ask for it again."""
    session = Session(page, Drill(SPAN), Follower)
    session.port_changed("Upright", True, 0.0)
    told = [h for event in events for h in session.hear(event)]
    told += [h for t in np.arange(0, 8, 0.1) for h in session.tick(events[-1].time_s + t)]
    (ended,) = (h for h in told if isinstance(h, PassEnded))
    (judged,) = judge_pass(ended)
    record = make_record(judged, 1, 1, datetime(2026, 5, 1, tzinfo=UTC))
    asked = session.tell(Command("listen", extra={"pass": record}), 30.0)
    return session, next(h for h in asked if isinstance(h, Asked))


def test_what_is_sent_is_what_was_played(page: Arrangement) -> None:
    """Notes, velocities, release velocities and pedal values to the millisecond; what was pressed
    before the pass lies at its first stroke, and what rings after the last key rings again."""
    events = play_shaded(page)
    session, asked = hear_out(page, events)
    start_s = asked.command.extra["start_s"]
    clock, written = ManualClock(start_s - 0.1), Written()
    partner = SecondPiano(page, lambda: written, clock, PartnerSettings(click=False))
    try:
        partner.notice(asked)
        wait_for(lambda: partner._accompanist is not None and partner._accompanist.due_s < math.inf)
        clock.move_to(start_s + 10_000.0)
        wait_for(lambda: len(written.told) >= len(events))
    finally:
        partner.close()
    first_s = next(e.time_s for e in events if e.data[0] & 0xF0 == 0x90)
    wanted = sorted(
        (max(round((e.time_s - first_s) * 1000), 0), bytes((e.data[0] & 0xF0, *e.data[1:])))
        for e in events
    )
    sent = sorted(
        (round((s - start_s) * 1000), bytes((d[0] & 0xF0, *d[1:]))) for s, d in written.told
    )
    assert sorted(data for _, data in sent) == sorted(data for _, data in wanted)
    by_message = zip(sorted(sent, key=_by_message), sorted(wanted, key=_by_message), strict=True)
    assert max(abs(one[0] - other[0]) for one, other in by_message) <= 1
    assert len({data[2] for _, data in sent if data[0] == 0x80}) > 10
    assert session.state == "listening"
    session.tick(start_s + wanted[-1][0] / 1000)
    assert session.state == "listening", "it rings still"


def _by_message(timed: tuple[int, bytes]) -> tuple[bytes, int]:
    return timed[1], timed[0]


def test_an_evening_holds_the_ends_of_the_newest_passes_only() -> None:
    ringing = RingingOn()
    for k in range(3 * HELD):
        note = PlayedNote(0, 60, 70, float(k), k + 0.5)
        ended: Any = SimpleNamespace(notes=(note,), pedals=(PedalMove(k + 0.1, DAMPER, 127),))
        ringing.begin(ended)
        ringing.hear(PedalMove(k + 0.9, DAMPER, 0))
    assert len(ringing._by_last) == HELD
    assert (60, 3.0 * HELD - 1) in ringing._by_last
