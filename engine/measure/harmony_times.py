"""Where in a take each harmony began: score time to played time, run by run."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from engine.arrangement import Arrangement
from engine.measure.heard import Heard, Indices, Numbers
from engine.measure.tempo import LEAST_MOMENTS, Moments

#: A lone pedal mark to the end of a page longer than this means "with pedal".
WITH_PEDAL_BARS = 8
#: A harmony this close to the end of a marked pedal changes with it.
EDGE_Q = 0.5


@dataclass(frozen=True, slots=True)
class Region:
    """One harmony (or one written pedal where no harmonies are known) as it was played.

    Attributes:
        from_q, to_q: quarters. from_s, to_s: when it was played.
        bass_s: onset of the lowest of its first notes. chord_s: mean onset of all of these.
        first_played: indices into `notes` of these first notes.
        classes: pitch classes written in it.
        run: which run of the pass. follows: the region before it was played right before.
    """

    from_q: float
    to_q: float
    from_s: float
    to_s: float
    bass_s: float
    chord_s: float
    classes: frozenset[int]
    run: int
    follows: bool


def play_time_s(heard: Heard, moments: Moments, run: int, onset_q: Numbers) -> Numbers:
    """When moments of the score were played in one run; nan outside it.

    Between the run's onsets by straight lines; from the last one to the end of its bar at the
    tempo of the last few.
    """
    at = moments.run == run
    q, t = moments.onset_q[at], np.maximum.accumulate(moments.time_s[at])
    bar = heard.arrangement.bar_at(float(q[-1]) + 1e-9)
    end_q = float(bar.onset_q + bar.duration_q)
    if end_q > q[-1]:
        s_per_q = float(np.median(np.diff(t[-9:]) / np.diff(q[-9:])))
        q, t = np.append(q, end_q), np.append(t, t[-1] + (end_q - q[-1]) * s_per_q)
    out = np.interp(onset_q, q, t)
    return np.where((onset_q < q[0] - 1e-9) | (onset_q > q[-1] + 1e-9), np.nan, out)


def long_runs(moments: Moments) -> Indices:
    """Runs with enough onsets to say something."""
    if not len(moments.run):
        return np.empty(0, dtype=np.intp)
    count = np.bincount(moments.run)
    return np.flatnonzero(count >= LEAST_MOMENTS)


def marked_pedals(arrangement: Arrangement) -> list[tuple[float, float]]:
    """[down, up) of each written damper pedal.

    A single one that runs to the end of the page says "with pedal", not "hold it": then none.
    """
    spans = [(float(p.down_q), float(p.up_q)) for p in arrangement.pedals if p.kind == "damper"]
    to_the_end = len(spans) == 1 and spans[0][1] >= float(arrangement.end_q) - 1e-9
    return [] if to_the_end and len(arrangement.bars) > WITH_PEDAL_BARS else spans


def written_regions(arrangement: Arrangement) -> list[tuple[float, float]]:
    """[from, to) of each stretch that asks for one pedal.

    One begins with each harmony (neighbours of one root and quality are one), unless the page
    holds a marked pedal through, and with each marked pedal that no harmony begins with.
    Where no harmonies are known the marked pedals alone are meant.
    """
    pedals = marked_pedals(arrangement)
    harmonies = arrangement.form.harmonies
    if not harmonies:
        return pedals
    starts = _harmony_starts(arrangement, pedals)
    for down, _ in pedals:
        if all(abs(down - q) > EDGE_Q for q in starts):
            starts.append(down)
    starts.sort()
    return list(pairwise([*starts, float(harmonies[-1].to_q)]))


def _harmony_starts(arrangement: Arrangement, pedals: list[tuple[float, float]]) -> list[float]:
    starts: list[float] = []
    before = None
    for h in arrangement.form.harmonies:
        q = float(h.from_q)
        held = any(low + EDGE_Q < q < high - EDGE_Q for low, high in pedals)
        if not held and (h.root, h.quality) != before:
            starts.append(q)
        before = (h.root, h.quality)
    return starts


def find_regions(heard: Heard, moments: Moments) -> list[Region]:
    """Every region that was begun, in the order played."""
    written = written_regions(heard.arrangement)
    out: list[Region] = []
    for run in long_runs(moments):
        before: int | None = None
        for k, (low, high) in enumerate(written):
            region = _region(heard, moments, int(run), low, high, before == k - 1)
            if region is not None:
                out.append(region)
                before = k
    return out


def _region(
    heard: Heard, moments: Moments, run: int, low: float, high: float, follows: bool
) -> Region | None:
    rows = np.flatnonzero(moments.of_row >= 0)
    rows = rows[moments.run[moments.of_row[rows]] == run]
    q = heard.arrangement.table["onset_q"][heard.score[rows]]
    rows, q = rows[(q >= low - 1e-9) & (q < high - 1e-9)], q[(q >= low - 1e-9) & (q < high - 1e-9)]
    if not len(rows) or q.min() > low + 1.0:
        return None
    first = rows[np.abs(q - q.min()) < 1e-9]
    pitch = heard.arrangement.table["pitch"][heard.score]
    table = heard.arrangement.table
    inside = (table["onset_q"] >= low - 1e-9) & (table["onset_q"] < high - 1e-9)
    ends = play_time_s(heard, moments, run, np.array([high]))[0]
    return Region(
        low,
        high,
        float(heard.onset_s[first].min()),
        float(ends if np.isfinite(ends) else heard.onset_s[rows].max()),
        float(heard.onset_s[first[np.argmin(pitch[first])]]),
        float(heard.onset_s[first].mean()),
        frozenset(int(p) % 12 for p in table["pitch"][inside]),
        run,
        follows,
    )
