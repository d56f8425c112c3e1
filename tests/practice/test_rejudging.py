"""Takes judged again: the new judgement counts, the old one is kept beside it."""

from __future__ import annotations

import io
from datetime import UTC, datetime
from pathlib import Path

import numpy as np

from engine.arrangement import whole_span
from practice.cli import main
from practice.drill import Drill
from practice.environment import Environment, ExitStatus
from practice.library import open_arrangement
from practice.player import CHARACTERS, perform
from practice.progress.progress import read_progress
from practice.store.importing import keep_recording
from practice.store.store import Store

NOW = datetime(2026, 3, 1, 18, 0, tzinfo=UTC)


def test_old_judgements_are_kept_and_new_ones_count(exercises: Path, tmp_path: Path) -> None:
    score = exercises / "brine-pump.musicxml"
    pump = open_arrangement(score, tmp_path / "cache")
    for seed in (1, 2):
        events = perform(pump, CHARACTERS["hurried"], np.random.default_rng(seed), start_s=0.5)
        keep_recording(
            tmp_path / "takes.db", pump, str(score), Drill(whole_span(pump)), events, NOW
        )
    with Store(tmp_path / "takes.db") as store:
        before = read_progress(store, pump)
        detail = store.detail(1, 1)
        with store.writing() as db:
            db.execute("UPDATE passes SET engine = 'old', notes_right = 7 WHERE take = 1")
    out = io.StringIO()
    env = Environment(stdout=out, variables={}, now=lambda: NOW)
    words = ["store", "--judge", str(score), "--data", str(tmp_path)]
    assert main(words, env) == ExitStatus.DONE
    assert out.getvalue().endswith("1 takes judged again\n")
    with Store(tmp_path / "takes.db") as store:
        assert read_progress(store, pump) == before
        assert store.detail(1, 1) == detail
        old = store.query("SELECT take, number, engine, notes_right FROM passes_before")
        assert old == [(1, 1, "old", 7)]
        assert {p.engine for p in store.passes()} != {"old"}
    out.truncate(0)
    assert main(words, env) == ExitStatus.DONE
    assert out.getvalue().endswith("0 takes judged again\n")


def test_an_edit_after_imports_alone_is_told_bar_by_bar(exercises: Path, tmp_path: Path) -> None:
    written = (exercises / "brine-pump.musicxml").read_text()
    bar = written.index('<measure number="3"')
    at = written.index("<octave>", bar) + len("<octave>")
    score = tmp_path / "song.musicxml"
    score.write_text(written)
    pump = open_arrangement(score, tmp_path / "cache")
    events = perform(pump, CHARACTERS["steady"], np.random.default_rng(1), start_s=0.5)
    keep_recording(tmp_path / "takes.db", pump, str(score), Drill(whole_span(pump)), events, NOW)
    score.write_text(written[:at] + str(int(written[at]) + 1) + written[at + 1 :])
    out = io.StringIO()
    env = Environment(stdout=out, variables={}, now=lambda: NOW)
    assert main(["progress", str(score), "--data", str(tmp_path)], env) == ExitStatus.DONE
    assert "The score was edited since 2026-03-01: bars 3 are new or changed, 3 gone" in (
        out.getvalue()
    )
