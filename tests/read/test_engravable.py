"""The text that goes to the engraver: the same notes under the same ids."""

from __future__ import annotations

import re
import zipfile
from xml.etree import ElementTree

import pytest

from engine.errors import ScoreError
from engine.read import engravable_text, read_arrangement, read_score_bytes, score_file
from tests.read.making_midi import key, meta, midi_bytes, together

NAMES = (
    "graces", "ties", "ties-over-repeats", "ids", "two-parts", "timewise", "voice-and-piano",
    "double-accidentals", "pedal-lines", "dal-segno-al-coda", "mid-bar-repeat", "tuplets-nested",
)  # fmt: skip


def ids_in(text):
    return [note.get("id") for note in ElementTree.fromstring(text.encode()).iter("note")]


def sounding(arrangement):
    return [(n.score_id, n.pitch, n.onset_q, n.duration_q, n.hand) for n in arrangement.notes]


@pytest.mark.parametrize("name", NAMES)
def test_every_note_has_an_id_and_the_arrangement_uses_them(scores, read, name):
    ids = ids_in(engravable_text(scores / f"{name}.musicxml"))
    assert None not in ids
    assert len(set(ids)) == len(ids)
    assert {head for n in read(name).notes for head in n.heads} <= set(ids)


@pytest.mark.parametrize("name", NAMES)
def test_the_text_reads_as_the_file_itself(scores, read, name):
    text = engravable_text(scores / f"{name}.musicxml")
    assert sounding(read_score_bytes(text.encode(), "x")) == sounding(read(name))


def test_the_declaration_tells_the_truth(scores, tmp_path):
    text = (scores / "ties.musicxml").read_text().replace("Ties", "Übungsstück")
    other = tmp_path / "other.xml"
    other.write_bytes(text.replace("UTF-8", "UTF-16").encode("utf-16"))
    engravable = engravable_text(other)
    assert engravable.startswith('<?xml version="1.0" encoding="UTF-8"?>')
    assert "Übungsstück" in engravable
    assert read_score_bytes(engravable.encode("utf-8"), "x").title == "Übungsstück"


def test_a_compressed_score_comes_out_plain(scores, tmp_path):
    packed = tmp_path / "ties.mxl"
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.write(scores / "ties.musicxml", "ties.musicxml")
    assert engravable_text(packed) == engravable_text(scores / "ties.musicxml")


def test_only_the_piano_is_engraved(scores):
    text = engravable_text(scores / "voice-and-piano.musicxml")
    assert "Voice" not in text
    assert len(ids_in(text)) == 2


def test_staves_are_declared_where_the_file_forgot(scores, tmp_path):
    text = (scores / "voices.musicxml").read_text()
    forgetful = tmp_path / "forgetful.musicxml"
    forgetful.write_text(text.replace("<staves>2</staves>", ""))
    found = re.search(r"</time>\s*<staves>2</staves>", engravable_text(forgetful))
    assert found is not None, "the format wants staves after the time signature"


def test_what_is_no_score_is_refused(tmp_path):
    bad = tmp_path / "bad.xml"
    bad.write_text("<html/>")
    with pytest.raises(ScoreError):
        engravable_text(bad)


def test_deep_nesting_is_refused(scores, tmp_path):
    text = (scores / "ties.musicxml").read_text()
    deep = tmp_path / "deep.xml"
    deep.write_text(text.replace("</work>", "</work>" + "<a>" * 5000 + "</a>" * 5000))
    with pytest.raises(ScoreError, match="nested too deeply"):
        engravable_text(deep)


# MIDI files


@pytest.fixture
def midi_score(tmp_path):
    """Two hands: broken chords in triplets below, a line with a note over the barline above."""
    head = [
        meta(0, "key_signature", key="Db"),
        meta(0, "time_signature", numerator=3, denominator=4),
    ]
    below = [key(49 + 4 * (i % 3), i / 3, (i + 1) / 3) for i in range(18)]
    above = [*key(73, 0, 1), *key(78, 1, 2), *key(82, 2, 5), *key(71, 5, 6), *key(66, 2, 3)]
    path = tmp_path / "piece.mid"
    path.write_bytes(midi_bytes(head, above, together(below)))
    return path


