"""What a pass came to in its sections, as rows of the take store."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Sequence
from typing import Any

from engine.section_review import SectionReview
from practice.store.migrations import sum_up_day, sum_up_even_day

COLUMNS = """take, pass, key, hands, started_us, day, cold, asked, good, why_not, tempo_share,
    notes_right, notes, seconds, timing_ms, evenness_ms, step_ms, places, slips, fingering"""


def write_sections(
    db: sqlite3.Connection, take: int, number: int, started_us: int, day: str,
    parts: Sequence[SectionReview],
) -> None:  # fmt: skip
    """Write the rows of one pass, inside a transaction; what the pass had before is replaced.

    What the simulated pianist played is not the player's progress, and gets none.
    """
    if db.execute("SELECT 1 FROM takes WHERE id = ? AND source = 'demo'", (take,)).fetchone():
        return
    old = db.execute(
        "SELECT DISTINCT key, day FROM section_passes WHERE take = ? AND pass = ?", (take, number)
    ).fetchall()
    db.execute("DELETE FROM section_passes WHERE take = ? AND pass = ?", (take, number))
    marks = ", ".join("?" * len(COLUMNS.split(",")))
    db.executemany(
        f"INSERT INTO section_passes ({COLUMNS}) VALUES ({marks})",
        [(take, number, *_row(part, started_us, day)) for part in parts],
    )
    for key, when in {*old, *((part.key, day) for part in parts)}:
        sum_up(db, key, when)


def _row(part: SectionReview, started_us: int, day: str) -> tuple[Any, ...]:
    facts = part.facts
    notes = facts.right + facts.wrong + facts.missing + facts.extra
    places = [None if p.value is None else round(p.value, 1) for p in part.places]
    return (
        part.key, part.hands, started_us, day, 0, part.asked, part.good, part.why_not,
        part.tempo_share, facts.right, notes, part.seconds, part.timing_ms.value,
        part.evenness_ms.value, part.step_ms, _text(places), _text(dict(part.slips)),
        part.fingering,
    )  # fmt: skip


def _text(thing: Any) -> str:
    return json.dumps(thing, separators=(",", ":")) if thing else ""


def sum_up(db: sqlite3.Connection, key: str, day: str) -> None:
    """All that is kept of one section's day, afresh, inside a transaction."""
    mark_cold(db, key, day)
    sum_up_day(db, key, day)
    sum_up_even_day(db, key, day)


def mark_cold(db: sqlite3.Connection, key: str, day: str) -> None:
    """The first pass of a section on a day is the cold one, if it was to play all of it."""
    db.execute("UPDATE section_passes SET cold = 0 WHERE key = ? AND day = ? AND cold", (key, day))
    db.execute(
        """UPDATE section_passes SET cold = asked WHERE rowid =
            (SELECT rowid FROM section_passes WHERE key = ? AND day = ?
             ORDER BY started_us, take, pass, rowid LIMIT 1)""",
        (key, day),
    )
