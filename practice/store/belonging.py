"""Which arrangement a recording belongs to."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from engine.arrangement import Arrangement
from engine.follow import align
from engine.performance import Recording

#: Notes that follow one another within so many are a pair.
REACH = 5
#: So many likeliest arrangements are tried in earnest.
TRIED = 3
#: A recording belongs where at least this share of its notes is right, and it has so many.
LEAST_SHARE, LEAST_NOTES = 0.6, 12

Pairs = frozenset[tuple[int, int]]


@dataclass(frozen=True, slots=True)
class Belonging:
    """Index of the arrangement, and the share of the recording's notes that are right in it."""

    arrangement: int
    right_share: float


def find_arrangement(recording: Recording, arrangements: Sequence[Arrangement]) -> Belonging | None:
    """The arrangement a recording was played from; None where none is plain.

    The pairs of keys that follow one another narrow it down; the whole-take alignment decides.
    """
    if len(recording.notes) < LEAST_NOTES:
        return None
    played = _pairs([n.pitch for n in recording.notes])
    likely = sorted(
        range(len(arrangements)),
        key=lambda k: -len(played & _score_pairs(arrangements[k])) / len(played),
    )
    tried = [
        Belonging(k, _right_share(arrangements[k], recording)) for k in likely[:TRIED]
    ]  # fmt: skip
    best = max(tried, key=lambda b: b.right_share, default=None)
    return best if best is not None and best.right_share >= LEAST_SHARE else None


def _pairs(pitches: Sequence[int]) -> Pairs:
    return frozenset(
        (a, b) for k, a in enumerate(pitches) for b in pitches[k + 1 : k + 1 + REACH]
    )  # fmt: skip


def _score_pairs(arrangement: Arrangement) -> Pairs:
    return _pairs([n.pitch for n in arrangement.notes])


def _right_share(arrangement: Arrangement, recording: Recording) -> float:
    findings = align(arrangement, recording.notes, None, None)
    right = sum(f.what in ("right", "ornament") for f in findings)
    return right / len(recording.notes)
