"""The habits of a figure: place by place, fingering by fingering, and what the line costs it."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from engine.arrangement import Arrangement, Figure
from engine.findings import Estimate, no_estimate
from engine.measure import interval
from engine.measure.cells import LEAST_CELLS, Cells
from engine.measure.even_fit import EvenFit, fit_even
from engine.measure.heard import Heard
from engine.measure.quantiles import t_quantile


@dataclass(frozen=True, slots=True)
class Place:
    """One place of the cell (from 1): mean deviation (ms late) and mean velocity over the cells."""

    place: int
    deviation_ms: Estimate
    velocity: Estimate


@dataclass(frozen=True, slots=True)
class Fingering:
    """Evenness of the cells with one printed fingering ("" before any is printed).

    Attributes:
        cells: measured; those that stand alone among others are not.
        difference_ms: its SD less that of the commonest fingering.
    """

    fingering: str
    cells: int
    sd_ms: Estimate
    difference_ms: Estimate


def habits_of(cells: Cells, fit: EvenFit) -> tuple[Place, ...]:
    """Habits; each interval from how the place itself varies over the cells (Student's t)."""
    return tuple(
        Place(
            k + 1,
            _habit(fit, k),
            interval.mean_of(cells.velocity[:, k], "velocity", "cells"),
        )
        for k in range(cells.places)
    )


def _habit(fit: EvenFit, k: int) -> Estimate:
    """One habit; its error from the scatter of its own place inside the cells.

    That scatter is what the place varies by, whatever the other places do; it is set against
    the error that the fit gives a habit for a rest of one size, which knows what the tempo
    curve leaves open.
    """
    count, places = fit.rest_ms.shape
    within = fit.rest_ms[:, k] - fit.rest_ms.mean(axis=1)
    cells = _within_scale(fit, k)
    variance = float(within @ within) / cells / (1.0 - 1.0 / places)
    half = t_quantile(0.975, max(cells - 1.0, 2.0)) * math.sqrt(variance * fit.habit_cov[k, k])
    return interval.around(float(fit.habit_ms[k]), half, count, "ms")


def _within_scale(fit: EvenFit, k: int) -> float:
    """Cells less what the fit takes of a place's scatter inside them: most at a curve's ends."""
    count, places = fit.rest_ms.shape
    model = fit.columns.orthonormal
    taken = 0.0
    for _, columns in (*model.blocks, (slice(None), model.shared)):
        by_cell = columns.reshape(-1, places, columns.shape[1])
        taken += float(((by_cell[:, k] - by_cell.mean(axis=1)) ** 2).sum())
    taken /= 1.0 - 1.0 / places
    return float(max(count - taken, 1.0))


def by_fingering(groups: Mapping[str, Cells]) -> tuple[Fingering, ...]:
    """Each fingering apart, tempo and habits fitted to its own cells; empty where there is but one.

    Args:
        groups: cells by fingering, the one the others are compared with first.
    """
    if len(groups) < 2:
        return ()
    out: list[Fingering] = []
    for fingering, cells in groups.items():
        sd = _spread_of(cells)
        first = out[0].sd_ms if out else no_estimate("the others are compared with this one", "ms")
        more = interval.difference_of(sd, first, "ms", sd.reason if out else first.reason)
        out.append(Fingering(fingering, len(cells), sd, more))
    return tuple(out)


def _spread_of(cells: Cells) -> Estimate:
    if len(cells) < LEAST_CELLS:
        return interval.too_few(len(cells), LEAST_CELLS, "cells", "ms")
    fit = fit_even(cells)
    return interval.rms_over(fit.deviation_ms, fit.deviation_factor, "ms", fit.kept)


def cells_by_fingering(heard: Heard, figure: Figure, cells: Cells) -> dict[str, Cells]:
    """The cells of each fingering; first, if enough of them were played, the page's commonest.

    Counted on the page of what was asked for (of equals the one that sorts first), so that a slip
    more or less does not make another fingering the one measured.
    """
    printed = printed_fingerings(heard.arrangement, figure)
    names = [printed[int(row[0])] for row in cells.score]
    if len(set(names)) < 2:
        return {names[0]: cells} if names else {"": cells}
    notes, span = heard.arrangement.notes, heard.span
    on_page = Counter(
        name for i, name in printed.items() if span.from_bar <= notes[i].bar <= span.to_bar
    )
    each = np.array(names, dtype=object)
    chosen = [(name, cells.chosen(each == name)) for name in set(names)]
    chosen.sort(key=lambda one: (not one[1].enough, -on_page[one[0]], one[0]))
    return dict(chosen)


def printed_fingerings(arrangement: Arrangement, figure: Figure) -> dict[int, str]:
    """The fingering each cell (by its first note) goes by.

    A note without a finger goes on as in the cell before (common practice), so that a finger
    printed again as a reminder changes nothing; "-" where none was printed yet. A repeat is
    fingered as the first time.
    """
    first_time: dict[str, list[str]] = {}
    out: dict[int, str] = {}
    last = [""] * figure.places
    for cell in figure.occurrences:
        notes = [arrangement.notes[i] for i in cell]
        own = [note.fingering or before for note, before in zip(notes, last, strict=True)]
        last = first_time.setdefault(notes[0].note_id, own)
        out[cell[0]] = " ".join(f or "-" for f in last) if any(last) else ""
    return out


def cost_of_line(
    arrangement: Arrangement, cells: Cells, fit: EvenFit
) -> tuple[Estimate, Estimate, Estimate]:
    """Rest where the line moves against where it rests; interval of the difference by Welch."""
    if not arrangement.form.line:
        none = no_estimate("no line was found", "ms")
        return none, none, none
    table = arrangement.table
    line_q = np.unique(table["onset_q"][list(arrangement.form.line)])
    onset_q = table["onset_q"][cells.score]
    step_q = (onset_q.max(axis=1) - onset_q.min(axis=1)).mean() / max(cells.places - 1, 1)
    first = np.searchsorted(line_q, onset_q - 1e-6)
    moves = np.searchsorted(line_q, onset_q + step_q - 1e-6) > first
    factor = math.sqrt(fit.freedom_factor)
    moving = interval.sd_of(fit.rest_ms[moves] * factor, "ms")
    resting = interval.sd_of(fit.rest_ms[~moves] * factor, "ms")
    reason = "the line does not both move and rest often enough"
    return moving, resting, interval.difference_of(moving, resting, "ms", reason)
