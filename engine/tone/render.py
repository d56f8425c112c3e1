"""A whole performance made into sound at once: for saving a take, and for tests."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import numpy as np
import numpy.typing as npt

from engine.performance import KeyEvent
from engine.tone.piano import Piano
from engine.tone.voices import Voices

#: After the last message the sound may ring this long, or until it has died.
LONGEST_TAIL_S = 12.0
_CHUNK_S = 1.0


def render_events(
    piano: Piano, events: Iterable[KeyEvent], start_s: float = 0.0
) -> Iterator[npt.NDArray[np.float32]]:
    """Stereo blocks of shape (n, 2), the first sample at `start_s` on the events' clock.

    Events are taken exactly at the sample nearest to their time. Keys and pedals still down
    after the last event are let go there.
    """
    voices = Voices(piano)
    last = 0
    for event in sorted(events, key=lambda e: e.time_s):
        sample = max(round((event.time_s - start_s) * piano.rate_hz), 0)
        voices.schedule(sample, event.data)
        last = max(last, sample)
    for channel in range(16):
        voices.schedule(last + 1, bytes([0xB0 | channel, 123, 0]))
        voices.schedule(last + 1, bytes([0xB0 | channel, 121, 0]))
    yield from _render_until_still(voices, last, piano.rate_hz)


def _render_until_still(
    voices: Voices, last: int, rate_hz: int
) -> Iterator[npt.NDArray[np.float32]]:
    end = last + int(LONGEST_TAIL_S * rate_hz)
    while voices.sample < end:
        block = voices.render(int(_CHUNK_S * rate_hz))
        yield block
        if voices.sample > last and not voices.sounding and np.max(np.abs(block)) < 1e-4:
            return
