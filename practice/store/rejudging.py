"""Takes judged again when the engine has improved; what was said before is kept beside."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime

from engine.arrangement import Arrangement
from engine.standing import DEFINITIONS, Definitions
from practice.store.importing import judge_kept
from practice.store.kept import ENGINE_EDITION, KeptTake
from practice.store.moments import microseconds
from practice.store.section_rows import sum_up
from practice.store.store import Store


def find_outdated(store: Store, arrangement: Arrangement, every: bool = False) -> list[KeptTake]:
    """Takes of an arrangement with a pass judged by another edition of the engine, or with none.

    Args:
        every: those of this edition too, as when the definitions were changed.
    """
    rows = store.query(
        "SELECT take FROM passes GROUP BY take HAVING max(engine != ?) = 0", (ENGINE_EDITION,)
    )
    current = {take for (take,) in rows}
    takes = store.takes(arrangement.content_hash)
    return [
        t for t in takes if t.state != "open" and t.notes and (every or t.number not in current)
    ]


def judge_again(
    store: Store,
    arrangement: Arrangement,
    takes: list[KeptTake],
    now: datetime,
    definitions: Definitions = DEFINITIONS,
) -> Iterator[tuple[KeptTake, int, int]]:
    """Judge takes afresh; (take, passes before, passes now) for each as it is done."""
    for take in takes:
        before = _put_aside(store, take.number, now)
        yield take, before, judge_kept(store, arrangement, take, None, definitions)


def _put_aside(store: Store, take: int, now: datetime) -> int:
    """Move what was said of a take to where old judgements are kept; how many passes."""
    with store.writing() as db:
        db.execute(
            """INSERT INTO passes_before SELECT take, number, engine, ?, good, why_not, notes_right,
                notes_wrong, notes_extra, notes_missing, timing_ms, evenness_ms, detail
                FROM passes WHERE take = ?""",
            (microseconds(now), take),
        )
        days = db.execute(
            "SELECT DISTINCT key, day FROM section_passes WHERE take = ?", (take,)
        ).fetchall()
        db.execute("DELETE FROM section_passes WHERE take = ?", (take,))
        before = db.execute("DELETE FROM passes WHERE take = ?", (take,)).rowcount
        for key, day in days:
            sum_up(db, key, day)
    return int(before)
