"""How long from a key to the sound: the part that the program can see, measured."""

from __future__ import annotations

import threading
from dataclasses import dataclass

import numpy as np

from practice.clock import Clock
from practice.sound.sound import BuiltInPiano

#: So many strokes, so far apart: odd against any block, so that every phase of it is met.
STROKES, APART_S = 40, 0.037
SETTLE_S = 1.0


@dataclass(frozen=True, slots=True)
class Delay:
    """Seconds from a message handed over to its first sample leaving the mixer, over strokes."""

    median_s: float
    most_s: float
    drift_ppm: float
    gaps: int


def measure_delay(piano: BuiltInPiano, clock: Clock) -> Delay:
    """Hand over strokes without sound and see when their samples are begun."""
    nothing = threading.Event()
    clock.wait(nothing, SETTLE_S)
    for _ in range(STROKES):
        piano.mark(clock.now_s())
        clock.wait(nothing, APART_S)
    clock.wait(nothing, SETTLE_S / 4)
    delays = np.array([piano.clock.time_at(sample) - at_s for at_s, sample in piano.marks])
    if not len(delays):
        return Delay(float("nan"), float("nan"), piano.clock.drift_ppm, piano.gaps)
    most_s = float(np.percentile(delays, 95))
    return Delay(float(np.median(delays)), most_s, piano.clock.drift_ppm, piano.gaps)
