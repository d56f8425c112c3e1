"""Care of the take store: checked, copied, put back, and salvaged where it is damaged."""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import closing
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from engine.errors import TakeError
from practice.store.migrations import STEPS, migrate, sum_up_day, sum_up_even_day, version_of
from practice.store.store import PAGE_BYTES, Store, StoreError

#: Tables that are salvaged, in an order in which each only refers to earlier ones.
TABLES = (
    "arrangements", "instruments", "profiles", "takes", "events", "passes", "section_passes",
    "passes_before",
)  # fmt: skip
#: Rows that are not there in a row before a table counts as read to its end.
EMPTY_ROWS = 5000


@dataclass(frozen=True, slots=True)
class Check:
    """What was found: takes and notes that can be read, and one line for each thing that cannot."""

    takes: int
    notes: int
    size: int
    troubles: tuple[str, ...]

    @property
    def sound(self) -> bool:
        """Nothing is wrong with it."""
        return not self.troubles


def check_store(path: Path) -> Check:
    """Check a store: the database's own pages, then every take's notes.

    Raises:
        StoreError: it cannot be opened at all.
    """
    if not path.exists():
        raise StoreError("there is no take store", str(path), "play first, or name another --data")
    troubles = list(_check_pages(path))
    takes = notes = 0
    try:
        with Store(path) as store:
            for take in store.takes():
                try:
                    store.events(take.number)
                except (TakeError, StoreError) as error:
                    troubles.append(f"take {take.number}: {error.what}")
                else:
                    takes, notes = takes + 1, notes + take.notes
    except StoreError as error:
        troubles.append(str(error))
    return Check(takes, notes, path.stat().st_size, tuple(troubles))


def _check_pages(path: Path) -> Iterator[str]:
    db = sqlite3.connect(path)
    try:
        for (line,) in db.execute("PRAGMA integrity_check(20)"):
            if line != "ok":
                yield line.strip().replace("\n", "; ")
    except (sqlite3.Error, UnicodeDecodeError) as error:
        yield f"cannot be read through ({error})"
    finally:
        db.close()


def back_up(path: Path, target: Path) -> int:
    """Copy a store while it may be in use; the size of the copy.

    The copy is made beside its place, checked and then moved there, so that a file of that name
    is either the old one or a whole copy.

    Raises:
        StoreError: it cannot be read, or the copy cannot be written.
    """
    if not path.exists():
        raise StoreError("there is no take store", str(path), "nothing to back up")
    part = target.with_name(target.name + ".part")
    try:
        part.unlink(missing_ok=True)
        _copy_pages(path, part)
        troubles = list(_check_pages(part))
        if troubles:
            raise StoreError(
                f"is damaged ({troubles[0]})", str(path), "see: undersong store --salvage"
            )
        os.replace(part, target)
    except (sqlite3.Error, UnicodeDecodeError) as error:
        raise _blame(path, target, error) from error
    except OSError as error:
        raise StoreError(f"cannot be written ({error.strerror})", str(target)) from error
    finally:
        _let_go(part)
    return target.stat().st_size


def _copy_pages(path: Path, part: Path) -> None:
    with closing(sqlite3.connect(path)) as source, closing(sqlite3.connect(part)) as copy:
        with source, copy:
            source.backup(copy)
        copy.execute("PRAGMA journal_mode = DELETE")


def _blame(path: Path, target: Path, error: Exception) -> StoreError:
    """Whose fault a failed copy is: a store that reads well was not to be written where asked."""
    if any(_check_pages(path)):
        return StoreError(f"cannot be backed up ({error})", str(path), "see: store --check")
    return StoreError(f"cannot be written ({error})", str(target), "is there room for it?")


def _let_go(part: Path) -> None:
    """Take away what was half written, so that it fills no disk."""
    for end in ("", "-journal", "-wal", "-shm"):
        part.with_name(part.name + end).unlink(missing_ok=True)


def restore(path: Path, source: Path, now: datetime) -> Path | None:
    """Put a backup in the store's place; where the store that was there is kept, None if none was.

    Raises:
        StoreError: the backup is missing, damaged, no store, or of a newer program.
    """
    _refuse_bad_backup(source)
    path.parent.mkdir(parents=True, exist_ok=True)
    aside = None
    if path.exists():
        aside = path.with_name(f"{path.stem}-before-{now:%Y%m%d-%H%M%S}{path.suffix}")
        back_up(path, aside)
    for end in ("-wal", "-shm"):
        path.with_name(path.name + end).unlink(missing_ok=True)
    back_up(source, path)
    return aside


def _refuse_bad_backup(source: Path) -> None:
    if not source.exists():
        raise StoreError("there is no such file", str(source), "check the path")
    troubles = list(_check_pages(source))
    if troubles:
        raise StoreError(
            f"is no sound take store ({troubles[0]})", str(source), "name another backup"
        )
    db = sqlite3.connect(source)
    try:
        tables = {name for (name,) in db.execute("SELECT name FROM sqlite_master")}
        version = version_of(db)
    finally:
        db.close()
    if "takes" not in tables:
        raise StoreError("is no take store", str(source), "name another backup")
    if version > len(STEPS):
        raise StoreError("was written by a newer Undersong", str(source), "update first")


