"""One way the played notes may have gone through the score: its place, its clock, its hands."""

from __future__ import annotations

import math

from engine.follow import costs
from engine.follow.scoremap import ScoreMap

NEVER = 1 << 30
RIGHT, WRONG, EXTRA, ORNAMENT, UNCLEAR = range(5)


class Node:
    """What one path says of one played note; linked to what it says of the one before."""

    __slots__ = ("cost", "fresh", "logp", "note", "played", "prev", "time_s", "what")

    def __init__(
        self,
        prev: Node | None,
        played: int,
        what: int,
        note: int,
        logp: float,
        cost: float,
        time_s: float,
        fresh: bool = False,
    ) -> None:
        self.prev = prev
        self.time_s = time_s
        self.played = played
        self.what = what
        self.note = note
        self.logp = logp
        self.cost = cost
        self.fresh = fresh


class Path:
    """A place in the score with all that led to it.

    Attributes:
        logp: log probability of everything so far, up to a constant.
        front: the furthest group reached since the last jump; -1 when lost.
        landing: number of the last jump, so that paths can be told apart.
        origin: what tells one landing from another: first note, group, hand alone.
        young: how many more notes are weighed by how loud they were last time.
        hasty: what each of those notes costs beside, more where nobody paused before the jump.
        owed: what may be made good of the last notes left out, should they come after all.
        shaped: what was charged for loudness since the last jump.
        since: the group landed on after the last jump.
        front_left, front_right: heed of the front group's notes already played, by hand.
        used: notes already played here (recent ones), to the index of the played note.
        at_q, at_s: a moment of the score and when it was heard; before_q, before_s: the one before;
            before_s_per_q: the tempo then.
        s_per_q: the player's tempo now.
        usual: the same over a long time.
        swapped: the last played note that came before its neighbour, though written after it.
        steps: how many steps the tempo was told from; slips: share of wrong and extra notes lately.
        left, right: how much speaks for each hand being played (-3 to 3); small: the same of small
            print where it is most of the music.
        node: what is said of the last note.
    """

    __slots__ = (
        "at_q",
        "at_s",
        "before_q",
        "before_s",
        "before_s_per_q",
        "front",
        "front_left",
        "front_right",
        "hasty",
        "landing",
        "left",
        "logp",
        "node",
        "origin",
        "owed",
        "right",
        "s_per_q",
        "shaped",
        "since",
        "slips",
        "small",
        "steps",
        "swapped",
        "used",
        "usual",
        "young",
    )

    def __init__(self, logp: float, node: Node | None) -> None:
        self.logp = logp
        self.node = node
        self.front = self.since = -1
        self.landing = self.young = 0
        self.origin: tuple[int, int, int | None] | None = None
        self.front_left = self.front_right = 0.0
        self.used: dict[int, int] = {}
        self.at_q = self.at_s = self.before_q = self.before_s = 0.0
        self.s_per_q = self.usual = 0.5
        self.shaped = self.hasty = self.owed = 0.0
        self.before_s_per_q = 0.5
        self.steps = 0
        self.swapped = -NEVER
        self.slips = 0.02
        self.left = self.right = 1.0
        self.small = -1.0

    @property
    def extra(self) -> float:
        """What an extra note costs: the less, the more of them this player strikes."""
        cost = costs.EXTRA_SHARE - math.log(self.slips)
        return min(max(cost, costs.EXTRA_AT_LEAST), costs.EXTRA)

    def copy(self) -> Path:
        """A path that may go on differently."""
        new = Path.__new__(Path)
        new.logp, new.node, new.front = self.logp, self.node, self.front
        new.front_left, new.front_right = self.front_left, self.front_right
        new.used = self.used.copy()
        new.before_q, new.before_s = self.before_q, self.before_s
        new.before_s_per_q, new.swapped = self.before_s_per_q, self.swapped
        new.origin = self.origin
        new.slips, new.young, new.shaped = self.slips, self.young, self.shaped
        new.hasty, new.owed = self.hasty, self.owed
        new.landing, new.usual = self.landing, self.usual
        new.at_q, new.at_s, new.s_per_q, new.steps = self.at_q, self.at_s, self.s_per_q, self.steps
        new.left, new.right, new.since = self.left, self.right, self.since
        new.small = self.small
        return new


def weight(belief: float) -> float:
    """How much a left-out note of a hand counts, from how much speaks for the hand (-3 to 3)."""
    return 1.0 / (1.0 + math.exp(-2.0 * belief))


def timing_cost(path: Path, group: int, q: float, time_s: float, loose: int) -> float:
    """How odd it is to hear a moment of the score now.

    A hesitation before what comes next costs no more than `costs.HESITATION`; a note from behind
    the front, or one too early, has no such excuse.
    """
    way_q = q - path.at_q
    late_s = time_s - path.at_s - way_q * path.s_per_q
    cost = oddness(path, way_q, late_s, loose)
    most = costs.HESITATION if late_s > 0.0 and group >= path.front else costs.TIMING_AT_MOST
    return cost if cost < most else most


def oddness(path: Path, way_q: float, late_s: float, loose: int) -> float:
    """Cost of a deviation, so many quarters from a known moment (Student's t, 3 degrees)."""
    way_s = abs(way_q) * path.s_per_q
    if way_s > costs.FAR_S:
        way_s = costs.FAR_S
    beat_s = path.s_per_q if path.s_per_q < 1.0 else 1.0
    spread_s = costs.SPREAD_S + costs.SPREAD_BEAT * beat_s + costs.SPREAD_WAY * way_s
    if path.steps < 3:
        spread_s += costs.SPREAD_UNKNOWN * way_s
    if loose:
        spread_s += costs.SPREAD_LOOSE_S
    z = late_s / spread_s
    return 2.0 * math.log1p(z * z / 3.0)


