"""Notes outside the keyboard, and what one hand cannot take at once."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
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
    struck = [n for n in notes if not n.grace]
    for hand in ("left", "right"):
        mine = [n for n in struck if n.hand == hand]
        yield from _hand_remarks(arrangement, mine, getattr(reach, hand), reach.fingers)


def _hand_remarks(
    arrangement: Arrangement, notes: list[ScoreNote], reach: int, fingers: int
) -> Iterator[Remark]:
    """One hand, stroke by stroke, with what it still holds."""
    pedals = _pedals(arrangement)
    held: list[ScoreNote] = []
    for onset_q, group in groupby(notes, key=lambda n: n.onset_q):
        every = sorted(group, key=lambda n: n.pitch)
        chord = [n for n in every if not n.optional]
        broken = any(n.arpeggiated for n in every)
        if not broken:
            yield from _grip(arrangement, chord, reach, fingers)
        held = [n for n in held if n.onset_q + n.duration_q > onset_q]
        if pedals and held and chord and not broken:
            free = [n for n in held if not _held_by_pedal(pedals, n, onset_q)]
            yield from _while_holding(arrangement, free, chord, reach)
        held += chord


def _pedals(arrangement: Arrangement) -> list[tuple[Fraction, Fraction]]:
    """Written dampers, in order; none where the page leaves the pedal to the player."""
    return sorted((p.down_q, p.up_q) for p in arrangement.pedals if p.kind == "damper")


def _held_by_pedal(
    pedals: list[tuple[Fraction, Fraction]], note: ScoreNote, now_q: Fraction
) -> bool:
    """Whether a pedal that was put down while the note sounded is still down."""
    k = bisect_right(pedals, now_q, key=lambda p: p[0]) - 1
    return k >= 0 and pedals[k][1] >= now_q and pedals[k][0] < note.onset_q + note.duration_q


def _while_holding(
    arrangement: Arrangement, held: list[ScoreNote], chord: list[ScoreNote], reach: int
) -> Iterator[Remark]:
    """A stroke too far from a key that has to be held on, with no pedal to hold it."""
    for note in held:
        far = max(chord, key=lambda n: abs(n.pitch - note.pitch))
        near = min(abs(n.pitch - note.pitch) for n in chord)
        if abs(far.pitch - note.pitch) > reach + 3 and near >= 12:
            why = (
                f"the {note.hand} hand is asked for {printed(far.name)} while it holds "
                f"{printed(note.name)}, and no pedal holds that for it"
            )
            yield remark_on(arrangement, "two places", [far, note], why, 0.6)
            return


def _beyond(note: ScoreNote) -> str:
    return "below the lowest key" if note.pitch < LOWEST else "above the highest key"


def _grip(
    arrangement: Arrangement, chord: list[ScoreNote], reach: int, fingers: int
) -> Iterator[Remark]:
    if len(chord) < 2:
        return
    low, high = chord[0], chord[-1]
    span = high.pitch - low.pitch
    hand = low.hand
    if len({n.pitch for n in chord}) > fingers:
        why = f"the {hand} hand has {len(chord)} keys at once"
        yield remark_on(arrangement, "stretch", chord, why, 0.9)
    if span <= reach or _shared(chord, reach) or _other_hand_may(arrangement, chord, reach):
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


def _shared(chord: list[ScoreNote], reach: int) -> bool:
    """Whether what is too far stands on the other hand's staff, and so may be that hand's.

    The page does not say whose it is: it was told from the voice.
    """
    own = {"right": 1, "left": 2}[chord[0].hand]
    mine = [n.pitch for n in chord if n.staff == own]
    return len(mine) < len(chord) and (not mine or mine[-1] - mine[0] <= reach)


def _other_hand_may(arrangement: Arrangement, chord: list[ScoreNote], reach: int) -> bool:
    """Whether a voice of its own on the near side lies within the other hand's reach then."""
    near = chord[0] if chord[0].hand == "right" else chord[-1]
    inner = [n for n in chord if n.voice == near.voice]
    outer = [n for n in chord if n.voice != near.voice]
    if not outer or outer[-1].pitch - outer[0].pitch > reach:
        return False
    now = near.onset_q
    theirs = [
        n
        for bar in arrangement.notes_of_bars[max(0, near.bar - 1) : near.bar + 1]
        for n in bar
        if n.hand != near.hand and n.onset_q <= now < n.onset_q + n.duration_q
    ]
    keys = [n.pitch for n in (*inner, *theirs)]
    return max(keys) - min(keys) <= reach


def _widest_gap(chord: list[ScoreNote]) -> tuple[int, ScoreNote, ScoreNote]:
    k = max(range(len(chord) - 1), key=lambda i: chord[i + 1].pitch - chord[i].pitch)
    return chord[k + 1].pitch - chord[k].pitch, chord[k], chord[k + 1]
