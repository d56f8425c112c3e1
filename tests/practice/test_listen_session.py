"""The session without threads: takes and passes cut as a player would cut them."""

import itertools
from dataclasses import replace

import numpy as np
import pytest

from engine.arrangement import Span, whole_span
from engine.follow import Follower
from engine.performance import KeyEvent
from engine.read import read_arrangement
from practice.drill import Drill
from practice.listen.happenings import (
    Asked,
    EventHeard,
    PassEnded,
    PulseBegan,
    PulseEnded,
    TakeBegan,
    TakeEnded,
)
from practice.listen.pace import Pace, Silences
from practice.listen.session import TAKE_SILENCE_S, Session
from practice.listen.stretch import ARM_S
from practice.player import CHARACTERS, perform
from practice.snapshot import Command
from tests.measure.by_hand import page


@pytest.fixture(scope="module")
def pump(exercises):
    """A short arrangement: a steady figure, 17 bars of 12/8 or the like."""
    return read_arrangement(exercises / "brine-pump.musicxml")


def playing(arrangement, span, start_s=1.0, who="steady", seed=3, rate=1.0):
    return perform(
        arrangement, CHARACTERS[who], np.random.default_rng(seed), span=span, start_s=start_s,
        rate=rate,
    )  # fmt: skip


def begin(arrangement, **drill):
    span = drill.pop("span", Span(2, 4))
    session = Session(arrangement, Drill(span, **drill), Follower)
    session.port_changed("Upright", True, 0.0)
    return session


def feed(session, events, ticks=()):
    """Hear events (and let time pass at `ticks`) in order of time; all that happened."""
    moments = [(e.time_s, 1, e) for e in events] + [(t, 0, None) for t in ticks]
    told = []
    for time_s, _, event in sorted(moments, key=lambda m: m[:2]):
        told += session.tick(time_s) if event is None else session.hear(event)
    return told


def of_kind(told, kind):
    return [h for h in told if isinstance(h, kind)]


def strikes(events):
    return [e for e in events if e.data[0] & 0xF0 == 0x90 and e.data[2]]


def test_a_free_pass_begins_with_the_first_note_and_ends_with_the_span(pump):
    session = begin(pump)
    events = playing(pump, Span(2, 4))
    assert session.state == "waiting"
    told = feed(session, events[:1])
    assert session.state == "playing"
    told += feed(session, events[1:])
    (ended,) = of_kind(told, PassEnded)
    assert session.state == "rest"
    assert [n.pitch for n in ended.notes] == [e.data[1] for e in strikes(events)]
    assert [n.index for n in ended.notes] == list(range(len(ended.notes)))
    assert all(n.release_s == n.release_s for n in ended.notes)


def test_everything_heard_is_told_from_the_takes_own_zero(pump):
    events = playing(pump, Span(2, 4), start_s=7.0)
    told = feed(begin(pump), events)
    (began,) = of_kind(told, TakeBegan)
    heard = [h.event for h in of_kind(told, EventHeard)]
    assert [e.data for e in heard] == [e.data for e in events]
    assert heard[0].time_s == 0.0
    for here, there in zip(heard, events, strict=True):
        assert here.time_s + began.start_s == pytest.approx(there.time_s, abs=1.1e-5)


def test_the_span_comes_round_straight_on_the_beat(pump):
    span = Span(2, 3)
    once = playing(pump, span)
    bar_s = float(np.diff(pump.seconds_at([float(q) for q in span.quarters(pump)]))[0])
    rounds = [replace(e, time_s=e.time_s + k * bar_s) for k in range(3) for e in once]
    told = feed(begin(pump, span=span), sorted(rounds, key=lambda e: e.time_s))
    session_end = of_kind(told, PassEnded)
    assert len(session_end) in (2, 3)  # the last may still hold its key
    assert {len(p.notes) for p in session_end} == {len(strikes(once))}


def test_silence_ends_a_pass_and_not_a_moment_too_soon(pump):
    session = begin(pump, span=whole_span(pump))
    events = playing(pump, Span(0, 1))
    last_s = max(e.time_s for e in events if e.data[0] & 0xF0 == 0x90)
    told = feed(session, events, ticks=[last_s + 1.9])
    assert of_kind(told, PassEnded) == []
    assert of_kind(session.tick(last_s + 4.0), PassEnded)


def test_the_page_may_be_silent_as_long_as_it_says(exercises):
    sluices = read_arrangement(exercises / "two-sluices.musicxml")
    silences = Silences(sluices, whole_span(sluices), None)
    plain = silences.allowed_s(0.0, 60 / 76)
    fermata_q = next(float(m.onset_q) for m in sluices.marks if m.kind == "fermata")
    assert plain >= 2.0
    assert silences.allowed_s(fermata_q, 60 / 76) > 2 * plain
    assert silences.allowed_s(None, 0.1) == 2.0
    assert silences.allowed_s(None, 2.0) == 6.0