def skip_cost(path: Path, group: int, m: ScoreMap) -> float:
    """What it costs to leave out all between the front and a group further on."""
    front = path.front
    left = m.before_left[group] - m.before_left[front] - path.front_left
    right = m.before_right[group] - m.before_right[front] - path.front_right
    if left + right < 1e-9:
        return 0.0
    missed = left * weight(path.left) + right * weight(path.right)
    if m.before_small:
        missed += (m.before_small[group] - m.before_small[front + 1]) * weight(path.small)
    if missed < 1.0:
        return costs.MISS * missed
    return min(costs.MISS + costs.MISS_MORE * (missed - 1.0), costs.SKIP_AT_MOST)


def note_cost(path: Path, note: int, time_s: float, m: ScoreMap) -> float:
    """What it costs to hear a written note now: its moment, and what is left out or made good."""
    group = m.group[note]
    cost = timing_cost(path, group, m.q[note], time_s, m.loose[note])
    if group > path.front:
        cost += skip_cost(path, group, m)
    elif group < path.since:
        cost += costs.BEFORE_LANDING
    elif group < path.front:
        cost -= _made_good(path, note, m)
    return cost


def _made_good(path: Path, note: int, m: ScoreMap) -> float:
    """What is given back for a note that comes behind the front: no more than was taken."""
    missed = m.heed[note] * weight(path.right if m.right[note] else path.left)
    return min(costs.MADE_GOOD * costs.MISS * missed, path.owed)


def take_note(path: Path, note: int, played: int, time_s: float, m: ScoreMap) -> None:
    """Move a path on by a written note that was just played."""
    group = m.group[note]
    if group > path.front:
        path.owed = min(
            path.owed + costs.MADE_GOOD * skip_cost(path, group, m),
            costs.MADE_GOOD * costs.SKIP_AT_MOST,
        )
        _count_skipped(path, group, m)
        path.front = group
        path.front_left = path.front_right = 0.0
        if len(path.used) > 96:
            _forget(path, m)
    elif group < path.front:
        path.owed -= _made_good(path, note, m)
    if m.right[note]:
        path.right = min(path.right + 1.5, 3.0)
        if group == path.front:
            path.front_right += m.heed[note]
    else:
        path.left = min(path.left + 1.5, 3.0)
        if group == path.front:
            path.front_left += m.heed[note]
    if m.small[note]:
        path.small = min(path.small + 1.5, 3.0)
    path.used[note] = played
    if not m.loose[note] or time_s - path.at_s > costs.LOOSE_AT_MOST_S:
        keep_time(path, m.q[note], time_s)


def _count_skipped(path: Path, group: int, m: ScoreMap) -> None:
    front = path.front
    left = m.before_left[group] - m.before_left[front] - path.front_left
    right = m.before_right[group] - m.before_right[front] - path.front_right
    if left:
        path.left = max(path.left - 0.6 * left, -3.0)
    if right:
        path.right = max(path.right - 0.6 * right, -3.0)
    if m.before_small and m.before_small[group] > m.before_small[front + 1]:
        path.small = max(path.small - 0.6, -3.0)


def _forget(path: Path, m: ScoreMap) -> None:
    since_q = m.group_q[path.front] - costs.BACK_Q - 1.0
    q = m.q
    path.used = {note: played for note, played in path.used.items() if q[note] >= since_q}


def keep_time(path: Path, q: float, time_s: float) -> None:
    """Follow the tempo: phase quickly, pace slowly, pace not at all across a hesitation."""
    way_q = q - path.at_q
    if way_q <= 1e-6:
        if way_q > -1e-6 and abs(time_s - path.at_s) < 0.3:
            path.at_s += 0.3 * (time_s - path.at_s)
        return
    s_per_q = path.s_per_q
    late_s = time_s - path.at_s - way_q * s_per_q
    pace = (time_s - path.at_s) / way_q
    known = path.steps >= 3
    if known and late_s > max(way_q * s_per_q, costs.HALT_S):
        path.steps = 1
        path.s_per_q = path.usual
    else:
        gain = min(0.3, 0.6 * way_q) if known else 1.0 / (path.steps + 1.5)
        pace = min(max(pace, 0.5 * s_per_q), 2.0 * s_per_q)
        path.s_per_q = s_per_q + gain * (pace - s_per_q)
        path.steps += 1
        time_s -= min(max(0.25 * late_s, -0.03), 0.03)
        path.usual += 0.02 * way_q * (path.s_per_q - path.usual)
    path.before_s, path.before_q, path.before_s_per_q = path.at_s, path.at_q, s_per_q
    path.at_s, path.at_q = time_s, q


def take_wrong(path: Path, note: int, played: int, m: ScoreMap) -> None:
    """Move a path on by a written note that another key was struck for."""
    group = m.group[note]
    if group > path.front:
        path.front = group
        path.front_left = path.front_right = 0.0
    if group == path.front:
        if m.right[note]:
            path.front_right += m.heed[note]
        else:
            path.front_left += m.heed[note]
    path.used[note] = played


def say(path: Path, played: int, what: int, note: int, cost: float, time_s: float) -> None:
    """Add what a path says of the note just played, and its cost."""
    path.logp -= cost
    path.node = Node(path.node, played, what, note, path.logp, cost, time_s)