def test_a_midi_file_is_engraved_under_the_ids_of_its_arrangement(midi_score):
    text = engravable_text(midi_score)
    arrangement, back = read_arrangement(midi_score), read_score_bytes(text.encode(), "back")
    assert sounding(back) == sounding(arrangement)
    assert [n.name for n in back.notes] == [n.name for n in arrangement.notes]
    assert [(b.number, b.onset_q, b.beats, b.beat_unit) for b in back.bars] == [
        ("1", 0, 3, 4), ("2", 3, 3, 4),
    ]  # fmt: skip
    assert back.fifths == -5


def test_a_note_over_the_barline_is_two_tied_heads(midi_score):
    back = read_score_bytes(engravable_text(midi_score).encode(), "back")
    (held,) = (n for n in back.notes if n.duration_q == 3)
    assert held.heads == (held.note_id, f"{held.note_id}t1")


def test_accidentals_are_printed_where_the_key_has_none(midi_score):
    text = engravable_text(midi_score)
    signs = re.findall(r"<step>(.)</step>.*?(?:<accidental>([a-z-]+)</accidental>|</note>)", text)
    printed = {-2: "flat-flat", -1: "flat", 0: "natural", 1: "sharp"}
    # Five flats: B, E, A, D and G are flat without a sign; whatever else is written has one.
    lacking = {
        (n.step, printed[n.alter])
        for n in read_arrangement(midi_score).notes
        if n.alter != -(n.step in "BEADG")
    }
    assert lacking
    assert lacking <= set(signs)
    assert not [step for step, sign in signs if step in "BEADG" and sign == "flat"]


def test_triplets_are_beamed_and_bracketed(midi_score):
    text = engravable_text(midi_score)
    assert text.count('<tuplet type="start" />') == text.count('<tuplet type="stop" />') == 6
    assert text.count(">begin</beam>") == text.count(">end</beam>") == 6


def test_real_performances_are_engraved_with_every_note(data_sets, monkeypatch):
    monkeypatch.setattr(score_file, "_with_form", lambda arrangement, *_: arrangement)
    path = data_sets / "mozart-k331" / "p1.mid"
    arrangement = read_arrangement(path)
    back = read_score_bytes(engravable_text(path).encode(), "back")
    assert {(n.note_id, n.pitch, n.onset_q) for n in back.notes} == {
        (n.note_id, n.pitch, n.onset_q) for n in arrangement.notes
    }


def test_fingering_beside_the_score_stands_on_the_page(scores, tmp_path):
    """What the player set is engraved, on a score as on a MIDI file; "" takes the printed one."""
    score = tmp_path / "mine.musicxml"
    score.write_bytes((scores / "ties.musicxml").read_bytes())
    first, second = [n.note_id for n in read_arrangement(score).notes[:2]]
    (tmp_path / "mine.undersong.toml").write_text(f'[fingering]\n{first} = "3"\n', "utf-8")
    assert fingers(engravable_text(score)) == {first: "3"}
    page = read_arrangement(score)
    assert {n.note_id: n.fingering for n in page.notes if n.fingering} == {first: "3"}
    printed = tmp_path / "printed.musicxml"
    printed.write_text(engravable_text(score), "utf-8")
    told = f'[fingering]\n{first} = ""\n{second} = "1-2"\n'
    (tmp_path / "printed.undersong.toml").write_text(told, "utf-8")
    assert fingers(engravable_text(printed)) == {second: "1-2"}


def fingers(text):
    notes = ElementTree.fromstring(text.encode()).iter("note")
    found = {note.get("id"): note.findtext(".//fingering") for note in notes}
    return {note_id: finger for note_id, finger in found.items() if finger}
