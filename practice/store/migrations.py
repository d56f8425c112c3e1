"""The take store's tables, as the steps that made them. A step, once released, is never changed.

Each step runs in a transaction of its own together with its record, so a store is always at
exactly one version: `PRAGMA user_version`, the number of steps taken.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable

from practice.ports.port_names import lasting_name


def _make_takes(db: sqlite3.Connection) -> None:
    """Arrangements, instruments, takes and the raw events of takes."""
    db.execute(
        """CREATE TABLE arrangements (
            id INTEGER PRIMARY KEY,
            content_hash TEXT NOT NULL UNIQUE,
            title TEXT NOT NULL,
            path TEXT NOT NULL DEFAULT '')"""
    )
    db.execute("CREATE TABLE instruments (id INTEGER PRIMARY KEY, name TEXT NOT NULL UNIQUE)")
    db.execute(
        """CREATE TABLE takes (
            id INTEGER PRIMARY KEY AUTOINCREMENT,
            arrangement INTEGER NOT NULL REFERENCES arrangements(id),
            instrument INTEGER REFERENCES instruments(id),
            source TEXT NOT NULL,          -- played, demo or imported
            started_us INTEGER NOT NULL,   -- since 1970, UTC
            zone_s INTEGER NOT NULL,       -- what local time was ahead of UTC
            touched_us INTEGER NOT NULL,   -- when it was last written to
            state TEXT NOT NULL,           -- open, closed or recovered
            from_bar INTEGER NOT NULL,     -- indices into the unfolded bars, both included
            to_bar INTEGER NOT NULL,
            hands TEXT NOT NULL,           -- left, right, both, or '' where the playing tells
            pulse TEXT NOT NULL,           -- strict or free
            rate REAL NOT NULL,            -- share of the marked tempo
            notes INTEGER NOT NULL DEFAULT 0,
            length_s REAL NOT NULL DEFAULT 0,
            keeper INTEGER NOT NULL DEFAULT 0)"""
    )
    db.execute("CREATE INDEX takes_of_arrangement ON takes(arrangement, started_us)")
    db.execute(
        """CREATE TABLE events (
            take INTEGER NOT NULL REFERENCES takes(id) ON DELETE CASCADE,
            part INTEGER NOT NULL,
            blob BLOB NOT NULL,            -- see practice.store.event_blobs
            PRIMARY KEY (take, part))"""
    )


def _make_passes(db: sqlite3.Connection) -> None:
    """What each pass came to. All of it can be computed again from the take's events."""
    db.execute(
        """CREATE TABLE passes (
            id INTEGER PRIMARY KEY,
            take INTEGER NOT NULL REFERENCES takes(id) ON DELETE CASCADE,
            number INTEGER NOT NULL,       -- within the take, from 1
            arrangement INTEGER NOT NULL REFERENCES arrangements(id),
            started_us INTEGER NOT NULL,   -- since 1970, UTC
            day TEXT NOT NULL,             -- local date where it was played
            first_note INTEGER NOT NULL,   -- note numbers in the take, both included
            last_note INTEGER NOT NULL,
            from_bar INTEGER NOT NULL,     -- bars touched, indices, both included
            to_bar INTEGER NOT NULL,
            from_q REAL NOT NULL,
            to_q REAL NOT NULL,
            hands TEXT NOT NULL,
            pulse TEXT NOT NULL,
            start_s REAL NOT NULL,         -- strict: the downbeat, seconds in the take
            start_q REAL NOT NULL,
            rate REAL NOT NULL,
            tempo_qpm REAL,
            completed INTEGER NOT NULL,    -- came to the end of the span
            notes_right INTEGER NOT NULL,
            notes_wrong INTEGER NOT NULL,
            notes_extra INTEGER NOT NULL,
            notes_missing INTEGER NOT NULL,
            timing_ms REAL,                -- median absolute deviation
            evenness_ms REAL,              -- spread of the figure
            good INTEGER NOT NULL,
            why_not TEXT NOT NULL,
            engine TEXT NOT NULL,          -- edition of the engine that said so
            detail BLOB NOT NULL,          -- findings, slips, measures: deflated JSON
            UNIQUE (take, number))"""
    )
    db.execute("CREATE INDEX passes_of_arrangement ON passes(arrangement, started_us)")


