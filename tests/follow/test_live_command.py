"""`review --live` of a recording agrees with the live run of it, to the last finding."""

from __future__ import annotations

import io
from datetime import UTC, datetime
from pathlib import Path

import numpy as np

from engine.arrangement import Arrangement
from engine.findings import Finding
from engine.follow import Follower
from engine.performance import NotePairer, PlayedNote
from engine.read import read_arrangement
from practice.cli import main
from practice.environment import Environment, ExitStatus
from practice.player import CHARACTERS, perform
from practice.store.recording import read_recording, write_recording


def followed_live(arrangement: Arrangement, notes: list[PlayedNote]) -> list[Finding]:
    """What stood at last, the clock ticking between the notes."""
    follower = Follower(arrangement)
    stands: dict[int, Finding] = {}
    for note in notes:
        said = [*follower.tick(note.onset_s - 0.02), *follower.hear(note)]
        stands |= {f.played: f for f in said if f.played is not None}
    stands |= {f.played: f for f in follower.finish() if f.played is not None}
    return [stands[n.index] for n in notes]


def test_review_live_agrees_with_the_live_run(exercises: Path, tmp_path: Path) -> None:
    score = exercises / "brine-pump.musicxml"
    arrangement = read_arrangement(score)
    events = perform(arrangement, CHARACTERS["rummaging"], np.random.default_rng(4))
    recording, table = tmp_path / "run.mid", tmp_path / "matches.tsv"
    write_recording(recording, events)
    out, err = io.StringIO(), io.StringIO()
    where = {"UNDERSONG_DATA": str(tmp_path / "data")}
    env = Environment(
        io.StringIO(), out, err, where, now=lambda: datetime(2026, 3, 1, 12, tzinfo=UTC)
    )
    args = ["review", score, recording, "--live", "--matches", table]
    assert main([str(a) for a in args], env) == ExitStatus.DONE, err.getvalue()
    rows = [line.split("\t") for line in table.read_text().splitlines()[1:]]
    live = followed_live(arrangement, list(read_recording(recording).notes))
    right = [arrangement.notes[f.score].score_id if f.score is not None else "" for f in live]
    told = [row[3] if row[3] != "ornament" else "" for row in rows]
    assert told == right
    assert len(set(right)) > 50


def test_the_pairer_hears_what_the_file_holds(exercises: Path, tmp_path: Path) -> None:
    arrangement = read_arrangement(exercises / "brine-pump.musicxml")
    events = perform(arrangement, CHARACTERS["rummaging"], np.random.default_rng(4))
    recording = tmp_path / "run.mid"
    write_recording(recording, events)
    pairer = NotePairer()
    struck = {n.index: n.pitch for e in events for n in pairer.hear(e) if isinstance(n, PlayedNote)}
    assert list(struck.values()) == [n.pitch for n in read_recording(recording).notes]
