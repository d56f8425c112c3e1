"""Where the clicks of a strict pulse fall, and how much weight each has. Pure score time.

The click beats what the tempo mark counts in, where that fits into the bar; else the signature's
beat, three units long in compound time (6/8, 9/8, 12/8).
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from engine.arrangement import Arrangement, Bar

Weight = Literal["accent", "beat", "part"]


@dataclass(frozen=True, slots=True)
class Click:
    """One click. accent: the first beat of a bar; part: between two beats."""

    onset_q: Fraction
    weight: Weight


def list_clicks(
    arrangement: Arrangement, from_q: Fraction, to_q: Fraction, parts: int = 1
) -> list[Click]:
    """The clicks of [from_q, to_q), in order.

    Args:
        parts: clicks a beat: 1 for beats alone, 2 for halves, 3 for thirds ...
    """
    bars = (b for b in arrangement.bars if b.onset_q < to_q and b.onset_q + b.duration_q > from_q)
    found = (click for bar in bars for click in _clicks_of(arrangement, bar, max(parts, 1)))
    return [click for click in found if from_q <= click.onset_q < to_q]


def list_count_in(
    arrangement: Arrangement, from_q: Fraction, beats: int | None = None, parts: int = 1
) -> list[Click]:
    """The clicks before a span that begins at `from_q`, as if its first bar came before it too.

    Args:
        beats: how many are counted; None for one bar, and what is missing of the first bar where
            that is a pickup.
    """
    bar = arrangement.bar_at(from_q)
    beat_q, bar_q = find_beat_q(arrangement, bar), full_length_q(bar)
    into_q = from_q - bar.onset_q + bar.lead_q
    count = beats if beats is not None else math.ceil((bar_q + into_q % bar_q) / beat_q)
    first_q = from_q - count * beat_q
    return [
        Click(at_q, _weigh((at_q - from_q + into_q) % bar_q, beat_q))
        for at_q in (first_q + k * beat_q / parts for k in range(count * parts))
    ]


def find_beat_q(arrangement: Arrangement, bar: Bar) -> Fraction:
    """The length of a click's beat in a bar, quarters."""
    unit_q, bar_q = Fraction(4, bar.beat_unit), full_length_q(bar)
    compound = bar.beats % 3 == 0 and bar.beats > 3 and bar.beat_unit >= 8
    marked_q = Fraction(arrangement.tempo_at(bar.onset_q).beat_unit_q)
    fits = marked_q > 0 and bar_q % marked_q == 0 and marked_q % unit_q == 0
    if fits and (not compound or marked_q == unit_q or marked_q % (3 * unit_q) == 0):
        return marked_q
    return 3 * unit_q if compound else unit_q


def full_length_q(bar: Bar) -> Fraction:
    """What the signature gives a bar, quarters, whether or not it is a pickup."""
    return Fraction(4 * bar.beats, bar.beat_unit)


def _clicks_of(arrangement: Arrangement, bar: Bar, parts: int) -> Iterator[Click]:
    beat_q = find_beat_q(arrangement, bar)
    start_q = bar.onset_q - bar.lead_q
    for k in range(math.ceil((bar.lead_q + bar.duration_q) / beat_q * parts)):
        at_q = start_q + k * beat_q / parts
        if bar.onset_q <= at_q < bar.onset_q + bar.duration_q:
            yield Click(at_q, _weigh(at_q - start_q, beat_q))


def _weigh(into_q: Fraction, beat_q: Fraction) -> Weight:
    if into_q == 0:
        return "accent"
    return "beat" if into_q % beat_q == 0 else "part"
