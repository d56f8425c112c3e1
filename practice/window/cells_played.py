"""The figure as it was played, cell by cell: the angle and loudness of each note on the Wheel.

The angle is where the note fell in its own cell against the player's own tempo round it: a
straight line through the onsets of the cell and its neighbours is the even cell, and what a note
is off that line turns it forwards (late) or back (early). Exact for any number of places.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from engine.arrangement import Arrangement, Figure, Hands, Span
from engine.findings import Finding
from engine.performance import PlayedNote
from practice.window.keeping import PASSES, kept_by_identity

#: Notes a line through a cell and its neighbours needs at least.
LEAST_NOTES = 4
_MOST_TURN = 0.25  # a note further off than a quarter of a turn is not shown: a stop, not a place


@dataclass(frozen=True, slots=True)
class CellNote:
    """A note of the figure: place from 0, turn (0 to 1 round the cell), velocity, ms late."""

    place: int
    turn: float
    velocity: int
    late_ms: float


@dataclass(frozen=True, slots=True)
class PlayedCells:
    """All notes of one pass, and how long a cell took (ms, median)."""

    notes: tuple[CellNote, ...]
    cell_ms: float
    cells: int


@kept_by_identity(16)
def figure_in(arrangement: Arrangement, span: Span, hands: Hands) -> Figure | None:
    """The figure with the most cells in a span and hand, None where there is none."""
    best: tuple[int, Figure] | None = None
    for figure in arrangement.form.figures:
        if figure.places < 2 or hands not in ("both", figure.hand):
            continue
        count = sum(_inside(arrangement, cell, span) for cell in figure.occurrences)
        if count and (best is None or count > best[0]):
            best = (count, figure)
    return best[1] if best else None


@kept_by_identity(PASSES)
def read_cells(
    arrangement: Arrangement,
    figure: Figure,
    span: Span,
    notes: Sequence[PlayedNote],
    findings: Sequence[Finding],
) -> PlayedCells:
    """Every right note of the figure's whole cells in the span, at its own angle."""
    by_index = {n.index: n for n in notes}
    heard = {
        f.score: by_index[f.played]
        for f in findings
        if f.what == "right" and f.score is not None and f.played in by_index
    }
    cells = [c for c in figure.occurrences if _inside(arrangement, c, span)]
    out: list[CellNote] = []
    lengths: list[float] = []
    for k, cell in enumerate(cells):
        around = [i for c in cells[max(0, k - 1) : k + 2] if _near(arrangement, c, cell, figure)
                  for i in c if i in heard]  # fmt: skip
        if len(around) < LEAST_NOTES or not any(i in heard for i in cell):
            continue
        found = _turn_cell(arrangement, figure, cell, around, heard)
        if found is not None:
            out += found[0]
            lengths.append(found[1])
    length_ms = float(np.median(lengths)) * 1000 if lengths else float("nan")
    return PlayedCells(tuple(out), length_ms, len(lengths))


def nominal_turns(arrangement: Arrangement, figure: Figure) -> tuple[float, ...]:
    """Where the places stand on the turn as written."""
    cell = figure.occurrences[0]
    start = arrangement.notes[cell[0]].onset_q
    return tuple(float((arrangement.notes[i].onset_q - start) / figure.cell_q) for i in cell)


def _inside(arrangement: Arrangement, cell: Sequence[int], span: Span) -> bool:
    bars = [arrangement.notes[i].bar for i in (cell[0], cell[-1])]
    return span.from_bar <= bars[0] and bars[1] <= span.to_bar


def _near(
    arrangement: Arrangement, one: Sequence[int], other: Sequence[int], figure: Figure
) -> bool:
    notes = arrangement.notes
    apart = abs(float(notes[one[0]].onset_q - notes[other[0]].onset_q))
    return apart <= 1.01 * float(figure.cell_q)


def _turn_cell(
    arrangement: Arrangement,
    figure: Figure,
    cell: Sequence[int],
    around: Sequence[int],
    heard: dict[int, PlayedNote],
) -> tuple[list[CellNote], float] | None:
    """Angles of one cell by a line through it and its neighbours; None where time stands still."""
    q = np.array([float(arrangement.notes[i].onset_q) for i in around])
    s = np.array([heard[i].onset_s for i in around])
    if np.ptp(q) <= 0:
        return None
    mean_q, mean_s = q.mean(), s.mean()
    s_per_q = float((q - mean_q) @ (s - mean_s) / ((q - mean_q) @ (q - mean_q)))
    at_zero = float(mean_s - s_per_q * mean_q)
    if s_per_q <= 0:
        return None
    cell_s = float(s_per_q * float(figure.cell_q))
    start = float(arrangement.notes[cell[0]].onset_q)
    out = []
    for place, index in enumerate(cell):
        if index in heard:
            note_q = float(arrangement.notes[index].onset_q)
            late_s = heard[index].onset_s - float(s_per_q * note_q + at_zero)
            if abs(late_s) < _MOST_TURN * cell_s:
                turn = (note_q - start) / float(figure.cell_q) + late_s / cell_s
                out.append(CellNote(place, turn, heard[index].velocity, late_s * 1000))
    return out, cell_s
