"""The live follower: every note gets its finding at once, and keeps it after three more."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from engine.arrangement import Arrangement, Hands, Span
from engine.findings import Finding, What
from engine.follow.doubt import Belief
from engine.follow.missing import MissingNotes
from engine.follow.path import EXTRA, ORNAMENT, RIGHT, UNCLEAR, WRONG, Node, Path
from engine.follow.scoremap import map_score
from engine.follow.tracker import Tracker
from engine.performance import PlayedNote

#: A finding may be revised until this many more notes have come, or this long has passed.
LAG_NOTES, LAG_S = 3, 0.5
#: Another path counts as a real doubt while it is this close (nats).
DOUBT = 2.5
#: The path is told as lost when being lost is likelier by this much (nats).
CLEARLY_LOST = 12.0
#: Links of the past kept for a search back.
KEEP_NODES = 24

WORDS: dict[int, What] = {
    RIGHT: "right", WRONG: "wrong", EXTRA: "extra", ORNAMENT: "ornament", UNCLEAR: "unclear",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Place:
    """Where the player is.

    Attributes:
        place_q: quarters (unfolded) of the furthest note reached; nan where nothing is known.
        certainty: 0 to 1.
        lost: the notes do not answer to any place.
        alternatives_q: other places it may as well be.
    """

    place_q: float = math.nan
    certainty: float = 0.0
    lost: bool = True
    alternatives_q: tuple[float, ...] = ()


def finding_of(node: Node, certainty: float = 1.0, final: bool = False) -> Finding:
    """What a link of a path says, as a finding."""
    what = WORDS[node.what]
    score = node.note if node.what == RIGHT else None
    stands_for = node.note if node.what in (WRONG, ORNAMENT) else None
    return Finding(node.played, score, what, stands_for, certainty, final)


class Follower:
    """Follows a player note by note. Pure: the clock is the notes' own stamps, and `tick`.

    Args:
        arrangement: what is played from.
        span: the bars practised; None for all.
        hands: which hand(s) play; None to find out.
    """

    def __init__(
        self, arrangement: Arrangement, span: Span | None = None, hands: Hands | None = None
    ) -> None:
        self._score = map_score(arrangement, span, hands)
        self._tracker = Tracker(self._score)
        self._missing = MissingNotes(self._score, hands is None)
        self._pending: list[tuple[PlayedNote, Finding, bool]] = []
        self._heard = 0
        self._belief = Belief()
        self._believed = True

    def hear(self, note: PlayedNote) -> list[Finding]:
        """One more note. Returns its finding, then those revised or now final, and new missing."""
        out = self.tick(note.onset_s)
        self._tracker.hear(note)
        self._heard += 1
        path = self._told_path()
        node = path.node
        good = node is not None and node.what in (RIGHT, ORNAMENT)
        self._believed = self._belief.hear(good, bool(node and node.fresh), note.onset_s)
        new = self._finding_now(path, note)
        out.append(new)
        out += self._revise(path)
        self._pending.append((note, new, bool(node and node.fresh)))
        if len(self._pending) > LAG_NOTES:
            out += self._settle(1)
        if self._heard % KEEP_NODES == 0:
            self._forget()
        return out

    def tick(self, now_s: float) -> list[Finding]:
        """Time has passed: findings older than half a second become final."""
        old = 0
        for note, _, _ in self._pending:
            if now_s - note.onset_s < LAG_S:
                break
            old += 1
        return self._settle(old) if old else []

    def finish(self) -> list[Finding]:
        """The playing is over: the rest becomes final, and what was left out is told."""
        out = self._settle(len(self._pending))
        return out + [_missing(note) for note in self._missing.close()]

    @property
    def place(self) -> Place:
        """Where the player is now."""
        best = self._told_path()
        if best.front < 0 or not self._believed:
            return Place()
        group_q = self._score.group_q
        paths = self._tracker.paths
        near = [p for p in paths if p.front >= 0 and p.logp > best.logp - DOUBT]
        others = {group_q[p.front] for p in near} - {group_q[best.front]}
        total = sum(math.exp(min(p.logp - best.logp, 0.0)) for p in paths)
        return Place(group_q[best.front], 1.0 / max(total, 1.0), False, tuple(sorted(others)))

    def _told_path(self) -> Path:
        """The likeliest path with a place, unless being lost is much likelier."""
        best = self._tracker.paths[0]
        if best.front >= 0:
            return best
        for path in self._tracker.paths:
            if path.front >= 0 and path.logp > best.logp - CLEARLY_LOST:
                return path
        return best

    def _finding_now(self, path: Path, note: PlayedNote) -> Finding:
        node = path.node
        assert node is not None
        if not self._believed:
            return Finding(note.index, None, "unclear", None, 0.5)
        paths = self._tracker.paths
        if len(paths) == 1:
            return finding_of(node)
        against, others = 0.0, set()
        for other in paths:
            if other is path or other.node is None:
                continue
            if other.node.note != node.note or other.node.what != node.what:
                against += math.exp(min(other.logp - path.logp, 0.0))
                if other.node.what == RIGHT and other.logp > path.logp - DOUBT:
                    others.add(other.node.note)
        finding = finding_of(node, 1.0 / (1.0 + against))
        return replace(finding, alternatives=tuple(sorted(others))) if others else finding

    def _revise(self, path: Path) -> list[Finding]:
        """What the path now says otherwise of notes that are not final."""
        out: list[Finding] = []
        if not self._believed:
            return out
        node = path.node.prev if path.node else None
        for i in range(len(self._pending) - 1, -1, -1):
            if node is None:
                break
            note, said, fresh = self._pending[i]
            if WORDS[node.what] != said.what or node.note not in (said.score, said.stands_for, -1):
                revised = finding_of(node, 0.9)
                self._pending[i] = (note, revised, node.fresh)
                out.append(revised)
            elif node.fresh != fresh:
                self._pending[i] = (note, said, node.fresh)
            node = node.prev
        return out[::-1]

    def _settle(self, count: int) -> list[Finding]:
        out: list[Finding] = []
        for _, said, fresh in self._pending[:count]:
            out.append(replace(said, final=True))
            matched = said.score if said.what == "right" else said.stands_for
            if matched is not None and said.what in ("right", "wrong"):
                out += [_missing(k) for k in self._missing.take(matched, fresh)]
        del self._pending[:count]
        return out

    def _forget(self) -> None:
        """Let go of the far past, so that memory does not grow with what was played."""
        for path in self._tracker.paths:
            node = path.node
            for _ in range(KEEP_NODES):
                if node is None:
                    break
                node = node.prev
            if node is not None:
                node.prev = None


def _missing(note: int) -> Finding:
    return Finding(None, note, "missing", None, 0.9, True)
