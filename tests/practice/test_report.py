"""Reports and exports of a take: what is on them is what was played."""

from __future__ import annotations

import csv
import io
import json
import re
from datetime import UTC, datetime
from pathlib import Path
from xml.etree import ElementTree

import jsonschema
import mido
import music21
import numpy as np
import partitura
import pytest

import engine
from engine.arrangement import Arrangement, Span
from engine.performance import pair_notes
from engine.read import read_arrangement
from practice.cli import main
from practice.drill import Drill
from practice.environment import Environment, ExitStatus
from practice.library import open_arrangement
from practice.player import Character, Pedalling, SlipShares, perform_with_truth
from practice.report.marked_page import draw_systems, gather_marks, print_pitch, steps_between
from practice.report.report_plots import _bar_with
from practice.report.take_table import COLUMNS
from practice.store.importing import keep_recording

SCORES = Path(__file__).resolve().parents[1] / "fixtures" / "scores"
NOW = datetime(2026, 3, 1, 18, 0, tzinfo=UTC)
CHARACTER = Character(
    finger_sd_ms=8.0,
    slips=SlipShares(neighbour=0.02, left_out=0.02, accidental=0.02, added=0.01),
    pedalling=Pedalling(sd_ms=20.0),
)


@pytest.fixture(scope="module")
def score(exercises: Path) -> Path:
    return exercises / "two-sluices.musicxml"


@pytest.fixture(scope="module")
def sluices(score: Path, tmp_path_factory: pytest.TempPathFactory) -> Arrangement:
    return open_arrangement(score, tmp_path_factory.mktemp("cache"))


@pytest.fixture(scope="module")
def performance(sluices: Arrangement):
    return perform_with_truth(sluices, CHARACTER, np.random.default_rng(12), start_s=0.5)


@pytest.fixture(scope="module")
def data(tmp_path_factory, sluices: Arrangement, score: Path, performance) -> Path:
    """A folder of data with one take of one performance."""
    folder = tmp_path_factory.mktemp("data")
    drill = Drill(Span(0, len(sluices.bars) - 1), "both")
    keep_recording(folder / "takes.db", sluices, str(score), drill, list(performance.events), NOW)
    return folder


def export(data: Path, file: Path, *words: str) -> tuple[ExitStatus, str]:
    err = io.StringIO()
    env = Environment(stdout=io.StringIO(), stderr=err, variables={}, now=lambda: NOW)
    return main(["export", "1", str(file), "--data", str(data), *words], env), err.getvalue()


def exported(data: Path, tmp_path: Path, kind: str) -> Path:
    file = tmp_path / f"take.{kind}"
    assert export(data, file) == (ExitStatus.DONE, "")
    return file


def test_midi_reads_back_the_same_in_three_libraries(data, tmp_path, performance) -> None:
    """Notes, pedals and times to a millisecond: mido 1.3, music21 10.5, partitura 1.9."""
    file = str(exported(data, tmp_path, "mid"))
    notes = pair_notes(list(performance.events)).notes
    played = sorted((n.pitch, n.onset_s) for n in notes)
    clock, ons, pedals = 0.0, [], []
    for message in mido.MidiFile(file):
        clock += message.time
        if message.type == "note_on" and message.velocity:
            ons.append((message.note, clock))
        if message.is_cc(64):
            pedals.append((message.value, clock))
    assert [p for p, _ in sorted(ons)] == [p for p, _ in played]
    assert [t for _, t in sorted(ons)] == pytest.approx([t for _, t in played], abs=0.001)
    pressed = [(e.data[2], e.time_s) for e in performance.events if e.data[0] == 0xB0]
    assert [v for v, _ in pedals] == [v for v, _ in pressed]
    assert [t for _, t in pedals] == pytest.approx([t for _, t in pressed], abs=0.001)
    array = partitura.load_performance_midi(file).note_array()
    heard = sorted(zip(array["pitch"].tolist(), array["onset_sec"].tolist(), strict=True))
    assert [t for _, t in heard] == pytest.approx([t for _, t in played], abs=0.001)
    stream = music21.converter.parse(file, quantizePost=False)
    pitches = sorted(
        p.pitch.midi
        for n in stream.flatten().notes
        for p in (n.notes if n.isChord else (n,))
        if p.tie is None or p.tie.type == "start"  # it ties notes over the bars it makes up
    )
    assert pitches == [p for p, _ in played]


def test_json_holds_to_its_schema(data, tmp_path) -> None:
    told = json.loads(exported(data, tmp_path, "json").read_text())
    schema = Path(engine.__file__).parent / "result.schema.json"
    jsonschema.validate(told, json.loads(schema.read_text()))


def test_csv_has_a_row_for_every_note_played_or_left_out(data, tmp_path, performance) -> None:
    rows = list(csv.DictReader(io.StringIO(exported(data, tmp_path, "csv").read_text())))
    assert list(rows[0]) == list(COLUMNS)
    played = [int(row["played_index"]) for row in rows if row["played_index"]]
    assert sorted(played) == list(range(len(performance.truth)))
    assert sum(row["what"] == "missing" for row in rows) == len(performance.missing)
    slipped = {int(r["played_index"]) for r in rows if r["slip"] and r["played_index"]}
    truth = {t.played for t in performance.truth if t.kind}
    assert len(slipped ^ truth) <= 2


