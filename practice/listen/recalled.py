"""How much of a long session stays in memory: all of it is in the store anyway.

A program that runs for an evening must not grow with what was played. The newest passes are held
with every note, for the page, the Wheel and a look back; of older ones what they came to, so that
the best is still known; of the oldest that they were.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from practice.snapshot import PassRecord

#: The newest passes are held whole while they have so many notes together: ten dense minutes.
WHOLE_NOTES = 6000
#: So many are held whole however long they are, and so many with their measures.
LEAST_WHOLE, MEASURED = 5, 20


def count_whole(sizes: Sequence[int]) -> int:
    """How many of the newest passes are held whole; `sizes` are their notes, oldest first."""
    whole, notes = 0, 0
    for size in reversed(sizes):
        notes += size
        if whole >= LEAST_WHOLE and notes > WHOLE_NOTES:
            break
        whole += 1
    return whole


def recall(records: tuple[PassRecord, ...], new: PassRecord) -> tuple[PassRecord, ...]:
    """The records with one more, those that are not held whole any longer thinned."""
    records = (*records, new)
    whole = len(records) - count_whole([len(r.notes) for r in records])
    measured = len(records) - max(MEASURED, len(records) - whole)
    return tuple(
        r if at >= whole else _thinned(r, measured=at >= measured) for at, r in enumerate(records)
    )


def _thinned(record: PassRecord, *, measured: bool) -> PassRecord:
    if not record.notes and (measured or record.measures is None):
        return record
    return replace(
        record, notes=(), pedals=(), findings=(), deviations_ms=(), slips=(),
        measures=record.measures if measured else None,
    )  # fmt: skip
