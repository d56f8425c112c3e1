"""Kept takes chosen by keys in the window and heard, the page moving with them."""

from __future__ import annotations

import threading
from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from engine.arrangement import Arrangement, Span, whole_span
from practice.clock import ManualClock
from practice.drill import Drill
from practice.listen.kept_hearing import KeptHearing
from practice.listen.listen import Listener
from practice.listen.listening import BREATH_S
from practice.listen.take_list import TakeRow, TakeShelf
from practice.player import CHARACTERS, perform
from practice.snapshot import Command, Snapshot, State
from practice.store.importing import judge_kept
from practice.store.kept import TakeStart
from practice.store.store import Store
from practice.window.asides import Asides, Takes
from practice.window.compose import parts_for
from practice.window.gestures import Press, press_key
from practice.window.ops import Words
from practice.window.overlays import compose_overlay
from practice.window.theme import THEMES
from practice.window.view import View
from tests.waiting import wait_for
from tests.window.staging import read_exercise

SPAN, PLAYED = Span(0, 1), Span(4, 6)
GENEROUS_S = 60.0


@pytest.fixture(scope="module")
def page() -> Arrangement:
    return read_exercise()


@pytest.fixture(scope="module")
def shelf(page: Arrangement, tmp_path_factory: pytest.TempPathFactory) -> TakeShelf:
    """Two takes of the page, one of the page before, one of another piece."""
    path = tmp_path_factory.mktemp("kept") / "takes.db"
    with Store(path) as store:
        for day, (content, title) in enumerate(
            [(page.content_hash, page.title), (page.content_hash, page.title),
             ("before", page.title), ("other", "Another")], 1,
        ):  # fmt: skip
            began = datetime(2026, 5, day, 9, 30, tzinfo=UTC)
            number = store.begin_take(
                TakeStart(
                    content, title, "", "Upright", "played", began, whole_span(page), None,
                    "free", 1.0,
                )
            )  # fmt: skip
            events = perform(
                page, CHARACTERS["steady"], np.random.default_rng(day), span=PLAYED, start_s=1.0
            )
            store.append(number, events, began)
            store.end_take(number, began)
            judge_kept(store, page, store.take(number))
    return TakeShelf(path)


@pytest.fixture
def told() -> list[Command]:
    return []


class Desk:
    """The view under keys, attended to as each frame does."""

    def __init__(self, view: View, asides: Asides) -> None:
        self.view, self._asides = view, asides

    def press(self, *keys: str) -> None:
        for key in keys:
            self.view = press_key(self.view, Press(key)).view
            self.attend()

    def attend(self) -> bool:
        self.view = self._asides.attend(self.view)
        return True

    def read_list(self) -> None:
        wait_for(lambda: self.attend() and self.view.takes.rows is not None)

    def says(self) -> str:
        parts = parts_for(self.view, (1600, 900))
        ops = compose_overlay(self.view, THEMES["light"], parts)
        return "\n".join(op.text for op in ops if isinstance(op, Words))


@pytest.fixture
def listener(page: Arrangement) -> Iterator[tuple[Listener, ManualClock]]:
    clock = ManualClock(0.0)
    listener = Listener(page, Drill(SPAN), clock, lambda _: None)
    listener.start()
    yield listener, clock
    listener.stop()


def at_desk(page: Arrangement, shelf: Takes | None, told: list[Command]) -> Desk:
    view = View(Snapshot(1, page, SPAN, "both", "free", 1.0, "waiting"))
    return Desk(view, Asides(None, None, shelf, told.append))


def test_takes_of_the_page_are_listed_newest_first(
    page: Arrangement, shelf: TakeShelf, told: list[Command]
) -> None:
    desk = at_desk(page, shelf, told)
    desk.press("r")
    desk.read_list()
    assert [row.number for row in desk.view.takes.rows or ()] == [3, 2, 1]
    said = desk.says()
    assert "an earlier page" in said
    assert "Take 2   2026-05-02 09:30" in said
    desk.press("r")
    assert desk.view.overlay == ""


