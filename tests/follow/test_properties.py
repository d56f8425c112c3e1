"""What must hold of any score and any playing of it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import music21
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from engine.arrangement import Arrangement
from engine.findings import Finding
from engine.follow import Follower, align
from engine.read import read_arrangement
from practice.player import CHARACTERS
from tests.bench.takes import NOTHING, ORNAMENT, Take, simulated_take
from tests.follow.pages import follow, play, two_hands, whats

CORPUS = [
    "mozart/k545/movement1_exposition.mxl",
    "schoenberg/opus19/movement2.mxl",
    "bach/bwv846.mxl",
    "schumann_clara/polonaise_op1n4.mxl",
]
EXERCISES = ["brine-pump", "evaporation", "salt-pans-night-shift", "two-sluices"]


def corpus_score(name: str) -> Arrangement:
    """A score of music21's corpus."""
    return read_arrangement(Path(music21.__file__).parent / "corpus" / name)


def assert_perfect(take: Take, findings: list[Finding]) -> None:
    """Every note right and in its place, ornaments told, nothing else said."""
    for note, label, found in zip(take.notes, take.truth, findings, strict=False):
        if label == ORNAMENT:
            assert found.what == "ornament", (note, found)
        else:
            assert found.score == label != NOTHING, (note, found)
    assert len(findings) == len(take.notes)


def answers(findings: list[Finding]) -> list[tuple[object, ...]]:
    """What was said, without how certain it was."""
    return [(f.played, f.score, f.what, f.stands_for) for f in findings]


@pytest.mark.parametrize("name", CORPUS)
def test_perfect_performance_of_a_corpus_score_is_matched_perfectly(name: str) -> None:
    arrangement = corpus_score(name)
    take = simulated_take(name, arrangement, CHARACTERS["steady"], np.random.default_rng(1))
    assert_perfect(take, align(arrangement, take.notes))
    assert_perfect(take, follow(arrangement, take.notes))


@pytest.mark.parametrize("name", EXERCISES)
def test_perfect_performance_of_an_exercise_is_matched_perfectly(
    name: str, exercises: Path
) -> None:
    path = exercises / f"{name}.musicxml"
    if not path.exists():
        pytest.skip(f"{path.name} is not there")
    arrangement = read_arrangement(path)
    take = simulated_take(name, arrangement, CHARACTERS["steady"], np.random.default_rng(1))
    assert_perfect(take, align(arrangement, take.notes))
    assert_perfect(take, follow(arrangement, take.notes))


@settings(max_examples=15, deadline=None)
@given(shift=st.floats(-1.0, 5000.0), pace=st.floats(0.4, 1.5), seed=st.integers(0, 5))
def test_moving_time_and_changing_tempo_changes_nothing(
    shift: float, pace: float, seed: int
) -> None:
    arrangement = two_hands(seed=seed)
    as_written = play(arrangement)
    moved = play(arrangement, s_per_q=0.6 / pace, start_s=1.0 + shift)
    for said in (align, follow):
        assert answers(said(arrangement, moved)) == answers(said(arrangement, as_written))


@settings(max_examples=25, deadline=None)
@given(at=st.integers(8, 60), pitch=st.sampled_from([96, 98, 100, 24, 26]))
def test_an_added_note_is_one_extra(at: int, pitch: int) -> None:
    arrangement = two_hands()
    notes = play(arrangement)
    late_s = notes[at].onset_s + 0.13
    added = replace(notes[at], pitch=pitch, onset_s=late_s)
    rows = sorted([*notes, added], key=lambda n: n.onset_s)
    rows = [replace(n, index=i) for i, n in enumerate(rows)]
    for said in (align, follow):
        kinds = whats(said(arrangement, rows))
        assert kinds.count("extra") == 1
        assert kinds.count("right") == len(notes)
        assert len(kinds) == len(rows)


@settings(max_examples=25, deadline=None)
@given(at=st.integers(4, 60))
def test_a_removed_note_is_one_missing(at: int) -> None:
    arrangement = two_hands()
    order = [k for k in range(len(arrangement.notes)) if k != at]
    notes = play(arrangement, order)
    for said in (align, follow):
        findings = said(arrangement, notes)
        assert [f.score for f in findings if f.what == "missing"] == [at]
        assert [f.score for f in findings if f.played is not None] == order


def test_what_is_final_is_never_revised_and_comes_in_time() -> None:
    arrangement = two_hands()
    take = simulated_take("x", arrangement, CHARACTERS["hurried"], np.random.default_rng(3))
    follower = Follower(arrangement)
    final: set[int] = set()
    for heard, note in enumerate(take.notes):
        for f in follower.hear(note):
            assert f.played is None or f.played not in final
            if f.played is not None and f.final:
                final.add(f.played)
        due = {
            n.index
            for k, n in enumerate(take.notes[: heard + 1])
            if heard - k >= 3 or note.onset_s - n.onset_s >= 0.5
        }
        assert due <= final
    last_s = take.notes[-1].onset_s
    told = {f.played for f in follower.tick(last_s + 0.5) if f.final}
    assert final | told == {n.index for n in take.notes}


def test_ticking_changes_no_finding() -> None:
    arrangement = two_hands()
    take = simulated_take("x", arrangement, CHARACTERS["rummaging"], np.random.default_rng(3))
    ticked = Follower(arrangement)
    last: dict[int, Finding] = {}
    for note in take.notes:
        said = ticked.tick(note.onset_s - 0.01) + ticked.hear(note)
        last |= {f.played: f for f in said if f.played is not None}
    last |= {f.played: f for f in ticked.finish() if f.played is not None}
    plain = follow(arrangement, take.notes)
    assert [last[n.index] for n in take.notes] == plain[: len(take.notes)]


def test_the_same_notes_give_the_same_findings() -> None:
    arrangement = two_hands()
    take = simulated_take("x", arrangement, CHARACTERS["rummaging"], np.random.default_rng(8))
    assert align(arrangement, take.notes) == align(arrangement, take.notes)
    assert follow(arrangement, take.notes) == follow(arrangement, take.notes)


def test_nothing_played_is_nothing_said() -> None:
    assert align(two_hands(), []) == []
    assert Follower(two_hands()).finish() == []
