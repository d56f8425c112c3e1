"""Arrangements kept between openings."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import pytest

from engine.errors import ScoreError
from practice import library
from practice.library import open_arrangement, pack_arrangement, unpack_arrangement


@pytest.fixture
def score(tmp_path, shelf):
    """A copy of a small score that a test may change."""
    copy = tmp_path / "piece.musicxml"
    copy.write_bytes((shelf / "repeat-without-introduction.musicxml").read_bytes())
    return copy


@pytest.fixture
def shelf():
    return Path(__file__).resolve().parents[1] / "fixtures" / "scores"


@pytest.fixture
def readings(monkeypatch):
    """Counts how often a score is really read."""
    count = []
    real = library.read_score_bytes

    def counted(*args):
        count.append(args[1])
        return real(*args)

    monkeypatch.setattr(library, "read_score_bytes", counted)
    return count


def kept_files(folder):
    return sorted(folder.glob("*"))


def test_the_second_opening_is_equal_and_reads_nothing(score, tmp_path, readings):
    first = open_arrangement(score, tmp_path / "kept")
    second = open_arrangement(score, tmp_path / "kept")
    assert second == first
    assert len(readings) == 1
    assert (second.table == first.table).all()


@pytest.mark.parametrize(
    "name",
    ["graces", "marks", "tempo-dotted", "pedal-sostenuto-soft", "dal-segno-al-coda", "unisons",
     "tuplets-nested", "short-and-long-bars", "double-accidentals"],
)  # fmt: skip
def test_what_is_kept_comes_back_equal(shelf, name):
    arrangement = library.read_score_bytes((shelf / f"{name}.musicxml").read_bytes(), name)
    assert unpack_arrangement(pack_arrangement(arrangement)) == arrangement


def test_every_kind_of_form_comes_back_equal(shelf):
    from fractions import Fraction

    from engine.arrangement import Figure, Form, Harmony, Phrase, Section, Twins

    form = Form(
        (Section("Return", "A", 0, 2),),
        (Phrase(0, 1, Fraction(0), Fraction(7, 3)),),
        (Twins(Fraction(0), Fraction(4), Fraction(3), (Fraction(3), Fraction(7)), 2, "left", "w"),),
        (Figure("left", Fraction(1, 2), 2, ((0, 1), (2, 3))),),
        (0, 2),
        ((0, 1), (2, 3)),
        (Harmony(Fraction(0), Fraction(4), "Bbb", "minor", ("Cb",), "Bbbm9", 0.5),),
    )
    plain = library.read_score_bytes((shelf / "ties.musicxml").read_bytes(), "ties")
    arrangement = dataclasses.replace(plain, form=form)
    assert unpack_arrangement(pack_arrangement(arrangement)) == arrangement


def test_a_changed_score_or_sidecar_is_read_afresh(score, tmp_path, readings):
    open_arrangement(score, tmp_path / "kept")
    score.with_suffix(".undersong.toml").write_text('[fingering]\nn1 = "3"\n')
    assert open_arrangement(score, tmp_path / "kept").notes[0].fingering == "3"
    score.write_text(score.read_text().replace("<octave>4</octave>", "<octave>5</octave>"))
    assert open_arrangement(score, tmp_path / "kept").notes[0].name == "C5"
    assert len(readings) == 3


def test_a_title_taken_from_the_file_name_follows_it(score, tmp_path):
    text = score.read_text()
    start, end = text.index("<work>"), text.index("</work>") + len("</work>")
    score.write_text(text[:start] + text[end:])
    assert open_arrangement(score, tmp_path / "kept").title == "piece"
    other = score.rename(score.with_name("other.musicxml"))
    assert open_arrangement(other, tmp_path / "kept").title == "other"


@pytest.mark.parametrize("damage", ["empty", "cut", "flipped", "foreign"])
def test_a_damaged_entry_is_ignored_and_mended(score, tmp_path, readings, damage):
    kept = tmp_path / "kept"
    first = open_arrangement(score, kept)
    (entry,) = kept_files(kept)
    whole = entry.read_bytes()
    middle = len(whole) // 2
    entry.write_bytes(
        {
            "empty": b"",
            "cut": whole[:middle],
            "flipped": whole[:middle] + bytes([whole[middle] ^ 1]) + whole[middle + 1 :],
            "foreign": b"00000000\n",
        }[damage]
    )
    assert open_arrangement(score, kept) == first
    assert len(readings) == 2
    assert kept_files(kept) == [entry]
    assert entry.read_bytes() == whole


def test_a_cache_that_cannot_be_written_is_done_without(score, tmp_path):
    blocked = tmp_path / "kept"
    blocked.write_text("a file where the folder should be")
    assert open_arrangement(score, blocked).notes


def test_the_oldest_entries_go(score, tmp_path, monkeypatch):
    monkeypatch.setattr(library, "MAX_KEPT", 2)
    for octave in (3, 5, 6):
        score.write_text(score.read_text().replace("<step>C", f"<!--{octave}--><step>C"))
        open_arrangement(score, tmp_path / "kept")
    assert len(kept_files(tmp_path / "kept")) == 2


def test_a_score_that_cannot_be_read_leaves_nothing_behind(tmp_path):
    bad = tmp_path / "bad.musicxml"
    bad.write_text("<score-partwise>")
    with pytest.raises(ScoreError):
        open_arrangement(bad, tmp_path / "kept")
    assert not (tmp_path / "kept").exists()
