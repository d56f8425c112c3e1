"""The page in words and as JSON, remarks set aside, sections named: through the command."""

from __future__ import annotations

import io
import json
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest

from engine.errors import UndersongError
from engine.proof import find_remarks
from engine.proof.read_back import heading, read_back
from engine.read import read_arrangement
from practice.cli import main
from practice.environment import Environment
from practice.report.proof_book import PageWord, ProofBook
from practice.report.section_text import put_sections, sections_from_words, without_sections
from tests.proof.planting import Tree, notes, planted, respell
from tests.proof.test_planted import octave_left_out

SALT = "salt-pans-night-shift.musicxml"
NOW = datetime(2031, 5, 4, 9, 30, tzinfo=UTC)


def run(tmp_path: Path, *args: str) -> tuple[int, str, str]:
    out, err = io.StringIO(), io.StringIO()
    env = Environment(
        stdout=out, stderr=err, variables={"UNDERSONG_DATA": str(tmp_path / "data")},
        now=lambda: NOW,
    )  # fmt: skip
    return int(main(["proof", *args], env)), out.getvalue(), err.getvalue()


def write_planted(exercises: Path, tmp_path: Path) -> Path:
    """A copy of the exercise with an octave missing in bar 14."""
    from xml.etree import ElementTree

    root = ElementTree.parse(exercises / SALT).getroot()
    octave_left_out(root)
    path = tmp_path / SALT
    path.write_bytes(ElementTree.tostring(root))
    return path


def test_the_page_is_read_back_as_its_author_does(exercises: Path) -> None:
    lines = read_back(read_arrangement(exercises / SALT))
    text = "\n".join(lines)
    assert lines[0] == "Salt Pans, Night Shift: 56 bars, 103 as played, six flats"
    assert "  bars 5 and 13 begin alike for 5.5 bars: bar 10 goes on with A♭5; bar 18" in text
    assert "bar 10, beat 1: B𝄫5, flat fifth" in text
    assert "E♭m(add9)" in text
    assert "left hand, 8 places in 2 quarters" in text
    assert "all in octaves" in text


def test_every_exercise_and_an_empty_form_can_be_read_back(exercises: Path) -> None:
    for path in sorted(exercises.glob("*.musicxml")):
        assert len(read_back(read_arrangement(path))) > 8


def test_the_command_says_where_why_and_how_sure(exercises: Path, tmp_path: Path) -> None:
    status, out, _ = run(tmp_path, str(write_planted(exercises, tmp_path)), "--remarks")
    assert status == 0
    assert "1. bar 14, beat" in out
    assert "has no octave, where all line notes around it have one (likely)" in out


def test_a_remark_set_aside_stays_so_when_other_bars_are_edited(
    exercises: Path, tmp_path: Path
) -> None:
    path = write_planted(exercises, tmp_path)
    _, out, _ = run(tmp_path, str(path), "--json", "-")
    (remark,) = json.loads(out)["remarks"]
    status, out, _ = run(tmp_path, str(path), "--remarks", "--set-aside", remark["key"])
    assert (status, "1 set aside" in out) == (0, True)

    def edit(root: Tree) -> None:
        octave_left_out(root)
        respell(notes(root, 40, 2)[7], "D", -1, 3)  # as it was: but the file is another
        root.find("./part/measure[@number='30']").set("number", "30")

    again = find_remarks(planted(exercises / SALT, edit))
    assert remark["key"] in {r.key for r in again}
    _, out, _ = run(tmp_path, str(path), "--json", "-")
    assert json.loads(out)["remarks"] == []
    assert json.loads(out)["set_aside"][0]["key"] == remark["key"]
    _, out, _ = run(tmp_path, str(path), "--take-back", remark["key"], "--json", "-")
    assert len(json.loads(out)["remarks"]) == 1


def test_a_key_that_is_none_is_refused(exercises: Path, tmp_path: Path) -> None:
    status, _, err = run(tmp_path, str(exercises / SALT), "--set-aside", "0123")
    assert status == 1
    assert err.count("\n") == 1
    assert "there is no remark 0123" in err


def test_sections_are_shown_and_kept(exercises: Path, tmp_path: Path) -> None:
    path = tmp_path / "mine.musicxml"
    path.write_bytes((exercises / "two-sluices.musicxml").read_bytes())
    sidecar = tmp_path / "mine.undersong.toml"
    sidecar.write_text('# my notes\n[fingering]\nn2 = "1"\n', "utf-8")
    status, _, _ = run(tmp_path, str(path), "--sections", "Gate=1-8", "Flood=9-16")
    assert status == 0
    status, out, _ = run(tmp_path, str(path), "--sections")
    assert 'name = "Gate"' in out
    assert [s.name for s in read_arrangement(path).form.sections] == ["Gate", "Flood"]
    kept = sidecar.read_text("utf-8")
    assert kept.startswith("# my notes\n[fingering]")
    run(tmp_path, str(path), "--sections", "All=1-16")
    assert sidecar.read_text("utf-8").count("[[sections]]") == 1
    status, _, err = run(tmp_path, str(path), "--sections", "Far=1-99")
    assert (status, "there is no bar 99" in err) == (1, True)


