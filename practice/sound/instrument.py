"""What can be played upon: the built-in piano, or an instrument on a MIDI port.

Both take the same messages; who plays need not know which it is.
"""

from __future__ import annotations

import atexit
import threading
import weakref
from typing import Protocol

from practice.ports.ports import OpenOutput
from practice.sound.sounding import Sounding


class Instrument(Protocol):
    """Takes MIDI messages for moments of the stamping clock.

    Attributes:
        lead_s: a message must be handed over this long before it is to be heard.
        problem: why nothing is heard now, "" where it should be.
    """

    lead_s: float

    @property
    def problem(self) -> str: ...  # noqa: D102

    def play(self, time_s: float, data: bytes) -> None:
        """Sound a message at `time_s`; at once where that is past."""
        ...

    def play_now(self, data: bytes) -> None:
        """Sound a message as soon as can be."""
        ...

    def silence(self) -> None:
        """Nothing sounds any longer and no pedal is down. Never raises."""
        ...

    def close(self) -> None:
        """Silence it and let the device go. May be called twice."""
        ...


class Output(OpenOutput, Protocol):
    """An output that says why nothing is heard from it, "" where it should be."""

    @property
    def problem(self) -> str: ...  # noqa: D102


class MidiInstrument:
    """An instrument on a MIDI output. Messages go out the moment they are handed over.

    Args:
        port: it is closed with the instrument.
        output_latency_s: from there to the ear, as the user found it.
    """

    def __init__(self, port: Output, output_latency_s: float = 0.0) -> None:
        self.lead_s = output_latency_s
        self._port = port
        self._lock = threading.Lock()
        self._sounding = Sounding()
        self._open = True
        close_at_exit(self)

    @property
    def problem(self) -> str:
        """Why nothing is heard, as the output says it."""
        return self._port.problem

    def play(self, time_s: float, data: bytes) -> None:
        """Send it: whoever schedules waits for the moment itself."""
        self.play_now(data)

    def play_now(self, data: bytes) -> None:
        """Send a message."""
        with self._lock:
            if self._open:
                self._sounding.hear(data)
                self._send(data)

    def silence(self) -> None:
        """End every note and pedal sent so far."""
        with self._lock:
            for data in self._sounding.endings():
                self._send(data)
            self._sounding = Sounding()

    def close(self) -> None:
        """Silence it and close the port."""
        self.silence()
        with self._lock:
            was_open, self._open = self._open, False
        if was_open:
            self._port.close()

    def _send(self, data: bytes) -> None:
        try:
            self._port.send(data)
        except Exception:
            self._open = False  # a lost port must not stop the rest from being let go


def close_at_exit(instrument: Instrument) -> None:
    """Whatever else goes wrong, nothing sounds on after the program."""
    held = weakref.ref(instrument)

    def close() -> None:
        there = held()
        if there is not None:
            there.close()

    atexit.register(close)
