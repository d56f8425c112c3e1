"""The click: three short sounds of a struck wood block, told apart by pitch and by weight.

They answer to the General MIDI percussion keys, so that the built-in sound and an instrument on
a MIDI port take the same messages (General MIDI Level 1 percussion map, from memory: 75 claves,
76 high wood block, 77 low wood block; channel 10).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from engine.tone.piano import RATE_HZ

#: Channel 10 as it stands in a status byte.
PERCUSSION_CHANNEL = 9
ACCENT, BEAT, PART = 76, 77, 75


@dataclass(frozen=True, slots=True)
class _Wood:
    hz: float
    level: float
    ring_s: float


_WOODS = {
    ACCENT: _Wood(1_900.0, 0.42, 0.045),
    BEAT: _Wood(1_250.0, 0.30, 0.040),
    PART: _Wood(2_600.0, 0.12, 0.018),
}


@lru_cache(maxsize=16)
def render_click(key: int, rate_hz: int = RATE_HZ) -> npt.NDArray[np.float32]:
    """One click, shape (n,); its first sample is already sounding, so that it can be found again.

    Keys of other percussion sound as the plain beat.
    """
    wood = _WOODS.get(key, _WOODS[BEAT])
    t = np.arange(int(3.5 * wood.ring_s * rate_hz)) / rate_hz
    decay = np.exp(-t / (wood.ring_s / 3))
    body = np.cos(2 * np.pi * wood.hz * t) + 0.4 * np.cos(2 * np.pi * 2.72 * wood.hz * t) * decay
    sound = wood.level * body * decay / 1.4
    sound[-32:] *= np.linspace(1.0, 0.0, 32)
    return np.asarray(sound, dtype=np.float32)
