"""When a sample is heard: the sound card's own clock, seen from the clock that stamps the keys.

The card takes sound block by block. That a block was taken is seen never early but often late, by
as long as the machine was busy; so the truth lies along the lower edge of what is seen. Both the
offset and the drift (no two crystals agree) are read off that edge.
"""

from __future__ import annotations

from collections import deque

import numpy as np

#: Sightings are gathered into stretches this long; the earliest in each is kept. A few seconds of
#: them: what is asked lies a block or two ahead, so a slope known to a thousandth is enough, while
#: a card that keeps no even time (a virtual one, one that is resampled) is still followed.
STRETCH_S = 0.25
STRETCHES = 16
#: Fewer stretches than this say nothing of drift.
FEW = 6


class AudioClock:
    """Follows one open device.

    Args:
        rate_hz: the nominal rate.
    """

    def __init__(self, rate_hz: int) -> None:
        self._nominal_s = 1.0 / rate_hz
        self._kept: deque[tuple[int, float]] = deque(maxlen=STRETCHES)
        self._start_s = 0.0
        self._line, self._is_known = (0.0, 0.0), True

    @property
    def running(self) -> bool:
        """Something has been taken."""
        return bool(self._kept)

    @property
    def drift_ppm(self) -> float:
        """How much slower the card runs than it says, parts in a million (0 until known)."""
        return self._fit()[1] / self._nominal_s * 1e6

    def hear_taken(self, now_s: float, sample: int) -> None:
        """At `now_s` the block that begins with `sample` was seen to have been begun."""
        excess_s = now_s - sample * self._nominal_s
        if not self._kept or now_s - self._start_s >= STRETCH_S:
            self._start_s = now_s
            self._kept.append((sample, excess_s))
        elif excess_s < self._kept[-1][1]:
            self._kept[-1] = (sample, excess_s)
        else:
            return
        self._is_known = False

    def restart(self) -> None:
        """The card ran dry: its samples no longer count the time that passed. Drift is kept."""
        slope_s = self._fit()[1]
        self._kept.clear()
        self._line = (0.0, slope_s)

    def sample_at(self, time_s: float) -> float:
        """The sample begun at a moment of the stamping clock."""
        offset_s, slope_s = self._fit()
        return (time_s - offset_s) / (self._nominal_s + slope_s)

    def time_at(self, sample: float) -> float:
        """The inverse of `sample_at`."""
        offset_s, slope_s = self._fit()
        return offset_s + sample * (self._nominal_s + slope_s)

    def _fit(self) -> tuple[float, float]:
        """(offset, seconds a sample above the nominal) of the lower edge, found when asked for."""
        if self._is_known:
            return self._line
        self._is_known = True  # first: what is sighted meanwhile, on another thread, is not lost
        kept = tuple(self._kept)
        if not kept:
            return self._line
        samples = np.array([k[0] for k in kept], dtype=float)
        excess = np.array([k[1] for k in kept])
        slope = self._line[1]
        if len(excess) >= FEW:
            slope = _fit_lower_slope(samples, excess)
        self._line = float(np.min(excess - slope * samples)), slope
        return self._line


def _fit_lower_slope(x: np.ndarray, y: np.ndarray) -> float:
    """Slope of a line through the lower half of the points, found in three rounds."""
    keep = np.ones(len(x), dtype=bool)
    slope = 0.0
    for _ in range(3):
        slope, level = np.polyfit(x[keep] - x[0], y[keep], 1)
        rest = y - (level + slope * (x - x[0]))
        keep = rest <= np.median(rest)
    return float(slope)
