"""Second thoughts over a whole take: every key's strokes against its notes, at their due moments.

The tracker decides in order of playing. Afterwards each going-through has a clock (`TimeMap`), and
the strokes of each key can be laid against the written notes of that key as two sequences, which
must not cross: whatever the order of fingers, hands and chords was. What is left over is tied to a
neighbouring key (wrong), to a sign (ornament), or to nothing (extra, missing).
"""

from __future__ import annotations

import math
from bisect import bisect_left
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from engine.follow import costs
from engine.follow.path import EXTRA, ORNAMENT, RIGHT, UNCLEAR, WRONG
from engine.follow.scoremap import ScoreMap
from engine.follow.timemap import TimeMap

#: A going-through with fewer right notes keeps what the tracker said.
ENOUGH = 8
#: Written notes looked at on either side of a stroke's moment, among those of its key.
BAND = 6
#: What the tracker's own answer is favoured by.
KEEP = 0.7
#: An extra note costs this here, where the moments are known better than on the way.
EXTRA_COST = 4.5


@dataclass(slots=True)
class Label:
    """What is said of one played note; `note` is -1 for none."""

    played: int
    pitch: int
    time_s: float
    what: int
    note: int
    fresh: bool = False


@dataclass(frozen=True, slots=True)
class Due:
    """A written note of a going-through with its moment.

    `time_s`: the likeliest moment; `others_s`: further moments that would not be odd (told by one
    side only, or by the rest of its chord); `spread_s`: how sure.
    """

    note: int
    time_s: float
    others_s: tuple[float, ...]
    spread_s: float

    def cost_at(self, time_s: float) -> float:
        """How odd it is to hear the note at a moment (Student's t, as on the way)."""
        away = min((abs(time_s - s) for s in self.others_s), default=abs(time_s - self.time_s))
        z = min(away, abs(time_s - self.time_s)) / self.spread_s
        return 2.0 * math.log1p(z * z / 3.0)


def refine(labels: list[Label], m: ScoreMap) -> None:
    """Improve the labels of a whole take in place, one going-through at a time."""
    for first, end in goings(labels):
        for _ in range(2):
            if not _refine_going(labels[first:end], m):
                break


def goings(labels: Sequence[Label]) -> list[tuple[int, int]]:
    """[first, end) of each going-through: from one jump to the next, nothing unclear inside.

    Where notes before a jump answered to nothing, the longest silence among them is the border.
    """
    starts = [i for i, x in enumerate(labels) if x.fresh]
    borders = [_border(labels, i) for i in starts]
    out = []
    for k, first in enumerate(borders):
        end = borders[k + 1] if k + 1 < len(borders) else len(labels)
        unclear = [i for i in range(first, end) if labels[i].what == UNCLEAR]
        out.append((first, unclear[0] if unclear else end))
    return out


def _border(labels: Sequence[Label], start: int) -> int:
    first = start
    while first > 0 and start - first < 8 and labels[first - 1].what in (EXTRA, WRONG):
        first -= 1
    if first == 0 or first == start:
        return start
    gaps = [labels[i].time_s - labels[i - 1].time_s for i in range(first, start + 1)]
    return first + int(np.argmax(gaps))


def _refine_going(labels: list[Label], m: ScoreMap) -> bool:
    """One round over one going-through; tells whether anything changed."""
    right = [x for x in labels if x.what == RIGHT and not m.loose[x.note]]
    if len(right) < ENOUGH:
        return False
    q = np.array([m.q[x.note] for x in right])
    clock = TimeMap(q, np.array([x.time_s for x in right]))
    if len(clock) < ENOUGH // 2:
        return False
    due = due_notes(clock, right, m, float(q.min()) - 0.3, float(q.max()) + 0.3)
    before = [(x.what, x.note) for x in labels]
    _match_keys(labels, due, m)
    _tie_left_over(labels, due, m)
    return before != [(x.what, x.note) for x in labels]


