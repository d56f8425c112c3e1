"""A process that keeps a take as fast as a dense pass comes, saying what it has handed on.

usage: python -m tests.trust.kept_typist STORE
"""

from __future__ import annotations

import sys
import time
from datetime import UTC, datetime
from pathlib import Path

from engine.arrangement import Span
from engine.performance import KeyEvent
from practice.store.keeper import TakeKeeper
from practice.store.kept import TakeStart

EVERY_S = 0.005


def main(store: str) -> None:
    """Hand on one message every 5 ms until killed; after each, a line with its number and time."""

    def now() -> datetime:
        return datetime.now(UTC)

    keeper = TakeKeeper(Path(store), now)
    start = TakeStart("0" * 64, "kill", "", "", "played", now(), Span(0, 0), "both", "free", 1.0)
    keeper.begin(1, start)
    began_s = time.monotonic()
    for number in range(1_000_000):
        due_s = number * EVERY_S
        time.sleep(max(0.0, began_s + due_s - time.monotonic()))
        # Pitch and velocity carry the number, so that order and content can be told afterwards.
        data = bytes([0x90, number // 100 % 100, number % 100 + 1])
        keeper.append(1, KeyEvent(due_s, 0.0, data))
        sys.stdout.write(f"{number} {time.monotonic()}\n")
        sys.stdout.flush()


if __name__ == "__main__":
    main(sys.argv[1])
