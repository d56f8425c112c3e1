"""Where "now" comes from. All that is live takes a clock: a test can play an hour in a second."""

from __future__ import annotations

import threading
import time
from typing import Protocol


class Clock(Protocol):
    """Seconds from one monotonic source, and waiting on it."""

    def now_s(self) -> float:
        """Seconds since some fixed moment; never goes back."""
        ...

    def wait(self, event: threading.Event, timeout_s: float) -> bool:
        """Wait until `event` is set or `timeout_s` of this clock are over; True if it was set."""
        ...


class SystemClock:
    """The machine's own monotonic clock, fine enough for a key stroke on every platform."""

    def now_s(self) -> float:
        """Seconds since some fixed moment."""
        return time.perf_counter()

    def wait(self, event: threading.Event, timeout_s: float) -> bool:
        """Wait in real time."""
        return event.wait(max(timeout_s, 0.0))


class FastClock:
    """A clock that runs `factor` times as fast as the machine's, from 0."""

    def __init__(self, factor: float) -> None:
        self._factor = factor
        self._start_s = time.perf_counter()

    def now_s(self) -> float:
        """Seconds of this clock since it was made."""
        return (time.perf_counter() - self._start_s) * self._factor

    def wait(self, event: threading.Event, timeout_s: float) -> bool:
        """Wait `timeout_s` of this clock's own seconds."""
        return event.wait(max(timeout_s, 0.0) / self._factor)


class ManualClock:
    """A clock that stands still until it is moved: the offline twin, for tests."""

    def __init__(self, start_s: float = 0.0) -> None:
        self._now_s = start_s

    def now_s(self) -> float:
        """Where it was last moved to."""
        return self._now_s

    def move_to(self, time_s: float) -> None:
        """Move it on; going back is refused silently, as a monotonic clock would."""
        self._now_s = max(self._now_s, time_s)

    def wait(self, event: threading.Event, timeout_s: float) -> bool:
        """Passes at once: the clock jumps to the end of the wait unless the event is set."""
        if event.is_set():
            return True
        self.move_to(self._now_s + timeout_s)
        return False
