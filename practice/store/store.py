"""The take store: every take's raw events, and what its passes came to, in one SQLite file.

Written ahead (WAL), so that a killed program loses nothing that was committed; `sync` makes it
safe against a power cut too. One `Store` belongs to one thread.
"""

from __future__ import annotations

import contextlib
import json
import shutil
import sqlite3
from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from engine.arrangement import Span
from engine.errors import TakeError, UndersongError
from engine.measure.instrument import Instrument, profile_of, read_profile
from engine.performance import KeyEvent, Pulse, pair_notes
from practice.store.event_blobs import BlobError, pack_events, unpack_events
from practice.store.kept import (
    KeptPass,
    KeptTake,
    PassDetail,
    TakeStart,
    pack_detail,
    unpack_detail,
)
from practice.store.migrations import STEPS, migrate, version_of
from practice.store.moments import microseconds, moment_of
from practice.store.section_rows import write_sections

#: An open take not written to for so long was left by a program that is gone.
ABANDONED_S = 10.0
BUSY_S = 5.0
#: Of a new file: a pass's blobs of two or three thousand bytes waste less of a larger page.
PAGE_BYTES = 16384
#: SQLite holds two megabytes of pages unless told; a sitting only ever needs the newest.
CACHE_KIB = 512


class StoreError(UndersongError):
    """The take store cannot be used."""