def due_notes(
    clock: TimeMap, right: Sequence[Label], m: ScoreMap, from_q: float, to_q: float
) -> dict[int, Due]:
    """All written notes between two moments, with when they were due."""
    low, high = bisect_left(m.group_q, from_q), bisect_left(m.group_q, to_q)
    if low >= high:
        return {}
    due_s, near_s, pace = clock.due(np.array(m.group_q[low:high]))
    beat_s = costs.SPREAD_S + costs.SPREAD_BEAT * np.minimum(pace, 1.0)
    spread = beat_s + costs.SPREAD_WAY * np.minimum(near_s, costs.FAR_S)
    mates: dict[int, list[Label]] = defaultdict(list)
    for x in right:
        mates[m.group[x.note]].append(x)
    out: dict[int, Due] = {}
    for i, g in enumerate(range(low, high)):
        told = due_s[:, i]
        told = told[~np.isnan(told)].tolist()
        for note in m.members[g]:
            loose_s = costs.SPREAD_LOOSE_S if m.loose[note] else 0.0
            chord_s = _heard_with(note, mates[g], m)
            if chord_s is None:
                out[note] = Due(note, told[-1], tuple(told[:-1]), float(spread[i]) + loose_s)
            else:
                out[note] = Due(note, chord_s, (), float(beat_s[i]) + loose_s)
    return out


