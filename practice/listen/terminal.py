"""Practising without a window: what the session does and what each pass came to, as lines."""

from __future__ import annotations

import contextlib
import threading
from collections.abc import Callable
from typing import TextIO

from practice.listen.listen import Listener
from practice.listen.spoken_account import say_record
from practice.snapshot import Command, Snapshot

LOOK_S = 0.1


class Terminal:
    """Tells a session in lines of text.

    Args:
        listener: whose snapshots are told.
        say: prints a line.
    """

    def __init__(self, listener: Listener, say: Callable[[str], None]) -> None:
        self._listener = listener
        self._say = say
        self._state_text = self._message = self._port = ""
        self._passes = 0

    def run(self) -> None:
        """Until the session has ended."""
        while not self._listener.ended.wait(LOOK_S):
            self.look()

    def look(self) -> None:
        """Say what is new."""
        snapshot = self._listener.snapshot()
        self._say_port(snapshot)
        if snapshot.message != self._message:
            self._message = snapshot.message
            if snapshot.message:
                self._say(f"! {snapshot.message}")
        self._say_passes(snapshot)
        if snapshot.state_text != self._state_text:
            self._state_text = snapshot.state_text
            self._say(snapshot.state_text)

    def _say_port(self, snapshot: Snapshot) -> None:
        port = snapshot.port if snapshot.connected else ""
        if port and port != self._port:
            self._say(f"Keyboard: {port}")
        self._port = port

    def _say_passes(self, snapshot: Snapshot) -> None:
        for record in snapshot.passes[self._passes :]:
            self._say("")
            for line in say_record(snapshot.arrangement, record):
                self._say(line)
            if record.place:
                self._say(f"  {record.place}.")
            self._say("")
        self._passes = len(snapshot.passes)


def read_keys(stdin: TextIO, listener: Listener) -> None:
    """Return means "again", q and Return "quit": read on a thread that ends with the program."""

    def run() -> None:
        with contextlib.suppress(ValueError, OSError):
            for line in stdin:
                listener.tell(Command("quit" if line.strip().casefold() == "q" else "again"))

    threading.Thread(target=run, name="terminal", daemon=True).start()
