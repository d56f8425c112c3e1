"""A few paths kept side by side, and the search for a new place when none explains the notes."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from engine.follow import costs
from engine.follow.path import RIGHT, UNCLEAR, Node, Path, take_note, weight
from engine.follow.relocate import Heard, Landing, find_landings, likely_origin
from engine.follow.scoremap import ScoreMap
from engine.follow.shaping import Shaping
from engine.follow.ways import go_on
from engine.performance import PlayedNote

#: Paths kept, and of those with the same last jump; how much worse than the best one a path with
#: another last jump may be, or with the same; notes looked back upon after a surprise.
PATHS, VARIANTS, WORSE, VARIANT_WORSE, LOOK_BACK = 20, 4, 24.0, 11.0, 10
#: Paths of other landings are asked where the player was, if no worse than this; so many at most.
LIKES, MOST_ORIGINS = 5.0, 4
#: Where a pass began is remembered when a landing has so few notes to be weighed left; how much
#: the last beginning counts among all.
PROVED, RECENT = costs.SHAPING_NOTES - 12, 0.35
#: A landing estimated to be so much worse than the best path is not tried.
LAND_WORSE = 14.0
#: Cost of the last four notes together that is a surprise; where the notation has a turn.
SURPRISE, SURPRISE_AT_TURN = 7.0, 4.0


@dataclass(frozen=True, slots=True)
class Origin:
    """Where one path was before a note, its hands, pace and slips: what a jump comes from."""

    front: int
    logp: float
    landing: int
    node: Node | None
    left: float
    right: float
    usual: float
    slips: float
    small: float


@dataclass(frozen=True, slots=True)
class Recent:
    """A note heard lately, how long the player had paused before it, and the origins of a jump at
    it, likeliest first (one alone with no front: the player was lost)."""

    note: PlayedNote
    pause: float
    origins: list[Origin]

    def as_heard(self) -> Heard:
        """The same for the search."""
        best = self.origins[0].logp
        shares = [math.exp(o.logp - best) for o in self.origins if o.front >= 0]
        total = sum(shares)
        where = [(o.front, x / total) for o, x in zip(self.origins, shares, strict=False)]
        return Heard(self.note.pitch, self.note.onset_s, self.pause, best, where)


class Tracker:
    """Follows the player through a score; keeps the best paths, best first.

    Args:
        score: the notes to be played.
    """

    def __init__(self, score: ScoreMap) -> None:
        self.score = score
        for pitch in {score.pitch[k] for k in score.notes}:
            score.last_at(pitch)
        nowhere = Path(0.0, None)
        if score.s_per_q:
            nowhere.s_per_q = nowhere.usual = score.s_per_q[0]
        self.paths: list[Path] = [nowhere]
        self._recent: list[Recent] = []
        self._search_until = 0
        self._shaping = Shaping(len(score.q))
        self._habits = np.zeros(len(score.group_q))
        self._begun = -1
        self._count = self._landings = 0

    @property
    def best(self) -> Path:
        """The likeliest path (it may be lost)."""
        return self.paths[0]

    def hear(self, note: PlayedNote) -> None:
        """Take one more note in."""
        pause = self._pause_before(note)
        self._recent.append(Recent(note, pause, self._origins()))
        del self._recent[:-LOOK_BACK]
        ways: list[Path] = []
        for path in self.paths:
            ways.extend(go_on(path, note.pitch, note.onset_s, note.index, self.score, pause))
        self._weigh(ways, note)
        self.paths = _keep(ways)
        if pause > 0.2:
            self._search_until = self._count + 4
        if self._count < self._search_until or self._is_surprised():
            self._search()
        self._count += 1
        if self._count % 8 == 0:
            self._note_habit()
        self._shaping.hear(note, self.paths)

    def _weigh(self, ways: list[Path], note: PlayedNote) -> None:
        """Weigh paths that landed lately by how loud the last note was."""
        if any(path.young > 0 for path in ways):
            self._shaping.weigh(ways, note)

    def _note_habit(self) -> None:
        """Remember where the player began, once the place has proved itself."""
        best = self.best
        if best.front >= 0 and best.landing != self._begun and best.young <= PROVED:
            self._begun = best.landing
            self._habits *= 1.0 - RECENT
            self._habits[best.since] += costs.TO_AGAIN * RECENT

    def _pause_before(self, note: PlayedNote) -> float:
        """How long the player paused beyond what the page asks for: 0 not, 1 long."""
        if not self._recent:
            return 1.0
        path, m = self.best, self.score
        gap_s = note.onset_s - self._recent[-1].note.onset_s
        if gap_s < costs.TOGETHER_S:
            return self._recent[-1].pause
        if gap_s < costs.PAUSE_S:
            return 0.0
        late_s = gap_s
        if path.front >= 0:
            following = min(path.front + 1, len(m.group_q) - 1)
            due_s = path.at_s + (m.group_q[following] - path.at_q) * path.s_per_q
            late_s = min(gap_s, note.onset_s - due_s)
        share = late_s / max(costs.PAUSE_S, costs.PAUSE_Q * path.s_per_q)
        late = min(max((share - 0.5) / (costs.LONG - 0.5), 0.0), 1.0)
        return max(late, min(0.4 * (gap_s - costs.PAUSE_S), 0.5))

    def _is_surprised(self) -> bool:
        path, total = self.best, 0.0
        node = path.node
        for _ in range(4):
            if node is None:
                break
            total += node.cost
            node = node.prev
        turns, bar = self.score.turns, self.score.bar
        if turns and path.front >= 0 and (bar[path.front] in turns or bar[path.front] - 1 in turns):
            return total > SURPRISE_AT_TURN
        return total > SURPRISE

    def _search(self) -> None:
        """Look for a place anywhere that explains the last notes better."""
        path, recent = self.best, [r.as_heard() for r in self._recent]
        is_open = path.front < 0 or any(r.pause > 0.0 for r in self._recent)
        hands = None if is_open else (weight(path.left), weight(path.right))
        least = path.logp - LAND_WORSE
        landings = find_landings(recent, self._habits, path.usual, self.score, hands, least)
        landed = [self._land(landing, recent, path, None) for landing in landings]
        if is_open:
            landed += [self._land(x, recent, path, hand) for x in landings[:2] for hand in (0, 1)]
        new = [p for p in landed if p is not None]
        self._shaping.weigh_landed(new, [r.note for r in self._recent])
        if path.front >= 0:
            new.append(self._lose(_last_nodes(path, len(self._recent)), path))
        self.paths = _keep([*self.paths, *new])

    def _origins(self) -> list[Origin]:
        """Where the player may be: the best path's place, and those of its likes."""
        best = self.paths[0]
        out = [_as_origin(best)]
        if len(self.paths) == 1 or best.front < 0:
            return out
        least, known = best.logp - LIKES, {best.landing}
        for path in self.paths:
            if path.logp < least or len(out) == MOST_ORIGINS:
                break
            if path.front >= 0 and path.landing not in known:
                known.add(path.landing)
                out.append(_as_origin(path))
        return out

    def _land(
        self, landing: Landing, recent: list[Heard], parent: Path, only: int | None
    ) -> Path | None:
        """Play the recent notes again from a landing, with both hands as before or only one."""
        if landing.total < self.best.logp - LAND_WORSE:
            return None
        first, m = self._recent[landing.first], self.score
        note, pause = first.note, first.pause
        origin = (note.index, landing.group, only)
        if any(path.origin == origin for path in self.paths):
            return None
        told = recent[landing.first].origins
        came = first.origins[likely_origin(landing.group, told, m) if told else 0]
        if pause == 0.0 and self._is_near(landing.group, came.node):
            return None
        place = next(k for k in m.members[landing.group] if m.pitch[k] == note.pitch)
        path = Path(landing.total, came.node)
        self._landings += 1
        path.landing, path.origin = self._landings, origin
        path.young = 0 if landing.jump <= costs.TURN_BACK else costs.SHAPING_NOTES
        path.hasty = costs.HASTY * (1.0 - pause)
        path.front = path.since = landing.group
        path.at_q, path.at_s = m.q[place], note.onset_s
        path.before_q, path.before_s = path.at_q, path.at_s
        path.s_per_q = path.usual = came.usual
        path.steps = 0
        path.slips, path.small = came.slips, came.small
        path.left, path.right = came.left, came.right
        if only is not None:
            if m.right[place] != only:
                return None
            path.left, path.right = (3.0, -3.0) if only == 0 else (-3.0, 3.0)
        start = first.origins[0].logp - landing.jump
        start -= costs.ONE_HAND if only is not None else 0.0
        path.logp = start
        self._shaping.came_from(path.landing, came.landing)
        take_note(path, place, note.index, note.onset_s, m)
        path.node = Node(
            came.node, note.index, RIGHT, place, start, landing.jump, note.onset_s, True
        )
        for later in self._recent[landing.first + 1 :]:
            heard = later.note
            go_on(path, heard.pitch, heard.onset_s, heard.index, m, later.pause, alone=True)
            if path.logp < self.best.logp - WORSE:
                return None
        return path

    def _is_near(self, group: int, before: Node | None) -> bool:
        """A place so near that no jump is needed to get there (the path itself may go there)."""
        while before is not None and before.what != RIGHT:
            before = before.prev
        if before is None:
            return False
        m = self.score
        return abs(m.group_q[group] - m.q[before.note]) <= costs.TOO_NEAR_Q

    def _lose(self, chain: list[Node], parent: Path) -> Path:
        """The path of a player who left the score a few notes ago."""
        first = max(len(chain) - 6, 0)
        path = Path(chain[first].logp + chain[first].cost - costs.GET_LOST, chain[first].prev)
        path.s_per_q = path.usual = parent.usual
        for node in chain[first:]:
            path.logp -= costs.LOST
            path.node = Node(
                path.node, node.played, UNCLEAR, -1, path.logp, costs.LOST, node.time_s
            )
        return path


