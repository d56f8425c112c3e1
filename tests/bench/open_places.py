"""How much of a rehearsal nobody could know yet: like passages, until they part.

An oracle that is told every jump the moment it happens, and makes no mistake, still knows only what
has sounded when a live finding becomes final. Where all notes since the jump fit several places of
the page alike, it can but guess.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from engine.arrangement import Arrangement
from tests.bench.takes import WRITTEN_OUT, Take

#: A live finding stands after so many more notes or so long, whichever is first.
LAG_NOTES, LAG_S = 3, 0.5
#: Going on is no jump: back by no more, ahead by no more, no pause longer (quarters, seconds).
BACK_Q, AHEAD_Q, PAUSE_S = 1.2, 3.0, 1.9


@dataclass(frozen=True, slots=True)
class Open:
    """Of one take: matched notes; those still open when final; what guessing blindly would get."""

    notes: int
    still_open: int
    blind: float


def open_places(take: Take, arrangement: Arrangement, names: dict[str, str]) -> Open:
    """Count notes that fit more than one written place when their finding becomes final."""
    q, pitch = arrangement.table["onset_q"], arrangement.table["pitch"]
    at = {(round(float(q[k]), 4), int(pitch[k])): k for k in range(len(q))}
    rows = [(n.onset_s, k) for n, k in zip(take.notes, take.truth, strict=True) if k >= 0]
    still_open, lost, start = 0, 0.0, 0
    for i, (time_s, k) in enumerate(rows):
        if i and _is_jump(rows[i - 1], rows[i], q):
            start = i
        end = i
        while end + 1 < len(rows) and end - i < LAG_NOTES and rows[end + 1][0] - time_s < LAG_S:
            end += 1
        heard = [note for _, note in rows[start : end + 1]]
        places = _places(heard, k, at, q, pitch)
        written = {_written(arrangement, names, note) for note in places}
        if len(written) > 1:
            still_open += 1
            lost += 1.0 - 1.0 / len(written)
    return Open(len(rows), still_open, 1.0 - lost / max(len(rows), 1))


def _is_jump(before: tuple[float, int], now: tuple[float, int], q: np.ndarray) -> bool:
    away_q = float(q[now[1]] - q[before[1]])
    return away_q < -BACK_Q or away_q > AHEAD_Q or now[0] - before[0] > PAUSE_S


def _places(
    heard: list[int], k: int, at: dict[tuple[float, int], int], q: np.ndarray, pitch: np.ndarray
) -> list[int]:
    """The notes that `k` may be: moved by whatever brings all that was heard to written notes."""
    first = heard[0]
    moves = {m_q - float(q[first]) for m_q, p in at if p == pitch[first]}
    return [
        at[round(float(q[k]) + move, 4), int(pitch[k])]
        for move in sorted(moves)
        if all((round(float(q[h]) + move, 4), int(pitch[h])) in at for h in heard)
    ]


def _written(arrangement: Arrangement, names: dict[str, str], k: int) -> str:
    note = arrangement.notes[int(arrangement.table["unison"][k])]
    return WRITTEN_OUT.sub("", f"{names.get(note.note_id, note.note_id)}@{note.time}")
