"""A SoundFont of one looped tone, written byte by byte by the SoundFont 2.04 specification."""

from __future__ import annotations

import struct
from pathlib import Path

import numpy as np

RATE_HZ, PERIOD, ROOT = 44_100, 100, 69
#: The tone is a sine of this frequency, and said to be A4 by a tuning of -4 cents nearly.
TONE_HZ = RATE_HZ / PERIOD


def write_sound_font(path: Path) -> Path:
    """One preset (bank 0, program 0), one instrument, one sample over all keys."""
    tone = np.sin(2 * np.pi * np.arange(PERIOD * 50) / PERIOD) * 16_000
    samples = np.concatenate([tone, np.zeros(46)]).astype("<i2").tobytes()
    version = struct.pack("<HH", 2, 4)
    info = _list(b"INFO", [(b"ifil", version), (b"isng", b"EMU8000\0"), (b"INAM", b"tone\0\0")])
    data = _list(b"sdta", [(b"smpl", samples)])
    body = b"sfbk" + info + data + _list(b"pdta", _hydra(len(tone)))
    path.write_bytes(b"RIFF" + struct.pack("<I", len(body)) + body)
    return path


def _hydra(length: int) -> list[tuple[bytes, bytes]]:
    """Section 7 of the specification: each table ends with a record that only closes it."""
    gens = [(54, 1), (53, 0)]  # sampleModes: loop; sampleID
    header = struct.pack("<20sIIIIIBbHH", b"tone", 0, length, PERIOD, length - PERIOD, RATE_HZ,
                         ROOT, 0, 0, 1)  # fmt: skip
    return [
        (b"phdr", _preset(b"tone", 0) + _preset(b"EOP", 1)),
        (b"pbag", struct.pack("<HHHH", 0, 0, 1, 0)),
        (b"pmod", bytes(10)),
        (b"pgen", struct.pack("<HHHH", 41, 0, 0, 0)),  # instrument 0, end
        (b"inst", struct.pack("<20sH20sH", b"tone", 0, b"EOI", 1)),
        (b"ibag", struct.pack("<HHHH", 0, 0, len(gens), 0)),
        (b"imod", bytes(10)),
        (b"igen", b"".join(struct.pack("<HH", *g) for g in gens) + bytes(4)),
        (b"shdr", header + struct.pack("<20s26x", b"EOS")),
    ]


def _preset(name: bytes, bag: int) -> bytes:
    return struct.pack("<20sHHHIII", name, 0, 0, bag, 0, 0, 0)


def _list(kind: bytes, chunks: list[tuple[bytes, bytes]]) -> bytes:
    body = kind + b"".join(k + struct.pack("<I", len(d)) + d for k, d in chunks)
    return b"LIST" + struct.pack("<I", len(body)) + body
