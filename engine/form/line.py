"""The melody and its octave copies: which notes are the line, and which double it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from fractions import Fraction

from engine.arrangement import Arrangement, Figure, Hand

#: A voice is a line over a figure only if it has at least one onset in so many quarters.
SPARSEST_Q = 4


def find_line(arrangement: Arrangement, figures: Sequence[Figure]) -> tuple[int, ...]:
    """Indices of the melody's notes, ascending, one at each onset.

    The melody is the highest sounding part of the hand that has notes of its own beside the
    figure (common practice); where both or neither have, of the right hand. Under a figure that
    fills the right hand it is sought in the left, and where the figure fills both hands, in the
    highest note of each beat.
    """
    busy = {i for f in figures for cell in f.occurrences for i in _struck_with(arrangement, cell)}
    spare = {hand: _skyline(arrangement, hand, busy) for hand in ("right", "left")}
    everything = _skyline(arrangement, "right", set())
    enough = float(arrangement.end_q) / SPARSEST_Q
    if len(spare["right"]) >= 0.3 * max(1, len(everything)) or len(spare["right"]) >= enough:
        return _with_melody_on_figure(arrangement, spare["right"], figures)
    if len(spare["left"]) >= enough:
        return tuple(spare["left"])
    return tuple(_on_beats(arrangement, everything) if everything else spare["left"])


def _struck_with(arrangement: Arrangement, cell: Iterable[int]) -> list[int]:
    """A cell's notes, and those of the same written voice struck with them."""
    out = []
    for i in cell:
        note = arrangement.notes[i]
        out += [
            j
            for j in _at(arrangement, i)
            if arrangement.notes[j].hand == note.hand
            and arrangement.notes[j].voice == note.voice
            and arrangement.notes[j].staff == note.staff
        ]
    return out


def _at(arrangement: Arrangement, i: int) -> range:
    """Indices of all notes with the onset of note `i`."""
    onset, notes = arrangement.notes[i].onset_q, arrangement.notes
    first, last = i, i
    while first and notes[first - 1].onset_q == onset:
        first -= 1
    while last + 1 < len(notes) and notes[last + 1].onset_q == onset:
        last += 1
    return range(first, last + 1)


def _skyline(arrangement: Arrangement, hand: Hand, without: set[int]) -> list[int]:
    """The highest note of a hand at each onset, unless a longer, higher one still sounds.

    Inner notes under a held melody note are left out.
    """
    top: dict[Fraction, int] = {}
    for i, note in enumerate(arrangement.notes):
        if note.hand == hand and i not in without and not note.grace and not note.optional:
            top[note.onset_q] = i  # notes are sorted by pitch within an onset
    line: list[int] = []
    for onset in sorted(top):
        note = arrangement.notes[top[onset]]
        held = arrangement.notes[line[-1]] if line else None
        if held and held.onset_q + held.duration_q > onset and held.pitch > note.pitch:
            continue
        line.append(top[onset])
    return line


def _with_melody_on_figure(
    arrangement: Arrangement, line: list[int], figures: Sequence[Figure]
) -> tuple[int, ...]:
    """The line, without notes that lie below the figure of their own hand at that moment."""
    own = {
        arrangement.notes[i].onset_q: arrangement.notes[i].pitch
        for f in figures
        if f.hand == "right"
        for cell in f.occurrences
        for i in cell
    }
    return tuple(
        i for i in line if arrangement.notes[i].pitch >= own.get(arrangement.notes[i].onset_q, 0)
    )


def _on_beats(arrangement: Arrangement, line: Sequence[int]) -> list[int]:
    out = []
    for i in line:
        note = arrangement.notes[i]
        bar = arrangement.bars[note.bar]
        beat = bar.beat_at(note.onset_q) - 1
        if beat % (3 if bar.beat_unit >= 8 and bar.beats % 3 == 0 else 1) == 0:
            out.append(i)
    return out


def find_doublings(arrangement: Arrangement, line: Sequence[int]) -> tuple[tuple[int, int], ...]:
    """Pairs (line note, its octave copy): struck with it in the same hand, an octave or two away.

    The nearest copy is taken, below rather than above.
    """
    pairs = []
    for i in line:
        note = arrangement.notes[i]
        copies = [
            j
            for j in _at(arrangement, i)
            if arrangement.notes[j].hand == note.hand
            and not arrangement.notes[j].grace
            and abs(arrangement.notes[j].pitch - note.pitch) in (12, 24)
        ]
        if copies:
            pairs.append((i, min(copies, key=lambda j: _distance(arrangement, i, j))))
    return tuple(pairs)


def _distance(arrangement: Arrangement, i: int, j: int) -> tuple[int, int]:
    step = arrangement.notes[j].pitch - arrangement.notes[i].pitch
    return abs(step), step