class Store:
    """The take store.

    Args:
        path: the file; it and its folder are made if missing.

    Raises:
        StoreError: it cannot be opened, is newer than this program, or is no take store.
    """

    def __init__(self, path: Path) -> None:
        self._path = path
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise StoreError(
                f"cannot be made ({error.strerror})", str(path.parent), "name another with --data"
            ) from error
        with self._told():
            self._db = _connect(path)
            self._refuse_newer()
            migrate(self._db)

    def close(self) -> None:
        """Let go of the file."""
        self._db.close()

    def __enter__(self) -> Store:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    # takes

    def begin_take(self, start: TakeStart) -> int:
        """Open a take; its number."""
        with self._told(), self._transaction():
            started_us = microseconds(start.started)
            offset = start.started.utcoffset() or timedelta(0)
            cursor = self._db.execute(
                """INSERT INTO takes (arrangement, instrument, source, started_us, zone_s,
                    touched_us, state, from_bar, to_bar, hands, pulse, rate, profile)
                    VALUES (?, ?, ?, ?, ?, ?, 'open', ?, ?, ?, ?, ?, ?)""",
                (
                    self._arrangement(start), self._instrument(start.instrument), start.source,
                    started_us, int(offset.total_seconds()), started_us, start.span.from_bar,
                    start.span.to_bar, start.hands or "", start.pulse_kind, start.rate,
                    self._profile(start.profile),
                ),
            )  # fmt: skip
            return int(cursor.lastrowid or 0)

    def append(self, take: int, events: Sequence[KeyEvent], now: datetime) -> None:
        """Add events to an open take, in order; times are from the take's start."""
        with self._told(), self._transaction():
            self._db.execute(
                "INSERT INTO events SELECT ?, coalesce(max(part) + 1, 0), ?"
                " FROM events WHERE take = ?",
                (take, pack_events(events), take),
            )
            self._touch(take, now)

    def sync(self, take: int, now: datetime) -> None:
        """Make everything committed so far safe against a power cut."""
        with self._told():
            self._db.execute("PRAGMA synchronous = FULL")
            try:
                self._touch(take, now)
            finally:
                self._db.execute("PRAGMA synchronous = NORMAL")

    def end_take(self, take: int, now: datetime, state: str = "closed") -> None:
        """Close a take: its events packed into one blob, its length and notes counted."""
        with self._told(), self._transaction():
            events = self._read_parts(take)
            recording = pair_notes(events)
            self._db.execute("DELETE FROM events WHERE take = ?", (take,))
            blob = pack_events(events, deflate=True)
            self._db.execute("INSERT INTO events VALUES (?, 0, ?)", (take, blob))
            self._db.execute(
                "UPDATE takes SET state = ?, notes = ?, length_s = ?, touched_us = ? WHERE id = ?",
                (
                    state, len(recording.notes), events[-1].time_s if events else 0.0,
                    microseconds(now), take,
                ),
            )  # fmt: skip

    def mark_keeper(self, take: int, keeper: bool = True) -> None:
        """Mark a take as one to find again."""
        with self._told():
            self._db.execute("UPDATE takes SET keeper = ? WHERE id = ?", (keeper, take))

    def recover(self, now: datetime) -> list[KeptTake]:
        """Close the takes that a program left open when it was killed, and say which."""
        with self._told():
            before_us = microseconds(now) - int(ABANDONED_S * 1e6)
            rows = self._db.execute(
                "SELECT id FROM takes WHERE state = 'open' AND touched_us < ?", (before_us,)
            ).fetchall()
        for (take,) in rows:
            self.end_take(take, now, "recovered")
        return [self.take(number) for (number,) in rows]

    def takes(self, content_hash: str = "") -> list[KeptTake]:
        """All takes, or those of one arrangement, oldest first."""
        where, values = ("WHERE a.content_hash = ?", (content_hash,)) if content_hash else ("", ())
        with self._told():
            rows = self._db.execute(f"{_TAKES} {where} ORDER BY t.id", values).fetchall()
        return [_kept_take(row) for row in rows]

    def take(self, number: int) -> KeptTake:
        """One take.

        Raises:
            TakeError: there is none of that number.
        """
        with self._told():
            row = self._db.execute(f"{_TAKES} WHERE t.id = ?", (number,)).fetchone()
        if row is None:
            raise TakeError("there is no such take", f"take {number}", "see: undersong takes")
        return _kept_take(row)

    def events(self, number: int) -> list[KeyEvent]:
        """The raw events of a take, seconds from its start.

        Raises:
            TakeError: there is no such take, or its events are damaged.
        """
        self.take(number)
        with self._told():
            return self._read_parts(number)

    # passes

    def add_pass(self, kept: KeptPass, detail: PassDetail) -> None:
        """Keep what a pass came to; a pass of the same take and number is replaced."""
        values = (
            kept.take, kept.number, microseconds(kept.started), kept.day, kept.first_note,
            kept.last_note, kept.span.from_bar, kept.span.to_bar, kept.from_q, kept.to_q,
            kept.hands, kept.pulse.kind, kept.pulse.start_s, kept.pulse.start_q, kept.pulse.rate,
            kept.tempo_qpm, kept.completed, kept.right, kept.wrong, kept.extra, kept.missing,
            kept.timing_ms, kept.evenness_ms, kept.good, kept.why_not, kept.engine,
            kept.fingering, pack_detail(detail), kept.take,
        )  # fmt: skip
        with self._told(), self._transaction():
            self._db.execute(
                f"""INSERT OR REPLACE INTO passes ({_PASS_COLUMNS}, detail, arrangement)
                    SELECT {", ".join("?" * (len(values) - 1))}, arrangement
                    FROM takes WHERE id = ?""",
                values,
            )
            started_us = microseconds(kept.started)
            write_sections(self._db, kept.take, kept.number, started_us, kept.day, detail.sections)

    def passes(self, content_hash: str = "", take: int = 0) -> list[KeptPass]:
        """Passes in order of playing: of an arrangement, of a take, or all."""
        with self._told():
            rows = self._db.execute(
                f"""SELECT {_PASS_COLUMNS}, zone_s FROM passes
                    JOIN (SELECT id AS i, zone_s FROM takes) ON i = take
                    WHERE (:content = '' OR arrangement =
                        (SELECT id FROM arrangements WHERE content_hash = :content))
                    AND (:take = 0 OR take = :take) ORDER BY started_us, take, number""",
                {"content": content_hash, "take": take},
            ).fetchall()
        return [_kept_pass(row) for row in rows]

    def detail(self, take: int, number: int) -> PassDetail:
        """All that was said of a pass.

        Raises:
            TakeError: there is no such pass, or its detail is damaged.
        """
        with self._told():
            row = self._db.execute(
                "SELECT detail FROM passes WHERE take = ? AND number = ?", (take, number)
            ).fetchone()
        where = f"take {take}, pass {number}"
        if row is None:
            raise TakeError("there is no such pass", where, "see: undersong takes")
        try:
            return unpack_detail(row[0])
        except ValueError as error:
            raise TakeError("what was said of it is damaged", where, "review it again") from error

    # for the rooms that keep tables of their own

    def query(
        self, sql: str, values: Sequence[Any] | Mapping[str, Any] = ()
    ) -> list[tuple[Any, ...]]:
        """Rows of one read."""
        with self._told():
            return self._db.execute(sql, values).fetchall()

    @contextlib.contextmanager
    def writing(self) -> Iterator[sqlite3.Connection]:
        """One transaction: all of what is done in it, or nothing."""
        with self._told(), self._transaction():
            yield self._db

    # inside

    def _arrangement(self, start: TakeStart) -> int:
        self._db.execute(
            """INSERT INTO arrangements (content_hash, title, path) VALUES (?, ?, ?)
                ON CONFLICT (content_hash) DO UPDATE SET title = excluded.title,
                path = excluded.path""",
            (start.content_hash, start.title, start.path),
        )
        return self._id("arrangements", "content_hash", start.content_hash)

    def _instrument(self, name: str) -> int | None:
        if not name:
            return None
        self._db.execute("INSERT OR IGNORE INTO instruments (name) VALUES (?)", (name,))
        return self._id("instruments", "name", name)

    def _profile(self, profile: Instrument | None) -> int | None:
        if profile is None:
            return None
        told = json.dumps(profile_of(profile), ensure_ascii=False, separators=(",", ":"))
        self._db.execute("INSERT OR IGNORE INTO profiles (told) VALUES (?)", (told,))
        return self._id("profiles", "told", told)

    def _id(self, table: str, column: str, value: str) -> int:
        row = self._db.execute(f"SELECT id FROM {table} WHERE {column} = ?", (value,)).fetchone()
        return int(row[0])

    def _touch(self, take: int, now: datetime) -> None:
        self._db.execute("UPDATE takes SET touched_us = ? WHERE id = ?", (microseconds(now), take))

    def _read_parts(self, take: int) -> list[KeyEvent]:
        rows = self._db.execute(
            "SELECT blob FROM events WHERE take = ? ORDER BY part", (take,)
        ).fetchall()
        try:
            return [event for (blob,) in rows for event in unpack_events(blob)]
        except BlobError as error:
            raise TakeError(f"its notes are damaged ({error})", f"take {take}") from error

    def _refuse_newer(self) -> None:
        if version_of(self._db) > len(STEPS):
            raise StoreError(
                "was written by a newer Undersong",
                str(self._path),
                "update, or name another --data",
            )

    @contextlib.contextmanager
    def _transaction(self) -> Iterator[None]:
        self._db.execute("BEGIN IMMEDIATE")
        try:
            yield
            self._db.execute("COMMIT")
        except BaseException:
            if self._db.in_transaction:
                self._db.execute("ROLLBACK")
            raise

    @contextlib.contextmanager
    def _told(self) -> Iterator[None]:
        try:
            yield
        except (sqlite3.Error, UnicodeDecodeError) as error:
            # the latter where a damaged file's own names stand in the database's complaint
            damaged = isinstance(error, UnicodeDecodeError)
            what, hint = _say_error("malformed" if damaged else str(error), self._path)
            raise StoreError(what, str(self._path), hint) from error


