"""Which notes a stream of messages has left sounding, and what ends them."""

from __future__ import annotations

from engine.performance import DAMPER, PEDALS, SOFT, SOSTENUTO

#: Controllers by the MIDI 1.0 specification.
ALL_SOUND_OFF, ALL_NOTES_OFF = 120, 123
_LIFTED = (DAMPER, SOSTENUTO, SOFT)


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
