"""What verovio engraves has every head of the arrangement under its own id (verovio 6)."""

from __future__ import annotations

import re

import pytest

from engine.read import engravable_text, read_arrangement, score_file

SMALL = (
    "graces", "cue-and-hidden", "ids", "two-parts", "timewise", "voice-and-piano", "cross-staff",
    "double-accidentals", "chords", "mid-bar-repeat", "ties-over-repeats", "tuplets-nested",
)  # fmt: skip


@pytest.fixture(autouse=True)
def _notes_only(monkeypatch):
    monkeypatch.setattr(score_file, "_with_form", lambda arrangement, *_: arrangement)


def engraved_ids(path):
    """Ids of all notes on all pages."""
    import verovio

    verovio.enableLog(verovio.LOG_OFF)
    toolkit = verovio.toolkit()
    toolkit.setOptions({"xmlIdSeed": 1, "breaks": "auto"})
    assert toolkit.loadData(engravable_text(path))
    pages = (toolkit.renderToSVG(page + 1) for page in range(toolkit.getPageCount()))
    return {found for page in pages for found in re.findall(r'<g id="([^"]+)" class="note', page)}


def heads(arrangement):
    return {head for note in arrangement.notes for head in note.heads}


@pytest.mark.parametrize("name", SMALL)
def test_small_scores(name):
    from tests.read.conftest import SCORES

    path = SCORES / f"{name}.musicxml"
    assert heads(read_arrangement(path)) <= engraved_ids(path)


@pytest.mark.parametrize("name", ["mozart-k331", "chopin-op57"])
@pytest.mark.parametrize("file", ["score.musicxml", "p1.mid"])
def test_real_scores_and_a_performance_read_as_a_score(name, file, data_sets):
    path = data_sets / name / file
    assert heads(read_arrangement(path)) <= engraved_ids(path)
