"""The instrument a take was played on: what its touch and pedal are worth. Found by playing.

Figures from different instruments are never one series: compare `Instrument.name`.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field, fields
from itertools import pairwise
from typing import Any

import numpy as np

from engine.findings import Estimate, no_estimate
from engine.measure import interval
from engine.measure.heard import Numbers
from engine.measure.yardsticks import DB_PER_VELOCITY
from engine.performance import DAMPER, PedalMove, PlayedNote

#: Two notes an octave apart this close together are one octave.
OCTAVE_APART_S = 0.1
LEAST_OCTAVES = 12
#: Where the dampers begin to leave the strings and are clear of them, if nothing is known: from
#: memory (Lehtonen et al. 2009 and common practice), very different from keyboard to keyboard.
USUAL_BITE, USUAL_CLEAR = 30, 90


@dataclass(frozen=True, slots=True)
class Instrument:
    """A keyboard as calibrated.

    Attributes:
        name: of the keyboard and its setting; series are kept apart by it.
        touch_range: softest and loudest velocity played in the crescendo.
        split_ms_per_velocity: how much earlier a note speaks for each step it is louder.
        bite, clear: CC64 values where the dampers begin to lift and are clear.
        pedal_steps: different CC64 values the pedal sends; 2 is a switch.
        db_per_velocity: approximate (published for another piano) unless measured.
        stamp_uncertainty_ms: half width of an onset's time stamp.
    """

    name: str = ""
    touch_range: tuple[int, int] = (1, 127)
    split_ms_per_velocity: Estimate = field(
        default_factory=lambda: no_estimate("not calibrated", "ms")
    )
    bite: int = USUAL_BITE
    clear: int = USUAL_CLEAR
    pedal_steps: int = 128
    db_per_velocity: float = DB_PER_VELOCITY
    stamp_uncertainty_ms: float = 0.0


def profile_of(instrument: Instrument) -> dict[str, Any]:
    """The instrument as plain data, to be kept as JSON with every take."""
    return asdict(instrument)


def read_profile(data: Mapping[str, Any]) -> Instrument:
    """The instrument from what `profile_of` gave; what is not there has its usual value.

    Raises:
        TypeError, ValueError: the data is no profile.
    """
    known = {f.name for f in fields(Instrument)}
    values = {k: v for k, v in data.items() if k in known}
    if "touch_range" in values:
        low, high = values["touch_range"]
        values["touch_range"] = (int(low), int(high))
    if "split_ms_per_velocity" in values:
        values["split_ms_per_velocity"] = Estimate(**values["split_ms_per_velocity"])
    return Instrument(**values)


def calibrate(
    notes: Sequence[PlayedNote], pedals: Sequence[PedalMove], name: str = ""
) -> Instrument:
    """Read an instrument from a few octaves, a crescendo and the pedal pressed slowly twice.

    Touch range from all notes; the slope from all octaves, the upper note over the lower; the
    pedal's bite and clear points as the first value sent above 0 and the last below 127 where the
    travel between is slow, inside the usual region: where the pedal falls silent (values held
    for a quarter of a second or more while moving) the player has shown the two points.

    Args:
        notes, pedals: what was played, in order.
        name: how the instrument is called.
    """
    bite, clear = _bite_points(pedals)
    values = {m.value for m in pedals if m.controller == DAMPER}
    velocities = [n.velocity for n in notes]
    return Instrument(
        name,
        (min(velocities), max(velocities)) if velocities else (1, 127),
        split_slope(notes),
        bite,
        clear,
        len(values | {0}),
        DB_PER_VELOCITY,
        max((n.uncertainty_s for n in notes), default=0.0) * 1000.0,
    )


def split_slope(notes: Sequence[PlayedNote]) -> Estimate:
    """Milliseconds of split for each velocity step, over all octaves struck together."""
    split, louder = octaves_struck(notes)
    if len(split) < LEAST_OCTAVES:
        return interval.too_few(len(split), LEAST_OCTAVES, "octaves", "ms")
    if np.ptp(louder) < 6:
        return no_estimate("the octaves were all voiced alike; play some with a louder top", "ms")
    return interval.slope_of(louder, split, "ms", "octaves")


def octaves_struck(
    notes: Sequence[PlayedNote],
) -> tuple[list[float], list[float]]:
    """(split in ms, upper minus lower velocity) of every octave struck at once."""
    order = sorted(notes, key=lambda n: n.onset_s)
    split, louder = [], []
    for i, one in enumerate(order):
        for other in order[i + 1 :]:
            if other.onset_s - one.onset_s > OCTAVE_APART_S:
                break
            low, high = sorted((one, other), key=lambda n: n.pitch)
            if high.pitch - low.pitch == 12:
                split.append((low.onset_s - high.onset_s) * 1000.0)
                louder.append(float(high.velocity - low.velocity))
    return split, louder


#: A rest of the foot this long in mid-travel marks a point.
_REST_S = 0.25


def _bite_points(pedals: Sequence[PedalMove]) -> tuple[int, int]:
    """Values at which the foot rested in mid-travel: the lowest and the highest."""
    moves = [m for m in pedals if m.controller == DAMPER]
    rested = [
        m.value
        for m, then in pairwise(moves)
        if 0 < m.value < 127 and then.time_s - m.time_s >= _REST_S
    ]
    if len(rested) < 2 or max(rested) - min(rested) < 4:
        return USUAL_BITE, USUAL_CLEAR
    return min(rested), max(rested)


def in_db(level: Estimate, instrument: Instrument | None) -> Estimate:
    """A difference in velocity steps in dB, approximate; a reason where nothing is calibrated."""
    if instrument is None:
        return no_estimate("the keyboard is not calibrated", "db", level.n)
    return interval.scaled(level, instrument.db_per_velocity, "db")


#: An own slope is used if half its interval is at most this.
SHARP_MS_PER_VELOCITY = 0.4


@dataclass(frozen=True, slots=True)
class Slope:
    """The loudness slope used, ms for each velocity step, half its 95 % interval, and whose it is.

    A published slope has no interval that holds for this instrument: `half` is then nought, and
    the source says so.
    """

    ms_per_velocity: float
    half: float
    source: str


def slope_for(instrument: Instrument | None, own: Estimate, published: float) -> Slope:
    """The best slope at hand: the instrument's, else this pass's own if sharp, else published.

    Sharp: the half-width of its interval is at most `SHARP_MS_PER_VELOCITY`.
    """
    known = instrument.split_ms_per_velocity if instrument is not None else None
    if known is not None and known.value is not None:
        return Slope(known.value, _half(known), "this instrument, calibrated")
    if own.value is not None and _half(own) <= SHARP_MS_PER_VELOCITY:
        return Slope(own.value, _half(own), "the octaves of this pass")
    return Slope(published, 0.0, "hammer pianos, published; calibrate to know yours")


def _half(estimate: Estimate) -> float:
    ends = interval.known(estimate)
    return 0.0 if ends is None else (ends[2] - ends[1]) / 2


def without_loudness(values_ms: Numbers, louder: Numbers, slope: Slope, of_what: str) -> Estimate:
    """Mean of what is left when slope times loudness difference is taken off.

    Interval: that of a serial mean, widened by the slope's own uncertainty times the mean
    loudness difference (for a slope fitted to the same values this is the textbook interval of
    a regression's intercept).
    """
    left = interval.serial_mean_of(values_ms - slope.ms_per_velocity * louder, "ms", of_what)
    return _widened(left, slope.half * abs(float(np.mean(louder))))


def loudness_part(louder: Numbers, slope: Slope, of_what: str) -> Estimate:
    """Mean of slope times loudness difference; interval as in `without_loudness`."""
    part = interval.serial_mean_of(slope.ms_per_velocity * louder, "ms", of_what)
    return _widened(part, slope.half * abs(float(np.mean(louder))))


def _widened(estimate: Estimate, by: float) -> Estimate:
    ends = interval.known(estimate)
    if ends is None:
        return estimate
    half = math.hypot((ends[2] - ends[1]) / 2, by)
    return interval.around(ends[0], half, estimate.n, estimate.unit)
