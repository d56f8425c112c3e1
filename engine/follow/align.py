"""The whole take at once: what each note was, decided with everything known."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from engine.arrangement import Arrangement, Hands, Span
from engine.findings import Finding
from engine.follow.follower import finding_of
from engine.follow.missing import MissingNotes
from engine.follow.path import RIGHT, WRONG, Node
from engine.follow.scoremap import map_score
from engine.follow.tracker import Tracker
from engine.performance import PlayedNote


def align(
    arrangement: Arrangement,
    notes: Sequence[PlayedNote],
    span: Span | None = None,
    hands: Hands | None = None,
) -> list[Finding]:
    """Findings of a whole take: one per played note in order, then the missing ones.

    Args:
        arrangement: what was played from.
        notes: the take, in order of onset.
        span: the bars practised; None for all.
        hands: which hand(s) played; None to find out.
    """
    score = map_score(arrangement, span, hands)
    tracker = Tracker(score)
    for note in notes:
        tracker.hear(note)
    nodes: list[Node] = []
    node = tracker.best.node
    while node is not None:
        nodes.append(node)
        node = node.prev
    nodes.reverse()
    out = [replace(finding_of(n), final=True) for n in nodes]
    missing = MissingNotes(score, hands is None)
    left_out: list[int] = []
    for n in nodes:
        if n.what in (RIGHT, WRONG):
            left_out += missing.take(n.note, n.fresh)
    left_out += missing.close()
    return out + [Finding(None, k, "missing", None, 0.9, True) for k in left_out]
