"""Over the days the figure fingered otherwise is another series: told, and never compared."""

from __future__ import annotations

import io
import sqlite3
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from engine.arrangement import Arrangement, whole_span
from engine.findings import Estimate
from engine.performance import Pulse, pair_notes
from practice.cli import main
from practice.drill import Drill
from practice.environment import Environment, ExitStatus
from practice.library import open_arrangement
from practice.listen.happenings import PassEnded
from practice.listen.judge import Even, judge_pass
from practice.listen.kept_before import read_history
from practice.player import CHARACTERS, perform
from practice.progress.progress import read_progress
from practice.progress.progress_page import progress_html
from practice.progress.progress_text import say_progress
from practice.report.fingering_text import put_finger
from practice.report.take_comparison import compare_takes
from practice.store.history import read_days, read_fingering, read_fingerings, read_places
from practice.store.importing import keep_recording
from practice.store.kept import ENGINE_EDITION
from practice.store.migrations import STEPS
from practice.store.store import Store
from tests.practice.kept_history import evening, keep_pass, part_of

OLD, NEW = "5 4 2 1 2 1 2 4", "5 3 2 1 2 1 2 3"


@pytest.fixture
def pans(exercises: Path, tmp_path: Path) -> Arrangement:
    return open_arrangement(exercises / "brine-pump.musicxml", tmp_path / "cache")


def test_the_series_goes_by_the_last_fingering(pans: Arrangement, tmp_path: Path) -> None:
    part = part_of(pans, pans.form.sections[0])
    with Store(tmp_path / "takes.db") as store:
        for day in range(12):
            one = replace(
                part,
                evenness_ms=Estimate(30.0 if day < 6 else 10.0, 8, 32, 64, "ms"),
                fingering=OLD if day < 6 else NEW,
            )
            for minute in (0, 5):
                keep_pass(store, pans, evening(day, minute), [one])
        days = read_days(store, part.key, "both", 1.0)
        assert [d.evenness_ms.value for d in days] == [None] * 6 + [10.0] * 6
        assert [d.passes for d in days] == [2] * 12
        before = read_days(store, part.key, "both", 1.0, fingering=OLD)
        assert [d.evenness_ms.value for d in before] == [30.0] * 6 + [None] * 6
        assert read_fingering(store, part.key, "both") == NEW
        then, now = read_places(store, part.key, "both", 1.0)
        assert (len(then), len(now)) == (6, 6)
        told = [(f.fingering, f.passes) for f in read_fingerings(store, part.key, "both")]
        assert told == [(NEW, 12), (OLD, 12)]
        progress = read_progress(store, pans)
    hand = next(h for h in progress.sections[0].hands if h.hands == "both")
    assert not [c for c in hand.claims if c.measure == "evenness"]
    assert hand.standing.passes == 24
    lines = "\n".join(say_progress(progress, terminal=False))
    told = f"evenness is of the fingering {NEW}; not compared: 12 passes with {OLD}"
    assert told in lines
    assert told in progress_html(progress, evening(13))


def test_the_same_fall_with_one_fingering_is_a_change(pans: Arrangement, tmp_path: Path) -> None:
    part = part_of(pans, pans.form.sections[0])
    with Store(tmp_path / "takes.db") as store:
        for day in range(12):
            even = Estimate(30.0 + day % 3 if day < 6 else 10.0 + day % 3, 8, 35, 64, "ms")
            one = replace(part, evenness_ms=even, fingering=NEW)
            keep_pass(store, pans, evening(day), [one])
        progress = read_progress(store, pans)
    hand = next(h for h in progress.sections[0].hands if h.hands == "both")
    assert [c.change.verdict for c in hand.claims if c.measure == "evenness"] == ["better"]


