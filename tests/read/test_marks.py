"""Tempo, pedal and everything printed that is not a note; expectations worked out by hand."""

from __future__ import annotations

from fractions import Fraction

import pytest


def tempo_of(arrangement):
    return [(t.onset_q, t.qpm, t.beat_unit_q) for t in arrangement.tempo]


def pedals_of(arrangement):
    return [(p.down_q, p.up_q, p.kind) for p in arrangement.pedals]


def marks_of(arrangement, *kinds):
    return [(m.kind, m.onset_q, m.bar, m.text) for m in arrangement.marks if m.kind in kinds]


# Tempo


def test_tempo_marks_in_quarters_a_minute(read):
    assert tempo_of(read("tempo-marks")) == [
        (0, 72, 1),  # quarter = 72
        (2, 90, 1),  # a sound in the middle of the bar, beat unit as before
        (4, 104, 2),  # half = 50, but the sound says 104 quarters and wins
        (8, 208, 2),  # old quarter = new half: twice as many quarters
        (12, 66, 1),  # "c. 66"
    ]


def test_a_dotted_beat_unit(read):
    # Dotted quarter = 40 is 60 quarters a minute.
    assert tempo_of(read("tempo-dotted")) == [(0, 60, Fraction(3, 2)), (3, 90, Fraction(3, 2))]


def test_a_repeat_brings_back_the_tempo_of_its_place(read):
    assert tempo_of(read("tempo-over-repeat")) == [(0, 80, 1), (8, 60, 1), (12, 80, 1), (16, 60, 1)]


def test_seconds_follow_the_tempo(read):
    # Two quarters at 72, two at 90, then 104: 5/3 s, 4/3 s.
    seconds = read("tempo-marks").seconds_at([0, 2, 4, 8])
    assert seconds == pytest.approx([0, 5 / 3, 3, 3 + 4 * 60 / 104])


def test_a_missing_tempo_is_assumed_and_said(read):
    arrangement = read("voice-and-piano")
    assert [t.qpm for t in arrangement.tempo] == [120]
    assert any("no tempo is given" in p.what for p in arrangement.problems)


# Pedal


def test_pedal_lines_break_at_a_change_and_go_on_over_systems(read):
    assert pedals_of(read("pedal-lines")) == [(0, 2, "damper"), (2, 8, "damper")]


def test_pedal_signs_a_second_ped_is_a_change(read):
    arrangement = read("pedal-signs")
    assert pedals_of(arrangement) == [
        (0, 2, "damper"),
        (2, 4, "damper"),
        (Fraction(11, 2), 8, "damper"),  # printed half a quarter after beat 2, by its offset
        (8, 12, "damper"),  # never lifted: held to the end, and said
    ]
    assert [(p.bar, p.what) for p in arrangement.problems] == [
        ("3", "the pedal put down here is never lifted")
    ]


def test_three_pedals_at_once(read):
    assert pedals_of(read("pedal-sostenuto-soft")) == [
        (0, 2, "damper"), (0, 4, "sostenuto"), (0, 6, "soft"),
    ]  # fmt: skip


def test_the_pedal_is_repeated_with_its_bars(read):
    assert pedals_of(read("pedal-over-repeat")) == [(2, 6, "damper"), (10, 14, "damper")]


# Marks


def test_fermatas_on_a_note_a_rest_and_a_barline(read):
    marks = [(m.onset_q, m.note_id) for m in read("fermata").marks if m.kind == "fermata"]
    assert marks == [(0, "n1"), (2, ""), (8, "")]


def test_rehearsal_marks_words_and_barlines(read):
    arrangement = read("marks")
    assert marks_of(arrangement, "rehearsal", "words", "double-bar", "final-bar") == [
        ("rehearsal", 0, 0, "A"),
        ("words", 0, 0, "dolce"),
        ("double-bar", 4, 0, ""),
        ("rehearsal", 4, 1, "B"),
        ("final-bar", 7, 1, ""),
    ]


def test_dynamics_wedges_slurs_and_breaths(read):
    kinds = ("dynamic", "wedge", "slur-start", "slur-end", "breath")
    assert marks_of(read("marks"), *kinds) == [
        ("dynamic", 0, 0, "pp"),
        ("slur-start", 0, 0, ""),
        ("wedge", 2, 0, "crescendo"),
        ("slur-end", 2, 0, ""),
        ("breath", 2, 0, ""),
    ]


def test_key_and_time_changes(read):
    arrangement = read("marks")
    keys = [(m.onset_q, m.value, m.text) for m in arrangement.marks if m.kind == "key"]
    assert keys == [(0, 0, ""), (4, -3, "minor")]
    assert marks_of(arrangement, "time") == [("time", 0, 0, "4/4"), ("time", 4, 1, "3/4")]
    assert arrangement.fifths == 0


def test_a_repeat_brings_back_the_key_of_its_place(read):
    """Bars 1, 2 in G, bar 3 in E flat; 2 and 3 come twice, and bar 2 has no signature printed."""
    keys = [(m.onset_q, m.bar, m.value) for m in read("key-over-repeat").marks if m.kind == "key"]
    assert keys == [(0, 0, 1), (8, 2, -3), (12, 3, 1), (16, 4, -3)]


def test_octave_lines_are_marked(read):
    marks = [(m.onset_q, m.text, m.value) for m in read("octave-shift").marks
             if m.kind == "octave-shift"]  # fmt: skip
    assert marks == [(0, "down", 8), (4, "stop", 8)]


def test_repeat_signs_endings_and_jumps_are_marked_each_time(read):
    assert marks_of(read("endings"), "repeat-start", "repeat-end", "ending") == [
        ("repeat-start", 0, 0, ""),
        ("ending", 4, 1, "1"),
        ("repeat-end", 8, 1, ""),
        ("repeat-start", 8, 2, ""),
        ("ending", 12, 3, "2"),
    ]
    jumps = marks_of(read("dal-segno-al-coda"), "segno", "tocoda", "dalsegno", "coda")
    assert [kind for kind, *_ in jumps] == [
        "segno",
        "tocoda",
        "dalsegno",
        "segno",
        "tocoda",
        "coda",
    ]
