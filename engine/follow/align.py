"""The whole take at once: what each note was, decided with everything known."""

from __future__ import annotations

from collections.abc import Sequence

from engine.arrangement import Arrangement, Hands, Span
from engine.findings import Finding
from engine.follow.doubt import mark_unclear
from engine.follow.follower import WORDS
from engine.follow.hindsight import find_doubts, mend_twins
from engine.follow.missing import MissingNotes
from engine.follow.path import ORNAMENT, RIGHT, WRONG
from engine.follow.refine import Label, goings, refine
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
    labels = _labels_of(tracker, notes)
    mend_twins(labels, score)
    refine(labels, score)
    mark_unclear(labels)
    doubts = find_doubts(labels, score)
    out = [_finding_of(x, doubts.get(x.played, ())) for x in labels]
    missing = MissingNotes(score, hands is None)
    left_out: list[int] = []
    starts = {first for first, _ in goings(labels)}
    is_fresh = False
    for i, x in enumerate(labels):
        is_fresh = is_fresh or i in starts
        if x.what in (RIGHT, WRONG):
            left_out += missing.take(x.note, is_fresh)
            is_fresh = False
    left_out += missing.close()
    return out + [Finding(None, k, "missing", None, 0.9, True) for k in left_out]


def _labels_of(tracker: Tracker, notes: Sequence[PlayedNote]) -> list[Label]:
    """What the best path says of every note, in order."""
    labels: list[Label] = []
    node = tracker.best.node
    for note in reversed(notes):
        assert node is not None
        labels.append(Label(note.index, note.pitch, note.onset_s, node.what, node.note, node.fresh))
        node = node.prev
    labels.reverse()
    return labels


def _finding_of(x: Label, others: tuple[int, ...]) -> Finding:
    score = x.note if x.what == RIGHT else None
    stands_for = x.note if x.what in (WRONG, ORNAMENT) else None
    certainty = 1.0 / (1 + len(others))
    return Finding(x.played, score, WORDS[x.what], stands_for, certainty, True, others)
