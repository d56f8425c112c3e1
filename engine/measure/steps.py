"""The intervals of a figure from note to note: spread, trend, and what the ear hears of them."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from engine.findings import Estimate, no_estimate
from engine.measure import interval
from engine.measure.cells import Cells
from engine.measure.columns import Columns
from engine.measure.even_fit import EvenFit
from engine.measure.heard import Indices, Numbers
from engine.measure.yardsticks import band_for, evenness_words, least_audible_ms

#: Windows of the repertoire table: so many intervals, a linear trend taken off.
WINDOW_INTERVALS = 16


@dataclass(frozen=True, eq=False)
class Steps:
    """Intervals from note to note within runs, in order; arrays of shape (n,)."""

    interval_ms: Numbers
    expected_ms: Numbers
    run: Indices
    cell: Indices

    @property
    def relative(self) -> Numbers:
        """Interval over that of the smooth tempo, less one."""
        return self.interval_ms / self.expected_ms - 1.0

    def by_cell(self, values: npt.NDArray[Any]) -> list[Numbers]:
        """The values cut by the cell their first note is in."""
        cuts = np.flatnonzero(np.diff(self.cell)) + 1
        return np.split(values, cuts)

    @staticmethod
    def of(cells: Cells, fit: EvenFit) -> Steps:
        """The steps of all runs."""
        run = np.repeat(cells.run, cells.places)
        same = run[1:] == run[:-1]
        return Steps(
            np.diff(cells.time_s.ravel())[same] * 1000,
            np.diff(fit.curve_s.ravel())[same] * 1000,
            run[1:][same],
            np.repeat(np.arange(len(cells)), cells.places)[:-1][same],
        )


def intervals_of(cells: Cells, fit: EvenFit) -> tuple[Numbers, Columns]:
    """Intervals in ms inside each run of one tempo curve, and what their mean is made of."""
    times = cells.time_s.ravel() * 1000.0
    run = np.repeat(cells.run, cells.places)
    parts, blocks, shared, at = [], [], [], 0
    for notes, columns in fit.columns.blocks:
        same = np.diff(run[notes]) == 0
        parts.append(np.diff(times[notes])[same])
        blocks.append((slice(at, at + len(parts[-1])), np.diff(columns, axis=0)[same]))
        shared.append(np.diff(fit.columns.shared[notes], axis=0)[same])
        at += len(parts[-1])
    return np.concatenate(parts), Columns(tuple(blocks), np.concatenate(shared))


def median_sd_ioi_of(cells: Cells) -> Estimate:
    """Median over the cells of the SD (n - 1) of the intervals inside, put to equal lengths."""
    if cells.places < 3:
        return no_estimate("a cell of two notes has one interval inside", "ms", len(cells))
    inside = np.diff(cells.time_s, axis=1) * 1000
    written = np.diff(cells.mark_s, axis=1)
    even = inside / written * written.mean(axis=1, keepdims=True)
    return interval.median_of(even.std(axis=1, ddof=1), "ms", "cells")


def windows_of(cells: Cells, steps: Steps) -> tuple[Estimate, Estimate]:
    """SD and CV of windows of intervals, trend taken off (n - 2), medians.

    Only where the page has all notes of the cell equally long, as in the table.
    """
    if not cells.even_on_page:
        reason = "the page has longer and shorter notes in the figure"
        return no_estimate(reason, "ms"), no_estimate(reason)
    sds, cvs = [], []
    for run in np.unique(steps.run):
        even = steps.interval_ms[steps.run == run]
        for first in range(0, len(even) - WINDOW_INTERVALS + 1, WINDOW_INTERVALS):
            window = even[first : first + WINDOW_INTERVALS]
            sds.append(_trendless_sd(window))
            cvs.append(sds[-1] / float(window.mean()))
    return (
        interval.median_of(sds, "ms", "windows of 16 intervals"),
        interval.median_of(cvs, "", "windows of 16 intervals"),
    )


def _trendless_sd(x: Numbers) -> float:
    u = np.arange(len(x)) - (len(x) - 1) / 2
    rest = x - x.mean() - u * float(u @ x / (u @ u))
    return math.sqrt(float(rest @ rest) / (len(x) - 2))


def velocity_sd_of(cells: Cells) -> Estimate:
    """Median SD of velocity in windows of 16 notes, a linear trend taken off."""
    loud = cells.velocity.ravel()
    run = np.repeat(cells.run, cells.places)
    sds = []
    for one in np.unique(run):
        part = loud[run == one]
        for first in range(0, len(part) - WINDOW_INTERVALS + 1, WINDOW_INTERVALS):
            sds.append(_trendless_sd(part[first : first + WINDOW_INTERVALS]))  # noqa: PERF401
    return interval.median_of(sds, "velocity", "windows of 16 notes")


def drift_of(cells: Cells, fit: EvenFit) -> Estimate:
    """Trend of the tempo over the pass, percent a minute, positive faster.

    Each group of at least six notes gives its own tempo by a line through its onsets with the
    habits taken off; a line through the logarithms of these over time is the drift. Student's t;
    where neighbouring tempos hang together (lag-1 r beyond twice its error) the error is widened
    by sqrt((1 + r) / (1 - r)).
    """
    tempo, at = _group_tempos(cells, fit)
    trend = interval.slope_of(at / 60.0, -np.log(tempo) * 100.0, "percent", "groups of cells")
    if trend.value is None or trend.low is None or trend.high is None:
        return trend
    rest = -np.log(tempo) * 100.0 - trend.value * at / 60.0
    rest = rest - rest.mean()
    r = float(rest[1:] @ rest[:-1] / max(rest @ rest, 1e-12))
    wide = math.sqrt((1 + r) / (1 - r)) if r > 2 / math.sqrt(len(rest)) else 1.0
    half = (trend.high - trend.low) / 2 * wide
    return interval.around(trend.value, half, cells.time_s.size, "percent")


def _group_tempos(cells: Cells, fit: EvenFit) -> tuple[Numbers, Numbers]:
    size = math.ceil(6 / cells.places)
    clean = cells.time_s - fit.habit_ms / 1000.0
    slopes, times = [], []
    for run in np.unique(cells.run):
        at = np.flatnonzero(cells.run == run)
        for first in range(0, len(at) - size + 1, size):
            part = at[first : first + size]
            x, y = cells.mark_s[part].ravel(), clean[part].ravel()
            x = x - x.mean()
            slopes.append(float(x @ y / (x @ x)))
            times.append(float(y.mean()))
    return np.array(slopes), np.array(times)


def audible_of(steps: Steps) -> Estimate:
    """Share of audible intervals; by jackknife over cells, by Wilson where all are alike."""
    beyond = np.abs(steps.interval_ms - steps.expected_ms) > least_audible_ms(steps.expected_ms)
    top = [float(b.sum()) for b in steps.by_cell(beyond)]
    bottom = [float(len(b)) for b in steps.by_cell(beyond)]
    if beyond.all() or not beyond.any() or beyond.sum() < 5:
        return interval.share_of(int(beyond.sum()), len(beyond), "intervals")
    found = interval.ratio_of(top, bottom, "share", "cells")
    return Estimate(found.value, found.low, found.high, len(beyond), "share")


def audible_words_of(audible: Estimate) -> str:
    """What a share of audible intervals means. The steps are choices of this project."""
    if audible.value is None:
        return ""
    steps = (
        (0.05, "an attentive listener hears an even figure"),
        (0.25, "a note here and there would be heard as early or late"),
        (0.6, "the unevenness is heard as a character of the figure"),
    )
    return next((w for top, w in steps if audible.value <= top), "the figure is heard as uneven")


def against_repertoire_of(step_ms: float, window_sd: Estimate) -> tuple[str, str]:
    """The repertoire's middle half at this speed, and where this figure stands in it."""
    band = band_for(step_ms)
    if window_sd.value is None:
        return "", window_sd.reason
    if band is None:
        return "", f"no repertoire was counted at {step_ms:.0f} ms a note"
    low, high = band.sd_ms[1], band.sd_ms[3]
    name = f"half of repertoire figures lie between {low:g} and {high:g} ms"
    return name, evenness_words(window_sd.value, band)


def overlap_of(cells: Cells) -> tuple[Estimate, Estimate]:
    """Key overlap time and ratio, medians; negative is a gap."""
    over = (cells.release_s - cells.next_time_s) * 1000
    share = over / ((cells.next_time_s - cells.time_s) * 1000)
    return interval.median_of(over, "ms"), interval.median_of(share, "share")
