"""Ring around the notes: a network of eight delays that feed each other. One class, two uses.

As a room it is short and always there. As the undamped strings it is fed only while dampers are
off and rings for seconds: a simple stand-in for all strings sounding along.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

Block = npt.NDArray[np.float32]

#: Delays in samples at 44.1 kHz: primes, so that their echoes do not pile up on one pitch.
DELAYS = (1031, 1327, 1523, 1801, 2053, 2311, 2593, 2903)
LONGEST_BLOCK = min(DELAYS)


class Ring:
    """A feedback delay network, mono in, stereo out.

    Args:
        rate_hz: samples a second.
        ring_s: time to fall by 60 dB.
    """

    def __init__(self, rate_hz: int, ring_s: float) -> None:
        self._rate_hz = rate_hz
        self._lines = [np.zeros(d, np.float32) for d in DELAYS]
        self._at = [0] * len(DELAYS)
        self._last = np.zeros(len(DELAYS), np.float32)
        self._side = np.array(
            [[1, 1, -1, -1, 1, 1, -1, -1], [1, -1, 1, -1, 1, -1, 1, -1]], np.float32
        )
        self.set_ring(ring_s)

    def set_ring(self, ring_s: float) -> None:
        """Change how long it rings."""
        delays = np.array(DELAYS) / self._rate_hz
        self._gain = (10.0 ** (-3.0 * delays / max(ring_s, 1e-3))).astype(np.float32)

    def feed(self, mono: Block) -> Block:
        """The ring that follows a block, shape (2, n). n is at most LONGEST_BLOCK."""
        n = len(mono)
        heard = np.stack([self._read(i, n) for i in range(len(DELAYS))])
        softened = self._soften(heard) * self._gain[:, None]
        mixed = softened - softened.sum(axis=0) * np.float32(2.0 / len(DELAYS))
        for i, line in enumerate(mixed + mono):
            self._write(i, line)
        return np.asarray(self._side @ heard * np.float32(1.0 / len(DELAYS)), dtype=np.float32)

    def still(self) -> None:
        """Silence at once."""
        for line in self._lines:
            line[:] = 0.0
        self._last[:] = 0.0

    def _soften(self, heard: Block) -> Block:
        """The mean of each sample and the one before: high tones die sooner."""
        before = np.concatenate([self._last[:, None], heard[:, :-1]], axis=1)
        self._last = heard[:, -1].copy()
        return np.asarray((heard + before) * np.float32(0.5))

    def _read(self, i: int, n: int) -> Block:
        line, at = self._lines[i], self._at[i]
        end = at + n
        if end <= len(line):
            return line[at:end]
        return np.concatenate([line[at:], line[: end - len(line)]])

    def _write(self, i: int, block: Block) -> None:
        line, at = self._lines[i], self._at[i]
        first = min(len(block), len(line) - at)
        line[at : at + first] = block[:first]
        line[: len(block) - first] = block[first:]
        self._at[i] = (at + len(block)) % len(line)