def test_two_are_marked_and_heard_in_turn(
    page: Arrangement, shelf: TakeShelf, told: list[Command]
) -> None:
    desk = at_desk(page, shelf, told)
    desk.press("r")
    desk.read_list()
    desk.press("down", "space", "up", "space", "end", "space", "down")
    assert desk.view.takes.marked == (3, 1)
    desk.press("home", "space", "down", "space")
    assert desk.view.takes.marked == (1, 2)
    assert "2.  Take 2" in desk.says()
    desk.press("return")
    assert desk.view.overlay == ""
    wait_for(lambda: desk.attend() and bool(told))
    takes = told[0].extra["takes"]
    assert [take.name for take in takes] == ["take 1, 2026-05-01 09:30", "take 2, 2026-05-02 09:30"]


def test_the_place_moves_with_the_take_though_another_span_is_chosen(
    page: Arrangement, shelf: TakeShelf, listener: tuple[Listener, ManualClock]
) -> None:
    live, clock = listener
    desk = Desk(View(live.snapshot()), Asides(None, None, shelf, live.tell))
    desk.press("r")
    desk.read_list()
    desk.press("end", "return")
    wait_for(lambda: desk.attend() and live.snapshot().state == "listening")
    bars = []
    for into_s in (0.2, 3.0, 5.0):
        was = live.snapshot().place_q
        clock.move_to(BREATH_S + into_s)
        wait_for(lambda: live.snapshot().place_q != was)  # noqa: B023 (asked at once)
        place_q = live.snapshot().place_q
        assert place_q is not None
        bars.append(page.bar_at(place_q).index)
    assert bars == sorted(bars)
    assert len(set(bars)) > 1
    assert all(PLAYED.from_bar <= bar <= PLAYED.to_bar for bar in bars)
    assert "take 1" in live.snapshot().heard
    clock.move_to(1e4)
    wait_for(lambda: live.snapshot().state != "listening")
    assert live.snapshot().heard == ""


class HeldShelf:
    """A shelf that takes as long over reading as the test lets it."""

    def __init__(self, shelf: TakeShelf) -> None:
        self._shelf, self.go = shelf, threading.Event()

    def list_takes(self, arrangement: Arrangement) -> tuple[TakeRow, ...]:
        return self._shelf.list_takes(arrangement)

    def read(self, arrangement: Arrangement, numbers: Sequence[int]) -> tuple[KeptHearing, ...]:
        self.go.wait(GENEROUS_S)
        return self._shelf.read(arrangement, numbers)


@pytest.mark.parametrize(
    ("state", "heard", "says"),
    [("playing", 0, "The take is not played: you are playing"), ("waiting", 1, "")],
)
def test_a_pass_begun_meanwhile_is_not_broken_off(
    page: Arrangement, shelf: TakeShelf, told: list[Command], state: State, heard: int, says: str
) -> None:
    held = HeldShelf(shelf)
    desk = at_desk(page, held, told)
    desk.press("r")
    desk.read_list()
    desk.press("return")
    assert desk.view.note
    desk.view = replace(desk.view, snapshot=replace(desk.view.snapshot, state=state))
    held.go.set()
    wait_for(lambda: desk.attend() and desk.view.note == says)
    assert len(told) == heard


def test_where_no_takes_are_kept_it_is_said(
    page: Arrangement, tmp_path: Path, told: list[Command]
) -> None:
    desk = at_desk(page, None, told)
    desk.press("r")
    assert "No takes are kept here" in desk.says()
    empty = at_desk(page, TakeShelf(tmp_path / "none.db"), told)
    empty.press("r")
    empty.read_list()
    assert "No take of this page is kept yet" in empty.says()
    empty.press("return", "space", "down")
    broken = tmp_path / "broken.db"
    broken.write_bytes(b"no database" * 200)
    damaged = at_desk(page, TakeShelf(broken), told)
    damaged.press("r")
    damaged.read_list()
    assert damaged.view.takes.trouble
    assert told == []
