"""How many slips of each kind, by section."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable

from engine.arrangement import Arrangement
from engine.findings import Slip


def count_slips(
    arrangement: Arrangement, slips: Iterable[Slip], places_q: dict[int, float] | None = None
) -> dict[str, Counter[str]]:
    """Slips of each kind in each section, by the section's name.

    Args:
        slips: named. places_q: where in the score each played note was, by its index, for slips
            that stand for no written note; without it these are counted under "".
    """
    counts: dict[str, Counter[str]] = {s.name: Counter() for s in arrangement.form.sections}
    for slip in slips:
        counts.setdefault(section_of(arrangement, slip, places_q or {}), Counter())[slip.kind] += 1
    return counts


def section_of(arrangement: Arrangement, slip: Slip, places_q: dict[int, float]) -> str:
    """Name of the section a slip happened in, "" where that cannot be told."""
    if slip.score is not None:
        bar = arrangement.notes[slip.score].bar
    elif slip.played in places_q:
        bar = arrangement.bar_at(places_q[slip.played]).index
    else:
        return ""
    found = (s.name for s in arrangement.form.sections if s.from_bar <= bar < s.to_bar)
    return next(found, "")