def _make_sections(db: sqlite3.Connection) -> None:
    """What each pass came to in each section, and the bars of each arrangement as they were."""
    db.execute(
        """CREATE TABLE section_passes (
            take INTEGER NOT NULL REFERENCES takes(id) ON DELETE CASCADE,
            pass INTEGER NOT NULL,         -- its number in the take
            key TEXT NOT NULL,             -- what the section holds: engine.section_review
            hands TEXT NOT NULL,
            started_us INTEGER NOT NULL,
            day TEXT NOT NULL,
            cold INTEGER NOT NULL,         -- the first of the section on that day
            asked INTEGER NOT NULL,        -- all of the section was to be played
            good INTEGER NOT NULL,
            why_not TEXT NOT NULL,
            tempo_share REAL,
            notes_right INTEGER NOT NULL,
            notes INTEGER NOT NULL,        -- right, wrong, missing and extra
            seconds REAL NOT NULL,
            timing_ms REAL,
            evenness_ms REAL,
            step_ms REAL,                  -- the figure's note interval
            places TEXT NOT NULL,          -- mean deviation of each place in ms: JSON, '' for none
            slips TEXT NOT NULL)           -- count by kind: JSON, '' for none"""
    )
    db.execute("CREATE INDEX sections_by_key ON section_passes(key, hands, started_us)")
    db.execute("CREATE INDEX sections_by_day ON section_passes(key, day)")
    db.execute("CREATE INDEX sections_of_take ON section_passes(take, pass)")
    db.execute(
        """CREATE TABLE bars (
            arrangement INTEGER NOT NULL REFERENCES arrangements(id),
            bar INTEGER NOT NULL,          -- index into the unfolded bars
            number TEXT NOT NULL,          -- as printed
            time INTEGER NOT NULL,
            key TEXT NOT NULL,             -- what it holds: engine.section_review
            PRIMARY KEY (arrangement, bar)) WITHOUT ROWID"""
    )


def _sum_up_days(db: sqlite3.Connection) -> None:
    """Sums by day, so that ten years are read as fast as one month."""
    db.execute(
        """CREATE TABLE section_days (
            key TEXT NOT NULL,
            hands TEXT NOT NULL,
            day TEXT NOT NULL,
            band INTEGER NOT NULL,         -- tempo in steps of 5 % of the mark, 0 unknown
            instrument INTEGER NOT NULL,   -- 0 unknown
            passes INTEGER NOT NULL,       -- of the whole section
            good INTEGER NOT NULL,
            parts INTEGER NOT NULL,        -- of a part of it
            notes_right INTEGER NOT NULL,
            notes INTEGER NOT NULL,
            seconds REAL NOT NULL,
            tempo_share REAL,              -- fastest good pass
            best_share REAL,               -- notes right in the best whole pass
            last_us INTEGER,               -- the last whole pass, and its notes right
            last_share REAL,
            timing_n INTEGER NOT NULL, timing_sum REAL NOT NULL, timing_squares REAL NOT NULL,
            even_n INTEGER NOT NULL, even_sum REAL NOT NULL, even_squares REAL NOT NULL,
            PRIMARY KEY (key, hands, day, band, instrument)) WITHOUT ROWID"""
    )
    db.execute(
        """CREATE TABLE slip_days (
            key TEXT NOT NULL, day TEXT NOT NULL, kind TEXT NOT NULL, count INTEGER NOT NULL,
            PRIMARY KEY (key, day, kind)) WITHOUT ROWID"""
    )
    db.execute("CREATE INDEX sections_cold ON section_passes(key, hands, day) WHERE cold")
    db.execute("CREATE INDEX passes_by_day ON passes(arrangement, day, good, take)")
    db.execute("CREATE INDEX takes_of_demo ON takes(id) WHERE source = 'demo'")
    for key, day in db.execute("SELECT DISTINCT key, day FROM section_passes").fetchall():
        sum_up_day(db, key, day)


def sum_up_day(db: sqlite3.Connection, key: str, day: str) -> None:
    """Sum up one section's day afresh, inside a transaction."""
    db.execute("DELETE FROM section_days WHERE key = ? AND day = ?", (key, day))
    db.execute("DELETE FROM slip_days WHERE key = ? AND day = ?", (key, day))
    db.execute(
        """INSERT INTO section_days
            SELECT key, s.hands, day, coalesce(round(tempo_share * 20), 0) AS band,
            coalesce(instrument, 0) AS played_on,
            sum(asked), sum(good AND asked), sum(NOT asked), sum(notes_right), sum(s.notes),
            sum(seconds), max(CASE WHEN good THEN tempo_share END),
            max(CASE WHEN asked THEN 1.0 * notes_right / max(s.notes, 1) END),
            max(CASE WHEN asked THEN s.started_us END),
            (SELECT 1.0 * l.notes_right / max(l.notes, 1)
                FROM section_passes l INDEXED BY sections_by_day
                JOIN takes lt ON lt.id = l.take
                WHERE l.key = s.key AND l.day = s.day AND l.hands = s.hands AND l.asked
                AND coalesce(round(l.tempo_share * 20), 0) = coalesce(round(s.tempo_share * 20), 0)
                AND coalesce(lt.instrument, 0) = coalesce(t.instrument, 0)
                ORDER BY l.started_us DESC, l.rowid DESC LIMIT 1),
            count(timing_ms), total(timing_ms), total(timing_ms * timing_ms),
            count(evenness_ms), total(evenness_ms), total(evenness_ms * evenness_ms)
            FROM section_passes s INDEXED BY sections_by_day JOIN takes t ON t.id = s.take
            WHERE key = ? AND day = ? GROUP BY s.hands, band, played_on""",
        (key, day),
    )
    db.execute(
        """INSERT INTO slip_days SELECT s.key, s.day, j.key, sum(j.value)
            FROM section_passes s, json_each(s.slips) j
            WHERE s.key = ? AND s.day = ? AND s.slips != '' GROUP BY j.key""",
        (key, day),
    )


