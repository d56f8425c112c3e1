"""The second piano against a clock that is moved by hand and an instrument that writes down."""

from __future__ import annotations

import threading
import time
from pathlib import Path

import numpy as np
import pytest

from engine.arrangement import Arrangement, Span, notes_in, whole_span
from engine.drill import DrillSheet
from engine.errors import UndersongError
from engine.performance import KeyEvent
from engine.read import read_arrangement
from practice.clock import ManualClock, SystemClock
from practice.drill import Drill
from practice.drills.coach import Coach
from practice.listen.happenings import (
    Asked,
    EventHeard,
    PulseBegan,
    PulseEnded,
    TakeBegan,
    TakeEnded,
)
from practice.snapshot import Command
from practice.sound.accompany import Accompanist
from practice.sound.instrument import MidiInstrument
from practice.sound.page import PageChoice, play_page
from practice.sound.partner import PartnerSettings, SecondPiano, list_pulse
from practice.sound.sounding import Sounding
from tests.waiting import wait_for


class Written:
    """An instrument that writes down what it is told, and when."""

    lead_s = 0.0
    problem = ""

    def __init__(self) -> None:
        self.told: list[tuple[float, float, bytes]] = []
        self.sounding = Sounding()
        self.silenced = 0
        self.closed = False

    def play(self, time_s: float, data: bytes) -> None:
        self.sounding.hear(data)
        self.told.append((time.perf_counter(), time_s, data))

    def play_now(self, data: bytes) -> None:
        self.play(time.perf_counter(), data)

    def silence(self) -> None:
        self.silenced += 1
        self.sounding = Sounding()

    def close(self) -> None:
        self.silence()
        self.closed = True


@pytest.fixture(scope="module")
def pump(exercises: Path) -> Arrangement:
    return read_arrangement(exercises / "brine-pump.musicxml")


def settle(partner: SecondPiano, clock: ManualClock, to_s: float) -> None:
    """Have the partner act on all it was told; move the clock; have all that is due by then played.

    The clock stands still meanwhile, so that a busy machine changes nothing.
    """
    done = threading.Event()
    partner._queue.put(done.set)
    assert done.wait(20.0)
    clock.move_to(to_s)
    accompanist = partner._accompanist
    assert accompanist is not None
    wait_for(lambda: accompanist.due_s > to_s)


def pulse_at(start_s: float, span: Span, hands: str | None = "left") -> PulseBegan:
    counts = tuple(start_s - 0.3 + 0.15 * k for k in range(2))
    return PulseBegan(counts, start_s, span, hands, 4.0)  # type: ignore[arg-type]


def test_clicks_lie_on_the_tempo_map(pump: Arrangement) -> None:
    pulse = PulseBegan((1.0, 2.0), 3.0, Span(2, 3), None, 0.5)
    ons = [(t, d) for t, d in list_pulse(pump, pulse, 1) if d[0] & 0xF0 == 0x90]
    assert [t for t, _ in ons[:2]] == [1.0, 2.0]
    beat_s = 60.0 / 84.0 * 1.0  # a dotted quarter at 84 quarters a minute, half speed
    expected = 3.0 + np.arange(4) * 1.5 * beat_s * 2
    assert np.allclose([t for t, _ in ons[2:]], expected)
    assert [d[1] for _, d in ons[2:]] == [76, 77, 76, 77]
    assert {d[0] for _, d in ons} == {0x99}


def test_parts_of_the_beat_are_softer(pump: Arrangement) -> None:
    pulse = PulseBegan((1.0, 2.0), 3.0, Span(2, 2), None, 1.0)
    ons = [d for _, d in list_pulse(pump, pulse, 3) if d[0] & 0xF0 == 0x90]
    assert len(ons) == 12
    assert ons[1][2] < ons[3][2] < ons[0][2]


def test_a_strict_pulse_is_clicked_and_the_other_hand_played_to_the_end(pump: Arrangement) -> None:
    span, instrument, clock = Span(2, 3), Written(), ManualClock()
    partner = SecondPiano(pump, lambda: instrument, clock, PartnerSettings(other_hand=True))
    partner.notice(pulse_at(0.5, span))
    settle(partner, clock, 0.0)
    assert not instrument.told
    settle(partner, clock, 20.0)
    partner.close()
    played = sorted(d[1] for _, _, d in instrument.told if d[0] == 0x90)
    rows = [i for i in notes_in(pump, span, "right") if not pump.notes[i].optional]
    assert played == sorted(pump.notes[i].pitch for i in rows)
    assert sum(d[0] == 0x99 for _, _, d in instrument.told) == 2 + 4
    assert instrument.closed


