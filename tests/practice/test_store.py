"""The take store: what goes in comes out, whatever happens in between."""

import contextlib
import sqlite3
from datetime import UTC, datetime, timedelta, timezone

import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.arrangement import Span
from engine.errors import TakeError
from engine.findings import Finding, Slip
from engine.performance import KeyEvent, Pulse, is_channel_message
from practice.store.event_blobs import BlobError, pack_events, step_event, unpack_events
from practice.store.kept import KeptPass, PassDetail, TakeStart, pack_detail, unpack_detail
from practice.store.migrations import STEPS
from practice.store.store import Store, StoreError

NOON = datetime(2026, 3, 1, 12, 0, tzinfo=timezone(timedelta(hours=1)))


def start_of_take(**other):
    values = {
        "content_hash": "ab" * 32, "title": "Study", "path": "study.musicxml",
        "instrument": "Testpiano:keys", "source": "played", "started": NOON, "span": Span(0, 3),
        "hands": None, "pulse_kind": "free", "rate": 1.0,
    }  # fmt: skip
    return TakeStart(**{**values, **other})


def scale(count, step_s=0.125, start_s=0.0):
    """`count` notes up the keys, each held for half a step."""
    events = []
    for i in range(count):
        at, pitch = start_s + i * step_s, 36 + i % 48
        events.append(step_event(KeyEvent(at, 0.0005, bytes((0x90, pitch, 64 + i % 20)))))
        events.append(step_event(KeyEvent(at + step_s / 2, 0.0005, bytes((0x80, pitch, 64)))))
    return events


def pass_of(take, number, **other):
    values = {
        "take": take, "number": number, "started": NOON, "day": "2026-03-01", "first_note": 0,
        "last_note": 9, "span": Span(0, 3), "from_q": 0.0, "to_q": 15.5, "hands": "both",
        "pulse": Pulse("strict", 1.5, 0.0, 0.8), "tempo_qpm": 58.25, "completed": True, "right": 9,
        "wrong": 1, "extra": 0, "missing": 0, "timing_ms": 12.5, "evenness_ms": None,
        "good": False, "why_not": "9 of 10 notes right",
    }  # fmt: skip
    return KeptPass(**{**values, **other})


messages = st.one_of(
    st.tuples(st.integers(0x80, 0xBF), st.integers(0, 127), st.integers(0, 127)),
    st.tuples(st.integers(0xC0, 0xDF), st.integers(0, 127)),
).map(bytes)


@given(st.lists(st.tuples(st.integers(0, 10**8), st.integers(0, 255), messages)), st.booleans())
def test_events_come_out_of_a_blob_as_they_went_in(rows, deflate):
    at, events = 0, []
    for step, doubt, data in rows:
        at += step
        events.append(KeyEvent(at / 100_000, doubt / 10_000, data))
    assert unpack_events(pack_events(events, deflate)) == events


@given(st.lists(st.one_of(messages, st.binary(max_size=5))))
def test_what_is_no_message_spoils_none_of_the_others(datas):
    whole = [KeyEvent(0.0, 0.0, data) for data in datas if is_channel_message(data)]
    assert unpack_events(pack_events(KeyEvent(0.0, 0.0, data) for data in datas)) == whole


@given(st.binary(max_size=60))
def test_any_bytes_are_a_blob_or_said_to_be_none(data):
    with contextlib.suppress(BlobError):
        unpack_events(data)


def test_a_packed_note_takes_less_than_twenty_bytes():
    events = scale(2000)
    assert len(pack_events(events)) < 20 * 2000
    assert len(pack_events(events, deflate=True)) < len(pack_events(events)) / 2


def test_detail_comes_back():
    findings = (
        Finding(0, 4, "right", certainty=0.99, final=True),
        Finding(1, None, "wrong", 5, 0.5, True),
        Finding(None, 6, "missing", final=True),
    )
    detail = PassDetail(
        findings, (Slip("neighbour", 1, 5, "Bbb4", "B4", "B for B double flat"),), {"a": [1, None]}
    )
    assert unpack_detail(pack_detail(detail)) == detail
    assert unpack_detail(pack_detail(PassDetail())) == PassDetail()


def test_a_take_comes_back_note_for_note(tmp_path):
    events = scale(30)
    with Store(tmp_path / "takes.db") as store:
        take = store.begin_take(start_of_take())
        for i in range(0, 60, 7):
            store.append(take, events[i : i + 7], NOON)
        store.sync(take, NOON)
        assert store.events(take) == events
        store.end_take(take, NOON)
    with Store(tmp_path / "takes.db") as store:
        kept = store.take(take)
        assert store.events(take) == events
        assert (kept.state, kept.notes, kept.start) == ("closed", 30, start_of_take())
        assert kept.length_s == pytest.approx(29.5 * 0.125)


def test_local_time_comes_back_with_its_offset(tmp_path):
    with Store(tmp_path / "takes.db") as store:
        take = store.begin_take(start_of_take())
        started = store.take(take).start.started
    assert started.isoformat() == "2026-03-01T12:00:00+01:00"


def test_passes_come_back_and_one_can_be_said_anew(tmp_path):
    with Store(tmp_path / "takes.db") as store:
        take = store.begin_take(start_of_take())
        other = store.begin_take(start_of_take(content_hash="cd" * 32))
        for number in (1, 2):
            store.add_pass(pass_of(take, number), PassDetail())
        store.add_pass(pass_of(other, 1), PassDetail())
        better = pass_of(take, 2, good=True, why_not="", engine="2")
        store.add_pass(better, PassDetail(measures={"x": 1}))
        assert store.passes("ab" * 32) == [pass_of(take, 1), better]
        assert store.passes(take=other) == [pass_of(other, 1)]
        assert store.detail(take, 2).measures == {"x": 1}
        assert (store.take(take).passes, store.take(take).good_passes) == (2, 1)


