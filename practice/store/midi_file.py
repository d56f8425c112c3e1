"""A Standard MIDI File taken apart: what its keys and pedals did, and its tempo marks.

After the Standard MIDI Files 1.0 specification. mido reads the same at thirty microseconds a
message, which is too long for a day at the keyboard.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass, field

#: Data bytes of the messages that are not of a channel, by status (MIDI 1.0); 0xF4 and the like
#: are undefined.
_SYSTEM = {0xF1: 1, 0xF2: 2, 0xF3: 1, 0xF6: 0, 0xF8: 0, 0xFA: 0, 0xFB: 0, 0xFC: 0, 0xFE: 0}
_META, _SYSEX, _SYSEX_MORE = 0xFF, 0xF0, 0xF7
_TEMPO = 0x51
#: Controllers from here on are channel mode messages: all notes off and the like.
_FIRST_MODE = 120


class TooLarge(ValueError):
    """More than a file of its kind should hold."""


@dataclass(slots=True)
class MidiParts:
    """What a file holds.

    Attributes:
        kind: its format. division: as in the file, ticks a quarter or minus frames and ticks.
        events: (tick, message) of keys, the controllers asked for and channel modes; in order of
            tick, at one tick in order of tracks.
        tempos: microseconds a quarter by tick.
    """

    kind: int
    division: int
    events: list[tuple[int, bytes]] = field(default_factory=list)
    tempos: dict[int, int] = field(default_factory=dict)


def take_apart(data: bytes, controllers: frozenset[int], most: int) -> MidiParts:
    """Read a file.

    Args:
        data: all of it. controllers: the numbers that are wanted.
        most: events beyond that many are refused.

    Raises:
        TooLarge: it holds too many events.
        ValueError: it is damaged.
    """
    if len(data) < 14:
        raise ValueError("it breaks off")
    size, kind, tracks, division = struct.unpack(">IHHh", data[4:14])
    if size < 6:
        raise ValueError("its header is too short")
    parts = MidiParts(kind, division)
    at, marks = 8 + size, list[tuple[int, int]]()
    while tracks and at < len(data):
        name, length = data[at : at + 4], data[at + 4 : at + 8]
        if len(length) < 4:
            raise ValueError("it breaks off")
        begin, at = at + 8, at + 8 + int.from_bytes(length, "big")
        if name == b"MTrk":
            tracks -= 1
            if at > len(data):
                raise ValueError("it breaks off")
            _Track(data, begin, at).read(parts, marks, controllers, most)
    if tracks:
        raise ValueError("it breaks off")
    parts.events.sort(key=lambda event: event[0])
    parts.tempos = dict(sorted(marks, key=lambda mark: mark[0]))
    return parts


class _Track:
    def __init__(self, data: bytes, begin: int, end: int) -> None:
        self._data, self._at, self._end = data, begin, end

    def read(
        self,
        parts: MidiParts,
        marks: list[tuple[int, int]],
        controllers: frozenset[int],
        most: int,
    ) -> None:
        data, end, events = self._data, self._end, parts.events
        tick, running = 0, 0
        while self._at < end:
            byte = data[self._at]
            if byte < 0x80:  # most are: worth the shorter way
                self._at += 1
                tick += byte
            else:
                tick += self._number()
            self._need(1)
            status = data[self._at]
            if status >= 0x80:
                self._at += 1
                if status == _META:
                    kind, body = self._meta()
                    if kind == _TEMPO:
                        marks.append((tick, int.from_bytes(_three(body), "big")))
                    continue
                running = status
            elif not running:
                raise ValueError("a message without its status")
            if running >= _SYSEX:
                self._skip_system(running)
                continue
            length = 1 if running & 0xE0 == 0xC0 else 2
            self._need(length)
            one = data[self._at]
            two = data[self._at + 1] if length == 2 else 0
            self._at += length
            high = running & 0xF0
            if high in (0x80, 0x90) or (
                high == 0xB0 and (one in controllers or one >= _FIRST_MODE)
            ):
                # what is no data byte is taken for the largest
                events.append((tick, bytes((running, min(one, 127), min(two, 127)))))
                if len(events) > most:
                    raise TooLarge(f"more than {most} messages of keys and pedals")

    def _need(self, count: int) -> None:
        if self._at + count > self._end:
            raise ValueError("it breaks off")

    def _number(self) -> int:
        """A number of variable length: at most four bytes."""
        value = 0
        for _ in range(4):
            self._need(1)
            byte = self._data[self._at]
            self._at += 1
            value = value << 7 | byte & 0x7F
            if byte < 0x80:
                return value
        raise ValueError("a number of more than four bytes")

    def _meta(self) -> tuple[int, bytes]:
        self._need(1)
        kind = self._data[self._at]
        self._at += 1
        return kind, self._take(self._number())

    def _skip_system(self, status: int) -> None:
        if status in (_SYSEX, _SYSEX_MORE):
            self._take(self._number())
        elif status in _SYSTEM:
            self._take(_SYSTEM[status])
        else:
            raise ValueError(f"an undefined message (status {status:#x})")

    def _take(self, count: int) -> bytes:
        self._need(count)
        self._at += count
        return self._data[self._at - count : self._at]


def _three(body: bytes) -> bytes:
    if len(body) < 3:
        raise ValueError("a tempo of less than three bytes")
    return body[:3]