def _connect(path: Path) -> sqlite3.Connection:
    db = sqlite3.connect(path, timeout=BUSY_S, isolation_level=None)
    db.execute(f"PRAGMA page_size = {PAGE_BYTES}")
    db.execute("PRAGMA journal_mode = WAL")
    db.execute("PRAGMA synchronous = NORMAL")
    db.execute("PRAGMA foreign_keys = ON")
    db.execute(f"PRAGMA cache_size = -{CACHE_KIB}")
    return db


def _say_error(error: str, path: Path) -> tuple[str, str]:
    """An error of the database in the player's words, and what to do."""
    if "disk I/O" in error and _is_full(path):
        error = "full"
    known = {
        "not a database": ("is no take store", "name another folder with --data"),
        "full": ("the disk is full", "make room; nothing kept so far is lost"),
        "readonly": ("may not be written to", "name another folder with --data"),
        "unable to open": ("cannot be opened", "name another folder with --data"),
        "locked": ("is held by another program", "close it and try again"),
        "malformed": ("is damaged", "keep a copy of the file before anything else"),
    }
    for part, said in known.items():
        if part in error:
            return said
    return f"cannot be used ({error})", "name another folder with --data"


def _is_full(path: Path) -> bool:
    """No room for the page that a database needs to be opened at all."""
    try:
        return shutil.disk_usage(path.parent).free < PAGE_BYTES
    except OSError:
        return False


