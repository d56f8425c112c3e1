"""Findings looked at again before they are named: an extra key that came where a note is missing.

A follower that knows only keys calls a note struck too soon the right one, its second stroke
extra, and the note it displaced missing. Here they are put together: the early stroke stood for
the missing note, the second one is right.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from engine.arrangement import Arrangement
from engine.findings import Finding
from engine.performance import PlayedNote
from engine.slips.scene import Stage

#: An extra key stands for a missing note if it came within this time of it, and no farther
#: than this share of the time to the hand's next stroke.
NEAR_S, NEAR_SHARE = 0.15, 0.45
#: Nor is it farther away on the keyboard than this.
NEAR_KEYS = 14


def pair_findings(
    arrangement: Arrangement, notes: Sequence[PlayedNote], findings: Sequence[Finding]
) -> tuple[Finding, ...]:
    """The findings, with early strokes and stray keys given to the missing notes they stood for."""
    stage = Stage(arrangement, notes, findings)
    out = {("p", f.played) if f.played is not None else ("s", f.score): f for f in findings}
    missing = {f.score: f for f in findings if f.what == "missing" and f.score is not None}
    if not missing or len(stage.anchors[0]) < 2:
        return tuple(findings)
    due = {i: due_s(stage, i) for i in missing}
    for early, second in _doubled(stage):
        score = stage.score_of[early.index]
        gone = _displaced(stage, early, due)
        moved = abs(second.onset_s - due_s(stage, score)) < abs(early.onset_s - due_s(stage, score))
        if gone is not None and moved:
            certainty = out["p", early.index].certainty
            out["p", early.index] = Finding(early.index, None, "wrong", gone, certainty, True)
            out["p", second.index] = Finding(second.index, score, "right", None, certainty, True)
            out.pop(("s", gone))
            due.pop(gone)
    for f in [f for f in out.values() if f.what == "extra" and f.played is not None]:
        gone = _displaced(stage, notes[f.played or 0], due)
        if gone is not None:
            out["p", f.played] = replace(f, what="wrong", stands_for=gone)
            out.pop(("s", gone))
            due.pop(gone)
    return tuple(out.values())


def due_s(stage: Stage, score: int) -> float:
    """When a written note was due, from the right notes around it."""
    times, places = stage.anchors
    # A later right note may lie earlier in the score: keep the places ascending.
    keep = np.maximum.accumulate(places)
    return float(np.interp(float(stage.arrangement.notes[score].onset_q), keep, times))


def _doubled(stage: Stage) -> list[tuple[PlayedNote, PlayedNote]]:
    """(right stroke, extra stroke of the same key soon after it)."""
    pairs = []
    for f in stage.findings:
        if f.what != "extra" or f.played is None:
            continue
        second = stage.notes[f.played]
        for i in stage.struck_around(f.played, 2 * NEAR_S + 0.3):
            first = stage.notes[i]
            same = first.pitch == second.pitch and first.onset_s < second.onset_s
            if same and i in stage.score_of:
                pairs.append((first, second))
                break
    return pairs


def _displaced(stage: Stage, played: PlayedNote, due: dict[int, float]) -> int | None:
    """The missing note that a stroke came in place of: due at that moment, within reach.

    Another key than its own: who struck its own key did not strike a wrong one.
    """
    near = [
        (abs(when - played.onset_s), i)
        for i, when in due.items()
        if abs(when - played.onset_s) <= _tolerance_s(stage, i)
        and 0 < abs(stage.arrangement.notes[i].pitch - played.pitch) <= NEAR_KEYS
    ]
    return min(near)[1] if near else None


def _tolerance_s(stage: Stage, score: int) -> float:
    note = stage.arrangement.notes[score]
    path = stage.paths[note.hand]
    later = [q for q in path.onsets_q if q > note.onset_q][:1]
    if not later:
        return NEAR_S
    gap_s = float(np.diff(stage.arrangement.seconds_at([float(note.onset_q), float(later[0])]))[0])
    return min(NEAR_S, NEAR_SHARE * gap_s)