def _heard_with(note: int, mates: Sequence[Label], m: ScoreMap) -> float | None:
    """When the rest of its chord was heard: of its own hand where there is any."""
    others = [x for x in mates if m.pitch[x.note] != m.pitch[note]]
    if not others or m.loose[note]:
        return None
    hand = [x.time_s for x in others if m.right[x.note] == m.right[note]]
    times = sorted(hand or [x.time_s for x in others])
    return times[len(times) // 2]


def _match_keys(labels: list[Label], due: dict[int, Due], m: ScoreMap) -> None:
    strokes: dict[int, list[Label]] = defaultdict(list)
    for x in labels:
        strokes[x.pitch].append(x)
    written: dict[int, list[Due]] = defaultdict(list)
    for d in due.values():
        written[m.pitch[d.note]].append(d)
    for pitch, played in strokes.items():
        notes = sorted(written[pitch], key=lambda d: (d.time_s, d.note))
        if _is_settled(played, notes):
            continue
        answer = match_sequences(played, notes, m)
        for x, k in zip(played, answer, strict=True):
            if k >= 0:
                x.what, x.note = RIGHT, notes[k].note
            elif x.what == RIGHT:
                x.what, x.note = EXTRA, -1


def _is_settled(played: list[Label], notes: list[Due]) -> bool:
    """Every stroke right and every note struck: nothing to think over."""
    return len(played) == len(notes) and all(x.what == RIGHT for x in played)


def match_sequences(played: Sequence[Label], notes: Sequence[Due], m: ScoreMap) -> list[int]:
    """Index of the note each stroke is, -1 for none: the cheapest that does not cross.

    Needleman and Wunsch (1970) in a band around the diagonal of due moments.
    """
    times = [d.time_s for d in notes]
    skip = [_missing_cost(d.note, m) for d in notes]
    count = len(notes)
    row, low = [0.0], 0
    for j in range(min(BAND, count)):
        row.append(row[-1] + skip[j])
    trace: list[tuple[int, list[int]]] = []
    for x in played:
        middle = bisect_left(times, x.time_s)
        new_low = max(low, min(middle - BAND, count))
        new_high = max(min(middle + BAND, count), new_low)
        row, steps = _next_row(x, row, low, new_low, new_high, notes, skip)
        trace.append((new_low, steps))
        low = new_low
    return _trace_back(trace, row, low, skip, count)


def _next_row(
    x: Label,
    row: list[float],
    low: int,
    new_low: int,
    new_high: int,
    notes: Sequence[Due],
    skip: list[float],
) -> tuple[list[float], list[int]]:
    """Costs of having used the first j notes, j from new_low to new_high, after one more stroke.

    Steps: 0 the stroke is extra, 1 it is note j - 1, 2 note j - 1 is skipped.
    """
    last = low + len(row) - 1
    extra = EXTRA_COST - (KEEP if x.what != RIGHT else 0.0)
    out: list[float] = []
    steps: list[int] = []
    for j in range(new_low, new_high + 1):
        while last < j:
            row.append(row[-1] + skip[last])
            last += 1
        best, step = row[j - low] + extra, 0
        if j - 1 >= low:
            pair = row[j - 1 - low] + _pair_cost(x, notes[j - 1])
            if pair < best:
                best, step = pair, 1
        if out and out[-1] + skip[j - 1] < best:
            best, step = out[-1] + skip[j - 1], 2
        out.append(best)
        steps.append(step)
    return out, steps


def _trace_back(
    trace: list[tuple[int, list[int]]], row: list[float], low: int, skip: list[float], count: int
) -> list[int]:
    rest = [0.0]
    for j in range(count - 1, low - 1, -1):
        rest.append(rest[-1] + skip[j])
    ends = [row[k] + rest[count - low - k] for k in range(len(row))]
    j = low + int(np.argmin(ends))
    answer = [-1] * len(trace)
    for i in range(len(trace) - 1, -1, -1):
        start, steps = trace[i]
        j = min(j, start + len(steps) - 1)
        while steps[j - start] == 2:
            j -= 1
        if steps[j - start] == 1:
            j -= 1
            answer[i] = j
    return answer


def _pair_cost(x: Label, due: Due) -> float:
    cost = due.cost_at(x.time_s)
    return cost - KEEP if x.note == due.note and x.what == RIGHT else cost


def _missing_cost(note: int, m: ScoreMap) -> float:
    return costs.MISS * (max(m.heed[note], 0.3) if m.heed[note] else 0.05)


def _tie_left_over(labels: list[Label], due: dict[int, Due], m: ScoreMap) -> None:
    """Tie what is left over to notes struck on another key, and to signs."""
    struck = {x.note for x in labels if x.what == RIGHT}
    missing = sorted((d for k, d in due.items() if k not in struck), key=lambda d: d.time_s)
    times = [d.time_s for d in missing]
    offers: list[tuple[float, int, int]] = []
    for i, x in enumerate(labels):
        if x.what not in (EXTRA, WRONG):
            continue
        x.what, x.note = EXTRA, -1
        for j in range(bisect_left(times, x.time_s - 1.0), len(missing)):
            if times[j] > x.time_s + 1.0:
                break
            away = costs.WRONG.get(abs(m.pitch[missing[j].note] - x.pitch))
            if away is not None:
                cost = away + _pair_cost(x, missing[j])
                if cost < EXTRA_COST + _missing_cost(missing[j].note, m):
                    offers.append((cost, i, j))
    taken: set[int] = set()
    for _, i, j in sorted(offers):
        if labels[i].what == EXTRA and j not in taken:
            labels[i].what, labels[i].note = WRONG, missing[j].note
            taken.add(j)
    _tie_to_signs(labels, due, m)


def _tie_to_signs(labels: list[Label], due: dict[int, Due], m: ScoreMap) -> None:
    if not m.reach:
        return
    signs = [due[k] for k in m.reach if k in due]
    for x in labels:
        if x.what not in (EXTRA, WRONG):
            continue
        for sign in signs:
            end = _end_of_sign(sign.note, due, m)
            inside = sign.time_s - 0.3 <= x.time_s <= end + 0.15
            if inside and x.pitch - m.pitch[sign.note] in m.reach[sign.note]:
                x.what, x.note = ORNAMENT, sign.note
                break


def _end_of_sign(note: int, due: dict[int, Due], m: ScoreMap) -> float:
    """When the last group that a sign sounds over was due to end."""
    group = m.group[note]
    last = group
    while last + 1 < len(m.signs) and note in m.signs[last + 1]:
        last += 1
    following = m.members[last + 1][0] if last + 1 < len(m.members) else -1
    return due[following].time_s if following in due else due[note].time_s + 1.0