def test_an_older_store_keeps_its_evenness(
    pans: Arrangement, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "takes.db"
    part = part_of(pans, pans.form.sections[0])
    with Store(path) as store:
        for day in range(3):
            keep_pass(store, pans, evening(day), [part])
        days = read_days(store, part.key, "both", 1.0)
    db = sqlite3.connect(path)
    db.execute("DROP TABLE even_days")
    for table in ("passes", "section_passes"):
        db.execute(f"ALTER TABLE {table} DROP COLUMN fingering")
    db.execute(f"PRAGMA user_version = {len(STEPS) - 1}")
    db.commit()
    db.close()
    with Store(path) as store:
        assert read_days(store, part.key, "both", 1.0) == days
        assert days[0].evenness_ms.value == 12.0
        assert len(store.passes()) == 3


def finger(score: Path, arrangement: Arrangement, fingers: str) -> None:
    """Every note of the first figure, in the score's sidecar."""
    for cell in arrangement.form.figures[0].occurrences:
        for i, one in zip(cell, fingers.split(), strict=True):
            note = arrangement.notes[i]
            put_finger(str(score), note.note_id, one, "bar 1")


def fingers_for(arrangement: Arrangement, first: str) -> str:
    places = arrangement.form.figures[0].places
    return " ".join([first, *"32123212321232"][:places])


def test_a_new_fingering_in_the_sidecar_begins_a_series_and_takes_are_judged_anew(
    exercises: Path, tmp_path: Path
) -> None:
    score = tmp_path / "pump.musicxml"
    score.write_bytes((exercises / "brine-pump.musicxml").read_bytes())
    plain = open_arrangement(score, tmp_path / "cache")
    events = perform(plain, CHARACTERS["steady"], np.random.default_rng(1), start_s=0.5)
    path = tmp_path / "takes.db"
    known = []
    for day, first in enumerate(("5", "4", "2")):
        if day:  # the first day's is printed on the page
            finger(score, plain, fingers_for(plain, first))
        page = open_arrangement(score, tmp_path / "cache")
        assert page.content_hash == plain.content_hash
        keep_recording(path, page, str(score), Drill(whole_span(page)), events, evening(day))
        known.append(fingers_for(plain, first))
    with Store(path) as store:
        assert [p.fingering for p in store.passes()] == known
        assert len({p.evenness_ms for p in store.passes()}) == 1
        even = next(c for c in compare_takes(store, 2, 3) if c.what == "evenness")
        assert even.change.verdict == "not comparable"
        assert f"another fingering, {known[1]} against {known[2]}" in even.change.words
        progress = read_progress(store, page)
        hands = [h for s in progress.sections for h in s.hands if h.fingerings]
        # The second section has a figure of its own, whose fingering nobody changed.
        assert [sum(d.evenness_ms.n > 0 for d in h.days) for h in hands] == [1, 3]
        assert all(len(h.days) == 3 for h in hands)
        # As an earlier edition kept it: no fingering told.
        with store.writing() as db:
            db.execute("UPDATE passes SET engine = '2', fingering = ''")
    history = read_history(path, page)
    assert {e.fingering for passes in history.values() for e in passes} == {""}
    env = Environment(stdout=io.StringIO(), variables={}, now=lambda: evening(4))
    words = ["store", "--judge", str(score), "--data", str(tmp_path)]
    assert main(words, env) == ExitStatus.DONE
    with Store(path) as store:
        assert {(p.engine, p.fingering) for p in store.passes()} == {(ENGINE_EDITION, known[2])}
        old = store.query("SELECT take, engine FROM passes_before ORDER BY take")
        assert old == [(1, "2"), (2, "2"), (3, "2")]


def test_the_tempo_of_kept_passes_is_of_all_the_marks_they_went_over(
    pans: Arrangement, tmp_path: Path
) -> None:
    """Else what was played as marked counts as twice too fast on another day, and is no measure."""
    (first,) = pans.tempo
    later = replace(first, onset_q=pans.bars[5].onset_q, qpm=1.5 * first.qpm)
    page = replace(pans, tempo=(first, later))
    events = perform(page, CHARACTERS["steady"], np.random.default_rng(1), start_s=0.5)
    keep_recording(tmp_path / "takes.db", page, "pump", Drill(whole_span(page)), events, evening(0))
    ((kept,),) = read_history(tmp_path / "takes.db", page).values()
    notes = pair_notes(events)
    ended = PassEnded(page, 1, 1, 0, notes.notes, notes.pedals, whole_span(page), None, Pulse())
    (judged,) = judge_pass(ended)
    assert judged.tempo_share == pytest.approx(1.0, abs=0.05)
    assert kept.tempo_share == pytest.approx(judged.tempo_share, abs=0.03)


def test_a_pass_and_its_sections_are_held_to_one_beat(pans: Arrangement) -> None:
    """The click allows a share of a beat: in 6/8 an eighth, for the whole as for each section."""
    assert pans.bars[0].beat_unit == 8
    events = perform(pans, CHARACTERS["steady"], np.random.default_rng(1), start_s=0.5)
    notes = pair_notes(events)
    ended = PassEnded(pans, 1, 1, 0, notes.notes, notes.pedals, whole_span(pans), None, Pulse())
    (judged,) = judge_pass(ended)
    beats_ms = [part.facts.beat_ms for part in judged.sections]
    assert beats_ms == pytest.approx([30_000 / 84] * 2, rel=0.02)
    assert judged.facts.beat_ms == pytest.approx(30_000 / 84, rel=0.02)


def test_what_is_usual_is_told_by_the_same_fingering(exercises: Path, tmp_path: Path) -> None:
    page = open_arrangement(exercises / "brine-pump.musicxml", tmp_path / "cache")
    events = perform(page, CHARACTERS["steady"], np.random.default_rng(1), start_s=0.5)
    played = pair_notes(list(events))
    ended = PassEnded(
        page, 1, 1, 0, tuple(played.notes), tuple(played.pedals), whole_span(page), None, Pulse()
    )
    fingers = fingers_for(page, "5")
    for fingering, known in ((fingers, True), (fingers_for(page, "4"), False), ("", False)):
        history = [Even(1.0, 4.0 + k % 2, fingering) for k in range(12)]
        (judged,) = judge_pass(ended, history)
        assert (judged.facts.usual_ms is not None) == known
