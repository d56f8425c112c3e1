"""Balance: the level of the line over the figure, and the shape of the line's loudness."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from engine.findings import Estimate, no_estimate
from engine.measure import interval
from engine.measure.heard import Heard, Indices, Numbers
from engine.measure.instrument import Instrument, in_db

LEAST_LINE_NOTES = 6


@dataclass(frozen=True, slots=True)
class PhraseShape:
    """The line's loudness over one phrase.

    Attributes:
        section, phrase: index of the section, number in it. bar, bar_time: where it begins.
        notes: line notes heard. peak_share: where the loudest note lies, 0 to 1 of the phrase.
        rise_velocity: loudest minus first note. fall_velocity: loudest minus last note.
        velocities: of the line's notes in order. figure_velocity: mean of what lies beneath.
    """

    section: int
    phrase: int
    bar: str
    bar_time: int
    notes: int
    peak_share: float
    rise_velocity: float
    fall_velocity: float
    velocities: tuple[int, ...]
    figure_velocity: float


@dataclass(frozen=True, slots=True)
class Balance:
    """Line over what accompanies it, in velocity steps.

    Attributes:
        line_over_figure_velocity: mean over the line's notes of its velocity minus the mean of
            the accompaniment that sounds until the next line note.
        line_over_figure_db: the same by the instrument's dB for each step, approximate; only once
            the instrument is calibrated.
        line_velocity, figure_velocity: means. line_sd_velocity, figure_sd_velocity: SDs.
        phrases: the shape of each phrase.
        accompaniment: "figure", or "other notes" where no figure was found.
    """

    line_over_figure_velocity: Estimate
    line_over_figure_db: Estimate
    line_velocity: Estimate
    figure_velocity: Estimate
    line_sd_velocity: Estimate
    figure_sd_velocity: Estimate
    phrases: tuple[PhraseShape, ...]
    accompaniment: str


def measure_balance(heard: Heard, instrument: Instrument | None = None) -> Balance | Estimate:
    """Balance of a span; a reason where there is no line or nothing beneath it."""
    form = heard.arrangement.form
    if not form.line:
        return no_estimate("no line was found")
    beneath, name = _beneath(heard)
    line = _rows(heard, form.line)
    under = _rows(heard, beneath)
    if len(line) < LEAST_LINE_NOTES or len(under) < LEAST_LINE_NOTES:
        n = min(len(line), len(under))
        return no_estimate(f"too few notes of line or figure heard: {n}", n=n)
    over = _over(heard, line, under)
    level = interval.serial_mean_of(over, "velocity", "line notes")
    return Balance(
        level,
        in_db(level, instrument),
        interval.serial_mean_of(heard.velocity[line], "velocity", "line notes"),
        interval.serial_mean_of(heard.velocity[under], "velocity", "figure notes"),
        interval.sd_of(heard.velocity[line], "velocity", "line notes"),
        interval.sd_of(heard.velocity[under], "velocity", "figure notes"),
        _shapes(heard, line, under),
        name,
    )


def _beneath(heard: Heard) -> tuple[list[int], str]:
    form = heard.arrangement.form
    figure = sorted({i for f in form.figures for cell in f.occurrences for i in cell})
    if figure:
        return figure, "figure"
    tune = set(form.line) | {i for pair in form.doublings for i in pair}
    return [i for i in range(len(heard.arrangement.notes)) if i not in tune], "other notes"


def _rows(heard: Heard, score: tuple[int, ...] | list[int]) -> Indices:
    rows = heard.rows(score)
    return np.unique(rows[rows >= 0])


def _over(heard: Heard, line: Indices, under: Indices) -> Numbers:
    """Line minus mean accompaniment from shortly before each line note until the next."""
    at, beneath_at = heard.onset_s[line], heard.onset_s[under]
    loud = heard.velocity[under]
    total = np.concatenate([[0.0], np.cumsum(loud)])
    first = np.searchsorted(beneath_at, at - 0.1)
    last = np.searchsorted(beneath_at, np.append(at[1:] - 0.1, np.inf))
    count = last - first
    mean = (total[last] - total[first]) / np.maximum(count, 1)
    return np.where(count > 0, heard.velocity[line] - mean, np.nan)


def _shapes(heard: Heard, line: Indices, under: Indices) -> tuple[PhraseShape, ...]:
    onset_q = heard.arrangement.table["onset_q"]
    out = []
    for phrase in heard.arrangement.form.phrases:
        low, high = float(phrase.from_q), float(phrase.to_q)

        def inside(rows: Indices, low: float = low, high: float = high) -> Indices:
            q = onset_q[heard.score[rows]]
            return rows[(q >= low) & (q < high)]

        mine, beneath = inside(line), inside(under)
        if len(mine) < 3:
            continue
        loud = heard.velocity[mine]
        peak = int(np.argmax(loud))
        q = onset_q[heard.score[mine]]
        bar = heard.arrangement.bar_at(phrase.from_q)
        out.append(
            PhraseShape(
                phrase.section,
                phrase.number,
                bar.number,
                bar.time,
                len(mine),
                float((q[peak] - low) / (high - low)),
                float(loud[peak] - loud[0]),
                float(loud[peak] - loud[-1]),
                tuple(int(v) for v in loud),
                float(heard.velocity[beneath].mean()) if len(beneath) else float("nan"),
            )
        )
    return tuple(out)