def test_what_else_a_sidecar_says_is_kept() -> None:
    text = '[[hands]]\nhand = "left"\n[[sections]]\nname = "A"\n[[phrases]]\nfrom = "1"\n'
    assert without_sections(text) == '[[hands]]\nhand = "left"\n[[phrases]]\nfrom = "1"\n'


def test_comments_below_a_section_speak_of_what_comes_next() -> None:
    text = '[[ sections ]]\nname = "A"\n\n# the solo\n[fingering]\nn1 = "3"\n'
    assert without_sections(text) == '# the solo\n[fingering]\nn1 = "3"\n'


def test_a_sidecar_keeps_its_line_ends(tmp_path: Path) -> None:
    sidecar = tmp_path / "mine.undersong.toml"
    sidecar.write_bytes(b'[fingering]\r\nn2 = "1"\r\n')
    put_sections(sidecar, '[[sections]]\nname = "A"\nfrom = "1"\nto = "2"\n')
    written = sidecar.read_bytes()
    assert written.count(b"\n") == written.count(b"\r\n") == 7


def test_sections_written_in_another_way_are_left_alone(tmp_path: Path) -> None:
    """A table beside a list of the same name would be no TOML, and the score could not be read."""
    sidecar = tmp_path / "mine.undersong.toml"
    before = 'sections = [{name = "A", from = "1", to = "2"}]\n'
    sidecar.write_text(before, "utf-8")
    with pytest.raises(UndersongError, match="written in a way that cannot be changed"):
        put_sections(sidecar, '[[sections]]\nname = "B"\nfrom = "1"\nto = "2"\n')
    assert sidecar.read_text("utf-8") == before


@pytest.mark.parametrize("wanted", ["Verse=8-5", "Verse=5-8@7"])
def test_a_section_of_no_bars_is_refused_before_it_is_written(exercises: Path, wanted: str) -> None:
    """Backwards, or at a time through that never comes."""
    score = read_arrangement(exercises / "two-sluices.musicxml")
    with pytest.raises(UndersongError, match="there are no bars from"):
        sections_from_words([wanted], score)


def test_two_versions_are_compared(exercises: Path, tmp_path: Path) -> None:
    new = write_planted(exercises, tmp_path)
    status, out, _ = run(tmp_path, str(new), "--against", str(exercises / SALT))
    assert status == 0
    assert out.startswith("bar 14, right hand: changed: now without")
    assert "to be practised anew" in out


def test_what_was_said_while_practising_is_listed(exercises: Path, tmp_path: Path) -> None:
    book = ProofBook(tmp_path / "data" / "pages.json")
    title = read_arrangement(exercises / SALT).title
    book.say(title, PageWord("page-wrong", "18", 1.0, "n1", "A5", NOW.isoformat()))
    _, out, _ = run(tmp_path, str(exercises / SALT), "--remarks")
    assert "bar 18, beat 1: the page is wrong here (A5)" in out


def test_a_damaged_book_is_said_in_one_line(exercises: Path, tmp_path: Path) -> None:
    (tmp_path / "data").mkdir()
    (tmp_path / "data" / "pages.json").write_text("{", "utf-8")
    status, _, err = run(tmp_path, str(exercises / SALT))
    assert (status, err.count("\n")) == (1, 1)


def test_the_engraved_page_carries_the_remarks(exercises: Path, tmp_path: Path) -> None:
    from PIL import Image

    path = write_planted(exercises, tmp_path)
    status, _, _ = run(tmp_path, str(path), "--png", str(tmp_path / "p"), "--pdf",
                         str(tmp_path / "p.pdf"))  # fmt: skip
    assert status == 0
    pages = sorted((tmp_path / "p").glob("*.png"))
    assert len(pages) >= 2
    assert (tmp_path / "p.pdf").read_bytes().startswith(b"%PDF")
    colours = {c for _, c in Image.open(pages[0]).getcolors(1 << 24) or []}
    assert (150, 30, 30) in colours, "the mark is not on the first page"


@pytest.mark.parametrize(
    ("fifths", "words"), [(0, "no sharps"), (-1, "one flat"), (6, "six sharps"), (-14, "fourteen")]
)
def test_the_heading_names_every_key_signature_the_reader_takes(
    exercises: Path, fifths: int, words: str
) -> None:
    assert words in heading(replace(read_arrangement(exercises / SALT), fifths=fifths))
