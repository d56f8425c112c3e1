"""One key going down, and what it was meant to be."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from itertools import groupby
from typing import Literal

#: A finger cannot strike a key again sooner than this.
AGAIN_S = 0.03
#: A key must come up this long before it goes down again.
LIFT_S = 0.012
#: A key stays down at least this long.
SHORTEST_S = 0.02

What = Literal["right", "wrong", "extra", "ornament"]


@dataclass(frozen=True, slots=True)
class Stroke:
    """A key stroke.

    Attributes:
        onset_s, release_s, pitch, velocity: what is played (velocity still a real number).
        what: right; wrong (another key for a written note); extra; ornament.
        score: the score note it plays (right), stands for (wrong) or belongs to (ornament; extra
            where it has one), else None.
        kind: the kind of slip, "" where none.
    """

    onset_s: float
    release_s: float
    pitch: int
    velocity: float
    what: What = "right"
    score: int | None = None
    kind: str = ""


def settle_keys(strokes: Iterable[Stroke]) -> tuple[list[Stroke], list[Stroke]]:
    """What the keyboard allows, in order of (onset, pitch), and the strokes that it does not.

    One key cannot be struck twice at once, and must come up before it goes down again.
    """
    kept: list[Stroke] = []
    lost: list[Stroke] = []
    by_key = sorted(strokes, key=lambda s: (s.pitch, s.onset_s, s.what != "right"))
    for _, group in groupby(by_key, key=lambda s: s.pitch):
        one_key: list[Stroke] = []
        for stroke in group:
            _put(one_key, stroke, lost)
        kept.extend(_lift_in_time(one_key))
    return sorted(kept, key=lambda s: (s.onset_s, s.pitch)), lost


def _put(one_key: list[Stroke], stroke: Stroke, lost: list[Stroke]) -> None:
    """Add a stroke of a key, or the better of two that are too close to be two."""
    if not one_key or stroke.onset_s - one_key[-1].onset_s >= AGAIN_S:
        one_key.append(stroke)
    elif stroke.what == "right" and one_key[-1].what != "right":
        lost.append(one_key.pop())
        one_key.append(stroke)
    else:
        lost.append(stroke)


def _lift_in_time(one_key: list[Stroke]) -> Iterator[Stroke]:
    for k, stroke in enumerate(one_key):
        release_s = max(stroke.release_s, stroke.onset_s + SHORTEST_S)
        if k + 1 < len(one_key):
            release_s = min(release_s, one_key[k + 1].onset_s - LIFT_S)
        yield replace(stroke, release_s=release_s)
