"""Key events packed small for the take store, and back.

A blob is one kind byte and then the events, as they are (RAW) or deflated (PACKED). An event is
the time since the event before (the first: since the take's start) in steps of 10 microseconds,
seven bits a byte, low bits first, high bit set on all but the last byte; then the message's own
bytes. The byte 0xF4, undefined in MIDI 1.0, and one byte after it change the uncertainty that
holds from there on, in steps of 0.1 ms. A note takes 11 or 12 bytes raw and about half packed.
"""

from __future__ import annotations

import zlib
from collections.abc import Iterable, Iterator

from engine.performance import DATA_BYTES, KeyEvent, is_channel_message

STEPS_A_SECOND = 100_000
_RAW, _PACKED = b"\x01", b"\x02"
_UNCERTAINTY = 0xF4
_DOUBT_STEPS_A_SECOND = 10_000


class BlobError(ValueError):
    """Bytes that are no blob of events, or one cut short."""


def step_event(event: KeyEvent, start_s: float = 0.0) -> KeyEvent:
    """The event as the store keeps it: seconds from `start_s`, rounded to the store's steps."""
    step = max(round((event.time_s - start_s) * STEPS_A_SECOND), 0)
    return KeyEvent(step / STEPS_A_SECOND, _doubt_steps(event) / _DOUBT_STEPS_A_SECOND, event.data)


def pack_events(events: Iterable[KeyEvent], deflate: bool = False) -> bytes:
    """Events, in order of time from the take's start (never before it), as a blob.

    What is no whole message is left out: it means nothing, and what follows could not be read.
    """
    out = bytearray()
    at, doubt = 0, -1
    for event in events:
        if not is_channel_message(event.data):
            continue
        now_doubt = _doubt_steps(event)
        if now_doubt != doubt:
            out += bytes((_UNCERTAINTY, now_doubt))
            doubt = now_doubt
        step = max(round(event.time_s * STEPS_A_SECOND), at)
        out += event.data[:1] + _pack_number(step - at) + event.data[1:]
        at = step
    return _PACKED + zlib.compress(bytes(out), 9) if deflate else _RAW + bytes(out)


def unpack_events(blob: bytes) -> list[KeyEvent]:
    """The events of a blob.

    Raises:
        BlobError: the blob is damaged.
    """
    kind, body = blob[:1], bytes(blob[1:])
    if kind == _PACKED:
        try:
            body = zlib.decompress(body)
        except zlib.error as error:
            raise BlobError(str(error)) from error
    elif kind != _RAW:
        raise BlobError("of an unknown kind")
    try:
        return list(_unpack(body))
    except (IndexError, KeyError) as error:
        raise BlobError("cut short or damaged") from error


def _doubt_steps(event: KeyEvent) -> int:
    return min(round(event.uncertainty_s * _DOUBT_STEPS_A_SECOND), 0xFF)


def _unpack(body: bytes) -> Iterator[KeyEvent]:
    at, step, doubt_s = 0, 0, 0.0
    while at < len(body):
        status = body[at]
        if status == _UNCERTAINTY:
            doubt_s = body[at + 1] / _DOUBT_STEPS_A_SECOND
            at += 2
            continue
        delta, start = _unpack_number(body, at + 1)
        end = start + DATA_BYTES[status >> 4]
        if end > len(body):
            raise IndexError
        step += delta
        yield KeyEvent(step / STEPS_A_SECOND, doubt_s, bytes((status, *body[start:end])))
        at = end


def _pack_number(number: int) -> bytes:
    out = bytearray()
    while number > 0x7F:
        out.append(number & 0x7F | 0x80)
        number >>= 7
    return bytes((*out, number))


def _unpack_number(body: bytes, at: int) -> tuple[int, int]:
    number, shift = 0, 0
    while True:
        byte = body[at]
        number |= (byte & 0x7F) << shift
        at, shift = at + 1, shift + 7
        if byte < 0x80:
            return number, at