def test_a_drill_may_ask_for_the_other_hand_and_for_parts_of_the_beat(pump: Arrangement) -> None:
    """As the sheet says, by way of its coach; the next drill does not have it."""
    span, instrument, clock = Span(2, 3), Written(), ManualClock()
    sheet = DrillSheet(hands=("left",), other_hand=True, click_parts=2)
    partner = SecondPiano(pump, lambda: instrument, clock, PartnerSettings())
    drills = [Coach(sheet, pump, [span]).drill, Coach(DrillSheet(), pump, [span]).drill]
    for take, (drill, start_s) in enumerate(zip(drills, (0.5, 30.5), strict=True), 1):
        partner.notice(TakeBegan(take, start_s, pump, drill, "Upright"))
        partner.notice(pulse_at(start_s, span))
        settle(partner, clock, start_s + 20.0)
        partner.notice(TakeEnded(take, (), (), ()))
    partner.close()
    hand = [d[1] for _, _, d in instrument.told if d[0] == 0x90]
    rows = [i for i in notes_in(pump, span, "right") if not pump.notes[i].optional]
    assert sorted(hand) == sorted(pump.notes[i].pitch for i in rows)
    clicks = [at_s for _, at_s, d in instrument.told if d[0] == 0x99]
    assert sum(at_s < 25 for at_s in clicks) == 2 * (2 + 4)
    assert sum(at_s > 25 for at_s in clicks) == 2 + 4


def test_when_the_pulse_ends_nothing_more_begins_and_everything_ends(pump: Arrangement) -> None:
    instrument, clock = Written(), ManualClock()
    partner = SecondPiano(pump, lambda: instrument, clock, PartnerSettings(other_hand=True))
    partner.notice(pulse_at(0.4, whole_span(pump)))
    settle(partner, clock, 0.0)
    settle(partner, clock, 0.9)
    ons = sum(d[0] & 0xF0 == 0x90 for _, _, d in instrument.told)
    assert instrument.sounding.keys
    partner.notice(PulseEnded())
    settle(partner, clock, 0.9)
    settle(partner, clock, 9.0)
    assert sum(d[0] & 0xF0 == 0x90 for _, _, d in instrument.told) == ons > 0
    assert not instrument.sounding.keys
    partner.close()


def test_listening_plays_the_page_and_hush_silences_it(pump: Arrangement) -> None:
    instrument, clock = Written(), SystemClock()
    partner = SecondPiano(pump, lambda: instrument, clock, PartnerSettings(hand_channel=1))
    partner.notice(Asked(Command("listen", span=Span(0, 5), hands="both", rate=3.0)))
    wait_for(lambda: len(instrument.told) > 10)
    assert all(d[0] & 0x0F == 1 for _, _, d in instrument.told)
    before = instrument.silenced
    partner.notice(Asked(Command("hush")))
    wait_for(lambda: instrument.silenced > before)
    count = len(instrument.told)
    time.sleep(0.3)
    assert len(instrument.told) == count
    partner.close()


def test_in_free_pulse_the_other_hand_follows(pump: Arrangement) -> None:
    """The left hand is played live; the right hand's notes come, and stop with the player."""
    instrument, clock, span = Written(), ManualClock(), Span(2, 4)
    settings = PartnerSettings(other_hand=True)
    partner = SecondPiano(pump, lambda: instrument, clock, settings, at_once=True)
    assert partner.ready.wait(20.0)
    drill = Drill(span, "left", "free", 1.0)
    partner.notice(TakeBegan(take=1, start_s=0.0, drill=drill, port="Upright", arrangement=pump))
    page = play_page(pump, PageChoice(span, "left", rate=2.0), 0.1)
    for event in page:
        settle(partner, clock, event.time_s)
        partner.notice(EventHeard(1, KeyEvent(event.time_s, 0.0, event.data)))
    settle(partner, clock, page[-1].time_s + 0.4)
    partner.notice(TakeEnded(1, (), (), ()))
    partner.close()
    rows = [i for i in notes_in(pump, span, "right") if not pump.notes[i].optional]
    assert partner.problem == ""
    played = [d[1] for _, _, d in instrument.told if d[0] == 0x90]
    assert sorted(played) == sorted(pump.notes[i].pitch for i in rows)
    levels = [d[2] for _, _, d in instrument.told if d[0] == 0x90]
    assert max(levels) < min(e.data[2] for e in page if e.data[0] == 0x90)


