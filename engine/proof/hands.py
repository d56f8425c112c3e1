"""Notes outside the keyboard, and what one hand cannot take at once."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import groupby

from engine.arrangement import Arrangement, ScoreNote
from engine.form.fifths import interval_between
from engine.pitch_names import printed
from engine.proof.remark import Remark, first_time, remark_on

#: The piano's keys (common practice): A0 to C8.
LOWEST, HIGHEST = 21, 108


@dataclass(frozen=True, slots=True)
class Reach:
    """How far each hand reaches, in semitones: 16 is a major tenth. fingers: keys at once."""

    left: int = 16
    right: int = 16
    fingers: int = 6


def hand_remarks(arrangement: Arrangement, reach: Reach) -> Iterator[Remark]:
    """Keys that are not there, stretches, and two places at once."""
    notes = [arrangement.notes[i] for i in first_time(arrangement)]
    for note in notes:
        if not LOWEST <= note.pitch <= HIGHEST:
            why = f"{printed(note.name)} is {_beyond(note)} of the keyboard"
            yield remark_on(arrangement, "keyboard", [note], why, 1.0)
    played = [n for n in notes if not n.grace and not n.optional]
    for _, group in groupby(played, key=lambda n: n.onset_q):
        chord = list(group)
        for hand in ("left", "right"):
            mine = sorted((n for n in chord if n.hand == hand), key=lambda n: n.pitch)
            yield from _grip(arrangement, mine, getattr(reach, hand), reach.fingers)


def _beyond(note: ScoreNote) -> str:
    return "below the lowest key" if note.pitch < LOWEST else "above the highest key"


def _grip(
    arrangement: Arrangement, chord: list[ScoreNote], reach: int, fingers: int
) -> Iterator[Remark]:
    if len(chord) < 2 or any(n.arpeggiated for n in chord):
        return
    low, high = chord[0], chord[-1]
    span = high.pitch - low.pitch
    hand = low.hand
    if len({n.pitch for n in chord}) > fingers:
        why = f"the {hand} hand has {len(chord)} keys at once"
        yield remark_on(arrangement, "stretch", chord, why, 0.9)
    if span <= reach:
        return
    gap, below, above = _widest_gap(chord)
    if span > 24 or (gap >= 12 and span > reach + 3):
        why = (
            f"the {hand} hand is asked for {printed(below.name)} and {printed(above.name)} at once"
        )
        yield remark_on(arrangement, "two places", chord, why, 0.9 if span > 24 else 0.75)
        return
    words = interval_between(
        (low.step, low.alter, low.octave), (high.step, high.alter, high.octave)
    )
    why = (
        f"{printed(low.name)} to {printed(high.name)} is {span} semitones "
        f"({words.name}), more than the {hand} hand's reach of {reach}"
    )
    yield remark_on(arrangement, "stretch", chord, why, 0.8)


def _widest_gap(chord: list[ScoreNote]) -> tuple[int, ScoreNote, ScoreNote]:
    k = max(range(len(chord) - 1), key=lambda i: chord[i + 1].pitch - chord[i].pitch)
    return chord[k + 1].pitch - chord[k].pitch, chord[k], chord[k + 1]
