"""What the kept takes tell a drill: the weakest bars, and the slips of the last take."""

from __future__ import annotations

from engine.arrangement import Arrangement
from practice.drills.places import NOTHING_KNOWN, Weaknesses
from practice.environment import Places
from practice.progress.weak_bars import find_weak_bars
from practice.store.store import Store, StoreError


def read_weaknesses(places: Places, arrangement: Arrangement) -> Weaknesses:
    """Bars by index, worst first; slips in the order in which the last take had them."""
    if not places.store.exists():
        return NOTHING_KNOWN
    try:
        with Store(places.store) as store:
            weak = tuple(one.bar for one in find_weak_bars(store, arrangement))
            return Weaknesses(weak, _last_slips(store, arrangement))
    except StoreError:
        return NOTHING_KNOWN


def _last_slips(store: Store, arrangement: Arrangement) -> tuple[int, ...]:
    passes = store.passes(arrangement.content_hash)
    if not passes:
        return ()
    bars = arrangement.table["bar"]
    of_take = [p for p in passes if p.take == passes[-1].take]
    slips = [s for p in of_take for s in store.detail(p.take, p.number).slips]
    return tuple(int(bars[s.score]) for s in slips if s.score is not None)
