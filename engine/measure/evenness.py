"""Evenness of the repeated figure: how regular, where the habit is, and what is left.

The tempo and the habits are parted by `engine.measure.even_fit`; *deviation* is what remains
after the smooth tempo, so it holds the habits of the places and the rest.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from engine.arrangement import Arrangement, Figure, Hand
from engine.findings import Estimate, no_estimate
from engine.measure import interval
from engine.measure.cells import LEAST_CELLS, LEAST_NOTES, Cells, gather_cells
from engine.measure.even_fit import fit_even
from engine.measure.habits import (
    Fingering,
    Place,
    by_fingering,
    cells_by_fingering,
    cost_of_line,
    habits_of,
)
from engine.measure.heard import Heard
from engine.measure.shares import share_variance
from engine.measure.steps import (
    Steps,
    against_repertoire_of,
    audible_of,
    audible_words_of,
    drift_of,
    intervals_of,
    median_sd_ioi_of,
    overlap_of,
    velocity_sd_of,
    windows_of,
)
from engine.measure.tempo import Moments
from engine.measure.timekeeper import part_timekeeper


@dataclass(frozen=True, slots=True)
class Evenness:
    """What a figure measured. All estimates carry their interval and n.

    Attributes:
        hand, cell_places: whose figure, and notes in a cell.
        fingering: what the measured cells go by, a finger a note ("5 3 2 1"), "" where the page has
            none. Where it has several, all but `fingerings` is of the one that most cells on the
            page carry, if enough of them were played.
        cells, excluded_cells: used, and left out (slip, note missing, hesitation, out of order).
        note_interval_ms: median local interval from note to note.
        sd_ms: root mean square deviation from the smooth tempo, degrees of freedom put right.
        sd_percent: the same in percent of the local note interval.
        robust_sd_ms: 1.4826 times the median absolute deviation, the rest put right likewise.
        rest_sd_ms: the same without the habits of the places.
        cv: root mean square of (interval / interval of the smooth tempo - 1).
        median_sd_ioi_ms: median over the cells of the SD of the intervals inside a cell, as the
            scale studies take it (Jabusch, Vauth & Altenmueller 2004, Mov Disord 19:171-180: mean
            SD of intervals of scale runs). A cell is far shorter than a scale and jumps back.
        window_sd_ms: median SD of 16 intervals with a linear trend taken off, the statistic of the
            repertoire bands. window_cv: the same over the mean interval.
        drift_percent_per_minute: trend of the tempo, positive faster.
        timekeeper_sd_ms, finger_sd_ms, lag1_correlation: `engine.measure.timekeeper`.
        audible_share: share of intervals further from the smooth tempo's than the just
            noticeable displacement (Friberg & Sundberg 1995).
        place_share, drift_share, rest_share: `engine.measure.shares`.
        velocity_sd: median SD of velocity in 16 notes with a linear trend taken off.
        overlap_ms: median of release minus next onset, positive overlapping (Repp 1995, J Acoust
            Soc Am 97:3862-74). overlap_share: the same over the interval.
        moving_sd_ms, resting_sd_ms: rest where a line note comes with or before the next figure
            note, and where none does; line_cost_ms: their difference.
        places: habits. fingerings: where the page carries more than one, each measured apart.
        band, band_words, audible_words: against the repertoire, and what the ear makes of it.
    """

    hand: Hand
    cell_places: int
    fingering: str
    cells: int
    excluded_cells: int
    note_interval_ms: float
    sd_ms: Estimate
    sd_percent: Estimate
    robust_sd_ms: Estimate
    rest_sd_ms: Estimate
    cv: Estimate
    median_sd_ioi_ms: Estimate
    window_sd_ms: Estimate
    window_cv: Estimate
    drift_percent_per_minute: Estimate
    timekeeper_sd_ms: Estimate
    finger_sd_ms: Estimate
    lag1_correlation: Estimate
    audible_share: Estimate
    place_share: Estimate
    drift_share: Estimate
    rest_share: Estimate
    velocity_sd: Estimate
    overlap_ms: Estimate
    overlap_share: Estimate
    moving_sd_ms: Estimate
    resting_sd_ms: Estimate
    line_cost_ms: Estimate
    places: tuple[Place, ...]
    fingerings: tuple[Fingering, ...]
    band: str
    band_words: str
    audible_words: str


def measure_evenness(heard: Heard, moments: Moments) -> Evenness | Estimate:
    """Evenness of the figure with the most whole cells in the span, or why there is none."""
    figures = [f for f in heard.arrangement.form.figures if f.places >= 2]
    if heard.hands != "both":
        figures = [f for f in figures if f.hand == heard.hands]
    if not figures:
        return no_estimate("no repeated figure in what was asked for")
    gathered = [(gather_cells(heard, moments, f), f) for f in figures]
    cells, figure = max(gathered, key=lambda g: g[0].score.size)
    groups = cells_by_fingering(heard, figure, cells)
    measured = next(iter(groups.values()))
    if not measured.enough:
        alike = " with one fingering" if len(groups) > 1 else ""
        return no_estimate(
            f"too few whole cells of the figure{alike}: {len(measured)} ({measured.excluded} left "
            f"out), at least {LEAST_CELLS} and {LEAST_NOTES} notes are needed",
            n=len(measured),
        )
    return evenness_of(heard.arrangement, figure, groups)


def evenness_of(arrangement: Arrangement, figure: Figure, groups: Mapping[str, Cells]) -> Evenness:
    """Everything about one figure from its cells by fingering; the first are measured."""
    fingering, cells = next(iter(groups.items()))
    fit = fit_even(cells)
    steps = Steps.of(cells, fit)
    keeper = part_timekeeper(*intervals_of(cells, fit))
    place_share, drift_share, rest_share = share_variance(cells, fit)
    audible = audible_of(steps)
    window_sd, window_cv = windows_of(cells, steps)
    step_ms = float(np.median(fit.local_s) * 1000)
    band, words = against_repertoire_of(step_ms, window_sd)
    overlap, overlap_share = overlap_of(cells)
    moving, resting, cost = cost_of_line(arrangement, cells, fit)
    return Evenness(
        hand=figure.hand,
        cell_places=cells.places,
        fingering=fingering,
        cells=len(cells),
        excluded_cells=cells.excluded,
        note_interval_ms=step_ms,
        sd_ms=interval.rms_over(fit.deviation_ms, fit.deviation_factor, "ms", fit.kept),
        sd_percent=interval.rms_over(
            fit.deviation_ms / (fit.local_s * 10), fit.deviation_factor, "percent", fit.kept
        ),
        robust_sd_ms=interval.robust_sd_of(
            fit.habit_ms + fit.rest_ms * math.sqrt(fit.freedom_factor), "ms"
        ),
        rest_sd_ms=interval.rms_over(fit.rest_ms, fit.freedom_factor, "ms", fit.kept),
        cv=interval.rms_over(steps.by_cell(steps.relative), 1.0, "", fit.kept),
        median_sd_ioi_ms=median_sd_ioi_of(cells),
        window_sd_ms=window_sd,
        window_cv=window_cv,
        drift_percent_per_minute=drift_of(cells, fit),
        timekeeper_sd_ms=keeper.timekeeper_sd_ms,
        finger_sd_ms=keeper.finger_sd_ms,
        lag1_correlation=keeper.lag1_correlation,
        audible_share=audible,
        place_share=place_share,
        drift_share=drift_share,
        rest_share=rest_share,
        velocity_sd=velocity_sd_of(cells),
        overlap_ms=overlap,
        overlap_share=overlap_share,
        moving_sd_ms=moving,
        resting_sd_ms=resting,
        line_cost_ms=cost,
        places=habits_of(cells, fit),
        fingerings=by_fingering(groups),
        band=band,
        band_words=words,
        audible_words=audible_words_of(audible),
    )
