"""Published and counted values that measures are held against, each with its source."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt


@dataclass(frozen=True, slots=True)
class Band:
    """Percentiles 5, 25, 50, 75, 95 of a quantity where the note interval lies in [from, to) ms."""

    from_ms: float
    to_ms: float
    n: int
    sd_ms: tuple[float, float, float, float, float]
    cv: tuple[float, float, float, float, float]


#: Left-hand figures that repeat exactly (2 to 8 notes), in windows of 16 intervals with a linear
#: trend taken off, in the recordings of (n)ASAP (Foscarin et al. 2020; Peter et al. 2023):
#: expressive playing by advanced pianists on reproducing pianos. Counted for this project.
REPERTOIRE = (
    Band(80, 130, 1351, (8.2, 12.5, 16.1, 21.9, 37.9), (0.083, 0.124, 0.160, 0.216, 0.359)),
    Band(130, 200, 250, (9.6, 14.4, 20.6, 31.6, 53.8), (0.061, 0.100, 0.140, 0.217, 0.344)),
    Band(200, 320, 56, (11.6, 19.3, 34.2, 56.9, 97.4), (0.054, 0.080, 0.150, 0.243, 0.409)),
)


def band_for(interval_ms: float) -> Band | None:
    """The repertoire band for a note interval, or None where nothing was counted."""
    return next((b for b in REPERTOIRE if b.from_ms <= interval_ms < b.to_ms), None)


def evenness_words(sd_ms: float, band: Band) -> str:
    """Where an SD lies among the repertoire's, in words."""
    p5, p25, _, p75, p95 = band.sd_ms
    steps = (
        (p5, "very even"),
        (p25, "even"),
        (p75, "as usual in expressive playing"),
        (p95, "less even than most"),
    )
    return next((words for top, words in steps if sd_ms <= top), "look for a cause")


def least_audible_ms(interval_ms: npt.ArrayLike) -> npt.NDArray[np.float64]:
    """Just noticeable displacement of one tone in an even row of tones.

    6 ms where the interval is under 240 ms, 2.5 % of it above (Friberg & Sundberg 1995, J Acoust
    Soc Am 98:2524-31; measured from 100 to 1000 ms).
    """
    return np.asarray(np.maximum(6.0, 0.025 * np.asarray(interval_ms, dtype=float)))


#: Loudness slope of the split on hammer pianos, ms for each step of velocity: runs of right-hand
#: octaves in (n)ASAP, r = 0.57. Counted for this project; a keyboard with sensors differs.
HAMMER_SPLIT_MS_PER_VELOCITY = 0.77

#: dB for one step of velocity on one reproducing piano: quotient of the two JNDs in Slade, Gascon,
#: Comeau & Russell 2022, Psychol Music. Other instruments differ: approximate.
DB_PER_VELOCITY = 0.26
