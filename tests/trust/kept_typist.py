"""A process that keeps takes as fast as a dense pass comes, saying what it has handed on.

usage: python -m tests.trust.kept_typist STORE [SITTINGS TAKES MESSAGES]
Without numbers it keeps one take until it is killed; with them it keeps so many messages in each
of so many takes of so many sittings, one after another, and ends.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Iterable, Iterator
from datetime import UTC, datetime
from itertools import count, islice
from pathlib import Path

from engine.arrangement import Span
from engine.performance import KeyEvent
from practice.store.keeper import TakeKeeper
from practice.store.kept import TakeStart

EVERY_S = 0.005
ENDLESS = 1_000_000
#: After a take, before the next: longer than may be lost.
PAUSE_S = 1.5


def main(store: str, sittings: int = 1, takes: int = 1, messages: int = ENDLESS) -> None:
    """Hand on one message every 5 ms; after each, a line with its number and time."""
    numbers = count()
    for _ in range(sittings):
        keeper = TakeKeeper(Path(store), _now)
        for take in range(1, takes + 1):
            keeper.begin(take, _start())
            for number in _in_time(islice(numbers, messages)):
                keeper.append(take, message(number))
                sys.stdout.write(f"{number} {time.monotonic()}\n")
                sys.stdout.flush()
            keeper.end(take)
            time.sleep(PAUSE_S)
        keeper.stop()


def message(number: int) -> KeyEvent:
    """Pitch and velocity carry the number, so that order and content can be told afterwards."""
    return KeyEvent(number * EVERY_S, 0.0, bytes([0x90, number // 100 % 100, number % 100 + 1]))


def _in_time(numbers: Iterable[int]) -> Iterator[int]:
    began_s = time.monotonic()
    for at, number in enumerate(numbers):
        time.sleep(max(0.0, began_s + at * EVERY_S - time.monotonic()))
        yield number


def _now() -> datetime:
    return datetime.now(UTC)


def _start() -> TakeStart:
    return TakeStart("0" * 64, "kill", "", "", "played", _now(), Span(0, 0), "both", "free", 1.0)


if __name__ == "__main__":
    main(sys.argv[1], *map(int, sys.argv[2:]))
