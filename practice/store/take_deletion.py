"""Takes deleted for good, with all that was said of them. Only after being asked twice."""

from __future__ import annotations

from practice.store.section_rows import sum_up
from practice.store.store import Store


def delete_take(store: Store, number: int) -> None:
    """Delete a take, its passes and its share in the sums by day.

    Raises:
        TakeError: there is none of that number.
    """
    store.take(number)
    with store.writing() as db:
        days = db.execute(
            "SELECT DISTINCT key, day FROM section_passes WHERE take = ?", (number,)
        ).fetchall()
        for table, column in (("section_passes", "take"), ("passes", "take"), ("events", "take")):
            db.execute(f"DELETE FROM {table} WHERE {column} = ?", (number,))
        db.execute("DELETE FROM takes WHERE id = ?", (number,))
        for key, day in days:
            sum_up(db, key, day)
