"""The arithmetic of a strict pulse: its beats before and during a span. Pure."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from engine.arrangement import Arrangement, Span
from engine.performance import Pulse


@dataclass(frozen=True, slots=True)
class CountIn:
    """Beats before a span: their moments from the first one, and from there to the downbeat."""

    beats_s: tuple[float, ...]
    length_s: float
    beat_s: float


def count_in(
    arrangement: Arrangement, span: Span, rate: float, beats: int | None = None
) -> CountIn:
    """The beats counted before a span.

    Args:
        beats: how many; None for one bar, and what is missing of the first bar where it is a
            pickup. They are the beats of the tempo mark.
    """
    bar = arrangement.bars[span.from_bar]
    mark = arrangement.tempo_at(bar.onset_q)
    beat_q = float(mark.beat_unit_q)
    beat_s = beat_q * 60.0 / mark.qpm / rate
    length_q = 4.0 * bar.beats / bar.beat_unit + float(bar.lead_q)
    if beats is not None:
        length_q = beat_q * beats
    count = math.ceil(length_q / beat_q - 1e-9)
    return CountIn(tuple(k * beat_s for k in range(count)), length_q / beat_q * beat_s, beat_s)


def span_length_s(arrangement: Arrangement, span: Span, rate: float) -> float:
    """How long a span lasts in a strict pulse."""
    from_q, to_q = span.quarters(arrangement)
    return float(np.diff(arrangement.seconds_at([float(from_q), float(to_q)]))[0]) / rate


def beat_at(arrangement: Arrangement, pulse: Pulse, at_s: float) -> tuple[int, int]:
    """(number of the beat from 1, beats in the bar) at a moment, in the count-in too."""
    start_s = float(arrangement.seconds_at(pulse.start_q))
    at_q = float(arrangement.quarters_at(start_s + (at_s - pulse.start_s) * pulse.rate))
    bar = arrangement.bar_at(max(at_q, pulse.start_q))
    length_q = 4.0 * bar.beats / bar.beat_unit
    into_q = (at_q - float(bar.onset_q) + float(bar.lead_q)) % length_q
    return int(into_q * bar.beat_unit / 4 + 1e-6) + 1, bar.beats
