"""What the kept takes tell a drill: the weakest bars, and the slips of the last take."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from engine.arrangement import Arrangement
from practice.drills.places import NOTHING_KNOWN, Weaknesses
from practice.environment import Places
from practice.progress.weak_bars import find_weak_bars
from practice.store.kept import KeptPass
from practice.store.store import Store, StoreError


def read_weaknesses(places: Places, arrangement: Arrangement) -> Weaknesses:
    """Bars by index, worst first; slips in the order in which the last take had them.

    The bars of the last take come first, by how many slips each had; after them those that went
    wrong again and again in the passes before.
    """
    if not places.store.exists():
        return NOTHING_KNOWN
    try:
        with Store(places.store) as store:
            slips = _slips(store, arrangement, _last_take(store, arrangement))
            again = [one.bar for one in find_weak_bars(store, arrangement)]
            return Weaknesses(tuple(dict.fromkeys([*_worst_first(slips), *again])), slips)
    except StoreError:
        return NOTHING_KNOWN


def _last_take(store: Store, arrangement: Arrangement) -> Sequence[KeptPass]:
    """The passes of the last take; one of the simulated pianist only where there is no other."""
    passes = store.passes(arrangement.content_hash)
    if not passes:
        return ()
    shown = {t.number for t in store.takes(arrangement.content_hash) if t.start.source == "demo"}
    own = [p for p in passes if p.take not in shown] or passes
    return [p for p in own if p.take == own[-1].take]


def _slips(store: Store, arrangement: Arrangement, passes: Sequence[KeptPass]) -> tuple[int, ...]:
    """The bar of every slip that answers to a written note."""
    bars = arrangement.table["bar"]
    slips = [s for p in passes for s in store.detail(p.take, p.number).slips]
    return tuple(int(bars[s.score]) for s in slips if s.score is not None)


def _worst_first(slips: Sequence[int]) -> list[int]:
    counts = Counter(slips)
    return sorted(counts, key=lambda bar: (-counts[bar], bar))
