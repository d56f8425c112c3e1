"""An exception in every thread in turn: the sitting goes on, the take is kept, the fault told."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np

from engine.arrangement import Span
from engine.performance import KeyEvent
from engine.read import read_arrangement
from practice.clock import FastClock
from practice.drill import Drill
from practice.listen import judge, sitting
from practice.listen.listen import Listener
from practice.listen.session import Session
from practice.listen.sitting import Setting, Sitting
from practice.player import CHARACTERS, perform
from practice.ports import ports
from practice.ports.stamps import StampClock
from practice.snapshot import Command
from practice.sound import accompany
from practice.sound.accompany import Accompanist
from practice.sound.partner import PartnerSettings, SecondPiano
from practice.store import keeper
from practice.store.keeper import TakeKeeper
from practice.store.store import Store
from tests.trust.verdict import Verdict

EXERCISE = Path(__file__).resolve().parents[2] / "exercises" / "brine-pump.musicxml"
SPAN = Span(2, 4)
SPEED = 150.0
#: A sitting that has not ended by then hangs.
MOST_S = 20.0
#: So long the partner has at first to get the page ready; if it comes too late to be played at all,
#: for time runs fast here, it is asked again with twice as much.
READY_S = 0.1
#: Messages of the page heard: more than the call at which a fault is planted.
SOME = 5


class PlantedFault(Exception):
    """No part of the program expects this one."""


@dataclass(frozen=True, slots=True)
class Place:
    """Where a fault is planted.

    Attributes:
        thread: whose it is. owner, name: the function. may_lose: messages that it may cost.
        heals: it is tried again, and there is nothing to tell once that went well.
    """

    thread: str
    owner: Any
    name: str
    may_lose: int = 0
    heals: bool = False


class SilentInstrument:
    """Plays nothing, and counts what it was to play of all there are."""

    lead_s = 0.0
    problem = ""
    played = 0

    def __init__(self) -> None:
        self.closed = False

    def play(self, time_s: float, data: bytes) -> None:
        SilentInstrument.played += 1

    def play_now(self, data: bytes) -> None: ...
    def silence(self) -> None: ...

    def close(self) -> None:
        self.closed = True


class OneKeyboard:
    """A driver with one keyboard, whose callback is called by hand."""

    windows = False

    def __init__(self) -> None:
        self.callback: ports.Callback | None = None

    def inputs(self) -> list[str]:
        return ["Upright"]

    def grain_s(self, name: str) -> float:
        return 0.001

    def open_input(self, name: str, callback: ports.Callback) -> OneKeyboard:
        self.callback = callback
        return self

    def close(self) -> None:
        """Nothing to close."""


PLACES = (
    Place("listener", Listener, "_publish"),
    Place("listener", Listener, "_take_waiting"),
    Place("listener", Session, "tick"),
    Place("listener", Session, "hear", may_lose=1),
    Place("listener", Sitting, "_note_pulse"),
    Place("judge", judge, "review_take"),
    Place("judge", Sitting, "_judged"),
    Place("judge", sitting, "detail_of"),
    Place("store keeper", Store, "append", heals=True),
    Place("store keeper", Store, "sync", heals=True),
    Place("store keeper", Store, "add_pass"),
    Place("store keeper", TakeKeeper, "_append", may_lose=1),
    Place("port watcher", OneKeyboard, "inputs"),
    Place("callback", StampClock, "stamp", may_lose=1),
    Place("callback", SecondPiano, "hear"),
    Place("partner", SecondPiano, "_notice"),
    Place("partner", SilentInstrument, "__init__"),
    Place("sound", Accompanist, "_next_due"),
    Place("sound", SilentInstrument, "play"),
)


def fail_in_all_threads(tries: int, seed: int = 1) -> list[Verdict]:
    """Every place `tries` times, the fault at one of its first calls; a line for each thread."""
    rng = np.random.default_rng(seed)
    troubles: dict[str, list[str]] = {}
    for place in PLACES:
        for _ in range(tries):
            trouble = fail_once(place, int(rng.integers(1, 4)))
            troubles.setdefault(place.thread, []).append(trouble)
    return [_verdict(thread, found) for thread, found in troubles.items()]


def _verdict(thread: str, found: list[str]) -> Verdict:
    first = next((trouble for trouble in found if trouble), "nothing beyond the faulty message")
    survived = sum(not trouble for trouble in found)
    return Verdict(f"an exception: {thread}", len(found), survived, first)


def fail_once(place: Place, at_call: int) -> str:
    """Plant one fault, play a pass, end the sitting; "" where all went as it should."""
    with (
        TemporaryDirectory() as folder,
        _hurried(),
        deaths() as died,
        _planted(place, at_call) as planted,
    ):
        store = Path(folder) / "takes.db"
        sent, told = _play_a_pass(store)
        if told is None:
            return f"{place.name}: the sitting hangs"
        kept = _kept_messages(store)
    if not planted.is_set():
        return f"{place.name}: the fault was never reached"
    if died:
        return f"{place.name}: the thread died ({died[0]})"
    if kept < sent - place.may_lose:
        return f"{place.name}: {sent - kept} of {sent} messages lost"
    return "" if told or place.heals else f"{place.name}: nothing was counted or said"


def planted_nowhere() -> str:
    """The same without a fault; what went otherwise than it should."""
    with TemporaryDirectory() as folder, _hurried(), deaths() as died:
        store = Path(folder) / "takes.db"
        sent, told = _play_a_pass(store)
        if told is None or died or _kept_messages(store) != sent:
            return f"hangs, dies ({died}) or loses messages without any fault"
    return "something was counted or said" if told else "nothing was counted or said"


@contextmanager
def deaths() -> Iterator[list[str]]:
    """What ended threads meanwhile."""
    died: list[str] = []
    before = threading.excepthook
    threading.excepthook = lambda args: died.append(args.exc_type.__name__)
    try:
        yield died
    finally:
        threading.excepthook = before


@contextmanager
def _hurried() -> Iterator[None]:
    """Time runs fast here: whoever looks up now and then does so more often."""
    watch_s, ports.WATCH_S = ports.WATCH_S, 0.02
    commit_s, keeper.COMMIT_S = keeper.COMMIT_S, 0.02
    idle_s, accompany.IDLE_S = accompany.IDLE_S, 0.005
    try:
        yield
    finally:
        keeper.COMMIT_S = commit_s
        ports.WATCH_S, accompany.IDLE_S = watch_s, idle_s


@contextmanager
def _planted(place: Place, at_call: int) -> Iterator[threading.Event]:
    """The function raises once: at a call counted on its own thread, or at its first if rare."""
    real: Callable[..., Any] = getattr(place.owner, place.name)
    done, calls = threading.Event(), [0]
    rare = place.name in ("review_take", "_judged", "detail_of", "add_pass", "sync", "append",
            "__init__", "_note_pulse")  # fmt: skip

    def fail(*args: Any, **more: Any) -> Any:
        # The main thread starts and stops the sitting: its failures are no thread's.
        at_home = threading.current_thread() is not threading.main_thread()
        calls[0] += at_home or place.thread == "callback"
        if calls[0] >= (1 if rare else at_call) and not done.is_set() and calls[0]:
            done.set()
            raise PlantedFault("planted")
        return real(*args, **more)

    setattr(place.owner, place.name, fail)
    try:
        yield done
    finally:
        setattr(place.owner, place.name, real)


def _play_a_pass(store: Path) -> tuple[int, bool | None]:
    """Messages sent; whether anything was counted or said, None where the sitting hangs."""
    arrangement, clock = read_arrangement(EXERCISE), FastClock(SPEED)
    takes = TakeKeeper(store, lambda: datetime.now(UTC))
    partner = SecondPiano(
        arrangement, SilentInstrument, clock, PartnerSettings(own_notes=True), at_once=True
    )  # fmt: skip
    setting = Setting(
        arrangement, str(EXERCISE), Drill(SPAN), clock, lambda: datetime.now(UTC), "demo"
    )
    one, driver = Sitting(setting, takes, partner), OneKeyboard()
    one.start()
    keyboard = one.connect(driver)
    sent = _send_all(driver, clock, perform(
        arrangement, CHARACTERS["steady"], np.random.default_rng(0), span=SPAN,
        start_s=clock.now_s() + 3.0,
    ))  # fmt: skip
    SilentInstrument.played = 0
    _listen(one, partner, clock)
    ending = threading.Thread(target=one.stop, daemon=True)
    ending.start()
    ending.join(MOST_S)
    said = one.snapshot().message
    accompanist = partner._accompanist
    counted = takes.failures + keyboard.failures + partner.failures
    counted += accompanist.failures if accompanist else 0
    return sent, None if ending.is_alive() else bool(said or counted)


def _listen(one: Sitting, partner: SecondPiano, clock: FastClock) -> None:
    """Have the page played until some of it was, or the thread that plays has failed."""
    ready_s, give_up_s = READY_S, time.monotonic() + MOST_S
    while time.monotonic() < give_up_s:
        start_s = clock.now_s() + ready_s * SPEED
        one.tell(Command("listen", span=SPAN, extra={"start_s": start_s}))
        again_s = time.monotonic() + 2 * ready_s
        while time.monotonic() < again_s:
            accompanist = partner._accompanist
            failed = partner.failures + (accompanist.failures if accompanist else 0)
            if failed or SilentInstrument.played >= SOME:
                return
            time.sleep(0.005)
        ready_s *= 2


def _send_all(driver: OneKeyboard, clock: FastClock, events: list[KeyEvent]) -> int:
    assert driver.callback is not None
    before_s, never = events[0].time_s, threading.Event()
    for event in events:
        clock.wait(never, event.time_s - clock.now_s())
        driver.callback((list(event.data), event.time_s - before_s), None)
        before_s = event.time_s
    return len(events)


def _kept_messages(store: Path) -> int:
    with Store(store) as reopened:
        return sum(len(reopened.events(take.number)) for take in reopened.takes())
