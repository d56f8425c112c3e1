"""Lead: how far the line comes before the figure beneath it, at onsets they share."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from engine.findings import Estimate, no_estimate
from engine.measure import interval
from engine.measure.heard import Heard, Indices
from engine.measure.instrument import (
    Instrument,
    loudness_part,
    slope_for,
    without_loudness,
)
from engine.measure.octaves import own_slope
from engine.measure.yardsticks import HAMMER_SPLIT_MS_PER_VELOCITY

LEAST_SHARED = 6
#: Further apart than this the two were not meant together (a roll, or a hand held back).
APART_MS = 200.0


@dataclass(frozen=True, slots=True)
class Lead:
    """Line against figure at shared onsets; positive: the line first.

    Attributes:
        shared: onsets counted. apart: left out as further apart than 200 ms.
        lead_ms, median_lead_ms, sd_ms: mean, median and SD of the lead.
        loudness_part_ms: slope times (velocity of line minus figure), the part that voicing alone
            makes (Goebl 2001: nearly all of it on a hammer piano).
        residual_ms: the rest. slope_used, slope_source: ms for each velocity step.
    """

    shared: int
    apart: int
    lead_ms: Estimate
    median_lead_ms: Estimate
    sd_ms: Estimate
    loudness_part_ms: Estimate
    residual_ms: Estimate
    slope_used: float
    slope_source: str


def measure_lead(heard: Heard, instrument: Instrument | None = None) -> Lead | Estimate:
    """Lead of the line; a reason where line and figure seldom share an onset."""
    if heard.hands != "both":
        return no_estimate("one hand alone has nothing to lead")
    pairs = shared_onsets(heard)
    if not len(pairs):
        return no_estimate("no line was found over a figure or another hand")
    rows = heard.rows(pairs)
    rows = rows[(rows >= 0).all(axis=1)]
    lead = (heard.onset_s[rows[:, 1]] - heard.onset_s[rows[:, 0]]) * 1000.0
    together = np.abs(lead) <= APART_MS
    rows, lead, apart = rows[together], lead[together], int((~together).sum())
    if len(lead) < LEAST_SHARED:
        n = len(lead)
        return no_estimate(f"too few shared onsets: {n}, at least {LEAST_SHARED}", n=n)
    slope = slope_for(instrument, own_slope(heard), HAMMER_SPLIT_MS_PER_VELOCITY)
    louder = heard.velocity[rows[:, 0]] - heard.velocity[rows[:, 1]]
    return Lead(
        len(lead),
        apart,
        interval.serial_mean_of(lead, "ms", "shared onsets"),
        interval.median_of(lead, "ms", "shared onsets"),
        interval.sd_of(lead, "ms", "shared onsets"),
        loudness_part(louder, slope, "shared onsets"),
        without_loudness(lead, louder, slope, "shared onsets"),
        slope.ms_per_velocity,
        slope.source,
    )


def shared_onsets(heard: Heard) -> Indices:
    """(line note, note beneath) at each shared onset, shape (n, 2).

    Beneath: a note of the figure, or where there is none a note of the other hand that is no
    doubling; the lowest of them. Graces, ornaments and arpeggiated notes are left out.
    """
    form, table = heard.arrangement.form, heard.arrangement.table
    plain = (table["grace"] == 0) & (table["ornament"] == 0) & (table["arpeggiated"] == 0)
    wanted = set(heard.expected[plain[heard.expected]].tolist())
    beneath = {i for f in form.figures for cell in f.occurrences for i in cell}
    copies = {b for pair in form.doublings for b in pair}
    by_onset: dict[float, list[int]] = {}
    for i in sorted(wanted - set(form.line) - copies):
        by_onset.setdefault(float(table["onset_q"][i]), []).append(i)
    pairs = []
    for note in form.line:
        if note not in wanted:
            continue
        others = by_onset.get(float(table["onset_q"][note]), [])
        figure = [i for i in others if i in beneath]
        under = figure or [i for i in others if table["hand"][i] != table["hand"][note]]
        under = [i for i in under if table["pitch"][i] < table["pitch"][note]]
        if under:
            pairs.append((note, min(under, key=lambda i: int(table["pitch"][i]))))
    return np.array(pairs, dtype=np.intp).reshape(-1, 2)
