"""How the take store bears ten years: times of saving and reading, and the size of the file.

    python tests/bench/bench_history.py [--years 10] [--keep FOLDER]

A made-up player plays two hours a day: 55 passes a day of 300 notes each, over twelve
arrangements of which one gets half of the time. The passes' own notes are two dozen performances
of the simulated pianist, packed as the store packs them and kept in turn.
"""

from __future__ import annotations

import argparse
import statistics
import sys
import tempfile
import time
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from engine.arrangement import Arrangement
from engine.performance import Pulse, pair_notes
from engine.section_review import section_key, section_span
from practice.library import open_arrangement
from practice.listen.happenings import PassEnded
from practice.listen.judge import Judged, detail_of, judge_pass
from practice.listen.judged_pass import keep_as
from practice.plan.plan import make_plan
from practice.plan.plan_facts import gather_facts
from practice.player import Character, SlipShares, perform
from practice.progress.progress import read_map, read_progress
from practice.store.event_blobs import pack_events, step_event
from practice.store.kept import pack_detail
from practice.store.migrations import sum_up_day, sum_up_even_day
from practice.store.section_rows import COLUMNS, _row
from practice.store.store import Store

ROOT = Path(__file__).resolve().parents[2]
SCORE = ROOT / "exercises" / "salt-pans-night-shift.musicxml"
PASSES_A_DAY, ARRANGEMENTS = 55, 12
FIRST = datetime(2016, 1, 1, 17, 0, tzinfo=UTC)


def make_models(arrangement: Arrangement) -> list[tuple[Judged, bytes, bytes, int]]:
    """Judged passes with their packed events and detail: (pass, events, detail, notes)."""
    models = []
    for k, section in enumerate(arrangement.form.sections * 2):
        span = section_span(section)
        span = replace(span, to_bar=min(span.from_bar + 24, len(arrangement.bars) - 1))
        character = Character(
            finger_sd_ms=6.0 + k % 5, level_sd=4.0, slips=SlipShares(neighbour=0.002 * (k % 6))
        )
        played = perform(arrangement, character, np.random.default_rng(k), span=span, start_s=0.5)
        events = [step_event(e) for e in played]
        recording = pair_notes(events)
        ended = PassEnded(
            arrangement=arrangement, take=1, number=1, first=0, notes=recording.notes,
            pedals=recording.pedals, span=span, hands="both", pulse=Pulse(),
        )  # fmt: skip
        for one in judge_pass(ended)[:1]:
            blob, detail = pack_events(events, deflate=True), pack_detail(detail_of(one))
            models.append((one, blob, detail, len(recording.notes)))
    return models


