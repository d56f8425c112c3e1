"""A request to end, from wherever, ends what is being done and not the program at once."""

from __future__ import annotations

import contextlib
import signal
import threading
from collections.abc import Iterator

_NAMES = ("SIGINT", "SIGTERM", "SIGHUP", "SIGBREAK")


@contextlib.contextmanager
def interruptible() -> Iterator[None]:
    """Inside, such a request raises KeyboardInterrupt, so that everything is still let go."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return

    def interrupt(*_: object) -> None:
        raise KeyboardInterrupt

    numbers = [getattr(signal, name) for name in _NAMES if hasattr(signal, name)]
    before = [signal.signal(number, interrupt) for number in numbers]
    try:
        yield
    finally:
        for number, handler in zip(numbers, before, strict=True):
            signal.signal(number, handler)
