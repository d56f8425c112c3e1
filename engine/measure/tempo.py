"""The player's own local tempo: where each note would have come had it kept to what surrounds it.

Every score onset is one moment (the mean of its notes; graces, ornaments and arpeggiated notes
are left out, for they are early or late on purpose). Moments are cut into *runs* where the
player went back or jumped, and runs into *stretches* where the player hesitated or a fermata
stands. Within a stretch the expectation for a moment is a robust local polynomial (Cleveland
1979, J Am Stat Assoc 74:829-836: tricube weights, bisquare repeats) through the moments round it,
itself left out, so that a late note does not excuse itself.

Ours differs from the paper: the smoothing span is counted in moments and beats, not as a share
of the data, and the moment itself is left out. Deviations are therefore a little larger (by
about the leverage, 5 to 15 %) than those from a curve that runs through the note.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from engine.measure.heard import Heard, Indices, Numbers

#: Moments on each side that carry the expectation, and the least they must span.
SIDE_MOMENTS, SIDE_BEATS, MOST_SIDE = 8, 2.0, 32
#: A stretch of fewer moments says nothing of tempo.
LEAST_MOMENTS = 6
#: A gap longer than expected by more than this is a hesitation, whichever is larger.
HESITATION_BEATS, HESITATION_S = 0.5, 0.25
#: A gap shorter than expected by more than this is a jump ahead.
JUMP_BEATS, JUMP_S = 1.0, 0.5
#: Going back by this much, going on by that much, or playing a note again may begin a new run;
#: it does if most of the next few notes say the same, and is a stray note otherwise.
BACK_Q, AHEAD_Q = 1.0, 4.0
LOOK_ON, AGREEING = 5, 3
#: What is further out than six times the median counts for nothing, but never less than this share
#: of the local interval.
OUTLIER_SHARE = 0.02
_REPEATS = 2


@dataclass(frozen=True, eq=False)
class Moments:
    """Score onsets as they were played, in order; all arrays have shape (m,).

    Attributes:
        onset_q: quarters. mark_s: seconds at the marked tempo. time_s: when they came.
        run, stretch: which uninterrupted playing, and which part of it, each belongs to.
        waited_s: how much longer than the local tempo explains the gap before it was.
        expected_s: where the surrounding tempo puts it, nan where that cannot be told.
        rate: local seconds for each second of the mark (above 1 is slower), nan likewise.
        of_row: the moment of each row of `Heard` (-1 for none), shape (rows,).
    """

    onset_q: Numbers
    mark_s: Numbers
    time_s: Numbers
    run: Indices
    stretch: Indices
    waited_s: Numbers
    expected_s: Numbers
    rate: Numbers
    of_row: Indices


def follow_tempo(heard: Heard) -> Moments:
    """The moments of a span with the local tempo through them."""
    kept, run = _runs(heard)
    onset_q = heard.arrangement.table["onset_q"][heard.score[kept]]
    keys, group = _grouped(run, onset_q)
    size = np.bincount(group, minlength=len(keys))
    time_s = np.bincount(group, heard.onset_s[kept], minlength=len(keys)) / np.maximum(size, 1)
    of_row = np.full(len(heard.score), -1, dtype=np.intp)
    of_row[kept] = group
    mark_s = heard.arrangement.seconds_at(keys[:, 1])
    beat_s = _beat_s(heard, keys[:, 1])
    runs = keys[:, 0].astype(np.intp)
    waited_s, local = _waits(runs, mark_s, time_s)
    breaks = waited_s > np.maximum(HESITATION_BEATS * beat_s * local, HESITATION_S)
    breaks |= waited_s < -np.maximum(JUMP_BEATS * beat_s * local, JUMP_S)
    breaks |= _held_before(heard, keys[:, 1])
    breaks[1:] |= runs[1:] != runs[:-1]
    stretch = np.cumsum(breaks).astype(np.intp)
    expected_s, rate = _expectations(stretch, mark_s, time_s, beat_s)
    return Moments(keys[:, 1], mark_s, time_s, runs, stretch, waited_s, expected_s, rate, of_row)


def _runs(heard: Heard) -> tuple[Indices, Indices]:
    """Rows that mark time, and the run of each."""
    table = heard.arrangement.table[heard.score]
    plain = (table["grace"] == 0) & (table["ornament"] == 0) & (table["arpeggiated"] == 0)
    kept = np.flatnonzero(plain)
    onset_q, score = table["onset_q"][kept].tolist(), heard.score[kept].tolist()
    run, front, played = 0, None, set[int]()
    runs = []
    for i, q in enumerate(onset_q):
        doubts = _doubts(onset_q[i : i + LOOK_ON], score[i : i + LOOK_ON], front, played)
        if doubts[0] and sum(doubts) < min(AGREEING, len(doubts)):
            runs.append(-1)
            continue
        if doubts[0]:
            run, front = run + 1, None
            played.clear()
        front = q if front is None else max(front, q)
        played.add(score[i])
        runs.append(run)
    found = np.array(runs, dtype=np.intp)
    return kept[found >= 0], found[found >= 0]


def _doubts(
    onset_q: list[float], score: list[int], front: float | None, played: set[int]
) -> list[bool]:
    """Which of the next notes do not go on from where the run stands."""
    if front is None:
        return [False] * len(onset_q)
    return [
        not front - BACK_Q <= q <= front + AHEAD_Q or s in played
        for q, s in zip(onset_q, score, strict=True)
    ]


def _grouped(run: Indices, onset_q: Numbers) -> tuple[Numbers, Indices]:
    if not len(run):
        return np.empty((0, 2)), np.empty(0, dtype=np.intp)
    pairs = np.column_stack([run.astype(float), onset_q])
    keys, group = np.unique(pairs, axis=0, return_inverse=True)
    return keys, np.asarray(group).reshape(-1)


def _beat_s(heard: Heard, onset_q: Numbers) -> Numbers:
    """Length of the marked beat in marked seconds at each moment."""
    marks = heard.arrangement.tempo
    beat = np.array([float(t.beat_unit_q) * 60.0 / t.qpm for t in marks])
    starts = np.array([float(t.onset_q) for t in marks])
    return beat[np.clip(np.searchsorted(starts, onset_q, side="right") - 1, 0, None)]


def _held_before(heard: Heard, onset_q: Numbers) -> npt.NDArray[np.bool_]:
    """Moments that follow a fermata or a breath mark."""
    held = sorted(
        float(m.onset_q) for m in heard.arrangement.marks if m.kind in ("fermata", "breath")
    )
    out = np.zeros(len(onset_q), dtype=bool)
    if len(onset_q) and held:
        out[1:] = np.searchsorted(held, onset_q[1:]) > np.searchsorted(held, onset_q[:-1])
    return out


def _waits(run: Indices, mark_s: Numbers, time_s: Numbers) -> tuple[Numbers, Numbers]:
    """Excess of each gap over the running median of the gaps round it, and that median rate."""
    waited, local = np.zeros(len(run)), np.ones(len(run))
    for one in np.unique(run):
        at = np.flatnonzero(run == one)
        if len(at) < 3:
            continue
        written, gap = np.diff(mark_s[at]), np.diff(time_s[at])
        rate = _running_median(gap / written, SIDE_MOMENTS)
        waited[at[1:]] = gap - rate * written
        local[at[1:]] = rate
        local[at[0]] = rate[0]
    return waited, local


def _running_median(x: Numbers, side: int) -> Numbers:
    """Median over the neighbours on each side, the value itself left out where it can be."""
    width = min(len(x), 2 * side + 1)
    window = _windows(len(x), width)
    values = x[window]
    if width > 2:
        values = np.where(window == np.arange(len(x))[:, None], np.nan, values)
    return np.asarray(np.nanmedian(values, axis=1))


def _windows(n: int, width: int) -> Indices:
    """Indices of the `width` neighbours of each of n places, kept inside, shape (n, width)."""
    first = np.clip(np.arange(n) - width // 2, 0, n - width)
    return np.asarray(first[:, None] + np.arange(width), dtype=np.intp)


def _expectations(
    stretch: Indices, mark_s: Numbers, time_s: Numbers, beat_s: Numbers
) -> tuple[Numbers, Numbers]:
    expected, rate = np.full(len(stretch), np.nan), np.full(len(stretch), np.nan)
    edges = np.flatnonzero(np.diff(stretch, prepend=-1, append=-1))
    for first, last in pairwise(edges):
        if last - first >= LEAST_MOMENTS:
            part = slice(first, last)
            gap = np.median(np.diff(mark_s[part]))
            side = int(np.ceil(SIDE_BEATS * np.median(beat_s[part]) / gap)) if gap > 0 else 0
            side = min(max(SIDE_MOMENTS, side), MOST_SIDE)
            expected[part], rate[part] = _smooth(mark_s[part], time_s[part], side)
    return expected, rate


def _smooth(x: Numbers, y: Numbers, side: int) -> tuple[Numbers, Numbers]:
    """Leave-one-out robust local fit: expectation and slope at each x."""
    window = _windows(len(x), min(len(x), 2 * side + 1))
    away = x[window] - x[:, None]
    reach = np.abs(away).max(axis=1, keepdims=True) * 1.001 + 1e-9
    near = (1 - (np.abs(away) / reach) ** 3) ** 3
    near[window == np.arange(len(x))[:, None]] = 0.0
    trust = np.ones(len(x))
    at, slope = y.copy(), np.ones(len(x))
    for _ in range(_REPEATS + 1):
        at, slope = _fit_near(away / reach, y[window], near * trust[window])
        rest = np.abs(y - at)
        # A stretch struck all at one moment has neither rest nor interval.
        least = max(OUTLIER_SHARE * float(np.median(np.diff(y))), 1e-9)
        scale = max(6.0 * float(np.median(rest)), least)
        trust = np.clip(1 - (rest / scale) ** 2, 0, 1) ** 2
    return at, slope / reach[:, 0]


def _fit_near(u: Numbers, y: Numbers, weight: Numbers) -> tuple[Numbers, Numbers]:
    """Weighted quadratic in u (a line where few points carry weight): value and slope at 0."""
    base = y.mean(axis=1, keepdims=True)
    bare = (weight > 0).sum(axis=1, keepdims=True) < 5
    columns = np.stack([np.ones_like(u), u, np.where(bare, 0.0, u * u)], axis=2)
    normal = np.einsum("ijk,ij,ijl->ikl", columns, weight, columns)
    normal[:, [0, 1, 2], [0, 1, 2]] += 1e-9
    right = np.einsum("ijk,ij->ik", columns, weight * (y - base))
    found = np.linalg.solve(normal, right[..., None])[..., 0]
    return found[:, 0] + base[:, 0], found[:, 1]
