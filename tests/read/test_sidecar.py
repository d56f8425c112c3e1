"""The file beside the score: hands, fingering, and what it may not say."""

from __future__ import annotations

from fractions import Fraction

import pytest

from engine.errors import ScoreError
from engine.read import read_arrangement, read_score_bytes
from engine.read.sidecar import Place, Sidecar, Stretch, read_sidecar, sidecar_path


@pytest.fixture
def with_sidecar(scores):
    """Read a small score with the given sidecar text."""

    def read(name, text):
        data = (scores / f"{name}.musicxml").read_bytes()
        return read_score_bytes(data, f"{name}.musicxml", text.encode())

    return read


def hands(arrangement):
    return {n.score_id: n.hand for n in arrangement.notes}


def test_notes_are_given_to_a_hand_by_id(with_sidecar):
    arrangement = with_sidecar("voices", '[[hands]]\nhand = "left"\nnotes = ["n2"]\n')
    assert hands(arrangement)["n2-1"] == "left"
    assert hands(arrangement)["n1-1"] == "right"


def test_a_stretch_is_given_to_a_hand_staff_by_staff(with_sidecar):
    text = '[[hands]]\nhand = "right"\nfrom = "1:2"\nto = "1:3"\nstaff = 2\n'
    arrangement = with_sidecar("voices", text)
    # On the lower staff only G3, on beat 2, begins between beats 2 and 3.
    assert [n.name for n in arrangement.notes if n.hand == "right"] == ["C5", "G5", "G3", "D5"]


def test_a_stretch_can_name_one_time_through(with_sidecar):
    text = '[[hands]]\nhand = "left"\nfrom = "1@2"\nto = "2@2"\n'
    arrangement = with_sidecar("repeat-times", text)
    assert [n.time for n in arrangement.notes if n.hand == "left"] == [2, 2]


def test_fingering_is_added_and_changed(with_sidecar):
    arrangement = with_sidecar("fingering", '[fingering]\nn1 = "5"\nn2 = "3-4"\n')
    assert [n.fingering for n in arrangement.notes] == ["5", "3-4"]


def test_form_keys_are_read_for_the_form():
    sidecar = read_sidecar(
        b'[[sections]]\nname = "Return"\nletter = "A"\nfrom = "9@2"\nto = "16@2"\n'
        b'[[phrases]]\nfrom = "1"\nto = "4:3.5"\n'
        b'[[figures]]\nhand = "left"\nbeats = 1.5\nfrom = "1"\nto = "8"\n',
        "x.undersong.toml",
    )
    assert sidecar.sections[0].name == "Return"
    assert sidecar.sections[0].stretch == Stretch(Place("9", 2), Place("16", 2))
    assert sidecar.phrases == (Stretch(Place("1"), Place("4", beat=Fraction(7, 2))),)
    assert sidecar.figures[0].beats == Fraction(3, 2)


def test_unknown_notes_and_bars_are_problems_not_errors(with_sidecar):
    text = '[fingering]\nn99 = "1"\n[[hands]]\nhand = "left"\nfrom = "70"\nto = "71"\n'
    said = [p.what for p in with_sidecar("voices", text).problems]
    assert any("n99" in what for what in said)
    assert any("70 to 71" in what for what in said)


def test_the_sidecar_lies_beside_the_score(tmp_path, scores):
    score = tmp_path / "piece.musicxml"
    score.write_bytes((scores / "voices.musicxml").read_bytes())
    assert sidecar_path(score) == tmp_path / "piece.undersong.toml"
    assert {n.fingering for n in read_arrangement(score).notes} == {""}
    sidecar_path(score).write_text('[fingering]\nn1 = "4"\n')
    assert {n.fingering for n in read_arrangement(score).notes} == {"", "4"}


def test_a_sidecar_under_the_whole_name_goes_first(tmp_path, scores):
    score = tmp_path / "piece.musicxml"
    score.write_bytes((scores / "voices.musicxml").read_bytes())
    (tmp_path / "piece.undersong.toml").write_text('[fingering]\nn1 = "4"\n')
    (tmp_path / "piece.musicxml.undersong.toml").write_text('[fingering]\nn1 = "5"\n')
    assert {n.fingering for n in read_arrangement(score).notes} == {"", "5"}


def test_an_empty_sidecar_says_nothing():
    assert read_sidecar(b"", "x") == Sidecar()


@pytest.mark.parametrize(
    "text",
    [
        "[[hands",
        "hands = 3",
        '[[hands]]\nhand = "both"\nnotes = ["n1"]',
        '[[hands]]\nhand = "left"',
        '[[hands]]\nhand = "left"\nnotes = ["n1"]\nfrom = "1"\nto = "2"',
        '[[hands]]\nhand = "left"\nfrom = "1"',
        '[[hands]]\nhand = "left"\nfrom = "1:x"\nto = "2"',
        '[[hands]]\nhand = "left"\nnotes = "n1"',
        '[[hands]]\nhand = "left"\nfrom = "1"\nto = "2"\nstaff = "upper"',
        '[fingering]\nn1 = "6"',
        "[fingering]\nn1 = 3",
        "fingering = 1",
        '[[sections]]\nfrom = "1"\nto = "2"',
        '[[figures]]\nhand = "left"\nbeats = -1\nfrom = "1"\nto = "2"',
        "[tempo]\nslow = true",
        "\xff\xfe",
    ],
)
def test_a_bad_sidecar_is_refused_in_one_line(with_sidecar, text):
    with pytest.raises(ScoreError) as refusal:
        with_sidecar("voices", text)
    message = str(refusal.value)
    assert message.startswith("voices.undersong.toml")
    assert "\n" not in message


def test_a_score_may_have_a_name_too_long_for_a_sidecar(tmp_path, scores):
    """With the ending of the sidecar it is longer than a name of a file may be."""
    source = next(scores.glob("*.musicxml"))
    score = tmp_path / f"{'a' * 240}.musicxml"
    score.write_bytes(source.read_bytes())
    assert len(read_arrangement(score).notes) == len(read_arrangement(source).notes)


def test_what_a_sidecar_may_hold_is_told_in_words():
    with pytest.raises(ScoreError, match="it knows figures, fingering, hands, phrases, sections"):
        read_sidecar(b"foo = 1", "score.undersong.toml")