_TAKES = """SELECT t.id, a.content_hash, a.title, a.path, coalesce(i.name, ''), t.source,
    t.started_us, t.zone_s, t.from_bar, t.to_bar, t.hands, t.pulse, t.rate, t.state, t.notes,
    t.length_s, (SELECT count(*) FROM passes p WHERE p.take = t.id),
    (SELECT count(*) FROM passes p WHERE p.take = t.id AND p.good), t.keeper,
    coalesce((SELECT told FROM profiles p WHERE p.id = t.profile), '')
    FROM takes t JOIN arrangements a ON a.id = t.arrangement
    LEFT JOIN instruments i ON i.id = t.instrument"""

_PASS_COLUMNS = """take, number, started_us, day, first_note, last_note, from_bar, to_bar, from_q,
    to_q, hands, pulse, start_s, start_q, rate, tempo_qpm, completed, notes_right, notes_wrong,
    notes_extra, notes_missing, timing_ms, evenness_ms, good, why_not, engine, fingering"""


def _kept_take(row: Sequence[Any]) -> KeptTake:
    (number, content_hash, title, path, instrument, source, started_us, zone_s, first, last, hands,
     pulse, rate, state, notes, length_s, passes, good, keeper, profile) = row  # fmt: skip
    start = TakeStart(
        content_hash, title, path, instrument, source, moment_of(started_us, zone_s),
        Span(first, last), hands or None, pulse, rate, _read_profile(profile),
    )  # fmt: skip
    return KeptTake(number, start, state, notes, length_s, passes, good, bool(keeper))


def _read_profile(told: str) -> Instrument | None:
    """The profile kept with a take; one that cannot be read is as none."""
    try:
        return read_profile(json.loads(told)) if told else None
    except (TypeError, ValueError):
        return None


def _kept_pass(row: Sequence[Any]) -> KeptPass:
    (take, number, started_us, day, first_note, last_note, first, last, from_q, to_q, hands, pulse,
     start_s, start_q, rate, tempo, completed, right, wrong, extra, missing, timing, evenness, good,
     why_not, engine, fingering, zone_s) = row  # fmt: skip
    return KeptPass(
        take, number, moment_of(started_us, zone_s), day, first_note, last_note, Span(first, last),
        from_q, to_q, hands, Pulse(pulse, start_s, start_q, rate), tempo, bool(completed), right,
        wrong, extra, missing, timing, evenness, bool(good), why_not, engine, fingering,
    )  # fmt: skip