def fill(store: Store, arrangement: Arrangement, models: list[Any], days: int) -> int:
    """Write the history; the number of notes. Rows are made as the store makes them."""
    rng = np.random.default_rng(1)
    notes = take = 0
    with store.writing() as db:
        db.execute("INSERT INTO instruments (id, name) VALUES (1, 'piano')")
        for k in range(ARRANGEMENTS):
            digest = arrangement.content_hash if k == 0 else f"{k:064d}"
            title = arrangement.title if k == 0 else f"Arrangement {k}"
            db.execute(
                "INSERT INTO arrangements (id, content_hash, title) VALUES (?, ?, ?)",
                (k + 1, digest, title),
            )
    for month in range(0, days, 30):
        with store.writing() as db:
            for day in range(month, min(month + 30, days)):
                for n in range(PASSES_A_DAY):
                    take += 1
                    which = 1 if n % 2 else 2 + (n // 2) % (ARRANGEMENTS - 1)
                    model = models[int(rng.integers(len(models)))]
                    when = FIRST + timedelta(days=day, minutes=2.2 * n)
                    _write_pass(db, take, which, model, when, n < 12)
                    notes += model[3]
            _sum_up(db, FIRST + timedelta(days=month))
    return notes


def _sum_up(db: Any, since: datetime) -> None:
    """The sums by day, which the store makes with every pass."""
    days = db.execute(
        "SELECT DISTINCT key, day FROM section_passes WHERE started_us >= ?",
        (int(since.timestamp() * 1e6),),
    ).fetchall()
    for key, day in days:
        sum_up_day(db, key, day)
        sum_up_even_day(db, key, day)


def _write_pass(db: Any, take: int, which: int, model: Any, when: datetime, cold: bool) -> None:
    one, blob, detail, notes = model
    us, day = int(when.timestamp() * 1e6), when.date().isoformat()
    db.execute(
        "INSERT INTO takes (id, arrangement, instrument, source, started_us, zone_s, touched_us,"
        " state, from_bar, to_bar, hands, pulse, rate, notes, length_s, keeper)"
        " VALUES (?, ?, 1, 'played', ?, 0, ?, 'closed', ?, ?, 'both', 'free', 1.0, ?, 60.0, 0)",
        (take, which, us, us, one.review.span.from_bar, one.review.span.to_bar, notes),
    )
    db.execute("INSERT INTO events VALUES (?, 0, ?)", (take, blob))
    kept = keep_as(one, 1, when, take)
    db.execute(
        "INSERT INTO passes (take, number, arrangement, started_us, day, first_note, last_note,"
        " from_bar, to_bar, from_q, to_q, hands, pulse, start_s, start_q, rate, tempo_qpm,"
        " completed, notes_right, notes_wrong, notes_extra, notes_missing, timing_ms, evenness_ms,"
        " good, why_not, engine, detail) VALUES (" + ", ".join("?" * 28) + ")",
        (
            take, 1, which, us, day, 0, notes - 1, kept.span.from_bar, kept.span.to_bar,
            kept.from_q, kept.to_q, "both", "free", 0.0, 0.0, 1.0, kept.tempo_qpm, 1, kept.right,
            kept.wrong, kept.extra, kept.missing, kept.timing_ms, kept.evenness_ms, kept.good,
            kept.why_not, "1", detail,
        ),
    )  # fmt: skip
    marks = ", ".join("?" * len(COLUMNS.split(",")))
    for part in one.sections:
        row = list(_row(part, us, day))
        row[0] = part.key if which == 1 else f"{which}{part.key}"
        row[4] = int(cold and part.asked)
        db.execute(f"INSERT INTO section_passes ({COLUMNS}) VALUES ({marks})", (take, 1, *row))


def time_ms(act: Any, times: int = 5) -> tuple[float, float]:
    """(first, median of the rest) in ms."""
    took = []
    for _ in range(times):
        at = time.perf_counter()
        act()
        took.append((time.perf_counter() - at) * 1000)
    return took[0], statistics.median(took[1:])


def measure(arrangement: Arrangement, models: list[Any], path: Path, days: int, name: str) -> None:
    """Make a history and print one line of the table."""
    with Store(path) as store:
        at = time.perf_counter()
        notes = fill(store, arrangement, models, days)
        made_s = time.perf_counter() - at
    now = FIRST + timedelta(days=days)
    with Store(path) as store:
        progress = time_ms(lambda: read_progress(store, arrangement))
        cells = time_ms(lambda: read_map(store, arrangement))
        plan = time_ms(lambda: make_plan(gather_facts(store, arrangement, "s", now), now))
        save = time_save(store, models, now)
        passes = store.query("SELECT count(*) FROM passes")[0][0]
    size = path.stat().st_size
    print(
        f"{name:>9} {passes:>8} {notes:>10} {size / 1e6:>8.1f} {size / notes:>7.1f}"
        f" {progress[0]:>7.0f} {progress[1]:>7.0f} {plan[0]:>7.0f} {plan[1]:>7.0f}"
        f" {cells[1]:>6.0f} {save[0]:>7.1f} {save[1]:>7.1f}   ({made_s:.0f} s to make)"
    )


def time_save(store: Store, models: list[Any], now: datetime) -> tuple[float, float]:
    """(median, worst) ms of keeping one judged pass of one take, twenty times."""
    take = store.query("SELECT max(id) FROM takes")[0][0]
    took = []
    for k in range(20):
        one = models[k % len(models)][0]
        at = time.perf_counter()
        store.add_pass(keep_as(one, 2 + k, now, take), detail_of(one))
        took.append((time.perf_counter() - at) * 1000)
    return statistics.median(took), max(took)


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--years", type=float, default=10.0)
    parser.add_argument("--keep", help="where to leave the stores")
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(options.keep or scratch)
        arrangement = open_arrangement(SCORE, Path(scratch))
        assert len({section_key(arrangement, s) for s in arrangement.form.sections}) > 4
        models = make_models(arrangement)
        print(f"{len(models)} model passes; half of all passes are of one arrangement")
        print(
            "  history   passes      notes       MB  B/note  progress (first, again)   plan (the"
            " same)    map  save (median, worst) ms"
        )
        for name, days in (("1 month", 30), ("1 year", 365), ("10 years", 3650)):
            if days <= options.years * 365:
                measure(arrangement, models, folder / f"{days}.db", days, name)


if __name__ == "__main__":
    main()
