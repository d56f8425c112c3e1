"""What holds for every score: folding gives back the page; any bytes are read or refused."""

from __future__ import annotations

import struct
from collections import defaultdict
from fractions import Fraction

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from engine.errors import ScoreError
from engine.read import read_score_bytes, score_file
from engine.read.report import Report
from engine.read.unfold import unfold
from engine.read.written import Ending, Jump, WrittenBar, WrittenNote, WrittenScore

EXAMPLES = 150

#: 96 ticks a quarter; a meter, a key, a tempo, two notes, a pedal, the end.
MIDI_TRACK = bytes.fromhex(
    "00 FF 58 04 03 02 18 08  00 FF 59 02 FA 01  00 FF 51 03 07 A1 20"
    "00 90 3C 40  00 B0 40 7F  60 90 3C 00  00 40 40  60 B0 40 00  60 80 40 40  00 FF 2F 00"
)
MIDI = (
    b"MThd" + struct.pack(">LHHH", 6, 0, 1, 96)
    + b"MTrk" + struct.pack(">L", len(MIDI_TRACK)) + MIDI_TRACK
)  # fmt: skip


@st.composite
def written_scores(draw):
    """Scores of up to twelve bars with any repeats, endings and jumps, sensible or not."""
    count = draw(st.integers(1, 12))
    bars = []
    for i in range(count):
        bar = WrittenBar(str(i + 1), Fraction(4))
        for k in range(draw(st.integers(0, 3))):
            at_q = Fraction(draw(st.integers(0, 15)), 4)
            pitch = draw(st.integers(40, 80))
            bar.notes.append(
                WrittenNote(f"b{i}k{k}", at_q, Fraction(1, 4), pitch, "C", 0, 4, 1, "1")
            )
        bar.repeat_start = draw(st.booleans())
        bar.repeat_end = draw(st.booleans())
        bar.repeat_times = draw(st.integers(1, 4))
        bar.after_jump = draw(st.booleans())
        if draw(st.integers(0, 3)) == 0:
            numbers = draw(st.frozensets(st.integers(1, 4), max_size=2))
            bar.ending = Ending(numbers, draw(st.booleans()), draw(st.booleans()))
        kinds = st.sampled_from(("segno", "coda", "fine", "dacapo", "dalsegno", "tocoda"))
        for kind in draw(st.lists(kinds, max_size=2)):
            until = draw(st.sampled_from(("", "fine", "coda")))
            bar.jumps.append(Jump(kind, until=until, before=draw(st.booleans())))
        bars.append(bar)
    bars[0].notes.append(WrittenNote("first", Fraction(0), Fraction(1), 60, "C", 0, 4, 1, "1"))
    return WrittenScore("", bars, default_qpm=120.0)


@settings(max_examples=EXAMPLES, derandomize=True, deadline=None)
@given(written_scores())
def test_unfolding_then_folding_gives_back_the_page(score):
    arrangement = unfold(score, "", Report("x"))
    written = {n.note_id: (i, n) for i, bar in enumerate(score.bars) for n in bar.notes}
    times = defaultdict(list)
    for note in arrangement.notes:
        bar = arrangement.bars[note.bar]
        index, source = written[note.note_id]
        assert bar.written == index
        assert note.time == bar.time
        assert note.onset_q - bar.onset_q == source.at_q
        times[note.note_id].append(note.time)
    for heard in times.values():
        assert sorted(heard) == list(range(1, len(heard) + 1))
    played = {b.written for b in arrangement.bars}
    assert set(times) == {name for name, (index, _) in written.items() if index in played}


@settings(max_examples=EXAMPLES, derandomize=True, deadline=None)
@given(written_scores())
def test_the_arrangement_keeps_its_own_order(score):
    arrangement = unfold(score, "", Report("x"))
    onsets = [n.onset_q for n in arrangement.notes]
    assert onsets == sorted(onsets)
    ends = [b.onset_q + b.duration_q for b in arrangement.bars]
    assert [b.onset_q for b in arrangement.bars[1:]] == ends[:-1]
    assert [b.index for b in arrangement.bars] == list(range(len(arrangement.bars)))
    for i, note in enumerate(arrangement.notes):
        leader = arrangement.notes[note.unison]
        assert (leader.onset_q, leader.pitch) == (note.onset_q, note.pitch)
        assert leader.duration_q >= note.duration_q
        assert leader.unison == note.unison
        assert arrangement.index_of[note.score_id] == i


@pytest.fixture
def _notes_only(monkeypatch):
    monkeypatch.setattr(score_file, "_with_form", lambda arrangement, *_: arrangement)


def read_or_refuse(data):
    try:
        assert read_score_bytes(data, "any").notes
    except ScoreError as error:
        refusal = str(error)
    else:
        refusal = ""
    assert "\n" not in refusal


@pytest.mark.usefixtures("_notes_only")
@settings(
    max_examples=2 * EXAMPLES, derandomize=True, deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)  # fmt: skip
@given(st.sampled_from((b"", b"MThd", b"PK\x03\x04", b"<score-partwise>")), st.binary())
def test_any_bytes_are_read_or_refused(head, rest):
    read_or_refuse(head + rest)


@st.composite
def edited(draw, data):
    """A file with a few of its bytes changed, cut out or put in."""
    edit = st.tuples(st.integers(0, len(data)), st.integers(0, 40), st.binary(max_size=8))
    edits = draw(st.lists(edit, min_size=1, max_size=4))
    for at, length, put in edits:
        data = data[:at] + put + data[at + length :]
    return data


@pytest.mark.usefixtures("_notes_only")
@pytest.mark.parametrize(
    "name", ["dal-segno-al-coda", "graces", "tempo-marks", "pedal-lines", "ties-over-repeats"]
)
@settings(
    max_examples=EXAMPLES // 2, derandomize=True, deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)  # fmt: skip
@given(st.data())
def test_a_damaged_score_is_read_or_refused(scores, name, data):
    whole = (scores / f"{name}.musicxml").read_bytes()
    read_or_refuse(data.draw(edited(whole)))


@pytest.mark.usefixtures("_notes_only")
@settings(
    max_examples=2 * EXAMPLES, derandomize=True, deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)  # fmt: skip
@given(st.data())
def test_a_damaged_midi_file_is_read_or_refused(data):
    read_or_refuse(data.draw(edited(MIDI)))


@st.composite
def respelled(draw, text):
    """A score whose markup stays whole but whose numbers and words are changed."""
    from xml.etree import ElementTree

    root = ElementTree.fromstring(text)
    elements = list(root.iter())
    odd = st.sampled_from(("0", "-1", "1e9", "99999999999", "", "x", "0.3333", "4", "1/2", "no"))
    for _ in range(draw(st.integers(1, 6))):
        element = draw(st.sampled_from(elements))
        if element.attrib and draw(st.booleans()):
            element.set(draw(st.sampled_from(sorted(element.attrib))), draw(odd))
        elif len(element) and draw(st.booleans()):
            element.remove(draw(st.sampled_from(list(element))))
        else:
            element.text = draw(odd)
    return ElementTree.tostring(root)


@pytest.mark.usefixtures("_notes_only")
@pytest.mark.parametrize(
    "name", ["dal-segno-al-coda", "graces", "tempo-marks", "signatures", "endings-list", "marks"]
)
@settings(
    max_examples=EXAMPLES // 2, derandomize=True, deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)  # fmt: skip
@given(st.data())
def test_a_score_of_odd_values_is_read_or_refused(scores, name, data):
    whole = (scores / f"{name}.musicxml").read_bytes()
    read_or_refuse(data.draw(respelled(whole)))