def test_the_marked_score_never_takes_the_scores_place(
    data: Path, tmp_path: Path, score: Path
) -> None:
    page = tmp_path / "mine.musicxml"
    page.write_bytes(score.read_bytes())
    told = io.StringIO()
    env = Environment(stdout=io.StringIO(), stderr=told, variables={"UNDERSONG_DATA": str(data)})
    asked = ["export", "1", str(page), "--score", str(page)]
    assert main(asked, env) == ExitStatus.FAILED
    assert "this is the score itself" in told.getvalue()
    assert page.read_bytes() == score.read_bytes()


def test_musicxml_keeps_every_note_and_says_every_slip(data, tmp_path, score) -> None:
    file = exported(data, tmp_path, "musicxml")
    marked, plain = (ElementTree.parse(path).getroot() for path in (file, score))
    ids = [[n.get("id") for n in root.iter("note")] for root in (marked, plain)]
    assert ids[0] == ids[1]
    coloured = [n for n in marked.iter("note") if n.get("color")]
    words = [w.text for w in marked.iter("words") if w.get("color")]
    assert len(coloured) == len(words) > 3
    assert any(word.startswith("left out") for word in words)
    notes = [
        [p.nameWithOctave for n in music21.converter.parse(path).flatten().notes for p in n.pitches]
        for path in (file, score)
    ]
    assert notes[0] == notes[1]


def test_the_marked_page_shows_lateness_slips_and_what_was_left_out(
    sluices: Arrangement, score: Path, performance
) -> None:
    from engine.read import engravable_text
    from engine.review import review_take

    recording = pair_notes(list(performance.events))
    (one,) = review_take(sluices, recording, hands="both").passes
    marks = gather_marks(sluices, one)
    told = [mark for at in marks.values() for mark in at]
    svg = "".join(s.svg for s in draw_systems(engravable_text(score), sluices, one))
    left_out = sum(m.missing for m in told)
    slips = sum(m.slip is not None for m in told)
    assert (left_out, slips) == (len(performance.missing), svg.count('fill="#fff"'))
    assert svg.count('stroke="#444444"') == left_out
    late = sum(m.deviation_ms is not None and m.deviation_ms > 2 for m in told)
    assert svg.count('stroke="#9a3d12"') == pytest.approx(late, abs=5)


def test_a_slip_stands_at_the_height_played() -> None:
    assert steps_between("Bbb4", "Bb4") == 0
    assert steps_between("B4", "C5") == 1
    assert steps_between("C4", "C3") == -7
    assert steps_between("C4", "") == 0
    assert print_pitch("Bbb4") == "B♭♭"
    assert print_pitch("F##5") == "F×"
    assert print_pitch("Bbbb4") == "B♭♭♭"
    assert print_pitch("F###5") == "F×♯"


def test_the_html_is_one_file_with_words_for_every_picture(data, tmp_path) -> None:
    html = exported(data, tmp_path, "html").read_text()
    assert html.count('role="img"') == html.count("<figure") >= 2
    assert not re.search(r'(src|href)="https?:', html)
    ids = re.findall(r'\bid="([^"]+)"', html)
    assert "Two Sluices, take 1, 2026-03-01" in html
    assert len(ids) > 100


def test_svg_and_pdf_are_whole(data, tmp_path) -> None:
    ElementTree.parse(exported(data, tmp_path, "svg"))
    pdf = exported(data, tmp_path, "pdf").read_bytes()
    assert pdf.startswith(b"%PDF-")
    assert pdf.rstrip().endswith(b"%%EOF")
    boxes = re.findall(rb"/MediaBox \[ 0 0 ([\d.]+) ([\d.]+) \]", pdf)
    assert {(round(float(w)), round(float(h))) for w, h in boxes} == {(595, 842)}  # A4, ISO 216


@pytest.mark.parametrize("file", ["take.xyz", "nowhere/take.csv"])
def test_what_cannot_be_written_is_one_line(data, tmp_path, file: str) -> None:
    status, said = export(data, tmp_path / file)
    assert status == ExitStatus.FAILED
    assert said.count("\n") == 1


def test_a_score_that_moved_can_be_named(data, tmp_path, score, exercises) -> None:
    wrong = exercises / "evaporation.musicxml"
    status, said = export(data, tmp_path / "take.csv", "--score", str(wrong))
    assert status == ExitStatus.FAILED
    assert "Two Sluices" in said
    moved = tmp_path / "elsewhere.musicxml"
    moved.write_bytes(score.read_bytes())
    assert export(data, tmp_path / "take.csv", "--score", str(moved))[0] == ExitStatus.DONE


def test_each_piece_of_a_bar_cut_by_a_repeat_has_its_own_moment() -> None:
    """Bars 1, 2a, 1, 2a, 2b, 3 of 4, 2, 4, 2, 2, 4 quarters: 2a begins at 4, 2b at 12."""
    page = read_arrangement(SCORES / "mid-bar-repeat.musicxml")
    found = [_bar_with(page, "2", 1, beat) for beat in (1.0, 2.5, 3.0, 4.5)]
    assert [bar.onset_q for bar in found if bar] == [4, 4, 12, 12]
    again = _bar_with(page, "2", 2, 1.0)
    assert again is not None
    assert again.onset_q == 10
    assert _bar_with(page, "9", 1, 1.0) is None
