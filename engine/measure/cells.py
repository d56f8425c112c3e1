"""The cells of a figure as they were played: one row a cell, one column a place."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from engine.arrangement import Figure
from engine.measure.heard import Heard, Indices, Numbers
from engine.measure.tempo import Moments

#: Fewer cells than these, or fewer notes, say nothing.
LEAST_CELLS, LEAST_NOTES = 5, 24
#: A tempo is followed over so many notes or cells that are not looked at, whichever are more.
BRIDGED_NOTES, BRIDGED_CELLS = 8, 2


@dataclass(frozen=True, eq=False)
class Cells:
    """Whole, regular cells in the order they were played; matrices have shape (cells, places).

    Attributes:
        score: index of each note. time_s, release_s, velocity: as played.
        mark_s: where each stands at the marked tempo, seconds.
        run: number of the unbroken row of cells each cell is in, shape (cells,).
        stretch: number of the row of cells one tempo is followed through, shape (cells,): a run,
            or several where only cells fingered otherwise lie between, and few.
        step_s: mean length of a note step at the marked tempo (a cell's length over its places).
        excluded: cells of the span that are left out (slip, note missing, hesitation, struck
            out of order, or standing alone).
    """

    score: Indices
    time_s: Numbers
    release_s: Numbers
    velocity: Numbers
    mark_s: Numbers
    run: Indices
    stretch: Indices
    step_s: float
    excluded: int

    @property
    def places(self) -> int:
        """Notes in a cell."""
        return int(self.score.shape[1])

    def __len__(self) -> int:
        return len(self.score)

    @property
    def enough(self) -> bool:
        """Whether they say anything."""
        return len(self) >= LEAST_CELLS and self.score.size >= LEAST_NOTES

    def chosen(self, keep: npt.NDArray[np.bool_]) -> Cells:
        """Only the cells asked for, in rows as unbroken as they still are.

        One tempo is followed over up to eight notes or two cells that are not asked for; a cell
        that stands alone even so is left out.
        """
        at = np.flatnonzero(keep)
        between = np.diff(at, prepend=-1) - 1
        most = max(BRIDGED_NOTES // self.places, BRIDGED_CELLS)
        run = _parted(self.run[at], between > 0)
        stretch = _parted(self.stretch[at], between > most)
        return replace(self._only(at), run=run, stretch=stretch).paired()

    def paired(self) -> Cells:
        """Without the cells that stand alone, which are counted as left out."""
        along = np.bincount(self.stretch, minlength=1)[self.stretch] > 1
        if along.all():
            return self
        run, stretch = _numbered(self.run[along]), _numbered(self.stretch[along])
        excluded = self.excluded + int(np.sum(~along))
        return replace(self._only(along), run=run, stretch=stretch, excluded=excluded)

    def _only(self, rows: Indices | npt.NDArray[np.bool_]) -> Cells:
        """Some of the cells, in rows numbered as before."""
        fields = ("score", "time_s", "release_s", "velocity", "mark_s", "run", "stretch")
        return replace(self, **{name: getattr(self, name)[rows] for name in fields})

    @property
    def even_on_page(self) -> bool:
        """All notes of the cell are written equally long, the last one's step to the next too.

        Each cell is held against its own mean step, so that a change of the marked tempo from one
        to the next is no unequal note.
        """
        goes_on = self.run[1:] == self.run[:-1]
        end = self.mark_s[:, 0] + self.step_s * self.places
        end[:-1][goes_on] = self.mark_s[1:, 0][goes_on]
        steps = np.diff(self.mark_s, axis=1, append=end[:, None])
        mean = steps.mean(axis=1, keepdims=True)
        return bool(np.allclose(np.median(steps / mean, axis=0), 1.0, rtol=0.02))

    @property
    def next_time_s(self) -> Numbers:
        """Onset of the note after each, nan after the last of a run, shape (cells, places)."""
        out = np.full(self.time_s.shape, np.nan)
        out[:, :-1] = self.time_s[:, 1:]
        goes_on = np.flatnonzero(self.run[1:] == self.run[:-1])
        out[goes_on, -1] = self.time_s[goes_on + 1, 0]
        return out


def _parted(row: Indices, anew: npt.NDArray[np.bool_]) -> Indices:
    """Rows numbered again, with a new one begun where asked."""
    return _numbered(np.cumsum(anew) + row * (len(row) + 1))


def _numbered(run: Indices) -> Indices:
    return np.asarray(np.unique(run, return_inverse=True)[1], dtype=np.intp).reshape(-1)


def gather_cells(heard: Heard, moments: Moments, figure: Figure) -> Cells:
    """The regular cells of a figure inside the span, and how many are not."""
    table = heard.arrangement.table
    wanted = np.array(figure.occurrences, dtype=np.intp).reshape(-1, figure.places)
    bar = table["bar"][wanted]
    inside = (bar >= heard.span.from_bar) & (bar <= heard.span.to_bar)
    wanted = wanted[inside.all(axis=1)]
    rows = heard.rows(wanted)
    begun = (rows >= 0).any(axis=1)
    wanted, rows = wanted[begun], rows[begun]
    regular = _regular(heard, moments, rows)
    cells = _built(heard, moments, wanted[regular], rows[regular], float(figure.cell_q))
    return replace(cells, excluded=int(np.sum(~regular))).paired()


def _regular(heard: Heard, moments: Moments, rows: Indices) -> npt.NDArray[np.bool_]:
    """Cells whose notes are all there, in order, in one stretch."""
    if not len(rows):
        return np.zeros(0, dtype=bool)
    there = (rows >= 0).all(axis=1)
    moment = np.where(rows >= 0, moments.of_row[rows], -1)
    plain = (moment >= 0).all(axis=1)
    stretch = moments.stretch[moment] if len(moments.stretch) else np.zeros_like(moment)
    together = (stretch == stretch[:, :1]).all(axis=1)
    in_order = (np.diff(heard.onset_s[rows], axis=1) > 0).all(axis=1)
    return np.asarray(there & plain & together & in_order)


def _built(heard: Heard, moments: Moments, wanted: Indices, rows: Indices, cell_q: float) -> Cells:
    table = heard.arrangement.table
    start_q = table["onset_q"][wanted[:, 0]] if len(wanted) else np.empty(0)
    order = np.argsort(heard.onset_s[rows[:, 0]], kind="stable") if len(wanted) else rows[:, 0]
    wanted, rows, start_q = wanted[order], rows[order], start_q[order]
    new = np.ones(len(wanted), dtype=bool)
    if len(wanted) > 1:
        stretch = moments.stretch[moments.of_row[rows[:, 0]]]
        adjoins = np.abs(np.diff(start_q) - cell_q) < 1e-6
        follows = heard.onset_s[rows[1:, 0]] > heard.onset_s[rows[:-1, -1]]
        new[1:] = ~(adjoins & follows & (stretch[1:] == stretch[:-1]))
    run = np.asarray(np.cumsum(new) - 1, dtype=np.intp)
    mark_s = table["onset_s"][wanted]
    lengths_s = np.diff(mark_s[:, 0])[~new[1:]]
    return Cells(
        wanted,
        heard.onset_s[rows],
        heard.release_s[rows],
        heard.velocity[rows],
        mark_s,
        run,
        run,
        float(np.median(lengths_s)) / wanted.shape[1] if len(lengths_s) else 0.0,
        0,
    )
