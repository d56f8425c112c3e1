"""Spelling for keys that have none: names from pitch, moment and, if given, the key signature."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

import numpy as np

from engine.form.fifths import nearest_place, spell

Moment = Fraction | float


def spell_pitches(
    pitches: Sequence[int], onsets_q: Sequence[Moment], fifths: int | None = None
) -> list[tuple[str, int, int]]:
    """Letter, alteration and octave for each of some keys.

    Args:
        pitches: MIDI numbers, in order of onset. onsets_q: quarters, same length.
        fifths: the key signature at the start (-7 to 7), None where unknown.
    """
    if not pitches:
        return []
    signature = _likeliest_signature(pitches) if fifths is None else fifths
    return [spell(p, nearest_place(p, signature + 2)) for p in pitches]


def _likeliest_signature(pitches: Sequence[int]) -> int:
    """The signature (-6 to 6) whose seven notes cover most of the keys; fewer signs on a tie."""
    counts = np.bincount(np.asarray(pitches) % 12, minlength=12)
    cover = {s: sum(counts[7 * p % 12] for p in range(s - 1, s + 6)) for s in range(-6, 7)}
    return max(cover, key=lambda s: (cover[s], -abs(s), -s))
