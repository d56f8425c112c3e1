"""What the page would call a key that it does not show: names from the spelling around it."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from fractions import Fraction

from engine.arrangement import Arrangement, Hand, ScoreNote
from engine.form.fifths import place_of, places_for, spell
from engine.pitch_names import SIGNS

Moment = Fraction | float
#: How far the page is asked, in quarters either way, at first and where that says nothing.
NEAR_Q = 4.0
FAR_Q = 16.0


def name_in_context(arrangement: Arrangement, pitch: int, onset_q: Moment, hand: Hand) -> str:
    """The name ("Bbb4") of a key struck at a moment, from the page's spelling around it.

    A name the page itself uses for that key nearby counts for most, the nearer the more; else the
    name that fits the notes around it, nearest on the line of fifths.
    """
    step, alter, octave = spell(pitch, place_in_context(arrangement, pitch, onset_q, hand))
    return f"{step}{SIGNS[alter]}{octave}"


def place_in_context(
    arrangement: Arrangement,
    pitch: int,
    onset_q: Moment,
    hand: Hand,
    hidden: frozenset[int] = frozenset(),
) -> int:
    """The same, as a place on the line of fifths; notes in `hidden` (indices) are not looked at."""
    near = _around(arrangement, onset_q, hidden)
    candidates = places_for(pitch)
    if not near:
        return min(candidates, key=lambda p: abs(p - arrangement.fifths - 2))
    costs = {p: _cost(p, pitch, float(onset_q), hand, near) for p in candidates}
    return min(candidates, key=lambda p: (costs[p], abs(p)))


def _around(arrangement: Arrangement, onset_q: Moment, hidden: frozenset[int]) -> list[ScoreNote]:
    table = arrangement.table["onset_q"]
    for reach in (NEAR_Q, FAR_Q):
        first = bisect_left(table, float(onset_q) - reach)
        last = bisect_right(table, float(onset_q) + reach)
        found = [arrangement.notes[i] for i in range(first, last) if i not in hidden]
        if len(found) >= 8:
            return found
    return found


def _cost(place: int, pitch: int, onset_q: float, hand: Hand, near: Sequence[ScoreNote]) -> float:
    """How ill a name fits its surroundings: mean distance on the line, less where it is used."""
    total = weight = used = other = 0.0
    for note in near:
        w = 1.0 / (0.5 + abs(float(note.onset_q) - onset_q)) * (1.2 if note.hand == hand else 1.0)
        theirs = place_of(note.step, note.alter)
        total += w * abs(theirs - place)
        weight += w
        if note.pitch % 12 == pitch % 12:
            used += w * (theirs == place)
            other += w * (theirs != place)
    return total / weight - 6.0 * (used - other) / (used + other + 0.5)
