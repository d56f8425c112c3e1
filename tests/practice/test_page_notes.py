"""What the player says of the page at the piano is written down, and nothing else is touched."""

from __future__ import annotations

import re
import tomllib
from datetime import UTC, datetime

import numpy as np
import pytest

from engine.arrangement import Span
from engine.errors import UndersongError
from engine.read import engravable_text, read_arrangement
from engine.read.note_places import place_text
from practice.clock import ManualClock
from practice.drill import Drill
from practice.listen.sitting import Setting, Sitting
from practice.player import CHARACTERS, perform
from practice.report.fingering_text import put_finger, with_finger
from practice.report.proof_book import ProofBook
from practice.snapshot import Command
from tests.waiting import wait_for

SPAN = Span(2, 4)
SIDECAR = (
    '# mine\r\n[fingering] # so far\r\nn2 = "1" # thumb\r\n\r\n'
    '[[sections]]\r\nname = "A"\r\nfrom = "1"\r\nto = "4"\r\n'
)


def now():
    return datetime(2026, 5, 1, 9, tzinfo=UTC)


@pytest.fixture
def score(exercises, tmp_path):
    path = tmp_path / "pump.musicxml"
    path.write_bytes((exercises / "brine-pump.musicxml").read_bytes())
    return path


def sit(score, book_path):
    clock = ManualClock()
    arrangement = read_arrangement(score)
    setting = Setting(arrangement, str(score), Drill(SPAN), clock, now)
    sitting = Sitting(setting, None, book_path=book_path)
    sitting.start()
    return sitting, clock, arrangement