def test_without_sound_the_reason_is_told_and_nothing_else_happens(pump: Arrangement) -> None:
    def fail() -> Written:
        raise UndersongError("no sound", "sound card", "connect one")

    partner = SecondPiano(pump, fail, SystemClock(), PartnerSettings())
    partner.notice(pulse_at(time.perf_counter() + 0.2, Span(2, 3)))
    partner.close()
    assert partner.problem == "sound card: no sound; connect one"
    assert partner.failures == 0


class Port:
    """A MIDI output that may be lost."""

    problem = ""

    def __init__(self, lost_after: int = 10**9) -> None:
        self.sent: list[bytes] = []
        self.closed = False
        self._lost_after = lost_after

    def send(self, data: bytes) -> None:
        if len(self.sent) >= self._lost_after:
            raise OSError("gone")
        self.sent.append(data)

    def close(self) -> None:
        self.closed = True


def test_midi_out_ends_every_note_and_pedal_it_began() -> None:
    port = Port()
    instrument = MidiInstrument(port)
    for data in (
        b"\x90\x3c\x40",
        b"\x91\x40\x40",
        b"\xb0\x40\x7f",
        b"\x90\x3e\x40",
        b"\x80\x3e\x40",
    ):
        instrument.play_now(data)
    instrument.silence()
    after = port.sent[5:]
    assert b"\xb0\x40\x00" in after
    assert b"\x80\x3c\x40" in after
    assert b"\x81\x40\x40" in after
    assert b"\x80\x3e\x40" not in after
    for channel in (0, 1):
        assert bytes([0xB0 | channel, 123, 0]) in after
        assert bytes([0xB0 | channel, 120, 0]) in after
    instrument.close()
    assert port.closed


def test_a_lost_port_stops_nothing_else() -> None:
    instrument = MidiInstrument(Port(lost_after=1))
    instrument.play_now(b"\x90\x3c\x40")
    instrument.play_now(b"\x90\x3e\x40")
    instrument.silence()
    instrument.close()


def test_taking_back_keeps_the_endings_of_what_has_begun() -> None:
    instrument, clock = Written(), ManualClock()
    accompanist = Accompanist(instrument, clock)
    accompanist.add([(0.0, b"\x90\x3c\x40"), (0.15, b"\x80\x3c\x40")], "hand")
    accompanist.add([(0.2, b"\x90\x40\x40"), (0.3, b"\x80\x40\x40")], "hand")
    wait_for(lambda: len(instrument.told) == 1)
    accompanist.take_back("hand")
    clock.move_to(1.0)
    wait_for(lambda: accompanist.due_s > 1.0)
    assert [d for _, _, d in instrument.told] == [b"\x90\x3c\x40", b"\x80\x3c\x40"]
    accompanist.close()


def test_order_is_kept_among_messages_of_one_moment() -> None:
    instrument, clock = Written(), SystemClock()
    accompanist = Accompanist(instrument, clock)
    at = clock.now_s() + 0.05
    messages = [bytes([0x90, 40 + k, 50]) for k in range(30)]
    accompanist.add([(at, data) for data in messages])
    wait_for(lambda: len(instrument.told) == 30)
    assert [d for _, _, d in instrument.told] == messages
    accompanist.close()
    assert not [t for t in threading.enumerate() if t.name == "accompanist" and t.is_alive()]


def test_the_players_foot_holds_the_other_hand_too(pump: Arrangement) -> None:
    instrument, clock = Written(), SystemClock()
    partner = SecondPiano(
        pump, lambda: instrument, clock, PartnerSettings(other_hand=True, hand_channel=1)
    )
    drill = Drill(Span(2, 4), "left", "free", 1.0)
    began = TakeBegan(take=1, start_s=clock.now_s(), drill=drill, port="", arrangement=pump)
    partner.notice(began)
    partner.notice(EventHeard(1, KeyEvent(0.0, 0.0, b"\xb0\x40\x50")))
    partner.notice(TakeEnded(1, (), (), ()))
    partner.close()
    assert [d for _, _, d in instrument.told] == [b"\xb1\x40\x50", b"\xb1\x40\x00"]
