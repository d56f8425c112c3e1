"""Where in the whole score the last few notes may have been played: a search by pitch.

Only groups that hold the newest pitch are looked at; from there the recent notes are read
backwards through tables "the last group up to here with that pitch", for all candidates at once.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from engine.follow import costs
from engine.follow.scoremap import ScoreMap

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int32]
#: Where the player may have been before a jump, likeliest first: group, and how likely.
Origins = list[tuple[int, float]]
#: Where the notation lets a player go: groups in order, and what each turn costs.
Turns = tuple[IntArray, FloatArray]
NO_TURNS: Turns = (np.empty(0, dtype=np.int32), np.empty(0))

#: Landings told, at most.
LANDINGS = 5
#: The same after a pause, where more is open.
LANDINGS_OPEN = 9
#: Groups between one note and the next, at most (the other hand may have them).
REACH = 12
#: While it is open which hands play, leaving out notes of one hand only counts this much.
OTHER_HAND = 0.3
#: The end of the span is this many groups wide (a last chord may be left out).
END_GROUPS = 3
#: Chance of landing in a quarter right ahead or behind.
TO_AHEAD_A_Q, TO_BACK_A_Q = costs.TO_AHEAD / costs.NEAR_AHEAD_Q, costs.TO_BACK / costs.NEAR_BEHIND_Q
#: After so many steps back only so many candidates are followed further.
THIN_AFTER, THIN_TO = 3, 40
#: The chance to land somewhere is no more than e to this (shares overlap at a few places).
LIKELY_SLACK = 0.5
#: So far from an origin, quarters, that it does not matter; origins so near one another are one.
FAR_Q, SAME_Q = 130.0, 10.0


@dataclass(frozen=True, slots=True)
class Heard:
    """A recent note, with what was known before it (what came after says nothing of where the
    player was).

    Attributes:
        pause: how long the player had paused (0 not, 1 long).
        before: log probability of the best path then.
        origins: where the player may have been then (none: nowhere).
    """

    pitch: int
    time_s: float
    pause: float
    before: float
    origins: Origins


@dataclass(frozen=True, slots=True)
class Landing:
    """A jump that would explain the recent notes.

    Attributes:
        total: log probability of the notes up to now with this jump, as estimated.
        first: index into the recent notes of the first one after the jump.
        group: where the player landed; now: where they would be now.
        jump: what the jump alone costs.
    """

    total: float
    first: int
    group: int
    now: int
    jump: float


def jump_cost(groups: IntArray, origins: Origins, habits: FloatArray, m: ScoreMap) -> FloatArray:
    """Minus log of the chance to land at a group, coming from where the player may have been.

    Half of all landings are near (mostly behind, by a few bars), and starts of bars are likelier,
    as is where this player began before (`habits`: the chance of it, by group).
    """
    anywhere, near_here = m.landing_shares
    p = anywhere[groups] + habits[groups]
    at_end = not origins or origins[0][0] >= len(m.group_q) - END_GROUPS
    to_start = costs.TO_START_AFTER_END if at_end else costs.TO_START
    p[groups == 0] += to_start
    p[groups == 1] += 0.1 * to_start
    if origins:
        from_q = np.array([[m.group_q[from_group]] for from_group, _ in origins])
        shares = np.array([[share] for _, share in origins])
        p += (shares * _near(m.group_q_array[groups] - from_q)).sum(axis=0) * near_here[groups]
    return np.asarray(-np.log(p))


def _near(away_q: FloatArray) -> FloatArray:
    """Chance of landing within a quarter of places so far ahead (or behind) of an origin."""
    ahead = away_q > 0
    near = np.exp(away_q * np.where(ahead, -1.0 / costs.NEAR_AHEAD_Q, 1.0 / costs.NEAR_BEHIND_Q))
    return np.asarray(near * np.where(ahead, TO_AHEAD_A_Q, TO_BACK_A_Q))


def likely_origin(group: int, origins: Origins, m: ScoreMap) -> int:
    """Which of several origins a jump to a group most likely came from (the likeliest, if far)."""
    if len(origins) == 1:
        return 0
    anywhere, near_here = m.landing_shares
    away_q = m.group_q[group] - m.group_q_array[[from_group for from_group, _ in origins]]
    chance = _near(away_q) * near_here[group] + anywhere[group]
    return int(np.argmax(chance * np.array([share for _, share in origins])))


def find_landings(
    recent: list[Heard],
    habits: FloatArray,
    s_per_q: float,
    m: ScoreMap,
    hands: tuple[float, float] | None,
    least: float = -math.inf,
) -> list[Landing]:
    """The best few explanations of the recent notes (oldest first) by a jump among them.

    `habits`: the chance to begin again, by group. `hands`: how much leaving out notes of the left
    and right hand counts; None while it is open. `least`: a total below this is of no use.
    """
    now = m.groups_of(recent[-1].pitch)
    if not len(now):
        return []
    totals, firsts, starts, jumps = _read_back(recent, now, habits, s_per_q, m, hands, least)
    found = np.flatnonzero(totals > least)
    order = found[np.argsort(-totals[found], kind="stable")[:24]]
    most = LANDINGS_OPEN if hands is None else LANDINGS
    out: list[Landing] = []
    for i in order.tolist():
        landing = Landing(
            float(totals[i]), int(firsts[i]), int(starts[i]), int(now[i]), float(jumps[i])
        )
        if not any(o.group == landing.group for o in out):
            out.append(landing)
        if len(out) == most:
            break
    return out


def _read_back(
    recent: list[Heard],
    now: IntArray,
    habits: FloatArray,
    s_per_q: float,
    m: ScoreMap,
    hands: tuple[float, float] | None,
    least: float,
) -> tuple[FloatArray, IntArray, IntArray, FloatArray]:
    """For each candidate: the best total, the first note after the jump, where, and its cost."""
    best = np.full(len(now), least)
    firsts = np.zeros(len(now), dtype=np.int32)
    starts, jumps = now.copy(), np.zeros(len(now))
    alive, at, said = np.arange(len(now)), now, np.full(len(now), -0.5)
    matched = np.ones(len(now), dtype=bool)
    used: set[int] = set()
    fronts = [note.origins[0][0] if note.origins else -1 for note in recent]
    from_front = {front: _turns(front, m) for front in set(fronts)}
    turns = [from_front[front] for front in fronts]
    newest = len(recent) - 1
    likely, chance = _likeliest(recent, turns), _chance_at_most(recent, now, habits, turns, m)
    for j in range(newest, -1, -1):
        note = recent[j]
        again = note.pitch in used
        if j < newest:
            at, matched = _step_back(at, note, recent[j + 1], s_per_q, said, m, again, hands)
        used = {note.pitch} if again else used | {note.pitch}
        offer = note.before - _least_jump(note.pause, turns[j])
        able = (matched & (offer + said + chance > best[alive])).nonzero()[0]
        if len(able):
            here = at[able]
            jump = costs.jump_at(note.pause) + jump_cost(here, note.origins, habits, m)
            _offer_turns(jump, here, turns[j])
            total = note.before + said[able] - jump
            better = (total > best[alive[able]]).nonzero()[0]
            who = alive[able[better]]
            best[who], firsts[who], starts[who] = total[better], j, here[better]
            jumps[who] = jump[better]
        keep = (said + likely[j] + chance > best[alive]).nonzero()[0]
        if newest - j == THIN_AFTER and len(keep) > THIN_TO:
            keep = np.sort(keep[np.argpartition(-said[keep], THIN_TO)[:THIN_TO]])
        if not len(keep):
            break
        if len(keep) < len(alive):
            alive, at, said, chance = alive[keep], at[keep], said[keep], chance[keep]
    return best, firsts, starts, jumps


def _chance_at_most(
    recent: Sequence[Heard],
    now: IntArray,
    habits: FloatArray,
    turns: Sequence[Turns],
    m: ScoreMap,
) -> FloatArray:
    """For each candidate: log of what the chance to land where it may have landed is at most.

    Only near an origin, a turn or a place where the player began before is it more than that of
    landing anywhere.
    """
    anywhere, near_here = m.most_shares
    far = anywhere + TO_BACK_A_Q * math.exp(-FAR_Q / costs.NEAR_BEHIND_Q) * near_here
    out = np.full(len(now), math.log(far))
    special = [0, *habits.nonzero()[0].tolist()]
    if m.turns:
        special += np.unique(np.concatenate([here[0] for here in turns])).tolist()
    spans = [(g, g) for g in special]
    seen: list[float] = []
    for front in {front for note in recent for front, _ in note.origins}:
        q = m.group_q[front]
        if not any(abs(q - other) < SAME_Q for other in seen):
            seen.append(q)
            near_q = FAR_Q + SAME_Q
            spans.append((bisect_left(m.group_q, q - near_q), bisect_left(m.group_q, q + near_q)))
    ends = np.array(spans)
    lows = np.searchsorted(now, ends[:, 0])
    highs = np.searchsorted(now, ends[:, 1] + REACH * len(recent) + 1)
    for low, high in zip(lows.tolist(), highs.tolist(), strict=True):
        out[low:high] = LIKELY_SLACK
    return out


def _offer_turns(jump: FloatArray, here: IntArray, turns: Turns) -> None:
    """Lower what a jump costs where the notation has a turn."""
    groups, costs_of_turns = turns
    if len(groups):
        at = np.minimum(np.searchsorted(groups, here), len(groups) - 1)
        turned = groups[at] == here
        jump[turned] = np.minimum(jump[turned], costs_of_turns[at[turned]])


def _least_jump(pause: float, turns: Turns) -> float:
    """What a jump costs at least."""
    cost = costs.jump_at(pause)
    return min(cost, float(turns[1].min())) if len(turns[1]) else cost


def _likeliest(recent: list[Heard], turns: Sequence[Turns]) -> list[float]:
    """By note: the most that a jump at any note before it can come to, the candidate's own notes
    apart, so that those which cannot gain any more are let go."""
    out, most = [], -math.inf
    for note, here in zip(recent, turns, strict=True):
        out.append(most)
        most = max(most, note.before - _least_jump(note.pause, here))
    return out


def _step_back(
    at: IntArray,
    note: Heard,
    later: Heard,
    s_per_q: float,
    said: FloatArray,
    m: ScoreMap,
    again: bool,
    hands: tuple[float, float] | None,
) -> tuple[IntArray, npt.NDArray[np.bool_]]:
    """Move all candidates back by one note; adds what it costs to `said`."""
    table = m.last_at(note.pitch)
    upto = np.maximum(at - 1, 0) if again else at
    before = table[upto]
    matched = (before >= 0) & (at - before <= REACH)
    where = np.where(matched, before, at)
    way_q = m.group_q_array[at] - m.group_q_array[where]
    late = np.abs((later.time_s - note.time_s) - way_q * s_per_q) / (0.1 + 0.5 * way_q * s_per_q)
    cost = 0.4 + np.minimum(late, 4.0) * 0.6 + _skipped(where, at, hands, m)
    said -= np.where(matched, np.minimum(cost, costs.EXTRA), costs.EXTRA)
    return where.astype(np.int32), matched


def _skipped(
    where: IntArray, at: IntArray, hands: tuple[float, float] | None, m: ScoreMap
) -> FloatArray:
    """What it costs to leave out all groups between two."""
    after = np.minimum(where + 1, at)
    left, right = (before[at] - before[after] for before in m.before)
    if hands is None:
        missed = np.minimum(left, right) + OTHER_HAND * np.maximum(left, right)
    else:
        missed = hands[0] * left + hands[1] * right
    return np.asarray(np.minimum(costs.MISS_MORE * missed, costs.SKIP_AT_MOST))


def _turns(from_group: int, m: ScoreMap) -> Turns:
    """Where the notation lets a player go from here, and what that costs (back costs more)."""
    if from_group < 0 or not m.turns:
        return NO_TURNS
    bar = m.bar[from_group]
    there = np.array(
        sorted({g for b in (bar - 1, bar) for g in m.turns.get(b, ())}), dtype=np.int32
    )
    return there, np.where(there >= from_group, costs.TURN, costs.TURN_BACK)