def play_with_a_slip(sitting, clock, arrangement):
    """A pass in the middle of which one key is struck a semitone too high."""
    events = perform(
        arrangement, CHARACTERS["demo"], np.random.default_rng(2), span=SPAN, start_s=1.0
    )
    ons = [k for k, e in enumerate(events) if e.data[0] == 0x90 and e.data[2]]
    at = ons[len(ons) // 2]
    pitch = events[at].data[1]
    for k, event in enumerate(events):
        data = event.data
        if k >= at and data[0] in (0x80, 0x90) and data[1] == pitch:
            data = bytes((data[0], pitch + 1, data[2]))
            pitch = -1 if k > at else pitch  # its release too, and no key after it
        clock.move_to(event.time_s)
        sitting.hand_on(type(event)(event.time_s, event.uncertainty_s, data))
    clock.move_to(events[-1].time_s + 60)
    wait_for(lambda: sitting.snapshot().passes)
    return sitting.snapshot().passes[0]


def test_a_word_on_a_slip_is_kept_where_the_slip_is(score, tmp_path):
    book_path = tmp_path / "data" / "pages.json"
    sitting, clock, arrangement = sit(score, book_path)
    record = play_with_a_slip(sitting, clock, arrangement)
    slip = next(k for k, s in enumerate(record.slips) if s.score is not None)
    sitting.tell(Command("page-wrong", pass_number=1, slip=slip))
    wait_for(lambda: sitting.snapshot().said)
    sitting.tell(Command("meant-that", pass_number=1, slip=slip))
    sitting.tell(Command("meant-that", pass_number=1, slip=99))
    sitting.tell(Command("meant-that", pass_number=7, slip=0))
    first_said = sitting.snapshot().said
    sitting.stop()
    words = ProofBook(book_path).words(arrangement.title)
    assert [w.what for w in words] == ["page-wrong", "meant-that"]
    note = arrangement.notes[record.slips[slip].score]
    bar = arrangement.bars[note.bar]
    assert (words[0].bar, words[0].note_id) == (bar.number, note.note_id)
    assert words[0].beat == float(bar.beat_at(note.onset_q))
    assert first_said.startswith(f"Kept for the proof: bar {bar.number}, the page is wrong here")
    assert "played so on purpose" in sitting.snapshot().said


def test_what_was_said_last_can_be_taken_back(score, tmp_path):
    book_path = tmp_path / "pages.json"
    sitting, clock, arrangement = sit(score, book_path)
    play_with_a_slip(sitting, clock, arrangement)
    sitting.tell(Command("page-wrong", pass_number=1, slip=0))
    sitting.tell(Command("meant-that", pass_number=1, slip=0))
    sitting.tell(Command("unsay"))
    wait_for(lambda: sitting.snapshot().said.startswith("Taken back"))
    assert [w.what for w in ProofBook(book_path).words(arrangement.title)] == ["page-wrong"]
    sitting.tell(Command("unsay"))
    sitting.tell(Command("unsay"))
    wait_for(lambda: sitting.snapshot().said.startswith("Nothing"))
    sitting.stop()
    assert ProofBook(book_path).words(arrangement.title) == ()


def test_a_book_that_cannot_be_kept_is_said_and_not_confirmed(score, tmp_path):
    book_path = tmp_path / "pages.json"
    book_path.write_text("{", "utf-8")
    sitting, clock, arrangement = sit(score, book_path)
    play_with_a_slip(sitting, clock, arrangement)
    sitting.tell(Command("page-wrong", pass_number=1, slip=0))
    wait_for(lambda: "not kept" in sitting.snapshot().message)
    sitting.stop()
    assert sitting.snapshot().said == ""
    assert book_path.read_text("utf-8") == "{"


def test_fingering_set_at_the_piano_is_there_at_the_next_reading(score, tmp_path):
    sitting, _, arrangement = sit(score, None)
    index = next(k for k, n in enumerate(arrangement.notes) if n.fingering != "5")
    note = arrangement.notes[index]
    sitting.tell(Command("fingering", extra={"note_id": note.note_id, "fingering": "5"}))
    sitting.stop()
    again = read_arrangement(score)
    assert again.notes[index].fingering == "5"
    assert again.content_hash == arrangement.content_hash


def test_fingering_on_a_score_without_ids_outlives_a_note_more_before_it(score, tmp_path):
    bare = re.sub(r'<note id="[^"]*"', "<note", score.read_text("utf-8"))
    score.write_text(bare, "utf-8")
    sitting, _, arrangement = sit(score, None)
    note = next(n for n in arrangement.notes if n.bar == 4 and n.hand == "right")
    sitting.tell(Command("fingering", extra={"note_id": note.note_id, "fingering": "4"}))
    sitting.stop()
    sidecar = (tmp_path / "pump.undersong.toml").read_text("utf-8")
    assert f'"{arrangement.bars[4].number}:' in sidecar
    first = re.search(r"<note\b.*?</note>", bare, re.S)
    assert first is not None
    chord = re.sub(r"(<note\b[^>]*>)", r"\1<chord/>", first[0])
    chord = re.sub(r"<octave>(\d)", lambda o: f"<octave>{int(o[1]) + 1}", chord)
    score.write_text(bare.replace(first[0], first[0] + chord, 1), "utf-8")
    again = read_arrangement(score)
    assert len(again.notes) > len(arrangement.notes)
    found = [n for n in again.notes if n.bar == 4 and n.fingering == "4"]
    assert [(n.onset_q, n.name) for n in found] == [(note.onset_q, note.name)]
    assert found[0].note_id != note.note_id
    assert f'id="{found[0].note_id}"' in engravable_text(score)
    assert engravable_text(score).count("<fingering>4</fingering>") == 1
    put_finger(score, found[0].note_id, "5", place_text(again, found[0]))
    assert (tmp_path / "pump.undersong.toml").read_text("utf-8") == sidecar.replace('"4"', '"5"')


def test_fingering_that_cannot_be_written_is_said_in_one_line(score, tmp_path):
    sidecar = tmp_path / "pump.undersong.toml"
    sitting, _, arrangement = sit(score, None)
    sidecar.write_text("[fingering\n", "utf-8")
    told = {"note_id": arrangement.notes[0].note_id, "fingering": "5"}
    sitting.tell(Command("fingering", extra=told))
    wait_for(lambda: sitting.snapshot().message)
    message = sitting.snapshot().message
    sitting.stop()
    assert str(sidecar) in message
    assert "\n" not in message
    assert sidecar.read_text("utf-8") == "[fingering\n"


def test_all_else_in_a_sidecar_is_kept_to_the_byte():
    changed = with_finger(SIDECAR, "n2", "3")
    assert changed == SIDECAR.replace('n2 = "1"', 'n2 = "3"')
    added = with_finger(SIDECAR, "n3", "")
    assert added == SIDECAR.replace("# thumb\r\n", '# thumb\r\nn3 = ""\r\n')
    assert with_finger("", "n1", "2") == '[fingering]\nn1 = "2"\n'
    assert with_finger("[fingering]", "n1", "2") == '[fingering]\nn1 = "2"\n'


@pytest.mark.parametrize("note_id", ["n1", "a b", 'q"uo\\te', "ü", "x.y"])
def test_any_note_id_can_be_a_key(note_id, score, tmp_path):
    for finger in ("1", "2-3"):
        path = put_finger(score, note_id, finger)
        assert tomllib.loads(path.read_text("utf-8")) == {"fingering": {note_id: finger}}
    assert sorted(p.name for p in tmp_path.iterdir()) == [score.name, path.name]


@pytest.mark.parametrize(
    "text",
    ['fingering = {n1 = "1"}\n', 'fingering.n1 = "1"\n', '["fingering"]\nn1 = "1"\n',
     '[[sections]]\nname = """\n[fingering]\n"""\nfrom = "1"\nto = "2"\n'],
)  # fmt: skip
def test_what_is_written_otherwise_is_left_alone(text, score, tmp_path):
    sidecar = tmp_path / "pump.undersong.toml"
    sidecar.write_text(text, "utf-8")
    with pytest.raises(UndersongError, match="cannot be added to"):
        put_finger(score, "n2", "2")
    assert sidecar.read_text("utf-8") == text
