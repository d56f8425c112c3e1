"""The ways a path may go on by one played note, and what each costs."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence

from engine.follow import costs
from engine.follow.path import (
    EXTRA,
    ORNAMENT,
    RIGHT,
    UNCLEAR,
    WRONG,
    Node,
    Path,
    keep_time,
    note_cost,
    oddness,
    say,
    take_note,
    take_wrong,
)
from engine.follow.scoremap import ScoreMap

#: A way beside the kinds of finding: an earlier stroke of the key was extra, this one is right.
AGAIN = UNCLEAR + 1
#: Another: this one and the one before were struck in the other order than written.
SWAPPED = UNCLEAR + 2

#: Cost, kind, written note (-1: none).
Way = tuple[float, int, int]


def go_on(
    path: Path,
    pitch: int,
    time_s: float,
    played: int,
    m: ScoreMap,
    pause: float = 0.0,
    alone: bool = False,
) -> list[Path]:
    """The one to four most likely ways on; `path` itself becomes the first of them
    (`alone`: the only one). `pause`: before the note, 0 none to 1 long."""
    if path.front < 0:
        say(path, played, UNCLEAR, -1, costs.LOST, time_s)
        return [path]
    ways = [(cost, RIGHT, note) for cost, note in right_notes(path, pitch, time_s, m)[:2]]
    if m.signs[path.front] and (sign := ornament(path, pitch, time_s, m)):
        ways.append(sign)
        ways.sort()
    if not ways or ways[0][0] > costs.DOUBTFUL:
        ways.append((extra_cost(path, pitch, time_s, pause, m), EXTRA, -1))
        others = (
            wrong_note(path, pitch, time_s, m),
            again(path, pitch, time_s, m),
            swapped(path, ways, played, time_s, m),
        )
        ways.extend(way for way in others if way)
        ways.sort()
    most = ways[0][0] + costs.DOUBT
    out = [path]
    for way in () if alone else ways[1:4]:
        if way[0] < most or (way[1] == RIGHT and way[0] < most + costs.DOUBT_RIGHT):
            other = path.copy()
            _go(other, way, played, time_s, m)
            out.append(other)
    _go(path, ways[0], played, time_s, m)
    return out


def ornament(path: Path, pitch: int, time_s: float, m: ScoreMap) -> Way | None:
    """The sign that a note may play out, while its written note lasts."""
    for note in m.signs[path.front]:
        away = pitch - m.pitch[note]
        if away in m.reach[note] and (away or note in path.used):
            way_q = m.sign_end_q[note] - path.at_q
            late_s = time_s - path.at_s - way_q * path.s_per_q
            late = oddness(path, way_q, late_s, 1) if late_s > 0.0 else 0.0
            return (costs.ORNAMENT + late, ORNAMENT, note)
    return None


def extra_cost(path: Path, pitch: int, time_s: float, pause: float, m: ScoreMap) -> float:
    """What it costs to call a note extra: less for the same key again at once, more after a
    pause."""
    node = path.node
    while node is not None and time_s - node.time_s < costs.DOUBLE_S:
        if node.what == RIGHT and m.pitch[node.note] == pitch:
            return min(costs.DOUBLE_STRIKE, path.extra)
        node = node.prev
    return path.extra + costs.EXTRA_AFTER_PAUSE * pause


def again(path: Path, pitch: int, time_s: float, m: ScoreMap) -> Way | None:
    """Take a note of the same key just heard for extra, and this one for the written note."""
    node = path.node
    for _ in range(4):
        if node is None:
            return None
        if node.what == RIGHT and m.pitch[node.note] == pitch:
            if node.fresh:
                return None
            q, loose = m.q[node.note], m.loose[node.note]
            from_q, from_s = path.at_q, path.at_s
            if from_q == q:
                from_q, from_s = path.before_q, path.before_s
            due_s = from_s + (q - from_q) * path.s_per_q
            now = oddness(path, q - from_q, time_s - due_s, loose)
            then = oddness(path, q - from_q, node.time_s - due_s, loose)
            return path.extra + now - then, AGAIN, node.note
        node = node.prev
    return None


def right_notes(path: Path, pitch: int, time_s: float, m: ScoreMap) -> list[tuple[float, int]]:
    """Written notes of the pitch that this may be, best first: (cost, note)."""
    onsets, notes = m.pitch_q[pitch], m.pitch_notes[pitch]
    front_q = m.group_q[path.front]
    now_q = path.at_q + (time_s - path.at_s) / path.s_per_q
    ahead_q = min(max(front_q, now_q), front_q + 8.0) + costs.AHEAD_Q
    behind_q = max(front_q - costs.BACK_Q, m.group_q[path.since] - costs.BEFORE_Q)
    out: list[tuple[float, int]] = []
    ahead = 0
    for i in range(bisect_left(onsets, behind_q), len(onsets)):
        note = notes[i]
        if note in path.used:
            continue
        if onsets[i] > ahead_q and (out or onsets[i] > ahead_q + 4.0):
            break
        out.append((note_cost(path, note, time_s, m), note))
        ahead += onsets[i] > front_q
        if ahead == 3:
            break
    if len(out) > 1:
        out.sort()
    return out


def wrong_note(path: Path, pitch: int, time_s: float, m: ScoreMap) -> Way | None:
    """The written note that another key was most likely struck for."""
    best: Way | None = None
    for group in range(max(path.front - 1, 0), min(path.front + 3, len(m.members))):
        for note in m.members[group]:
            away = costs.WRONG.get(abs(m.pitch[note] - pitch))
            if away is None or note in path.used:
                continue
            cost = away + note_cost(path, note, time_s, m)
            if best is None or cost < best[0]:
                best = (cost, WRONG, note)
    return best


def swapped(path: Path, ways: Sequence[Way], played: int, time_s: float, m: ScoreMap) -> Way | None:
    """Take this note and the one before for two neighbours of a hand struck in the other order.

    The time goes on as if they had come as written; whoever did so lately does it again.
    """
    node = path.node
    if node is None or node.what != RIGHT or m.group[node.note] != path.front:
        return None
    for _, what, note in ways:
        if what == RIGHT and _are_neighbours(path, note, node.note, m):
            q, later_q = m.q[note], m.q[node.note]
            s_per_q = path.before_s_per_q
            late_s = node.time_s - path.before_s - (q - path.before_q) * s_per_q
            then_s = time_s - node.time_s - (later_q - q) * s_per_q
            cost = costs.SWAP if played - path.swapped > costs.SWAP_LATELY else costs.SWAP_AGAIN
            cost += oddness(path, q - path.before_q, late_s, 0)
            return cost + oddness(path, later_q - q, then_s, 0) - node.cost, SWAPPED, note
    return None


def _are_neighbours(path: Path, note: int, later: int, m: ScoreMap) -> bool:
    """Two notes of one hand with nothing of it between them, the first not yet passed before."""
    if m.right[note] != m.right[later] or m.loose[note] or m.loose[later]:
        return False
    between = m.before_right if m.right[note] else m.before_left
    apart = between[m.group[later]] - between[m.group[note] + 1]
    return path.before_q < m.q[note] < m.q[later] == path.at_q and apart < 1e-9


def _go(path: Path, way: Way, played: int, time_s: float, m: ScoreMap) -> None:
    cost, what, note = way
    path.slips += costs.SLIPS_GAIN * ((WRONG <= what <= EXTRA or what == AGAIN) - path.slips)
    if what == RIGHT:
        take_note(path, note, played, time_s, m)
    elif what == WRONG:
        take_wrong(path, note, played, m)
    elif what == SWAPPED:
        _take_swapped(path, note, played, time_s, m)
        what = RIGHT
    elif what == AGAIN:
        path.node = _without(path.node, note)
        path.used[note] = played
        if m.q[note] == path.at_q:
            path.at_s = time_s
        what = RIGHT
    say(path, played, what, note, cost, time_s)


def _take_swapped(path: Path, note: int, played: int, time_s: float, m: ScoreMap) -> None:
    assert path.node is not None
    path.used[note] = path.swapped = played
    later_q, path.at_q, path.at_s = path.at_q, path.before_q, path.before_s
    path.s_per_q = path.before_s_per_q
    keep_time(path, m.q[note], path.node.time_s)
    keep_time(path, later_q, time_s)


def _without(node: Node | None, note: int) -> Node:
    """The chain with the last stroke for a note called extra; links before it are shared."""
    assert node is not None
    if node.what == RIGHT and node.note == note:
        return Node(node.prev, node.played, EXTRA, -1, node.logp, node.cost, node.time_s)
    prev = _without(node.prev, note)
    return Node(
        prev, node.played, node.what, node.note, node.logp, node.cost, node.time_s, node.fresh
    )
