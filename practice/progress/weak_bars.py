"""Bars in which notes went wrong again and again, from the last passes over each."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Set
from dataclasses import dataclass
from typing import Any

from engine.arrangement import Arrangement, Hands
from practice.store.store import Store

#: So many last passes of the arrangement are looked at,
WEAK_PASSES = 12
#: ... and so many last ones over each bar; so many of these faulty make it weak.
WEAK_OF, WEAK_FAULTS = 4, 2
#: So many clean ones settle a passage for now.
SETTLED_OF = 2


@dataclass(frozen=True, slots=True)
class WeakBar:
    """A bar in which notes went wrong in `faulty` of its last `passes`, two at least."""

    bar: int
    faulty: int
    passes: int
    hands: Hands


#: Of a pass: its hands, the bars it touched (as they come first), and those with a fault.
Touched = tuple[Hands, Set[int], Set[int]]


def find_weak_bars(store: Store, arrangement: Arrangement) -> list[WeakBar]:
    """Bars with wrong or missing notes in two or more of their last passes, weakest first."""
    return weak_bars(read_touched(store, arrangement))


def read_touched(store: Store, arrangement: Arrangement) -> list[Touched]:
    """The last passes of an arrangement, newest first."""
    rows = store.query(
        """SELECT take, number, from_bar, to_bar, hands FROM passes
            WHERE arrangement = (SELECT id FROM arrangements WHERE content_hash = ?)
            AND take NOT IN (SELECT id FROM takes WHERE source = 'demo')
            ORDER BY started_us DESC LIMIT ?""",
        (arrangement.content_hash, WEAK_PASSES),
    )
    return [
        (
            hands,
            written_bars(arrangement, first, last),
            _faulty_bars(store, arrangement, take, number),
        )
        for take, number, first, last, hands in rows
    ]


def written_bars(arrangement: Arrangement, first: int, last: int) -> set[int]:
    """The bars of a span, each by the index at which it comes first."""
    return {_written(arrangement, k) for k in range(first, last + 1)}


def is_settled(passes: Iterable[Touched], bars: Set[int]) -> bool:
    """Whether the last `SETTLED_OF` passes with both hands over all of these bars were clean."""
    over = [faulty for hands, touched, faulty in passes if hands == "both" and bars <= touched]
    return len(over) >= SETTLED_OF and not any(bars & faulty for faulty in over[:SETTLED_OF])


def weak_bars(passes: Iterable[Touched]) -> list[WeakBar]:
    """The weak bars, weakest first. Args: passes: newest first."""
    seen: defaultdict[tuple[int, Hands], list[bool]] = defaultdict(list)
    for hands, touched, faulty in passes:
        for bar in touched:
            if len(seen[bar, hands]) < WEAK_OF:
                seen[bar, hands].append(bar in faulty)
    weak = [WeakBar(bar, sum(told), len(told), hands) for (bar, hands), told in seen.items()]
    return sorted(
        (w for w in weak if w.faulty >= WEAK_FAULTS),
        key=lambda w: (-w.faulty / w.passes, -w.faulty, w.bar),
    )


def _faulty_bars(store: Store, arrangement: Arrangement, take: int, number: int) -> set[int]:
    """First indices of the written bars in which a pass had a wrong or missing note."""
    bars: set[int] = set()
    for finding in store.detail(take, number).findings:
        told: Any = finding.score if finding.score is not None else finding.stands_for
        if finding.what in ("wrong", "missing") and told is not None:
            bars.add(_written(arrangement, arrangement.notes[told].bar))
    return bars


def _written(arrangement: Arrangement, bar: int) -> int:
    """The index at which a written bar comes first."""
    written = arrangement.bars[bar].written
    return next(b.index for b in arrangement.bars if b.written == written)
