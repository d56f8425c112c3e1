"""Figures on recordings with truth, well under what the benchmark shows, on a few files.

Vienna 4x22 (Goebl 1999), matched by hand; (n)ASAP (Peter et al. 2023), matched automatically and
checked. The rehearsals are recordings cut and joined, their truth exact by construction.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path

import pytest

from engine.arrangement import Arrangement
from engine.follow import align
from engine.read import read_arrangement
from tests.bench.takes import keep_hand, one_key_names, recorded_take, score_findings
from tests.follow.pages import follow


@cache
def score_of(folder: Path) -> Arrangement:
    return read_arrangement(folder / "score.musicxml")


@pytest.mark.parametrize(
    ("name", "whole", "live"),
    [
        ("mozart-k331/p1", 0.998, 0.996),
        ("chopin-op10-3/p4", 0.998, 0.996),
        ("bach-bwv846/p1", 0.99, 0.99),
        ("beethoven-8-2/p1", 0.99, 0.985),
    ],
)
def test_a_straight_performance(data_sets: Path, name: str, whole: float, live: float) -> None:
    midi = (data_sets / name).with_suffix(".mid")
    arrangement, names = score_of(midi.parent), one_key_names(midi.parent)
    take = recorded_take(midi, arrangement)
    assert score_findings(take, align(arrangement, take.notes), arrangement, names).match_f >= whole
    said = follow(arrangement, take.notes)
    assert score_findings(take, said, arrangement, names).match_f >= live


@pytest.mark.parametrize("name", ["mozart-k331/rehearsal4", "chopin-op10-3/rehearsal6"])
def test_a_rehearsal(data_sets: Path, name: str) -> None:
    midi = (data_sets / name).with_suffix(".mid")
    arrangement, names = score_of(midi.parent), one_key_names(midi.parent)
    take = recorded_take(midi, arrangement)
    said = align(arrangement, take.notes)
    assert score_findings(take, said, arrangement, names).anywhere >= 0.985
    said = follow(arrangement, take.notes)
    assert score_findings(take, said, arrangement, names).anywhere >= 0.9


@pytest.mark.parametrize("right", [False, True])
def test_one_hand_of_a_recording(data_sets: Path, right: bool) -> None:
    midi = data_sets / "mozart-k331" / "p2.mid"
    arrangement, names = score_of(midi.parent), one_key_names(midi.parent)
    take = keep_hand(recorded_take(midi, arrangement), arrangement, right)
    findings = align(arrangement, take.notes)
    assert score_findings(take, findings, arrangement, names).match_f >= 0.985
    assert sum(f.what == "missing" for f in findings) <= 5