def test_a_hand_alone_ends_with_the_key_it_shares():
    # Four quarters in each hand, the last of them one key, for which the right hand's note stands.
    written = [(float(k), 1.0, 48 + k, "left") for k in range(3)] + [(3.0, 1.0, 60, "left")]
    written += [(float(k), 1.0, 72 + k, "right") for k in range(3)] + [(3.0, 1.0, 60, "right")]
    score = page(written)
    *_, left, right = range(len(score.notes))
    assert (score.notes[left].hand, score.notes[right].hand) == ("left", "right")
    score = replace(score, notes=(*score.notes[:left], replace(score.notes[left], unison=right),
                                  score.notes[right]))  # fmt: skip
    silences = Silences(score, whole_span(score), "left")
    assert (silences.size, silences.last_q, silences.last_notes) == (4, 3.0, {left})
    session = begin(score, span=whole_span(score), hands="left")
    keys = [(k, on, 48 + k if k < 3 else 60) for k in range(4) for on in (True, False)]
    events = [
        KeyEvent(1.0 + k + (0.0 if on else 0.8), 0.001, bytes((0x90 if on else 0x80, pitch, 64)))
        for k, on, pitch in keys
    ]
    ends = of_kind(feed(session, events, [float(k) for k in range(1, 12)]), PassEnded)
    assert [len(one.notes) for one in ends] == [4]


def test_the_local_tempo_is_the_players_own():
    pace = Pace(0.5)
    assert pace.s_per_q == 0.5
    for k in range(9):
        pace.hear(float(k), 10.0 + 0.8 * k)
    assert pace.s_per_q == pytest.approx(0.8)
    pace.hear(0.0, 20.0)
    assert pace.s_per_q == 0.5


def test_a_touch_of_the_keys_is_no_pass(pump):
    session = begin(pump)
    told = session.hear(KeyEvent(1.0, 0.001, b"\x90\x3c\x40"))
    told += session.hear(KeyEvent(1.1, 0.001, b"\x80\x3c\x40"))
    told += session.tick(9.0)
    assert of_kind(told, PassEnded) == []
    assert session.state == "waiting"
    assert len(of_kind(told, TakeBegan)) == 1


def test_after_so_many_passes_it_is_done(pump):
    session = begin(pump, passes=2)
    told = feed(session, playing(pump, Span(2, 4)))
    told += feed(session, playing(pump, Span(2, 4), start_s=40.0))
    assert [p.number for p in of_kind(told, PassEnded)] == [1, 2]
    assert session.state == "ended"
    (over,) = of_kind(told, TakeEnded)
    assert len(over.notes) == len(over.live) == sum(len(p.notes) for p in of_kind(told, PassEnded))
    assert feed(session, playing(pump, Span(2, 4), start_s=80.0)) == []


def test_time_passing_in_between_changes_nothing(pump):
    rng = np.random.default_rng(5)
    events = playing(pump, whole_span(pump), who="rummaging")
    plain = feed(begin(pump, span=whole_span(pump)), events)
    for _ in range(3):
        ticks = rng.uniform(0.0, events[-1].time_s, 300)
        assert feed(begin(pump, span=whole_span(pump)), events, ticks) == plain


def test_a_minute_of_silence_ends_the_take(pump):
    session = begin(pump)
    events = playing(pump, Span(2, 4))
    feed(session, events)
    assert of_kind(session.tick(events[-1].time_s + TAKE_SILENCE_S - 1), TakeEnded) == []
    assert of_kind(session.tick(events[-1].time_s + TAKE_SILENCE_S + 1), TakeEnded)
    told = feed(session, playing(pump, Span(2, 4), start_s=300.0))
    assert [b.take for b in of_kind(told, TakeBegan)] == [2]


def test_an_unplugged_cable_leaves_no_key_and_no_pedal_down(pump):
    session = begin(pump)
    down = [b"\x90\x3c\x40", b"\x90\x40\x40", b"\xb0\x40\x7f"]
    for i, data in enumerate(down):
        session.hear(KeyEvent(1.0 + i / 10, 0.001, data))
    told = session.port_changed("Upright", False, 2.0)
    ups = [h.event.data[:2] for h in of_kind(told, EventHeard)]
    assert ups == [b"\x80\x3c", b"\x80\x40", b"\xb0\x40"]
    assert session.picture(2.0).damper == 0
    assert "unplugged" in session.message
    assert session.picture(2.0).connected is False
    session.port_changed("Upright", True, 3.0)
    assert session.message == ""
    assert of_kind(session.hear(KeyEvent(3.5, 0.001, b"\x90\x3c\x40")), EventHeard)


