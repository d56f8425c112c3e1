"""Which of two like passages it was, seen from what came after.

The tracker may go on in a passage that is like the one the player is in. Where the two part it
must jump, without the player having paused. Two things may have happened: it left the path for a
while (a detour) or began in the wrong place. Both are mended by moving all the notes of one
going-through to the like place, if nearly all of them are there.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import islice

from engine.follow import costs
from engine.follow.path import EXTRA, ORNAMENT, RIGHT, WRONG
from engine.follow.refine import Label, goings
from engine.follow.scoremap import ScoreMap

#: Share of a going-through's notes that the other place must have.
ALIKE = 0.85
#: How far apart in score time the joints may be, quarters.
JOINT_Q = 3.0
#: Other places told, at most.
MOST_DOUBTS = 4


def mend_twins(labels: list[Label], m: ScoreMap) -> None:
    """Move going-throughs that were followed in a like place, in place."""
    parts = goings(labels)
    for k in range(len(parts) - 2, -1, -1):
        first, end = parts[k]
        after = parts[k + 1][0]
        if after != end or not _is_unpaused(labels, after) or _is_turn(labels, after, m):
            continue
        _mend_detour(labels, parts, k, m) or _mend_start(labels, first, end, m)


def _is_unpaused(labels: Sequence[Label], i: int) -> bool:
    return labels[i].time_s - labels[i - 1].time_s < costs.PAUSE_S


def _is_turn(labels: Sequence[Label], i: int, m: ScoreMap) -> bool:
    """The notation itself lets the player go on here (a repeat not taken)."""
    if not m.turns or labels[i].what != RIGHT:
        return False
    before = [m.group[x.note] for x in labels[max(i - 8, 0) : i] if x.what == RIGHT]
    return bool(before) and m.bar[m.group[labels[i].note]] in {
        m.bar[g] for b in (m.bar[max(before)] - 1, m.bar[max(before)]) for g in m.turns.get(b, ())
    }


def _mend_detour(
    labels: list[Label], parts: Sequence[tuple[int, int]], k: int, m: ScoreMap
) -> bool:
    """Going-through k lies between two that would follow on one another."""
    first, end = parts[k]
    if k == 0 or parts[k - 1][1] != first:
        return False
    before_q = _last_q(labels, parts[k - 1][0], first, m)
    start_q, end_q = _first_q(labels, first, end, m), _last_q(labels, first, end, m)
    next_q = _first_q(labels, end, parts[k + 1][1], m)
    if before_q is None or start_q is None or end_q is None or next_q is None:
        return False
    if not (0.0 <= (next_q - before_q) - (end_q - start_q) <= 2.0 * JOINT_Q):
        return False
    for move_q in _moves(labels, first, end, m, before_q - start_q, before_q - start_q + JOINT_Q):
        if abs(end_q + move_q - next_q) <= JOINT_Q and _move(labels, first, end, move_q, m):
            labels[first].fresh = labels[end].fresh = False
            return True
    return False


def _mend_start(labels: list[Label], first: int, end: int, m: ScoreMap) -> bool:
    """The going-through began in the wrong one of two like places."""
    end_q = _last_q(labels, first, end, m)
    next_q = _first_q(labels, end, len(labels), m)
    if end_q is None or next_q is None:
        return False
    for move_q in _moves(labels, first, end, m, next_q - end_q - JOINT_Q, next_q - end_q):
        if _move(labels, first, end, move_q, m):
            labels[end].fresh = False
            return True
    return False


def _first_q(labels: Sequence[Label], first: int, end: int, m: ScoreMap) -> float | None:
    return next((m.q[x.note] for x in labels[first:end] if x.what == RIGHT), None)


def _last_q(labels: Sequence[Label], first: int, end: int, m: ScoreMap) -> float | None:
    late = [m.q[x.note] for x in labels[max(first, end - 8) : end] if x.what == RIGHT]
    return max(late, default=None)


def _moves(
    labels: Sequence[Label], first: int, end: int, m: ScoreMap, low_q: float, high_q: float
) -> list[float]:
    """Distances between `low_q` and `high_q` at which the first right note is found again."""
    note = next((x.note for x in labels[first:end] if x.what == RIGHT), None)
    if note is None:
        return []
    here_q = m.q[note]
    onsets = m.pitch_q[m.pitch[note]]
    found = [q - here_q for q in onsets if low_q - 1e-6 <= q - here_q <= high_q + 1e-6]
    return [d for d in found if abs(d) > 1e-6]


def _move(labels: list[Label], first: int, end: int, move_q: float, m: ScoreMap) -> bool:
    """Move a going-through by a distance if nearly all its notes are there as well."""
    right = [x for x in labels[first:end] if x.what == RIGHT]
    twins = [_note_at(m.pitch[x.note], m.q[x.note] + move_q, m) for x in right]
    if not right or sum(t >= 0 for t in twins) < ALIKE * len(right):
        return False
    for x, twin in zip(right, twins, strict=True):
        x.what, x.note = (RIGHT, twin) if twin >= 0 else (EXTRA, -1)
    for x in labels[first:end]:
        if x.what in (WRONG, ORNAMENT):
            twin = _note_at(m.pitch[x.note], m.q[x.note] + move_q, m)
            x.what, x.note = (x.what, twin) if twin >= 0 else (EXTRA, -1)
    return True


def _note_at(pitch: int, q: float, m: ScoreMap) -> int:
    """The note of a pitch at a moment, -1 for none."""
    onsets, notes = m.pitch_q[pitch], m.pitch_notes[pitch]
    low, high = 0, len(onsets)
    while low < high:
        middle = (low + high) // 2
        if onsets[middle] < q - 1e-6:
            low = middle + 1
        else:
            high = middle
    return notes[low] if low < len(onsets) and abs(onsets[low] - q) < 1e-6 else -1


def find_doubts(labels: Sequence[Label], m: ScoreMap) -> dict[int, tuple[int, ...]]:
    """For played notes of going-throughs that fit another place as well: the notes there.

    Every right note must be there too, so that nothing in the going-through itself tells.
    """
    out: dict[int, tuple[int, ...]] = {}
    for first, end in goings(labels):
        right = [x for x in labels[first:end] if x.what == RIGHT]
        if not right:
            continue
        here_q = m.q[right[0].note]
        moves = [q - here_q for q in m.pitch_q[m.pitch[right[0].note]] if q != here_q]
        found = (t for d in moves if (t := _all_moved(right, d, m)) is not None)
        twins = list(islice(found, MOST_DOUBTS))
        for k, x in enumerate(right if twins else ()):
            out[x.played] = tuple(t[k] for t in twins)
    return out


def _all_moved(right: Sequence[Label], move_q: float, m: ScoreMap) -> list[int] | None:
    # The last note first: where one figure goes on and on, it alone is beyond the end of the page.
    if _note_at(m.pitch[right[-1].note], m.q[right[-1].note] + move_q, m) < 0:
        return None
    moved: list[int] = []
    for x in right:
        note = _note_at(m.pitch[x.note], m.q[x.note] + move_q, m)
        if note < 0:
            return None
        moved.append(note)
    return moved
