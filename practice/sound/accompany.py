"""Click and other hand, played at their moments: a thread of its own against the stamping clock.

Messages are held back until shortly before they are due, so that a follower may still think better
of them. Deadlines are absolute: nothing adds up. The thread sleeps until just before, then spins.
"""

from __future__ import annotations

import heapq
import math
import threading
from collections.abc import Iterable
from dataclasses import dataclass, field

from practice.clock import Clock
from practice.sound.instrument import Instrument

#: A sleep may end this late on a busy machine; the rest of the wait is spent spinning.
SPIN_S = 0.0015
#: With nothing due the thread looks up this often.
IDLE_S = 0.25


@dataclass(order=True, slots=True)
class _Due:
    time_s: float
    order: int
    data: bytes = field(compare=False)
    tag: str = field(compare=False)


class Accompanist:
    """Plays messages upon an instrument when their time has come.

    Args:
        instrument: what is played upon. clock: the stamping clock.
    """

    def __init__(self, instrument: Instrument, clock: Clock) -> None:
        self._instrument = instrument
        self._clock = clock
        self._due: list[_Due] = []
        self._order = 0
        self._in_hand_s = math.inf
        self._changed = threading.Condition(threading.RLock())
        self._running = True
        #: How late each message was handed over, beyond its lead: the last hundred, seconds.
        self.lateness_s: list[float] = []
        #: Messages the instrument refused; should stay 0.
        self.failures = 0
        self._thread = threading.Thread(target=self._run, name="accompanist", daemon=True)
        self._thread.start()

    def add(self, events: Iterable[tuple[float, bytes]], tag: str = "") -> None:
        """Play messages at their times (seconds on the clock). The tag lets them be taken back."""
        with self._changed:
            for time_s, data in events:
                heapq.heappush(self._due, _Due(time_s, self._order, data, tag))
                self._order += 1
            self._changed.notify()

    def take_back(self, tag: str) -> None:
        """Drop what is under a tag and has not been handed over. Note-offs stay due."""
        with self._changed:
            self._due = _without(tag, self._due)
            heapq.heapify(self._due)
            self._changed.notify()

    def replace(self, tag: str, events: Iterable[tuple[float, bytes]]) -> None:
        """Take back and add, with nothing played in between."""
        with self._changed:
            self.take_back(tag)
            self.add(events, tag)

    def stop(self) -> None:
        """Drop everything and silence the instrument."""
        with self._changed:
            self._due.clear()
            self._changed.notify()
        self._instrument.silence()

    def close(self) -> None:
        """Stop, end the thread, close the instrument."""
        with self._changed:
            self._running = False
            self._due.clear()
            self._changed.notify()
        self._thread.join(2.0)
        self._instrument.close()

    @property
    def due_s(self) -> float:
        """When the next message is due on the clock, also one in hand; infinity for none."""
        with self._changed:
            waiting_s = self._due[0].time_s if self._due else math.inf
            return min(waiting_s, self._in_hand_s)

    def _run(self) -> None:
        try:
            while self._running:
                self._take_step()
        finally:
            self._instrument.silence()

    def _take_step(self) -> None:
        """One step; where it fails another is tried after a while, not at once for ever."""
        try:
            self._step()
        except Exception:
            self.failures += 1
            with self._changed:
                self._changed.wait(IDLE_S)

    def _step(self) -> None:
        due = self._next_due()
        if due is None:
            return
        deadline_s = due.time_s - self._instrument.lead_s
        while self._clock.now_s() < deadline_s:
            pass
        self._note_lateness(self._clock.now_s() - deadline_s)
        try:
            self._instrument.play(due.time_s, due.data)
        except Exception:
            self.failures += 1
        self._in_hand_s = math.inf

    def _next_due(self) -> _Due | None:
        """The first message, once it is nearly due; None after a wait that ended otherwise."""
        with self._changed:
            wait_s = IDLE_S
            if self._due:
                lead_s = self._instrument.lead_s + SPIN_S
                wait_s = self._due[0].time_s - lead_s - self._clock.now_s()
                if wait_s <= 0:
                    due = heapq.heappop(self._due)
                    self._in_hand_s = due.time_s
                    return due
            self._changed.wait(min(wait_s, IDLE_S))
            return None

    def _note_lateness(self, late_s: float) -> None:
        self.lateness_s.append(late_s)
        del self.lateness_s[:-100]


def _without(tag: str, due: list[_Due]) -> list[_Due]:
    """What is left when a tag is taken back: endings of what has begun to sound stay due."""
    kept = []
    dropped: set[bytes] = set()
    for item in sorted(due):
        if item.tag != tag:
            kept.append(item)
        elif not _lets_go(item.data):
            dropped.add(_thing(item.data))
        elif _thing(item.data) in dropped:
            dropped.discard(_thing(item.data))
        else:
            kept.append(item)
    return kept


def _lets_go(data: bytes) -> bool:
    """A message that ends something: a key or a pedal coming up."""
    return data[0] & 0xF0 == 0x80 or (data[0] & 0xF0 in (0x90, 0xB0) and data[2] == 0)


def _thing(data: bytes) -> bytes:
    """The key or pedal a message is about."""
    return bytes([data[0] & 0x0F, data[0] & 0xF0 == 0xB0, data[1]])
