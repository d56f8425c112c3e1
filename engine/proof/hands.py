"""Notes outside the keyboard, and what one hand cannot take at once."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from itertools import groupby, pairwise

from engine.arrangement import Arrangement, Hand, ScoreNote
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

    def of(self, hand: Hand) -> int:
        """One hand's reach."""
        return self.left if hand == "left" else self.right

    def takes(self, hand: Hand, notes: list[ScoreNote]) -> bool:
        """Whether a hand can have these keys down at once."""
        keys = {n.pitch for n in notes}
        return not keys or (max(keys) - min(keys) <= self.of(hand) and len(keys) <= self.fingers)


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
        yield from _hand_remarks(arrangement, mine, reach)


def _hand_remarks(
    arrangement: Arrangement, notes: list[ScoreNote], reach: Reach
) -> Iterator[Remark]:
    """One hand, stroke by stroke, with what it still holds."""
    pedals = _pedals(arrangement)
    held: list[ScoreNote] = []
    for onset_q, group in groupby(notes, key=lambda n: n.onset_q):
        every = sorted(group, key=lambda n: n.pitch)
        chord = [n for n in every if not n.optional]
        broken = any(n.arpeggiated for n in every)
        if not broken:
            yield from _grip(arrangement, chord, reach)
        held = [n for n in held if n.onset_q + n.duration_q > onset_q]
        if pedals and held and chord and not broken:
            free = [n for n in held if not _held_by_pedal(pedals, n, onset_q)]
            yield from _while_holding(arrangement, free, chord, reach.of(chord[0].hand))
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


def _grip(arrangement: Arrangement, chord: list[ScoreNote], reach: Reach) -> Iterator[Remark]:
    if len(chord) < 2:
        return
    low, high = chord[0], chord[-1]
    span, hand = high.pitch - low.pitch, low.hand
    own = reach.of(hand)
    keys = len({n.pitch for n in chord})
    if keys > reach.fingers:
        why = f"the {hand} hand has {keys} keys at once"
        yield remark_on(arrangement, "stretch", chord, why, 0.9)
    if span <= own or _shared(chord, own) or _other_hand_may(arrangement, chord, reach):
        return
    if span > 24 or (_widest_gap(chord) >= 12 and span > own + 3):
        why = f"the {hand} hand is asked for {printed(low.name)} and {printed(high.name)} at once"
        yield remark_on(arrangement, "two places", chord, why, 0.9 if span > 24 else 0.75)
        return
    words = interval_between(
        (low.step, low.alter, low.octave), (high.step, high.alter, high.octave)
    )
    why = (
        f"{printed(low.name)} to {printed(high.name)} is {span} semitones "
        f"({words.name}), more than the {hand} hand's reach of {own}"
    )
    yield remark_on(arrangement, "stretch", chord, why, 0.8)


def _shared(chord: list[ScoreNote], reach: int) -> bool:
    """Whether what is too far stands on the other hand's staff, and so may be that hand's.

    The page does not say whose it is: it was told from the voice.
    """
    own = {"right": 1, "left": 2}[chord[0].hand]
    mine = [n.pitch for n in chord if n.staff == own]
    return len(mine) < len(chord) and (not mine or mine[-1] - mine[0] <= reach)


def _other_hand_may(arrangement: Arrangement, chord: list[ScoreNote], reach: Reach) -> bool:
    """Whether the hands can share what is struck now, each giving only voices of its own.

    The voice of a hand's outermost key stays with it, and so does what it holds already.
    """
    now, hand = chord[0].onset_q, chord[0].hand
    theirs = [
        n
        for bar in arrangement.notes_of_bars[max(0, chord[0].bar - 1) : chord[0].bar + 1]
        for n in bar
        if n.hand != hand and n.onset_q <= now < n.onset_q + n.duration_q
    ]
    right, left = (chord, theirs) if hand == "right" else (theirs, chord)
    inner = [n for n in (*_inner(right, now), *_inner(left, now)) if not n.optional]
    above = [n for n in right if n not in inner]
    below = [n for n in left if n not in inner]
    for edge in sorted({n.pitch for n in inner} | {HIGHEST + 1}):
        lower = below + [n for n in inner if n.pitch < edge]
        upper = above + [n for n in inner if n.pitch >= edge]
        if reach.takes("left", lower) and reach.takes("right", upper):
            return True
    return False


def _inner(notes: list[ScoreNote], now: Fraction) -> list[ScoreNote]:
    """What a hand strikes now in other voices than that of its outermost key."""
    if not notes:
        return []
    outermost = (max if notes[0].hand == "right" else min)(notes, key=lambda n: n.pitch)
    return [n for n in notes if n.onset_q == now and n.voice != outermost.voice]


def _widest_gap(chord: list[ScoreNote]) -> int:
    return max(b.pitch - a.pitch for a, b in pairwise(chord))
