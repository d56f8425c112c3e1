"""The player's own timing, learned from kept passes, for the hand that follows them."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import islice

import numpy as np

from engine.accompany.remembered import Floats, Remembered, remember
from engine.arrangement import Arrangement
from engine.performance import pair_notes
from practice.environment import Places
from practice.store.kept import KeptPass
from practice.store.store import Store, StoreError

#: The newest so many passes are learned from.
PASSES = 5
#: A pass with fewer right notes tells nothing of timing.
LEAST_NOTES = 8


def remember_takes(places: Places, arrangement: Arrangement) -> Remembered | None:
    """Timing common to the newest passes in free pulse, None where there are none.

    Passes with both hands come first, for they tell where the other hand's notes were.
    """
    if not places.store.exists():
        return None
    try:
        with Store(places.store) as store:
            return remember(list(islice(_read_timings(store, arrangement), PASSES)))
    except StoreError:
        return None


def _read_timings(store: Store, arrangement: Arrangement) -> Iterator[tuple[Floats, Floats]]:
    passes = [p for p in store.passes(arrangement.content_hash) if p.pulse.kind == "free"]
    newest = sorted(passes, key=lambda p: (p.hands == "both", p.started), reverse=True)
    for kept in newest:
        if kept.right >= LEAST_NOTES:
            yield read_timing(store, arrangement, kept)


def read_timing(store: Store, arrangement: Arrangement, kept: KeptPass) -> tuple[Floats, Floats]:
    """(places, onsets in seconds) of the right notes of a pass."""
    notes = pair_notes(store.events(kept.take)).notes
    onset_q = arrangement.table["onset_q"]
    rows = [
        (float(onset_q[f.score]), notes[kept.first_note + f.played].onset_s)
        for f in store.detail(kept.take, kept.number).findings
        if f.what == "right" and f.score is not None and f.played is not None
    ]
    return np.array([q for q, _ in rows]), np.array([s for _, s in rows])
