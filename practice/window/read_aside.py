"""What takes too long for a frame is read on a thread of its own, and asked for frame by frame."""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import dataclass
from queue import Empty, SimpleQueue
from typing import Generic, TypeVar

Thing = TypeVar("Thing")


@dataclass(frozen=True, slots=True)
class Trouble:
    """Why something could not be read, in a line."""

    words: str


class ReadAside(Generic[Thing]):
    """Things read one after another beside the frames; the newest that has come counts."""

    def __init__(self) -> None:
        self._came: SimpleQueue[Thing | Trouble] = SimpleQueue()

    def start(self, read: Callable[[], Thing]) -> None:
        """Begin to read; the answer comes some frames later."""

        def run() -> None:
            try:
                self._came.put(read())
            except Exception as error:  # told in a line; the practising goes on
                self._came.put(Trouble(" ".join(f"{error}".split()) or type(error).__name__))

        threading.Thread(target=run, name="reading aside", daemon=True).start()

    def poll(self) -> Thing | Trouble | None:
        """What has come since the last time."""
        came: Thing | Trouble | None = None
        while True:
            try:
                came = self._came.get_nowait()
            except Empty:
                return came
