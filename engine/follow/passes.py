"""A stretch of practising, cut into passes: where each began and ended, which hand, what tempo."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from engine.arrangement import Arrangement, Hands
from engine.findings import Finding, Pass
from engine.follow.align import align
from engine.performance import PlayedNote

#: A pass ends when nothing is struck for the longer of these, unless the page accounts for it.
STOP_S, STOP_BEATS = 2.0, 3.0
#: Going back or ahead by more than this many quarters is a new pass.
BACK_Q, AHEAD_Q = 1.5, 4.0


def find_passes(
    arrangement: Arrangement,
    notes: Sequence[PlayedNote],
    findings: Sequence[Finding] | None = None,
) -> list[Pass]:
    """The passes of a take, in order.

    Args:
        arrangement: what was played from.
        notes: the take, in order of onset.
        findings: what is known of the notes (else they are aligned here).
    """
    if findings is None:
        findings = align(arrangement, notes)
    by_index = {n.index: n for n in notes}
    q = arrangement.table["onset_q"]
    matched = [
        (by_index[f.played], int(k))
        for f in findings
        if f.played is not None and (k := f.score if f.what == "right" else None) is not None
    ]
    runs: list[list[tuple[PlayedNote, int]]] = []
    front_q = 0.0
    for note, k in matched:
        here_q = float(q[k])
        if not runs or _is_new(runs[-1][-1][0], note, front_q, here_q, runs[-1], q):
            runs.append([])
            front_q = here_q
        runs[-1].append((note, k))
        front_q = max(front_q, here_q)
    return [_pass_of(arrangement, run) for run in runs if len(run) > 1]


def _is_new(
    last: PlayedNote,
    note: PlayedNote,
    front_q: float,
    here_q: float,
    run: list[tuple[PlayedNote, int]],
    q: np.ndarray,
) -> bool:
    if here_q < front_q - BACK_Q or here_q > front_q + AHEAD_Q:
        return True
    pace = _pace(run[-24:], q)
    gap_s = note.onset_s - last.onset_s
    due_s = max(here_q - front_q, 0.0) * pace
    return gap_s - due_s > max(STOP_S, STOP_BEATS * pace)


def _pace(run: list[tuple[PlayedNote, int]], q: np.ndarray) -> float:
    """Seconds a quarter over a run of matched notes."""
    if len(run) < 2:
        return 0.6
    way_q = float(q[run[-1][1]] - q[run[0][1]])
    if way_q <= 0:
        return 0.6
    return (run[-1][0].onset_s - run[0][0].onset_s) / way_q


def _pass_of(arrangement: Arrangement, run: list[tuple[PlayedNote, int]]) -> Pass:
    table = arrangement.table
    ks = np.array([k for _, k in run])
    q = table["onset_q"][ks]
    right = table["hand"][ks] == 1
    share = float(right.mean())
    hands: Hands = "right" if share > 0.95 else "left" if share < 0.05 else "both"
    way_q = float(q.max() - q.min())
    way_s = run[-1][0].onset_s - run[0][0].onset_s
    tempo = 60.0 * way_q / way_s if way_q > 0 and way_s > 0 else float("nan")
    reached = bool(q.max() >= table["onset_q"].max() - 1e-6)
    return Pass(
        run[0][0].index, run[-1][0].index, float(q.min()), float(q.max()), hands, tempo, reached
    )
