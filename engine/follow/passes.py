"""A stretch of practising, cut into passes: where each began and ended, which hand, what tempo."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from engine.arrangement import Arrangement, Hands
from engine.findings import Finding, Pass
from engine.follow.align import align
from engine.follow.turns import find_turns
from engine.performance import PlayedNote

#: A pass ends when nothing is struck for the longer of these, unless the page accounts for it;
#: a fermata accounts for so many times as much.
STOP_S, STOP_BEATS, FERMATA = 2.0, 3.0, 3.0
#: Going back by more than this many quarters is a new pass; so is going ahead by more, if so many
#: written moments are left out.
BACK_Q, AHEAD_Q, AHEAD_MOMENTS = 1.5, 4.0, 3
#: A hand plays when this share of its written notes was struck.
HAND_PLAYS = 0.15
#: Fewer right notes than this are no pass.
FEWEST = 3


@dataclass(frozen=True, slots=True)
class Struck:
    """One note that answers to a written one."""

    index: int
    onset_s: float
    note: int
    q: float


def find_passes(
    arrangement: Arrangement,
    notes: Sequence[PlayedNote],
    findings: Sequence[Finding] | None = None,
) -> list[Pass]:
    """The passes of a take, in order. Notes between two passes belong to none.

    Args:
        arrangement: what was played from.
        notes: the take, in order of onset.
        findings: what is known of the notes (else they are aligned here).
    """
    if findings is None:
        findings = align(arrangement, notes)
    told = {f.played: f for f in findings if f.played is not None}
    struck = _struck(arrangement, notes, told)
    runs = [run for run in _cut(arrangement, struck) if len(run) >= FEWEST]
    return [
        _pass_of(arrangement, run, _last_note(notes, told, run, runs[k + 1 : k + 2]))
        for k, run in enumerate(runs)
    ]


def _struck(
    arrangement: Arrangement, notes: Sequence[PlayedNote], told: dict[int, Finding]
) -> list[Struck]:
    q = arrangement.table["onset_q"]
    return [
        Struck(n.index, n.onset_s, f.score, float(q[f.score]))
        for n in notes
        if (f := told.get(n.index)) is not None and f.what == "right" and f.score is not None
    ]


def _cut(arrangement: Arrangement, struck: Sequence[Struck]) -> list[list[Struck]]:
    runs: list[list[Struck]] = []
    turns = find_turns(arrangement.bars, {b.index: b.index for b in arrangement.bars})
    fermatas = [float(m.onset_q) for m in arrangement.marks if m.kind == "fermata"]
    front_q = 0.0
    for i, x in enumerate(struck):
        turned = bool(runs) and _is_turn(arrangement, front_q, x.q, turns)
        if turned and x.onset_s - runs[-1][-1].onset_s < STOP_S:
            front_q = x.q
        elif not runs or _is_new(arrangement, runs[-1], front_q, struck[i : i + 3], fermatas):
            runs.append([])
            front_q = x.q
        runs[-1].append(x)
        if _leaves_out(arrangement, front_q, x.q) < AHEAD_MOMENTS:
            front_q = max(front_q, x.q)
    return runs


def _is_turn(
    arrangement: Arrangement, from_q: float, to_q: float, turns: dict[int, tuple[int, ...]]
) -> bool:
    """Whether the notation lets a player go on from one moment to the other."""
    here, there = arrangement.bar_at(from_q).index, arrangement.bar_at(to_q).index
    return there in turns.get(here, ()) or (
        there in turns.get(here - 1, ()) and from_q - arrangement.bars[here].onset_q < 1.0
    )


def _is_new(
    arrangement: Arrangement,
    run: Sequence[Struck],
    front_q: float,
    ahead: Sequence[Struck],
    fermatas: Sequence[float],
) -> bool:
    """Whether the first of the next notes begins a pass: elsewhere, or after a stop."""
    elsewhere = [
        x.q < front_q - BACK_Q or _leaves_out(arrangement, front_q, x.q) >= AHEAD_MOMENTS
        for x in ahead
    ]
    if elsewhere[0] and sum(elsewhere) * 2 > len(elsewhere):
        return True
    pace = pace_of(run[-24:])
    x = ahead[0]
    late_s = x.onset_s - run[-1].onset_s - max(x.q - front_q, 0.0) * pace
    beat_q = 4.0 / arrangement.bar_at(front_q).beat_unit
    patience_s = max(STOP_S, STOP_BEATS * beat_q * pace)
    if any(front_q - 1e-6 <= q <= x.q for q in fermatas):
        patience_s *= FERMATA
    return late_s > patience_s


def _leaves_out(arrangement: Arrangement, front_q: float, q: float) -> int:
    """How many written moments lie between, where the way is long."""
    if q <= front_q + AHEAD_Q:
        return 0
    onsets = arrangement.table["onset_q"]
    low, high = np.searchsorted(onsets, [front_q + 1e-6, q - 1e-6])
    return len(np.unique(onsets[low:high]))


def pace_of(run: Sequence[Struck]) -> float:
    """Seconds a quarter: the median over steps from moment to moment, weighted by their length."""
    first: dict[float, float] = {}
    for x in run:
        first.setdefault(x.q, x.onset_s)
    q = np.array(sorted(first))
    if len(q) < 2:
        return 0.6
    way_q, way_s = np.diff(q), np.diff(np.array([first[k] for k in q.tolist()]))
    ahead = way_s > 0
    if not ahead.any():
        return 0.6
    return _weighted_median((way_s / way_q)[ahead], way_q[ahead])


def _weighted_median(values: npt.NDArray[np.float64], weights: npt.NDArray[np.float64]) -> float:
    order = np.argsort(values)
    summed = np.cumsum(weights[order])
    return float(values[order][np.searchsorted(summed, 0.5 * summed[-1])])


def _last_note(
    notes: Sequence[PlayedNote],
    told: dict[int, Finding],
    run: Sequence[Struck],
    following: Sequence[Sequence[Struck]],
) -> int:
    """The last note of a pass: with it go wrong and extra ones up to the longest silence."""
    at = {n.index: i for i, n in enumerate(notes)}
    first = at[run[-1].index]
    end = at[following[0][0].index] if following else len(notes)
    last = first
    while last + 1 < end and told[notes[last + 1].index].what != "unclear":
        last += 1
    if following and last + 1 == end and last > first:
        gaps = [notes[i + 1].onset_s - notes[i].onset_s for i in range(first, last + 1)]
        last = first + int(np.argmax(gaps))
    return notes[last].index


def _pass_of(arrangement: Arrangement, run: Sequence[Struck], last: int) -> Pass:
    q = [x.q for x in run]
    pace = pace_of(run)
    moments = len(set(q))
    return Pass(
        first=run[0].index,
        last=last,
        from_q=min(q),
        to_q=max(q),
        hands=_hands_of(arrangement, run),
        tempo_qpm=60.0 / pace if moments > 1 else float("nan"),
        reached_end=max(q) >= float(arrangement.table["onset_q"].max()) - 1e-6,
    )


def _hands_of(arrangement: Arrangement, run: Sequence[Struck]) -> Hands:
    """Which hands struck at least a small share of what was written for them on the way."""
    table = arrangement.table
    low, high = min(x.q for x in run), max(x.q for x in run)
    inside = (table["onset_q"] >= low) & (table["onset_q"] <= high) & (table["optional"] == 0)
    struck = np.zeros(len(table), dtype=bool)
    struck[[x.note for x in run]] = True
    share = [
        float(struck[mine].mean()) if (mine := inside & (table["hand"] == hand)).any() else 0.0
        for hand in (0, 1)
    ]
    if share[0] < HAND_PLAYS <= share[1]:
        return "right"
    if share[1] < HAND_PLAYS <= share[0]:
        return "left"
    return "both"
