"""Whatever comes down the cable: no crash, no stuck note, and later notes are followed."""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from pathlib import Path

import numpy as np

from engine.arrangement import Arrangement, whole_span
from engine.performance import KeyEvent, NotePairer
from engine.read import read_arrangement
from practice.clock import ManualClock
from practice.drill import Drill
from practice.listen.happenings import EventHeard, Happening
from practice.listen.listen import Listener
from practice.player import CHARACTERS, perform
from practice.ports.ports import PortChange
from practice.snapshot import Said, Snapshot
from tests.trust.verdict import Verdict

EXERCISE = Path(__file__).resolve().parents[2] / "exercises" / "two-sluices.musicxml"
RATE_PER_S = 20_000
#: So many messages come at once, as drivers hand them over.
BURST = 100
#: What waits is heard in this time on any machine.
SETTLED_S = 120.0
#: What the program may grow by while a minute of flood goes through it.
MOST_GROWTH_MB = 20.0

#: Notes after a flood until the place must be known again: what came before them was noise.
FINDING_ONES_PLACE = 12

Rng = np.random.Generator
Flood = Callable[[float, Rng], Iterator[KeyEvent]]


def notes_at_random(length_s: float, rng: Rng) -> Iterator[KeyEvent]:
    """Note-ons and note-offs of any key, as fast as a broken device can send."""
    for k in range(int(length_s * RATE_PER_S)):
        status = 0x90 if rng.random() < 0.5 else 0x80
        data = bytes([status, int(rng.integers(0, 128)), int(rng.integers(0, 128))])
        yield KeyEvent(k / RATE_PER_S, 0.0, data)


def garbage(length_s: float, rng: Rng) -> Iterator[KeyEvent]:
    """Any bytes of any length, half messages among them."""
    for k in range(int(length_s * RATE_PER_S)):
        yield KeyEvent(k / RATE_PER_S, 0.0, rng.bytes(int(rng.integers(0, 5))))


def sensing_and_clock(length_s: float, _rng: Rng) -> Iterator[KeyEvent]:
    """Active sensing and timing clock without end."""
    for k in range(int(length_s * RATE_PER_S)):
        yield KeyEvent(k / RATE_PER_S, 0.0, bytes([0xFE if k % 2 else 0xF8]))


def never_ending_notes(length_s: float, rng: Rng) -> Iterator[KeyEvent]:
    """Note-ons that never get their note-off."""
    for k in range(int(length_s * RATE_PER_S)):
        yield KeyEvent(k / RATE_PER_S, 0.0, bytes([0x90, int(rng.integers(21, 109)), 64]))


def long_exclusive(_length_s: float, rng: Rng) -> Iterator[KeyEvent]:
    """A system exclusive message of a megabyte."""
    body = bytes(b & 0x7F for b in rng.bytes(2**20))
    yield KeyEvent(0.0, 0.0, b"\xf0" + body + b"\xf7")


FLOODS: dict[str, Flood] = {
    "notes at random, 20,000 a second": notes_at_random,
    "garbage bytes, 20,000 a second": garbage,
    "active sensing and clock, 20,000 a second": sensing_and_clock,
    "notes that never end, 20,000 a second": never_ending_notes,
    "a system exclusive of a megabyte": long_exclusive,
}


def flood_all(length_s: float, seed: int = 1) -> list[Verdict]:
    """Every flood once; after each, a perfect performance must be followed without a slip."""
    arrangement = read_arrangement(EXERCISE)
    return [_flood(name, flood, arrangement, length_s, seed) for name, flood in FLOODS.items()]


class Hearer:
    """A listener on its thread, fed in the time of a clock that the feeder moves."""

    def __init__(self, arrangement: Arrangement) -> None:
        self.clock = ManualClock()
        #: What is told, as whoever reads the take back will pair it.
        self.kept = NotePairer()
        self.listener = Listener(
            arrangement, Drill(whole_span(arrangement)), self.clock, self._happened, keeps_all=False
        )
        self.listener.start()

    def _happened(self, happening: Happening) -> None:
        if isinstance(happening, EventHeard):
            self.kept.hear(happening.event)

    def feed(self, event: KeyEvent) -> None:
        """One message at its time, however many wait."""
        self.clock.move_to(event.time_s)
        self.listener.hand_on(event)

    def pour(self, events: Iterable[KeyEvent]) -> float:
        """Messages at their pace in real time; the time of the last."""
        began_s, last_s = time.monotonic(), 0.0
        for number, event in enumerate(events):
            if number % BURST == 0:
                time.sleep(max(0.0, began_s + event.time_s - time.monotonic()))
            self.feed(event)
            last_s = event.time_s
        return last_s

    def settle(self) -> None:
        """Wait until all is heard and a snapshot says so; raises TimeoutError."""
        until_s = time.monotonic() + SETTLED_S
        while self.listener._queue.qsize():
            _wait_or_give_up(until_s)
        version = self.listener.snapshot().version
        self.listener.learn(Said(f"heard all by {self.clock.now_s()}"))
        while self.listener.snapshot().version == version:
            _wait_or_give_up(until_s)

    def play(self, events: Sequence[KeyEvent]) -> Snapshot:
        """A performance, each message heard before the next; the picture at its end."""
        for event in events:
            self.feed(event)
            while self.listener._queue.qsize():
                time.sleep(0)
        self.settle()
        return self.listener.snapshot()


def _wait_or_give_up(until_s: float) -> None:
    if time.monotonic() > until_s:
        raise TimeoutError
    time.sleep(0.001)


def _flood(
    name: str, flood: Flood, arrangement: Arrangement, length_s: float, seed: int
) -> Verdict:
    hearer, before_mb = Hearer(arrangement), _memory_mb()
    last_s = hearer.pour(flood(length_s, np.random.default_rng(seed)))
    hearer.settle()
    listener = hearer.listener
    listener.port_changed(PortChange("keys", False, last_s + 0.1))
    hearer.settle()
    held = len(hearer.kept.keys_down)
    hearer.clock.move_to(last_s + 30.0)
    hearer.settle()
    grown_mb = _memory_mb() - before_mb
    listener.port_changed(PortChange("keys", True, last_s + 31.0))
    hearer.settle()
    wrong = _wrong_in_perfect_pass(hearer, arrangement, last_s + 40.0)
    dropped = listener.snapshot().lost_notes
    listener.stop()
    lost = [f"{wrong} later notes not followed"] * bool(wrong)
    lost += [f"{held} stuck notes"] * bool(held)
    lost += [f"grew by {grown_mb:.0f} MB"] * (grown_mb > MOST_GROWTH_MB)
    told = f"{dropped} messages dropped" if dropped else "nothing"
    return Verdict(name, 1, not lost, "; ".join(lost) or told)


def _wrong_in_perfect_pass(hearer: Hearer, arrangement: Arrangement, start_s: float) -> int:
    events = perform(arrangement, CHARACTERS["steady"], np.random.default_rng(0), start_s=start_s)
    last_stroke = max(k for k, e in enumerate(events) if e.data[0] & 0xF0 == 0x90 and e.data[2])
    seen = hearer.play(events[: last_stroke + 1])
    strokes = sum(e.data[0] & 0xF0 == 0x90 and e.data[2] > 0 for e in events)
    right = sum(f.what == "right" and (f.played or 0) >= FINDING_ONES_PLACE for f in seen.findings)
    return strokes - FINDING_ONES_PLACE - right


def _memory_mb() -> float:
    """Resident memory now (Linux)."""
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 2**20
