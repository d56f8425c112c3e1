"""How loud each note was when it was last played: whoever repeats to the step is known by it.

Where two places of the score cannot be told apart by their notes, how loud they were before may
tell. How much it tells is the player's own affair. Six pianists who play Mozart's K. 331 with its
repeats (Vienna 4x22) come back to a note within one MIDI step of what it was a quarter of the
time (1,432 pairs), and to a note of a passage that is only like it hardly less often (a fifth,
598 pairs): of such a player loudness tells nothing. A machine comes back to it always. So the share
is learnt from what this player has repeated, and counts only as far as it is above a pianist's.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from engine.follow import costs
from engine.follow.path import RIGHT, Node, Path
from engine.performance import PlayedNote

#: Notes between two rounds of remembering, and how old a note must be to be remembered.
EVERY, SETTLED = 24, 12
#: By how much the best path must lead, loudness apart, for its notes to be remembered: that two
#: places were equally loud never vouches for the next time.
SURE = 3.0
#: Notes whose possible places are kept: as many as a search looks back upon, and a few more.
KEPT = 16
#: Notes whose place is left open until the passages part, at most; landings whose origin is known.
OPEN, LANDINGS = 192, 400
#: How much older repetitions count, from one to the next.
FORGET = 0.98
#: Velocities that spread less than this say nothing (a keyboard without touch).
FLAT = 3.0


class Shaping:
    """Remembers velocities by score note; weighs paths by them.

    Args:
        count: number of notes of the arrangement.
    """

    def __init__(self, count: int) -> None:
        self._velocity = [0] * count
        self._recent: dict[int, int] = {}
        self._open: dict[int, dict[int, int]] = {}
        self._asked = -1
        self._from: dict[int, int] = {}
        self._places: dict[int, dict[int, int]] = {}
        self._same, self._compared = costs.SAME_PRIOR * costs.SAME_GUESS, costs.SAME_PRIOR
        self._mean, self._spread2 = 64.0, 0.0

    def hear(self, note: PlayedNote, paths: Sequence[Path]) -> None:
        """Take note of what was played; remember what the best path settled a while ago, unless
        it may have been elsewhere."""
        self._recent[note.index] = note.velocity
        away = note.velocity - self._mean
        self._mean += 0.05 * away
        self._spread2 += 0.05 * (away * away - self._spread2)
        if note.index % EVERY == 0:
            self._remember(paths)

    def _remember(self, paths: Sequence[Path]) -> None:
        """Ask every path where the notes of a while ago were; learn where they no longer differ."""
        asked = self._asked
        for path in paths:
            node = path.node
            for _ in range(SETTLED):
                node = node.prev if node else None
            self._asked = max(self._asked, node.played if node else -1)
            while node is not None and node.played > asked:
                note = node.note if node.what == RIGHT else -1
                self._open.setdefault(node.played, {})[path.landing] = note
                node = node.prev
        self._close_settled(paths)

    def _close_settled(self, paths: Sequence[Path]) -> None:
        """Learn the notes of which no path that is likely, loudness apart, says otherwise."""
        here = paths[0].landing
        least = paths[0].logp + paths[0].shaped - SURE
        likely = {p.landing for p in paths[1:] if p.logp + p.shaped >= least} - {here}
        for played, places in list(self._open.items()):
            note = self._at(places, here)
            if all(self._at(places, landing) == note for landing in likely):
                del self._open[played]
                if note >= 0:
                    self._learn(note, self._recent[played])
        while len(self._open) > OPEN:
            del self._open[min(self._open)]
        for played in [k for k in self._recent if k <= self._asked and k not in self._open]:
            del self._recent[played]

    def _at(self, places: dict[int, int], landing: int) -> int:
        """The note told by the path of a landing, or of the one it came from; -1 for none."""
        while landing not in places and landing in self._from:
            landing = self._from[landing]
        return places.get(landing, -1)

    def _learn(self, note: int, velocity: int) -> None:
        before, self._velocity[note] = self._velocity[note], velocity
        if before:
            self._same += abs(velocity - before) <= costs.SAME_WITHIN
            self._compared += 1.0
            self._same *= FORGET
            self._compared *= FORGET

    def weigh(self, paths: Sequence[Path], note: PlayedNote) -> None:
        """Charge paths that landed lately for what the last note tells against them."""
        for path in paths:
            if path.node is not None:
                self._see(path.node)
        for path in paths:
            node = path.node
            if node is not None and node.what == RIGHT and path.young > 0:
                path.young -= 1
                path.logp -= path.hasty
                _charge(path, self._cost_of(node, note.velocity))

    def came_from(self, landing: int, before: int) -> None:
        """Take note of which landing's path a new one left."""
        self._from[landing] = before
        while len(self._from) > LANDINGS:
            del self._from[min(self._from)]

    def weigh_landed(self, paths: Sequence[Path], notes: Sequence[PlayedNote]) -> None:
        """Charge paths that just landed for the recent `notes` since."""
        chains = [_since_landing(path) for path in paths]
        for chain in chains:
            for node in chain:
                self._see(node)
        velocity = {note.index: note.velocity for note in notes}
        for path, chain in zip(paths, chains, strict=True):
            cost = 0.0
            for node in chain if path.young > 0 else ():
                node.logp -= cost
                if node.what == RIGHT:
                    path.young -= 1
                    cost += self._cost_of(node, velocity[node.played])
                    path.logp -= path.hasty
            _charge(path, cost)

    def _see(self, node: Node) -> None:
        """Take note of where a path says a played note is."""
        if node.what == RIGHT:
            places = self._places.setdefault(node.played, {})
            places[node.note] = self._velocity[node.note]
            if len(self._places) > KEPT:
                del self._places[min(self._places)]

    def _cost_of(self, node: Node, velocity: int) -> float:
        """What a played note's loudness tells against one place, beside the likeliest."""
        places = self._places.get(node.played, {})
        if (
            node.note not in places
            or len(places) < 2
            or not any(places.values())
            or self._spread2 < FLAT * FLAT
        ):
            return 0.0
        share = max(self._same / self._compared, costs.SAME_AT_LEAST)
        hit = math.log(share / costs.SAME_AT_LEAST)
        miss = math.log((1.0 - share) / (1.0 - costs.SAME_AT_LEAST))
        tells = {
            k: (hit if abs(velocity - v) <= costs.SAME_WITHIN else miss) if v else 0.0
            for k, v in places.items()
        }
        return max(tells.values()) - tells[node.note]


def _since_landing(path: Path) -> list[Node]:
    """What a path says of the notes since its last jump, in order."""
    out: list[Node] = []
    node = path.node
    while node is not None:
        out.append(node)
        node = None if node.fresh else node.prev
    return out[::-1]


def _charge(path: Path, cost: float) -> None:
    path.logp -= cost
    path.shaped += cost
