"""Run-throughs: the place of one among those before it, by the share of its notes that were right.

A run-through is a pass over the whole form, repeats included, from its first moment to its last.
What the demo played is compared with what the demo played.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from engine.arrangement import Arrangement, Hands, whole_span
from practice.store.kept import KeptPass
from practice.store.store import Store, StoreError


@dataclass(frozen=True, slots=True)
class RunThrough:
    """One of them. `take`: its number in the store, 0 where it was not kept. `day`: 2026-03-01."""

    take: int
    day: str
    hands: Hands
    right: int
    written: int
    extra: int

    @property
    def merit(self) -> tuple[float, int]:
        """The higher the better: share of written notes right, then fewer added ones."""
        return self.right / max(self.written, 1), -self.extra


def find_run_through(arrangement: Arrangement, kept: KeptPass) -> RunThrough | None:
    """The pass as a run-through, None where it is none."""
    if not kept.completed or kept.span != whole_span(arrangement):
        return None
    written = kept.right + kept.wrong + kept.missing
    return RunThrough(kept.take, kept.day, kept.hands, kept.right, written, kept.extra)


def read_run_throughs(store_path: Path, arrangement: Arrangement, demo: bool) -> list[RunThrough]:
    """Those in the store, oldest first; none where it cannot be read. `demo`: the demo's own."""
    if not store_path.exists():
        return []
    try:
        with Store(store_path) as store:
            takes = store.takes(arrangement.content_hash)
            mine = {t.number for t in takes if (t.start.source == "demo") is demo}
            kept = [p for p in store.passes(arrangement.content_hash) if p.take in mine]
    except StoreError:
        return []
    found = (find_run_through(arrangement, one) for one in kept)
    return [one for one in found if one is not None]


def say_place(one: RunThrough, earlier: Sequence[RunThrough]) -> str:
    """Its place among earlier ones of the same hands, in a line, with the best of those."""
    alike = [e for e in earlier if e.hands == one.hands]
    if not alike:
        return f"The first run-through: {_say_right(one)}"
    place = 1 + sum(e.merit > one.merit for e in alike)
    best = max(alike, key=lambda e: e.merit)
    kept = f"take {best.take}, " if best.take else ""
    return (
        f"Run-through: place {place} of {len(alike) + 1} by notes: {_say_right(one)};"
        f" the best before: {kept}{best.day}, {_say_right(best)}"
    )


def _say_right(one: RunThrough) -> str:
    added = f", {one.extra} added" if one.extra else ""
    return f"{one.right} of {one.written} right{added}"
