"""Writes takes to the store on a thread of its own, as they are played.

Events are committed four times a second, so that a killed program loses no more than that, and
made safe against a power cut twice a second, at the end of a take and with each pass. Where the
store cannot be written, everything waits in memory, is tried again every second, and the problem
is told until it is over.
"""

from __future__ import annotations

import queue
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import datetime
from pathlib import Path

from engine.performance import KeyEvent
from practice.store.kept import KeptPass, PassDetail, TakeStart
from practice.store.store import Store, StoreError

#: Together less than the second of notes that may be lost.
COMMIT_S, SYNC_S = 0.25, 0.5
#: After a failure, until the next try.
RETRY_S = 1.0
#: An open take in which nothing happens still says this often that its program lives.
HEARTBEAT_S = 3.0
#: How often the last writing is tried.
LAST_TRIES = 3


@dataclass
class _OpenTake:
    """A take being written: its number once it has one, events not yet committed."""

    start: TakeStart
    number: int = 0
    waiting: list[KeyEvent] = field(default_factory=list)
    has_notes: bool = False
    ended: bool = False
    synced_s: float = 0.0
    unsynced: bool = True


class TakeKeeper:
    """Keeps takes.

    Args:
        path: the store's file. now: the wall clock.

    Raises:
        StoreError: the store cannot be opened.
    """

    def __init__(self, path: Path, now: Callable[[], datetime]) -> None:
        Store(path).close()
        self._path = path
        self._now = now
        self._queue: queue.SimpleQueue[Callable[[], None] | None] = queue.SimpleQueue()
        self._open: dict[int, _OpenTake] = {}
        self._passes: list[tuple[int, KeptPass, PassDetail]] = []
        self._keepers: list[int] = []
        self._numbers: dict[int, int] = {}
        self._known = threading.Condition()
        self._retry_s = 0.0
        #: What keeps takes from being written; "" while all is well.
        self.problem = ""
        #: Things that could not be written and never will be; should stay 0.
        self.failures = 0
        #: Notes that were played and never written, told once `stop` has returned.
        self.unkept = 0
        self._thread = threading.Thread(target=self._run, name="store", daemon=True)
        self._thread.start()

    # called from other threads; only `number` and `stop` wait

    def begin(self, take: int, start: TakeStart) -> None:
        """A take of the session begins; it is written once a note is struck."""
        self._queue.put(lambda: self._begin(take, start))

    def append(self, take: int, event: KeyEvent) -> None:
        """One message of it."""
        self._queue.put(lambda: self._append(take, event))

    def end(self, take: int) -> None:
        """It is over."""
        self._queue.put(lambda: self._end(take))

    def add_pass(self, take: int, kept: KeptPass, detail: PassDetail) -> None:
        """A pass of it was judged; `kept.take` is filled in here. The take may have ended."""
        self._queue.put(lambda: self._passes.append((take, kept, detail)))

    def mark_keeper(self, take: int) -> None:
        """The player wants to find this take again."""
        self._queue.put(lambda: self._keepers.append(take))

    def number(self, take: int, timeout_s: float = 5.0) -> int:
        """The take's number in the store; waits for it, 0 if it does not come."""
        with self._known:
            self._known.wait_for(lambda: take in self._numbers, timeout_s)
            return self._numbers.get(take, 0)

    def stop(self) -> None:
        """Write everything that waits, close takes and store. `problem` tells if that failed."""
        self._queue.put(None)
        self._thread.join()

    # on the store's thread

    def _run(self) -> None:
        store = Store(self._path)
        try:
            while self._gather():
                self._write(store)
            for one in self._open.values():
                one.ended = True
            self._write_last(store)
            waiting = (event for one in self._open.values() for event in one.waiting)
            self.unkept = sum(map(_strikes, waiting))
        finally:
            store.close()

    def _write_last(self, store: Store) -> None:
        """There is no later: what fails is tried again at once, a few times."""
        for _ in range(LAST_TRIES):
            self._retry_s = 0.0
            self._write(store)
            if not (self._open or self._passes or self._keepers):
                return

    def _gather(self) -> bool:
        """Take what comes for a while; False when it was the last."""
        until_s = time.monotonic() + COMMIT_S
        while (left_s := until_s - time.monotonic()) > 0:
            try:
                act = self._queue.get(timeout=left_s)
            except queue.Empty:
                return True
            if act is None:
                return False
            try:
                act()
            except Exception as error:
                self._give_up(error)
        return True

    def _give_up(self, error: Exception) -> None:
        """One thing is lost; the thread goes on for all the others."""
        self.failures += 1
        self.problem = f"something could not be kept ({type(error).__name__}: {error})"

    def _begin(self, take: int, start: TakeStart) -> None:
        self._open[take] = _OpenTake(start)

    def _append(self, take: int, event: KeyEvent) -> None:
        one = self._open[take]
        one.waiting.append(event)
        one.has_notes = one.has_notes or _strikes(event)

    def _end(self, take: int) -> None:
        self._open[take].ended = True

    def _write(self, store: Store) -> None:
        if time.monotonic() < self._retry_s:
            return
        try:
            for take in list(self._open):
                self._write_take(store, take)
            while self._passes:
                self._write_next_pass(store)
            while self._keepers:
                number = self._numbers.get(self._keepers[0], 0)
                store.mark_keeper(number)
                store.sync(number, self._now())
                self._keepers.pop(0)
            if not self.failures:
                self.problem = ""
        except Exception as error:
            told = isinstance(error, StoreError)
            self.problem = str(error) if told else f"{type(error).__name__}: {error}"
            self._retry_s = time.monotonic() + RETRY_S

    def _write_take(self, store: Store, take: int) -> None:
        one = self._open[take]
        if one.has_notes and not one.number:
            one.number = store.begin_take(one.start)
            with self._known:
                self._numbers[take] = one.number
                self._known.notify_all()
        if one.number and one.waiting:
            store.append(one.number, one.waiting, self._now())
            one.waiting = []
            one.unsynced = True
        if one.number:
            self._sync_take(store, one)
        if one.ended:
            if one.number:
                store.end_take(one.number, self._now())
                store.sync(one.number, self._now())  # nothing may come after it that does
            del self._open[take]

    def _sync_take(self, store: Store, one: _OpenTake) -> None:
        since_s = time.monotonic() - one.synced_s
        if since_s >= (SYNC_S if one.unsynced else HEARTBEAT_S):
            store.sync(one.number, self._now())
            one.synced_s, one.unsynced = time.monotonic(), False

    def _write_next_pass(self, store: Store) -> None:
        """What the store refuses waits to be tried again; what is no pass at all is let go."""
        try:
            self._write_pass(store, *self._passes[0])
        except StoreError:
            raise
        except Exception as error:
            self._give_up(error)
        self._passes.pop(0)

    def _write_pass(self, store: Store, take: int, kept: KeptPass, detail: PassDetail) -> None:
        if number := self._numbers.get(take, 0):
            store.add_pass(replace(kept, take=number), detail)
            store.sync(number, self._now())


def _strikes(event: KeyEvent) -> bool:
    return event.data[0] & 0xF0 == 0x90 and event.data[2] > 0
