"""Care of the take store: a sound one, a damaged page, backups, restores, and what goes wrong."""

from __future__ import annotations

import io
import shutil
import sqlite3
import threading
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from engine.arrangement import Span
from engine.performance import KeyEvent
from practice.cli import main
from practice.environment import Environment, ExitStatus
from practice.store.keeper import TakeKeeper
from practice.store.kept import TakeStart
from practice.store.migrations import STEPS
from practice.store.store import Store, StoreError, _say_error
from practice.store.store_care import _say_bad, back_up, check_store, restore, salvage
from tests.full_disk import full_disk

NOON = datetime(2026, 3, 1, 12, 0, tzinfo=UTC)


def keep_take(store: Store, started: datetime = NOON, notes: int = 300) -> int:
    start = TakeStart("h", "Study", "", "piano", "played", started, Span(0, 1), None, "free", 1.0)
    take = store.begin_take(start)
    events = []
    for k in range(notes):
        at, pitch = k * 0.137, 40 + (k * 7 + take) % 40
        events.append(KeyEvent(at, 0.0, bytes([0x90, pitch, 40 + (k * 13 + take) % 60])))
        events.append(KeyEvent(at + 0.1, 0.0, bytes([0x80, pitch, 64])))
    store.append(take, events, started)
    store.end_take(take, started + timedelta(minutes=1))
    return take


@pytest.fixture
def path(tmp_path: Path) -> Path:
    path = tmp_path / "takes.db"
    with Store(path) as store:
        for k in range(40):
            keep_take(store, NOON + timedelta(hours=k))
    sqlite3.connect(path).execute("PRAGMA wal_checkpoint(TRUNCATE)")
    return path


def damage(path: Path, page: int) -> None:
    (size,) = sqlite3.connect(path).execute("PRAGMA page_size").fetchone()
    with path.open("r+b") as file:
        file.seek((page - 1) * size)
        file.write(b"\xa5" * size)


def leaf_page_of_events(path: Path) -> int:
    db = sqlite3.connect(path)
    (page,) = db.execute(
        """SELECT pageno FROM dbstat WHERE name = 'events' AND pagetype = 'leaf'
            ORDER BY pageno LIMIT 1 OFFSET 1"""
    ).fetchone()
    return int(page)


def test_a_sound_store_is_said_to_be_sound(path: Path) -> None:
    check = check_store(path)
    assert check.sound
    assert (check.takes, check.notes) == (40, 12_000)


def test_a_damaged_page_is_found_the_rest_salvaged_and_the_loss_named(
    path: Path, tmp_path: Path
) -> None:
    try:
        page = leaf_page_of_events(path)
    except sqlite3.OperationalError:
        pytest.skip("this SQLite was built without the dbstat table, which finds a page to damage")
    damage(path, page)
    check = check_store(path)
    assert not check.sound
    new = tmp_path / "new.db"
    told = salvage(path, new)
    with Store(new) as store:
        kept = [t.number for t in store.takes()]
        readable = [n for n in kept if store.events(n)]
    assert kept == list(range(1, 41))
    assert 0 < 40 - len(readable) < 30  # what one page holds the beginnings of
    lost = {int(line.split()[1].rstrip(":")) for line in told.lost if line.startswith("take ")}
    assert lost == set(kept) - set(readable)