def test_changing_the_span_ends_the_take_and_begins_another(pump):
    session = begin(pump)
    events = playing(pump, Span(2, 4))
    feed(session, events[: len(events) // 2])
    told = session.tell(Command("span", span=Span(0, 1)), events[len(events) // 2].time_s)
    assert [type(h) for h in told] == [PassEnded, TakeEnded, Asked]
    assert told[-1].command.kind == "left"  # a drill, if one ran
    told = feed(session, playing(pump, Span(0, 1), start_s=60.0))
    assert of_kind(told, TakeBegan)[0].drill.span == Span(0, 1)
    assert len(of_kind(told, PassEnded)) == 1


def test_the_score_saved_anew_goes_on_in_the_same_bars(pump):
    session = begin(pump, span=Span(2, 4))
    later = replace(pump, content_hash="0" * 64, bars=pump.bars)
    session.tell(Command("arrangement", extra={"arrangement": later}), 1.0)
    assert session.arrangement is later
    assert session.picture(1.0).drill.span == Span(2, 4)


def test_the_computers_keys_play(pump):
    session = begin(pump)
    told = session.tell(Command("key-down", pitch=60), 1.0)
    told += session.tell(Command("key-up", pitch=60), 1.5)
    assert [h.event.data[0] for h in of_kind(told, EventHeard)] == [0x90, 0x80]


def test_what_is_not_its_own_affair_is_asked_of_others(pump):
    told = begin(pump).tell(Command("listen"), 1.0)
    assert of_kind(told, Asked)[0].command.kind == "listen"


# the strict pulse


def strict(pump, **drill):
    return begin(pump, pulse_kind="strict", **drill)


def test_a_strict_pass_is_armed_counted_in_and_judged_from_the_downbeat(pump):
    session = strict(pump)
    told = session.tell(Command("again"), 10.0)
    (pulse,) = of_kind(told, PulseBegan)
    assert session.state == "count-in"
    assert pulse.count_in_s[0] == pytest.approx(10.0 + ARM_S)
    steps = np.diff([*pulse.count_in_s, pulse.start_s])
    assert np.ptp(steps) < 1e-9
    told = feed(session, playing(pump, Span(2, 4), start_s=pulse.start_s), [pulse.start_s + 30])
    (ended,) = of_kind(told, PassEnded)
    assert ended.pulse.kind == "strict"
    assert ended.notes[0].onset_s == pytest.approx(ended.pulse.start_s, abs=0.001)
    assert of_kind(told, PulseEnded)


def test_the_count_in_takes_the_rate_into_account(pump):
    (plain,) = of_kind(strict(pump).tell(Command("again"), 0.0), PulseBegan)
    (slow,) = of_kind(strict(pump, rate=0.5).tell(Command("again"), 0.0), PulseBegan)
    assert slow.start_s - ARM_S == pytest.approx(2 * (plain.start_s - ARM_S))
    assert len(slow.count_in_s) == len(plain.count_in_s)


def test_any_key_or_the_soft_pedal_arms_and_is_not_judged(pump):
    for data in (b"\x90\x15\x40", b"\xb0\x43\x7f"):
        session = strict(pump)
        told = session.hear(KeyEvent(1.0, 0.001, data))
        assert len(of_kind(told, PulseBegan)) == 1
        assert session.picture(1.1).notes == ()


def test_notes_in_the_count_in_are_kept_and_not_judged_save_those_just_before(pump):
    session = strict(pump)
    (pulse,) = of_kind(session.tell(Command("again"), 0.0), PulseBegan)
    beat_s = pulse.count_in_s[1] - pulse.count_in_s[0]
    early = KeyEvent(pulse.start_s - 0.9 * beat_s, 0.001, b"\x90\x30\x40")
    told = session.hear(early)
    assert len(of_kind(told, EventHeard)) == 1
    assert session.picture(1.0).notes == ()
    session.hear(KeyEvent(pulse.start_s - 0.2 * beat_s, 0.001, b"\x90\x32\x40"))
    assert len(session.picture(1.0).notes) == 1


def test_strict_passes_follow_one_another_until_nothing_is_played(pump):
    session = strict(pump)
    (first,) = of_kind(session.tell(Command("again"), 0.0), PulseBegan)
    told = feed(session, playing(pump, Span(2, 4), start_s=first.start_s))
    told += [h for t in np.arange(first.start_s, first.start_s + 60, 0.5) for h in session.tick(t)]
    assert len(of_kind(told, PassEnded)) == 1
    assert len(of_kind(told, PulseBegan)) == 1
    assert session.state == "waiting"


def test_the_beat_of_the_pulse_counts_in_the_bars_own_beats(pump):
    session = strict(pump)
    (pulse,) = of_kind(session.tell(Command("again"), 0.0), PulseBegan)
    beats = [session.picture(t).beat for t in np.arange(pulse.start_s, pulse.start_s + 3, 0.01)]
    assert beats[0][0] == 1
    assert {b[1] for b in beats} == {pump.bars[2].beats}
    changes = [b for b, _ in itertools.groupby(n for n, _ in beats)]
    assert changes[: pump.bars[2].beats] == list(range(1, pump.bars[2].beats + 1))


def test_stop_ends_the_pulse(pump):
    session = strict(pump)
    session.tell(Command("again"), 0.0)
    assert of_kind(session.tell(Command("stop"), 1.0), PulseEnded)
    assert session.state == "waiting"