def _keep_old_judgements(db: sqlite3.Connection) -> None:
    """What an earlier edition of the engine said of a pass, when it was judged again."""
    db.execute(
        """CREATE TABLE passes_before (
            take INTEGER NOT NULL REFERENCES takes(id) ON DELETE CASCADE,
            number INTEGER NOT NULL,
            engine TEXT NOT NULL,
            replaced_us INTEGER NOT NULL,
            good INTEGER NOT NULL, why_not TEXT NOT NULL,
            notes_right INTEGER NOT NULL, notes_wrong INTEGER NOT NULL,
            notes_extra INTEGER NOT NULL, notes_missing INTEGER NOT NULL,
            timing_ms REAL, evenness_ms REAL, detail BLOB NOT NULL)"""
    )
    db.execute("CREATE INDEX judged_before ON passes_before(take, number)")


def _keep_profiles(db: sqlite3.Connection) -> None:
    """The keyboard of each take as it was calibrated; one keyboard, one name, however plugged in.

    Until now a keyboard was named by its port, with the number that changes with each plugging-in.
    """
    db.execute(
        """CREATE TABLE profiles (
            id INTEGER PRIMARY KEY,
            told TEXT NOT NULL UNIQUE)     -- engine.measure.instrument.profile_of, as JSON"""
    )
    db.execute("ALTER TABLE takes ADD COLUMN profile INTEGER REFERENCES profiles(id)")
    _join_instruments(db)


def _join_instruments(db: sqlite3.Connection) -> None:
    first: dict[str, int] = {}
    joined = False
    for number, name in db.execute("SELECT id, name FROM instruments ORDER BY id").fetchall():
        lasting = lasting_name(name)
        if first.setdefault(lasting, number) == number:
            db.execute("UPDATE instruments SET name = ? WHERE id = ?", (lasting, number))
        else:
            db.execute(
                "UPDATE takes SET instrument = ? WHERE instrument = ?", (first[lasting], number)
            )
            db.execute("DELETE FROM instruments WHERE id = ?", (number,))
            joined = True
    days = db.execute("SELECT DISTINCT key, day FROM section_passes").fetchall()
    for key, day in days if joined else ():
        sum_up_day(db, key, day)


def _tell_fingerings(db: sqlite3.Connection) -> None:
    """What each evenness was fingered by, and its sums by day apart from the other fingering's.

    Until now fingerings were mixed: what is there already is told as "", until judged again.
    """
    for table in ("passes", "section_passes"):
        db.execute(f"ALTER TABLE {table} ADD COLUMN fingering TEXT NOT NULL DEFAULT ''")
    db.execute(
        """CREATE TABLE even_days (
            key TEXT NOT NULL,
            hands TEXT NOT NULL,
            day TEXT NOT NULL,
            fingering TEXT NOT NULL,       -- a finger a note, '' where none is told
            band INTEGER NOT NULL,         -- as in section_days
            instrument INTEGER NOT NULL,
            n INTEGER NOT NULL, sum REAL NOT NULL, squares REAL NOT NULL,
            PRIMARY KEY (key, hands, day, fingering, band, instrument)) WITHOUT ROWID"""
    )
    for key, day in db.execute("SELECT DISTINCT key, day FROM section_passes").fetchall():
        sum_up_even_day(db, key, day)


def sum_up_even_day(db: sqlite3.Connection, key: str, day: str) -> None:
    """Sum up the evenness of one section's day afresh, by fingering, inside a transaction."""
    db.execute("DELETE FROM even_days WHERE key = ? AND day = ?", (key, day))
    db.execute(
        """INSERT INTO even_days
            SELECT key, s.hands, day, fingering, coalesce(round(tempo_share * 20), 0) AS band,
            coalesce(instrument, 0) AS played_on,
            count(*), total(evenness_ms), total(evenness_ms * evenness_ms)
            FROM section_passes s INDEXED BY sections_by_day JOIN takes t ON t.id = s.take
            WHERE key = ? AND day = ? AND evenness_ms IS NOT NULL
            GROUP BY s.hands, fingering, band, played_on""",
        (key, day),
    )


#: In the order they are taken. New ones go at the end.
STEPS: tuple[Callable[[sqlite3.Connection], None], ...] = (
    _make_takes,
    _make_passes,
    _make_sections,
    _sum_up_days,
    _keep_old_judgements,
    _keep_profiles,
    _tell_fingerings,
)


def migrate(db: sqlite3.Connection) -> None:
    """Bring a store up to date. Another program may be doing the same at this moment."""
    while version_of(db) < len(STEPS):
        db.execute("BEGIN IMMEDIATE")
        try:
            version = version_of(db)
            if version < len(STEPS):
                STEPS[version](db)
                db.execute(f"PRAGMA user_version = {version + 1}")
            db.execute("COMMIT")
        except BaseException:
            if db.in_transaction:  # a full disk has ended it already
                db.execute("ROLLBACK")
            raise


def version_of(db: sqlite3.Connection) -> int:
    """How many steps a store has taken."""
    return int(db.execute("PRAGMA user_version").fetchone()[0])
