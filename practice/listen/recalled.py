"""How much of a long session stays in memory: all of it is in the store anyway.

A program that runs for an evening must not grow with what was played. The newest passes are held
with every note, for the page, the Wheel and a look back; of older ones what they came to, without
what was told bar by bar, so that the best is still known; of the oldest that they were.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import fields, is_dataclass, replace
from typing import Any

from practice.snapshot import PassRecord

#: The newest passes are held whole while they have so many notes together: ten dense minutes.
WHOLE_NOTES = 6000
#: So many are held whole however long they are, and so many with their measures.
LEAST_WHOLE, MEASURED = 5, 24


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
        measures=without_lists(record.measures) if measured else None,
    )  # fmt: skip


def without_lists(measures: Any) -> Any:
    """The same measures without what they tell bar by bar, change by change, place by place."""
    if not is_dataclass(measures) or isinstance(measures, type):
        return measures
    parts = {f.name: getattr(measures, f.name) for f in fields(measures)}
    short = {
        name: replace(
            part, **{f.name: () for f in fields(part) if isinstance(getattr(part, f.name), tuple)}
        )
        for name, part in parts.items()
        if is_dataclass(part) and not isinstance(part, type)
    }
    return replace(measures, **short)