def _as_origin(path: Path) -> Origin:
    return Origin(
        path.front, path.logp, path.landing, path.node,
        path.left, path.right, path.usual, path.slips, path.small,
    )  # fmt: skip


def _last_nodes(path: Path, count: int) -> list[Node]:
    out: list[Node] = []
    node = path.node
    while node is not None and len(out) < count:
        out.append(node)
        node = node.prev
    return out[::-1]


def _keep(ways: list[Path]) -> list[Path]:
    """The best few, each place once."""
    if len(ways) == 1:
        return ways
    ways.sort(key=_minus_logp)
    floor, floor_of_variants = ways[0].logp - WORSE, ways[0].logp - VARIANT_WORSE
    out: list[Path] = []
    seen: set[tuple[int, int, float, bool, bool]] = set()
    of_landing: dict[int, int] = {}
    for path in ways:
        if path.logp < floor:
            break
        node = path.node
        note = node.note if node else -1
        place = (path.front, note, path.before_q, path.left > 0.0, path.right > 0.0)
        known = of_landing.get(path.landing, 0)
        if place in seen or known == VARIANTS or (known and path.logp < floor_of_variants):
            continue
        seen.add(place)
        of_landing[path.landing] = known + 1
        out.append(path)
        if len(out) == PATHS:
            break
    return out


def _minus_logp(path: Path) -> float:
    return -path.logp
