"""Kept takes heard again: message for message, with the page where each was found to be."""

from __future__ import annotations

import io
import math
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from engine.arrangement import Arrangement, Span, whole_span
from engine.errors import TakeError
from engine.performance import KeyEvent, pair_notes
from engine.read import read_arrangement
from practice.cli import main
from practice.clock import ManualClock
from practice.drill import Drill
from practice.environment import Environment, ExitStatus
from practice.listen.happenings import Asked, Happening
from practice.listen.hearing import Hearing, PageHeard
from practice.listen.kept_hearing import (
    BETWEEN_S,
    KeptHearing,
    carry_notes,
    read_hearing,
    read_hearings,
)
from practice.listen.listen import Listener
from practice.listen.listening import BREATH_S
from practice.player import CHARACTERS, perform
from practice.snapshot import Command
from practice.sound.partner import PartnerSettings, SecondPiano
from practice.sound.sounding import Sounding
from practice.store.importing import judge_kept
from practice.store.kept import TakeStart
from practice.store.recording import read_recording
from practice.store.store import Store
from tests.waiting import wait_for

NOW = datetime(2026, 5, 1, 9, 30, tzinfo=UTC)
SPAN = Span(2, 4)


@pytest.fixture(scope="module")
def page(exercises: Path) -> Arrangement:
    return read_arrangement(exercises / "brine-pump.musicxml")


def play_take(page: Arrangement, seed: int) -> list[KeyEvent]:
    """A pianist's take with releases of their own speed, and a pedal that is half down."""
    played = perform(
        page, CHARACTERS["steady"], np.random.default_rng(seed), span=SPAN, start_s=1.0
    )
    out = []
    for k, event in enumerate(played):
        data = event.data
        if data[0] & 0xF0 == 0x80:
            data = bytes((data[0], data[1], 20 + (7 * k + seed) % 100))
        out.append(replace(event, data=data))
        if k % 40 == 10:
            out.append(KeyEvent(event.time_s, 0.0, bytes((0xB0, 64, 37 + k % 30))))
    return [*out, KeyEvent(out[-1].time_s + 0.3, 0.0, bytes((0xB0, 64, 0)))]


def keep_take(store: Store, page: Arrangement, seed: int) -> int:
    start = TakeStart(
        page.content_hash, page.title, "", "Upright", "played", NOW, whole_span(page), None,
        "free", 1.0,
    )  # fmt: skip
    number = store.begin_take(start)
    store.append(number, play_take(page, seed), NOW)
    store.end_take(number, NOW)
    judge_kept(store, page, store.take(number))
    return number