@dataclass(frozen=True, slots=True)
class Salvage:
    """Rows saved by table, and one line for each take of which something is lost."""

    saved: dict[str, int]
    lost: tuple[str, ...]


def salvage(path: Path, target: Path) -> Salvage:
    """Copy everything that can still be read into a new store.

    Raises:
        StoreError: there is no store, or the new one cannot be written, or is there already.
    """
    if not path.exists():
        raise StoreError("there is no take store", str(path), "nothing to salvage")
    if target.exists():
        raise StoreError("is there already", str(target), "name a new file")
    try:
        saved, lost = _save_all(path, target)
    except sqlite3.Error as error:
        _let_go(target)
        raise StoreError(
            f"cannot be written ({error})", str(target), "is there room for it?"
        ) from error
    lost += [t for t in check_store(target).troubles if t.startswith("take")]
    return Salvage(saved, tuple(dict.fromkeys(lost)))


def _save_all(path: Path, target: Path) -> tuple[dict[str, int], list[str]]:
    """Rows saved by table, and what could not be read."""
    lost: list[str] = []
    with (
        closing(sqlite3.connect(path)) as source,
        closing(sqlite3.connect(target, isolation_level=None)) as copy,
    ):
        copy.execute(f"PRAGMA page_size = {PAGE_BYTES}")
        migrate(copy)
        copy.execute("PRAGMA foreign_keys = OFF")
        copy.execute("BEGIN")
        saved = {table: _save_rows(source, copy, table, lost) for table in TABLES}
        lost += _drop_orphans(copy)
        for key, day in copy.execute("SELECT DISTINCT key, day FROM section_passes").fetchall():
            sum_up_day(copy, key, day)
            sum_up_even_day(copy, key, day)
        copy.execute("COMMIT")
    return saved, lost


def _save_rows(
    source: sqlite3.Connection, copy: sqlite3.Connection, table: str, lost: list[str]
) -> int:
    """Copy a table row by row; rows that cannot be read are named in `lost`."""
    columns = _shared_columns(source, copy, table)
    if not columns:
        return 0
    marks = ", ".join("?" * (len(columns) + 1))
    names = ", ".join(("rowid", *columns))
    read = f"SELECT {names} FROM {table} WHERE rowid = ?"
    saved = empty = 0
    last = _last_row(source, table)
    bad: list[int] = []
    rowid = 0
    while empty < EMPTY_ROWS if last is None else rowid < last:
        rowid += 1
        try:
            row = source.execute(read, (rowid,)).fetchone()
        except (sqlite3.Error, UnicodeDecodeError):
            empty += 1
            bad.append(rowid)
            continue
        if row is None:
            empty += 1
            continue
        empty = 0
        copy.execute(f"INSERT OR REPLACE INTO {table} ({names}) VALUES ({marks})", row)
        saved += 1
    lost += _say_bad(table, bad, rowid if last is None else 0)
    return saved


def _say_bad(table: str, bad: Sequence[int], tried: int) -> Iterator[str]:
    """Rows that cannot be read, neighbours together.

    Args:
        tried: the last row that was tried, if the end of the table is not known.
    """
    runs: list[list[int]] = []
    for rowid in bad:
        if runs and rowid == runs[-1][1] + 1:
            runs[-1][1] = rowid
        else:
            runs.append([rowid, rowid])
    for first, final in runs:
        if final == tried:
            yield f"{table}, row {first} and all that came after: cannot be read"
        else:
            rows = f"row {first}" if first == final else f"rows {first} to {final}"
            yield f"{table}, {rows}: cannot be read"


def _shared_columns(source: sqlite3.Connection, copy: sqlite3.Connection, table: str) -> list[str]:
    """Columns that both have: an older store lacks the newest; all where it cannot say."""
    ask = f"PRAGMA table_info({table})"
    columns = [row[1] for row in copy.execute(ask)]
    try:
        there = {row[1] for row in source.execute(ask)}
    except (sqlite3.Error, UnicodeDecodeError):
        return columns
    return [name for name in columns if name in there]


def _last_row(source: sqlite3.Connection, table: str) -> int | None:
    try:
        return int(source.execute(f"SELECT coalesce(max(rowid), 0) FROM {table}").fetchone()[0])
    except (sqlite3.Error, UnicodeDecodeError):
        return None


def _drop_orphans(copy: sqlite3.Connection) -> list[str]:
    """Takes without their notes and the rest without their takes, named and taken out."""
    bare = copy.execute(
        "SELECT id FROM takes WHERE notes > 0 AND id NOT IN (SELECT take FROM events)"
    ).fetchall()
    homeless = copy.execute(
        "SELECT DISTINCT take FROM events WHERE take NOT IN (SELECT id FROM takes)"
    ).fetchall()
    for table in ("events", "passes", "section_passes", "passes_before"):
        copy.execute(f"DELETE FROM {table} WHERE take NOT IN (SELECT id FROM takes)")
    said = [f"take {take}: its notes are lost, what was said of it is kept" for (take,) in bare]
    return said + [f"take {take}: lost" for (take,) in homeless]
