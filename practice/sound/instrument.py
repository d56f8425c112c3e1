"""What can be played upon: the built-in piano, or an instrument on a MIDI port.

Both take the same messages; who plays need not know which it is.
"""

from __future__ import annotations

import atexit
import threading
import weakref
from typing import Protocol

from engine.performance import DAMPER, PEDALS, SOFT, SOSTENUTO
from practice.ports.ports import OpenOutput

#: Controllers by the MIDI 1.0 specification.
ALL_SOUND_OFF, ALL_NOTES_OFF = 120, 123


class Instrument(Protocol):
    """Takes MIDI messages for moments of the stamping clock.

    Attributes:
        lead_s: a message must be handed over this long before it is to be heard.
    """

    lead_s: float

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


class Sounding:
    """Which keys and pedals a stream of messages has left down."""

    def __init__(self) -> None:
        self.keys: set[tuple[int, int]] = set()
        self.pedals: set[tuple[int, int]] = set()
        self.channels: set[int] = set()

    def hear(self, data: bytes) -> None:
        """Take note of one message."""
        if len(data) < 3:
            return
        kind, channel = data[0] & 0xF0, data[0] & 0x0F
        self.channels.add(channel)
        if kind == 0x90 and data[2] > 0:
            self.keys.add((channel, data[1]))
        elif kind in (0x80, 0x90):
            self.keys.discard((channel, data[1]))
        elif kind == 0xB0 and data[1] in PEDALS:
            change = self.pedals.add if data[2] else self.pedals.discard
            change((channel, data[1]))

    def endings(self) -> list[bytes]:
        """Messages that end all of it.

        Each note has its own note-off, for a receiver may ignore "all notes off" (MIDI 1.0);
        pedals come up first, and "all sound off" ends what still rings.
        """
        out = [bytes([0xB0 | c, pedal, 0]) for c in sorted(self.channels) for pedal in _LIFTED]
        out += [bytes([0x80 | c, key, 64]) for c, key in sorted(self.keys)]
        for channel in sorted(self.channels):
            out += [bytes([0xB0 | channel, n, 0]) for n in (ALL_NOTES_OFF, ALL_SOUND_OFF)]
        return out


_LIFTED = (DAMPER, SOSTENUTO, SOFT)


class MidiInstrument:
    """An instrument on a MIDI output. Messages go out the moment they are handed over.

    Args:
        port: it is closed with the instrument.
        output_latency_s: from there to the ear, as the user found it.
    """

    def __init__(self, port: OpenOutput, output_latency_s: float = 0.0) -> None:
        self.lead_s = output_latency_s
        self._port = port
        self._lock = threading.Lock()
        self._sounding = Sounding()
        self._open = True
        close_at_exit(self)

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
