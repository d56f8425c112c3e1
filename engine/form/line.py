"""The melody and its octave copies: which notes are the line, and which double it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from fractions import Fraction
from itertools import pairwise

import numpy as np

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
    sung = _bars_the_left_sings(arrangement, busy)
    main = [
        i for i in _main_line(arrangement, figures, busy) if arrangement.notes[i].bar not in sung
    ]
    left = [i for i in _skyline(arrangement, "left", busy) if arrangement.notes[i].bar in sung]
    return tuple(sorted(main + left))


def _bars_the_left_sings(arrangement: Arrangement, busy: set[int]) -> set[int]:
    """Bars, two at least in a row, where the left hand has octaves and more to say than the right.

    Most of its onsets are octaves, and it has more of them than the right hand, which has few.
    """
    sings = []
    bars = _notes_of_bars(arrangement)
    for notes in bars:
        left, left_octaves = _onsets_in(arrangement, notes, "left", busy)
        right, right_octaves = _onsets_in(arrangement, notes, "right", busy)
        octaves = left_octaves >= 0.6 * left and right_octaves < 0.5 * max(1, right)
        sings.append(octaves and left >= 2 and left > right)
    return {
        k
        for k, here in enumerate(sings)
        if ((here or _follows_on(arrangement, bars, k, sings)) and any(sings[max(0, k - 2) : k]))
        or (here and any(sings[k + 1 : k + 2]))
    }


def _follows_on(
    arrangement: Arrangement, bars: Sequence[range], k: int, sings: Sequence[bool]
) -> bool:
    """A last bar with one long octave ends what the left hand sang before it."""
    if k < 2 or not sings[k - 1] or not sings[k - 2]:
        return False
    left, octaves = _onsets_in(arrangement, bars[k], "left", set())
    return left == octaves == 1


def _onsets_in(
    arrangement: Arrangement, notes: range, hand: Hand, busy: set[int]
) -> tuple[int, int]:
    """Onsets of a hand among a bar's notes beside the figure, and how many are octaves."""
    at: dict[Fraction, set[int]] = {}
    for i in notes:
        note = arrangement.notes[i]
        if note.hand == hand and i not in busy and not note.grace:
            at.setdefault(note.onset_q, set()).add(note.pitch)
    octaves = sum(any(p + 12 in keys for p in keys) for keys in at.values())
    return len(at), octaves


def _notes_of_bars(arrangement: Arrangement) -> list[range]:
    """Indices of each bar's notes."""
    bars = np.arange(len(arrangement.bars) + 1)
    edges = np.searchsorted(arrangement.table["bar"], bars).tolist()
    return [range(first, last) for first, last in pairwise(edges)]


def _main_line(
    arrangement: Arrangement, figures: Sequence[Figure], busy: set[int]
) -> Sequence[int]:
    """The line where the left hand does not sing in octaves."""
    spare = {hand: _skyline(arrangement, hand, busy) for hand in ("right", "left")}
    everything = _skyline(arrangement, "right", set())
    enough = float(arrangement.end_q) / SPARSEST_Q
    if len(spare["right"]) >= 0.3 * max(1, len(everything)) or len(spare["right"]) >= enough:
        return _with_melody_on_figure(arrangement, spare["right"], figures)
    if len(spare["left"]) >= enough:
        return spare["left"]
    return _on_beats(arrangement, everything) if everything else spare["left"]


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
    top: list[int] = []  # notes are sorted by onset, and by pitch within one
    for i, note in enumerate(arrangement.notes):
        if note.hand == hand and i not in without and not note.grace and not note.optional:
            if top and arrangement.notes[top[-1]].onset_q == note.onset_q:
                top.pop()
            top.append(i)
    line: list[int] = []
    for i in top:
        note = arrangement.notes[i]
        held = arrangement.notes[line[-1]] if line else None
        over = held is not None and held.pitch > note.pitch
        if held and over and held.onset_q + held.duration_q > note.onset_q:
            continue
        line.append(i)
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
