"""How loud each note was when it was last played: players repeat their own shaping.

Where two places of the score cannot be told apart by their notes, the one that was played like
this before is likelier. That a pianist's dynamics and timing hold from one playing to the next
is old knowledge (Seashore 1938; Repp 1992, 1996, from memory). The evidence of one note is weak
and bounded; it only ever decides between places that the notes leave open.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from engine.follow import costs
from engine.follow.path import RIGHT, Path
from engine.performance import PlayedNote

#: Notes between two rounds of remembering, and how old a note must be to be remembered.
EVERY, SETTLED = 24, 12
#: By how much the best path must lead those of other landings for its notes to be remembered.
SURE = 4.0


class Shaping:
    """Remembers velocities by score note; weighs paths by them.

    Args:
        count: number of notes of the arrangement.
    """

    def __init__(self, count: int) -> None:
        self._velocity = [0] * count
        self._recent: dict[int, int] = {}

    def hear(self, note: PlayedNote, paths: Sequence[Path]) -> None:
        """Take note of what was played; remember what the best path settled a while ago, unless
        it may have been elsewhere."""
        best = paths[0]
        self._recent[note.index] = note.velocity
        if len(self._recent) < EVERY + SETTLED:
            return
        node, waiting = best.node, 0
        elsewhere = (p.logp for p in paths if p.landing != best.landing)
        sure = max(elsewhere, default=-math.inf) < best.logp - SURE
        while node is not None and node.played in self._recent:
            if waiting >= SETTLED:
                velocity = self._recent.pop(node.played)
                if sure and node.what == RIGHT:
                    self._velocity[node.note] = velocity
            waiting += 1
            node = node.prev

    def weigh(self, path: Path, velocity: int) -> None:
        """Charge a path that landed lately for what its last note tells against it."""
        node = path.node
        if node is None or node.what != RIGHT or path.young <= 0:
            return
        path.young -= 1
        before = self._velocity[node.note]
        if not before:
            path.logp -= costs.SHAPING_UNKNOWN
            return
        z = (velocity - before) / costs.SHAPING_SD
        path.logp -= min(max(0.5 * z * z - 0.5, 0.0), costs.SHAPING_AT_MOST)