def test_what_is_not_there_is_said(tmp_path):
    with Store(tmp_path / "takes.db") as store:
        with pytest.raises(TakeError, match="take 12: there is no such take"):
            store.take(12)
        with pytest.raises(TakeError, match="no such pass"):
            store.detail(1, 1)


def test_a_take_left_open_is_recovered_once_its_program_is_gone(tmp_path):
    path = tmp_path / "takes.db"
    with Store(path) as store:
        take = store.begin_take(start_of_take())
        store.append(take, scale(5), NOON)
        still_played = store.recover(NOON + timedelta(seconds=3))
        assert still_played == []
    with Store(path) as store:
        (found,) = store.recover(NOON + timedelta(seconds=60))
        assert (found.number, found.state, found.notes) == (take, "recovered", 5)
        assert store.recover(NOON + timedelta(seconds=120)) == []


def test_two_programs_write_at_once(tmp_path):
    with Store(tmp_path / "takes.db") as one, Store(tmp_path / "takes.db") as other:
        first, second = one.begin_take(start_of_take()), other.begin_take(start_of_take())
        one.append(first, scale(3), NOON)
        other.append(second, scale(4), NOON)
        one.append(first, scale(3, start_s=2.0), NOON)
        assert [len(one.events(t)) for t in (first, second)] == [12, 8]


def test_a_newer_store_is_left_alone(tmp_path):
    path = tmp_path / "takes.db"
    Store(path).close()
    db = sqlite3.connect(path)
    db.execute(f"PRAGMA user_version = {len(STEPS) + 1}")
    db.close()
    before = path.read_bytes()
    with pytest.raises(StoreError, match="newer Undersong"):
        Store(path)
    assert path.read_bytes() == before


def test_a_file_that_is_no_store_is_left_alone(tmp_path):
    path = tmp_path / "takes.db"
    path.write_text("a diary of another kind, long enough to be looked at" * 40)
    before = path.read_bytes()
    with pytest.raises(StoreError, match="is no take store"):
        Store(path)
    assert path.read_bytes() == before


def test_a_folder_that_cannot_be_made_is_one_line(tmp_path):
    (tmp_path / "file").write_text("")
    with pytest.raises(StoreError, match="cannot be made") as told:
        Store(tmp_path / "file" / "data" / "takes.db")
    assert "\n" not in str(told.value)


def test_a_full_disk_keeps_what_was_there(tmp_path):
    with Store(tmp_path / "takes.db") as store:
        take = store.begin_take(start_of_take())
        store.append(take, scale(10), NOON)
        pages = store._db.execute("PRAGMA page_count").fetchone()[0]
        store._db.execute(f"PRAGMA max_page_count = {pages}")
        with pytest.raises(StoreError, match="the disk is full"):
            store.append(take, scale(20_000, start_s=10.0), NOON)
        store._db.execute("PRAGMA max_page_count = 1000000")
        assert store.events(take)[:20] == scale(10)
        store.append(take, scale(1, start_s=9000.0), NOON)


def test_a_damaged_take_says_so_and_spares_the_others(tmp_path):
    with Store(tmp_path / "takes.db") as store:
        one, other = store.begin_take(start_of_take()), store.begin_take(start_of_take())
        store.append(one, scale(3), NOON)
        store.append(other, scale(3), NOON)
        store._db.execute("UPDATE events SET blob = x'01F4' WHERE take = ?", (one,))
        with pytest.raises(TakeError, match="damaged"):
            store.events(one)
        assert len(store.events(other)) == 6


def test_a_step_that_fails_leaves_the_store_as_it_was(tmp_path, monkeypatch):
    def broken(db):
        db.execute("CREATE TABLE half (x)")
        raise sqlite3.OperationalError("no")

    path = tmp_path / "takes.db"
    Store(path).close()
    monkeypatch.setattr("practice.store.migrations.STEPS", (*STEPS, broken))
    with pytest.raises(StoreError):
        Store(path)
    names = sqlite3.connect(path).execute("SELECT name FROM sqlite_master").fetchall()
    assert ("half",) not in names
    monkeypatch.undo()
    Store(path).close()


def test_a_keyboard_plugged_in_anew_becomes_one_in_an_older_store(tmp_path, monkeypatch):
    path = tmp_path / "takes.db"
    monkeypatch.setattr("practice.store.migrations.STEPS", STEPS[:5])
    Store(path).close()
    db = sqlite3.connect(path)
    names = ["Stage Piano 20:0", "Upright", "Stage Piano 28:0"]
    db.executemany("INSERT INTO instruments (name) VALUES (?)", [(name,) for name in names])
    db.execute("INSERT INTO arrangements (content_hash, title) VALUES ('a', 'Study')")
    for number in (1, 2, 3):
        db.execute(
            """INSERT INTO takes (arrangement, instrument, source, started_us, zone_s, touched_us,
                state, from_bar, to_bar, hands, pulse, rate)
                VALUES (1, ?, 'played', 0, 0, 0, 'closed', 0, 3, '', 'free', 1.0)""",
            (number,),
        )
    db.commit()
    db.close()
    monkeypatch.undo()
    with Store(path) as store:
        played_on = [take.start.instrument for take in store.takes()]
        assert played_on == ["Stage Piano", "Upright", "Stage Piano"]
        assert store.take(1).start.profile is None


def test_times_are_kept_in_utc_whatever_the_zone(tmp_path):
    with Store(tmp_path / "takes.db") as store:
        winter = store.begin_take(start_of_take(started=NOON))
        same = store.begin_take(start_of_take(started=NOON.astimezone(UTC)))
        assert store.take(winter).start.started == store.take(same).start.started
