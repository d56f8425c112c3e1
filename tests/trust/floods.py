"""Whatever comes down the cable: no crash, no stuck note, and later notes are followed."""

from __future__ import annotations

import resource
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np

from engine.arrangement import Arrangement, whole_span
from engine.follow import Follower
from engine.performance import KeyEvent
from engine.read import read_arrangement
from practice.drill import Drill
from practice.listen.happenings import TakeEnded
from practice.listen.session import Session
from practice.player import CHARACTERS, perform
from tests.trust.verdict import Verdict

EXERCISE = Path(__file__).resolve().parents[2] / "exercises" / "two-sluices.musicxml"
RATE_PER_S = 20_000
#: What a session may grow by while a minute of flood goes through it, besides the take itself.
MOST_GROWTH_MB = 64.0

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


def _flood(
    name: str, flood: Flood, arrangement: Arrangement, length_s: float, seed: int
) -> Verdict:
    rng = np.random.default_rng(seed)
    session = Session(arrangement, Drill(whole_span(arrangement)), Follower)
    before_mb, last_s = _memory_mb(), 0.0
    for event in flood(length_s, rng):
        session.hear(event)
        last_s = event.time_s
    session.port_changed("", False, last_s + 0.1)
    session.tick(last_s + 30.0)
    grown_mb = _memory_mb() - before_mb
    session.port_changed("keys", True, last_s + 31.0)
    wrong = _wrong_in_perfect_pass(session, arrangement, last_s + 40.0)
    lost = [f"{wrong} later notes not followed"] * bool(wrong)
    lost += [f"grew by {grown_mb:.0f} MB"] * (grown_mb > MOST_GROWTH_MB)
    return Verdict(name, 1, not lost, "; ".join(lost) or "nothing")


def _wrong_in_perfect_pass(session: Session, arrangement: Arrangement, start_s: float) -> int:
    events = perform(arrangement, CHARACTERS["steady"], np.random.default_rng(0), start_s=start_s)
    told = [happening for event in events for happening in session.hear(event)]
    told += session.end(events[-1].time_s + 30.0)
    take = next(h for h in reversed(told) if isinstance(h, TakeEnded))
    strokes = sum(e.data[0] & 0xF0 == 0x90 and e.data[2] > 0 for e in events)
    since = len(take.notes) - strokes
    right = sum(
        f.what == "right" for f in take.live if (f.played or 0) >= since + FINDING_ONES_PLACE
    )
    return strokes - FINDING_ONES_PLACE - right


def _memory_mb() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