def test_a_store_of_an_older_program_is_salvaged_too(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    old, new = tmp_path / "old.db", tmp_path / "new.db"
    monkeypatch.setattr("practice.store.migrations.STEPS", STEPS[:4])
    Store(old).close()
    db = sqlite3.connect(old)
    db.execute("INSERT INTO arrangements (content_hash, title) VALUES ('a', 'Study')")
    db.execute(
        """INSERT INTO takes (arrangement, source, started_us, zone_s, touched_us, state, from_bar,
            to_bar, hands, pulse, rate)
            VALUES (1, 'played', 0, 0, 0, 'closed', 0, 3, '', 'free', 1)"""
    )
    db.commit()
    db.close()
    monkeypatch.undo()
    told = salvage(old, new)
    assert (told.saved["takes"], told.saved["passes_before"], told.lost) == (1, 0, ())
    with Store(new) as store:
        assert [t.start.title for t in store.takes()] == ["Study"]


def test_a_backup_is_whole_though_the_store_is_written_to(path: Path, tmp_path: Path) -> None:
    stop = threading.Event()

    def write() -> None:
        with Store(path) as store:
            while not stop.is_set():
                keep_take(store, notes=20)

    writer = threading.Thread(target=write)
    writer.start()
    try:
        size = back_up(path, tmp_path / "copy.db")
    finally:
        stop.set()
        writer.join()
    check = check_store(tmp_path / "copy.db")
    assert check.sound
    assert check.takes >= 40
    assert size == check.size


def test_restoring_keeps_the_present_store_aside(path: Path, tmp_path: Path) -> None:
    copy = tmp_path / "copy.db"
    back_up(path, copy)
    with Store(path) as store:
        keep_take(store)
    aside = restore(path, copy, NOON)
    assert check_store(path).takes == 40
    assert aside is not None
    assert check_store(aside).takes == 41


def test_a_bad_backup_is_refused_and_the_store_left_alone(path: Path, tmp_path: Path) -> None:
    text = tmp_path / "text.db"
    text.write_text("no database at all, but long enough to be looked at" * 40)
    other = tmp_path / "other.db"
    sqlite3.connect(other).execute("CREATE TABLE things (a)")
    newer = tmp_path / "newer.db"
    back_up(path, newer)
    sqlite3.connect(newer).execute(f"PRAGMA user_version = {len(STEPS) + 1}")
    for bad in (text, other, newer, tmp_path / "missing.db"):
        with pytest.raises(StoreError) as told:
            restore(path, bad, NOON)
        assert "\n" not in str(told.value)
    assert check_store(path).takes == 40


def test_a_failed_backup_leaves_the_old_one(path: Path, tmp_path: Path) -> None:
    copy = tmp_path / "copy.db"
    back_up(path, copy)
    before = copy.read_bytes()
    damage(path, 3)
    with pytest.raises(StoreError):
        back_up(path, copy)
    assert copy.read_bytes() == before


def test_where_there_is_no_room_for_a_copy_the_store_is_not_blamed(
    path: Path, tmp_path: Path
) -> None:
    """Nothing half written stays to fill the disk, or to be taken for a copy the next time."""
    copies = {"copy.db": back_up, "new.db": salvage}
    for name, make in copies.items():
        with full_disk(path.stat().st_size // 2), pytest.raises(StoreError) as told:
            make(path, tmp_path / name)
        assert str(told.value).startswith(f"{tmp_path / name}: cannot be written")
    left = {file.name for file in tmp_path.iterdir()}
    assert left <= {"takes.db", "takes.db-wal", "takes.db-shm"}
    for name, make in copies.items():
        make(path, tmp_path / name)
        assert check_store(tmp_path / name).takes == 40


def test_where_there_is_no_store_nothing_is_salvaged(tmp_path: Path) -> None:
    with pytest.raises(StoreError, match="there is no take store"):
        salvage(tmp_path / "takes.db", tmp_path / "new.db")
    assert list(tmp_path.iterdir()) == []


def test_rows_that_cannot_be_read_are_told_together() -> None:
    assert list(_say_bad("events", [3, 4, 5, 9], 0)) == [
        "events, rows 3 to 5: cannot be read", "events, row 9: cannot be read",
    ]  # fmt: skip
    assert list(_say_bad("events", [7, 8, 9], 9)) == [
        "events, row 7 and all that came after: cannot be read"
    ]


def test_no_room_at_all_is_called_a_full_disk(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where there is none, SQLite can only say that reading or writing failed."""
    usage = type(shutil.disk_usage("."))
    monkeypatch.setattr(shutil, "disk_usage", lambda _: usage(10**6, 10**6, 0))
    assert _say_error("disk I/O error", Path("takes.db"))[0] == "the disk is full"
    monkeypatch.setattr(shutil, "disk_usage", lambda _: usage(10**9, 0, 10**9))
    assert "cannot be used" in _say_error("disk I/O error", Path("takes.db"))[0]


def test_notes_that_could_not_be_written_to_the_end_are_counted(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(*_: object) -> None:
        raise StoreError("the disk is full", "takes.db", "make room")

    keeper = TakeKeeper(tmp_path / "takes.db", lambda: NOON)
    keeper.begin(1, TakeStart("h", "", "", "", "played", NOON, Span(0, 1), None, "free", 1.0))
    keeper.append(1, KeyEvent(0.0, 0.0, bytes([0x90, 60, 64])))
    assert keeper.number(1, timeout_s=60.0)
    monkeypatch.setattr(Store, "append", refuse)
    for k in range(5):
        keeper.append(1, KeyEvent(1.0 + k, 0.0, bytes([0x90, 61 + k, 64])))
        keeper.append(1, KeyEvent(1.5 + k, 0.0, bytes([0x80, 61 + k, 64])))
    keeper.stop()
    assert 5 <= keeper.unkept <= 6  # the first may have been written before it could be refused
    assert "the disk is full" in keeper.problem


def test_a_clock_set_back_loses_and_reorders_nothing(tmp_path: Path) -> None:
    with Store(tmp_path / "takes.db") as store:
        first = keep_take(store, NOON)
        second = keep_take(store, NOON - timedelta(days=400))
        assert [t.number for t in store.takes()] == [first, second]
        assert len(store.events(second)) == 600


@pytest.mark.parametrize(
    ("zone", "moment", "day"),
    [
        ("Europe/Berlin", datetime(2026, 3, 29, 0, 30, tzinfo=UTC), "2026-03-29"),
        ("Europe/Berlin", datetime(2026, 10, 25, 0, 30, tzinfo=UTC), "2026-10-25"),
        ("Pacific/Auckland", datetime(2026, 6, 1, 13, 0, tzinfo=UTC), "2026-06-02"),
        ("America/New_York", datetime(2026, 6, 2, 2, 0, tzinfo=UTC), "2026-06-01"),
    ],
)
def test_the_day_is_the_player_s_own(tmp_path: Path, zone: str, moment, day: str) -> None:
    """Against the standard time-zone database, over the two changes of summer time of 2026."""
    local = moment.astimezone(ZoneInfo(zone))
    with Store(tmp_path / "takes.db") as store:
        take = store.take(keep_take(store, local))
    assert take.start.started == moment
    assert take.start.started.date().isoformat() == day
    assert take.start.started.utcoffset() == local.utcoffset()


def test_a_change_of_zone_keeps_the_order_of_playing(tmp_path: Path) -> None:
    east, west = timezone(timedelta(hours=9)), timezone(timedelta(hours=-8))
    with Store(tmp_path / "takes.db") as store:
        earlier = keep_take(store, datetime(2026, 3, 2, 8, 0, tzinfo=east))
        later = keep_take(store, datetime(2026, 3, 1, 18, 0, tzinfo=west))
        started = [store.take(n).start.started for n in (earlier, later)]
    assert started[0] < started[1]


def command(folder: Path, *words: str) -> tuple[ExitStatus, str, str]:
    out, err = io.StringIO(), io.StringIO()
    env = Environment(stdout=out, stderr=err, variables={}, now=lambda: NOON)
    status = main(["store", *words, "--data", str(folder)], env)
    return status, out.getvalue(), err.getvalue()


def test_the_command(path: Path, tmp_path: Path) -> None:
    status, said, _ = command(tmp_path, "--check")
    assert status == ExitStatus.DONE
    assert "40 takes, 12000 notes" in said
    assert "sound" in said
    copy = str(tmp_path / "copy.db")
    assert command(tmp_path, "--backup", copy)[0] == ExitStatus.DONE
    assert command(tmp_path, "--restore", copy)[0] == ExitStatus.DONE
    assert command(tmp_path, "--salvage", str(tmp_path / "new.db"))[1].endswith("nothing is lost\n")
    assert command(tmp_path)[0] == ExitStatus.WRONG_USE
    status, _, err = command(tmp_path / "nowhere", "--check")
    assert (status, err.count("\n")) == (ExitStatus.FAILED, 1)


@pytest.mark.parametrize(
    ("since_us", "zone_s", "year"),
    [(2**62, 0, 9999), (-(2**62), 0, 1), (0, 10**9, 1970), (2**62, 86_399, 9999)],
)
def test_a_damaged_date_is_told_as_the_nearest_there_is(
    path: Path, since_us: int, zone_s: int, year: int
) -> None:
    with sqlite3.connect(path) as db:
        db.execute("UPDATE takes SET started_us = ?, zone_s = ? WHERE id = 3", (since_us, zone_s))
    db.close()
    with Store(path) as store:
        take = next(t for t in store.takes() if t.number == 3)
        assert take.start.started.year == year
        assert len(store.events(3)) == 600