@pytest.fixture(scope="module")
def kept(page: Arrangement, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A store with two takes."""
    path = tmp_path_factory.mktemp("kept") / "takes.db"
    with Store(path) as store:
        assert [keep_take(store, page, seed) for seed in (1, 2)] == [1, 2]
    return path


class Written:
    """An instrument that writes down what it is told."""

    lead_s = 0.0
    problem = ""

    def __init__(self) -> None:
        self.told: list[tuple[float, bytes]] = []
        self.sounding = Sounding()

    def play(self, time_s: float, data: bytes) -> None:
        self.sounding.hear(data)
        self.told.append((time_s, data))

    def play_now(self, data: bytes) -> None:
        self.play(math.nan, data)

    def silence(self) -> None:
        self.sounding = Sounding()

    def close(self) -> None:
        self.silence()


def as_numbers(events: list[KeyEvent], from_s: float) -> list[tuple[int, int, int, int]]:
    """(milliseconds, kind, number, value) from the first message at `from_s`."""
    zero_s = events[0].time_s
    return [
        (round((e.time_s - zero_s + from_s) * 1000), e.data[0] & 0xF0, e.data[1], e.data[2])
        for e in events
    ]


def test_what_is_sent_is_what_was_kept(page: Arrangement, kept: Path) -> None:
    """Notes, velocities, release velocities and pedal values, in order and to the millisecond."""
    clock, written = ManualClock(100.0), Written()
    partner = SecondPiano(page, lambda: written, clock, PartnerSettings(click=False))
    takes = read_hearings(kept, page, [1, 2])
    hearing = Hearing(page, PageHeard(whole_span(page)), takes, clock, partner.notice)
    try:
        hearing.tell(Command("again"))
        wait_for(lambda: _has_begun(partner))
        clock.move_to(100.0 + 10_000.0)
        with Store(kept) as store:
            one, other = store.events(1), store.events(2)
        second_s = one[-1].time_s - one[0].time_s + BETWEEN_S
        expected = as_numbers(one, 0.0) + as_numbers(other, second_s)
        wait_for(lambda: len(written.told) >= len(expected))
        assert not written.sounding.keys
    finally:
        partner.close()
    sent = [
        (round((s - 100.0 - BREATH_S) * 1000), d[0] & 0xF0, d[1], d[2]) for s, d in written.told
    ]
    assert [s[1:] for s in sent] == [e[1:] for e in expected]
    assert max(abs(s[0] - e[0]) for s, e in zip(sent, expected, strict=True)) <= 1
    releases = {value for _, kind, _, value in sent if kind == 0x80}
    halves = {value for _, kind, number, value in sent if (kind, number) == (0xB0, 64)}
    assert len(releases) > 10
    assert any(0 < value < 127 for value in halves)


def _has_begun(partner: SecondPiano) -> bool:
    accompanist = partner._accompanist
    return accompanist is not None and accompanist.due_s < math.inf


def test_the_page_is_where_the_take_was_found_to_be(page: Arrangement, kept: Path) -> None:
    clock = ManualClock(0.0)
    takes = read_hearings(kept, page, [1, 2])
    hearing = Hearing(page, PageHeard(whole_span(page)), takes, clock, lambda _: None)
    hearing.tell(Command("again"))
    with Store(kept) as store:
        notes = pair_notes(store.events(1)).notes
        found = store.detail(1, 1).findings
    zero_s = BREATH_S - takes[0].first_s
    right = [f for f in found if f.what == "right"]
    assert len(right) >= 40
    for finding in right[5::9]:
        assert finding.played is not None
        assert finding.score is not None
        clock.move_to(notes[finding.played].onset_s + zero_s + 1e-6)
        snapshot = hearing.snapshot()
        written_q = float(page.notes[finding.score].onset_q)
        assert snapshot.place_q is not None
        assert page.bar_at(snapshot.place_q) == page.bar_at(written_q)
        assert "take 1" in snapshot.heard
        assert "1 of 2" in snapshot.heard
    clock.move_to(BREATH_S + takes[0].length_s + BETWEEN_S + takes[1].length_s - 0.01)
    assert "take 2" in hearing.snapshot().heard
    clock.move_to(1e4)
    assert hearing.snapshot().state == "waiting"
    assert hearing.snapshot().place_q is None


def test_stop_and_another_choice_leave_nothing_sounding(page: Arrangement, kept: Path) -> None:
    clock, written = ManualClock(0.0), Written()
    partner = SecondPiano(page, lambda: written, clock, PartnerSettings(click=False))
    one, other = read_hearings(kept, page, [1, 2])
    listener = Listener(page, Drill(SPAN), clock, partner.notice)
    listener.start()
    try:
        for choice in ((one,), (other, one)):
            written.told.clear()
            listener.tell(Command("listen", extra={"takes": choice}))
            wait_for(lambda: listener.snapshot().state == "listening")
            wait_for(lambda: _has_begun(partner))
            clock.move_to(clock.now_s() + BREATH_S + 2.0)
            wait_for(lambda: bool(written.told) and bool(written.sounding.pedals))
        assert "take 2" in listener.snapshot().heard
        listener.tell(Command("stop"))
        wait_for(lambda: listener.snapshot().state != "listening")
        wait_for(lambda: not _has_begun(partner))
        wait_for(lambda: not (written.sounding.keys or written.sounding.pedals))
        clock.move_to(1e4)
        assert not written.sounding.keys
    finally:
        listener.stop()
        partner.close()


def test_a_fault_of_the_partner_silences_what_sounds(page: Arrangement, kept: Path) -> None:
    clock, written = ManualClock(0.0), Written()
    partner = SecondPiano(page, lambda: written, clock, PartnerSettings(click=False))
    takes = read_hearings(kept, page, [1])
    hearing = Hearing(page, PageHeard(SPAN), takes, clock, partner.notice)
    try:
        hearing.tell(Command("again"))
        wait_for(lambda: _has_begun(partner))
        clock.move_to(BREATH_S + 2.0)
        wait_for(lambda: bool(written.sounding.keys or written.sounding.pedals))
        partner.notice(Asked(Command("listen", extra={"events": [None]})))
        wait_for(lambda: bool(partner.problem))
        wait_for(lambda: not (written.sounding.keys or written.sounding.pedals))
    finally:
        partner.close()


def test_a_take_cut_off_lets_go_of_what_it_held(page: Arrangement) -> None:
    events = (
        KeyEvent(0.0, 0.0, bytes((0xB0, 64, 90))),
        KeyEvent(0.5, 0.0, bytes((0x90, 60, 70))),
    )
    cut = KeptHearing("take 9", events, np.zeros(0), np.zeros(0))
    told: list[Happening] = []
    clock = ManualClock(0.0)
    Hearing(page, PageHeard(SPAN), [cut], clock, told.append).tell(Command("again"))
    sounding = Sounding()
    for event in told[0].command.extra["events"]:  # type: ignore[union-attr]
        sounding.hear(event.data)
    assert not sounding.keys
    assert not sounding.pedals


def test_a_changed_page_is_followed_as_far_as_it_is_the_same(page: Arrangement, kept: Path) -> None:
    """A note more near the beginning, and one of another pitch inside the take."""
    inside = [n for n in page.notes if n.bar == 3][4]
    notes = [page.notes[0], *page.notes]
    notes = [replace(n, unison=-1, pitch=n.pitch + (n is inside)) for n in notes]
    changed = replace(page, notes=tuple(notes), content_hash="other")
    with Store(kept) as store:
        was, now = read_hearing(store, page, 1), read_hearing(store, changed, 1)
    assert was.note == ""
    assert "the page has changed since" in now.note
    places = dict(zip(was.moments_s, was.places_q, strict=True))
    assert 1 <= len(was.moments_s) - len(now.moments_s) <= 2
    assert all(places[s] == q for s, q in zip(now.moments_s, now.places_q, strict=True))


def test_a_page_of_other_notes_is_not_followed(page: Arrangement) -> None:
    known = dict.fromkeys(range(30), 20)
    assert carry_notes(known, page) == {}
    assert carry_notes({k: n.pitch for k, n in enumerate(page.notes)}, page) == {
        k: k for k in range(len(page.notes))
    }


def test_another_tempo_goes_on_from_the_same_place(page: Arrangement) -> None:
    clock = ManualClock(0.0)
    told: list[Happening] = []
    hearing = Hearing(page, PageHeard(SPAN), (), clock, told.append)
    hearing.tell(Command("again"))
    clock.move_to(BREATH_S + 2.0)
    before = hearing.snapshot()
    assert before.place_q is not None
    hearing.tell(Command("rate", rate=0.5))
    hearing.tell(Command("hands", hands="both"))
    after = hearing.snapshot()
    assert after.rate == 0.5
    assert after.place_q == before.place_q
    assert len(told) == 2


def test_a_page_saved_anew_while_a_take_is_heard_is_said(page: Arrangement, kept: Path) -> None:
    clock = ManualClock(0.0)
    told: list[Happening] = []
    takes = read_hearings(kept, page, [1])
    hearing = Hearing(page, PageHeard(whole_span(page)), takes, clock, told.append)
    hearing.tell(Command("again"))
    new = replace(page, content_hash="new")
    hearing.tell(Command("arrangement", extra={"arrangement": new}))
    assert hearing.snapshot().arrangement is new
    assert hearing.snapshot().state == "waiting"
    assert [one.command.kind for one in told if isinstance(one, Asked)] == ["listen", "hush"]
    hearing.tell(Command("again"))
    clock.move_to(BREATH_S + 3.0)
    assert hearing.snapshot().place_q is None
    assert "saved anew meanwhile" in hearing.snapshot().message


def test_no_such_take_and_an_empty_one_are_said(page: Arrangement, kept: Path) -> None:
    with pytest.raises(TakeError, match="no such take"):
        read_hearings(kept, page, [77])


def run_listen(kept: Path, *words: str) -> tuple[ExitStatus, str]:
    out = io.StringIO()
    env = Environment(stdout=out, stderr=out, variables={}, clock=ManualClock(0.0))
    return main(["listen", *words, "--data", str(kept.parent)], env), out.getvalue()


def test_two_takes_are_written_one_after_the_other(kept: Path, tmp_path: Path) -> None:
    file = tmp_path / "both.mid"
    status, said = run_listen(kept, "--take", "1", "--take", "2", "--to", str(file))
    assert status is ExitStatus.DONE
    assert "take 1 and take 2" in said
    with Store(kept) as store:
        counts = [len(pair_notes(store.events(number)).notes) for number in (1, 2)]
    assert len(read_recording(file).notes) == sum(counts)


def test_without_a_screen_it_goes_on_in_the_terminal(
    kept: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    written = Written()
    monkeypatch.setattr("practice.commands.sound_options.open_instrument", lambda *_: written)
    status, said = run_listen(kept, "--take", "1")
    assert status is ExitStatus.DONE
    assert "No screen here: going on without a window." in said
    assert not written.sounding.keys
