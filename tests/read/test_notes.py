"""Notes of MusicXML scores, each expectation worked out by hand from the score beside it."""

from __future__ import annotations

from fractions import Fraction

import pytest

from engine.errors import ScoreError


def as_played(arrangement):
    """(name, onset, duration) of every note, quarters, exact."""
    return [(n.name, n.onset_q, n.duration_q) for n in arrangement.notes]


def right_hand(arrangement):
    return [n.name for n in arrangement.notes if n.hand == "right"]


def left_hand(arrangement):
    return [n.name for n in arrangement.notes if n.hand == "left"]


# Ties


def test_a_chain_of_ties_is_one_note_with_all_its_heads(read):
    notes = {n.note_id: n for n in read("ties").notes}
    assert set(notes) == {"n1", "a", "l1", "n8", "d"}
    assert (notes["a"].onset_q, notes["a"].duration_q) == (2, 7)
    assert notes["a"].heads == ("a", "b", "c")
    assert notes["l1"].heads == ("l1", "l2")
    assert notes["d"].onset_q == 9, "the untied note of the same key is struck again"


def test_an_enharmonic_tie_keeps_the_first_spelling(read):
    assert as_played(read("tie-enharmonic")) == [("Bbb4", 0, 6), ("A4", 6, 2)]


def test_ties_follow_the_playing_order_over_repeats_and_endings(read):
    arrangement = read("ties-over-repeats")
    held = {n.score_id: (n.onset_q, n.duration_q, n.heads) for n in arrangement.notes}
    # The very first head has nothing to be tied to and is struck; after the first ending it is
    # the end of a tie, and so is the head in the second ending.
    assert held["first-1"] == (0, 4, ("first",))
    assert held["last-1"] == (6, 10, ("last", "one", "first"))
    assert held["last-2"] == (18, 6, ("last", "two"))
    assert "first-2" not in held


def test_ties_that_are_only_printed_count(read):
    assert as_played(read("ties-printed-only")) == [("C4", 0, 8)]


# Lengths


def test_tuplets_are_exact(read):
    onsets = [n.onset_q for n in read("tuplets").notes]
    # A triplet of eighths, then a quintuplet-like group written 3 2 3 2 2 twelfths of a quarter.
    assert onsets == [
        0,
        Fraction(1, 3),
        Fraction(2, 3),
        1,
        Fraction(5, 4),
        Fraction(17, 12),
        Fraction(5, 3),
        Fraction(11, 6),
    ]


def test_a_tuplet_inside_a_tuplet_is_exact(read):
    notes = read("tuplets-nested").notes
    # Three quarters in two, the middle one five 16ths in four: 2/3 divided by 5 is 2/15.
    assert [n.duration_q for n in notes] == [Fraction(2, 3)] + [Fraction(2, 15)] * 5 + [
        Fraction(2, 3)
    ]
    assert notes[-1].onset_q == Fraction(4, 3)


def test_signatures_and_divisions_may_change(read):
    arrangement = read("signatures")
    assert as_played(arrangement) == [
        ("C4", 0, 3),
        ("D4", 3, Fraction(5, 2)),
        ("E4", Fraction(11, 2), Fraction(5, 2)),
        ("F4", 8, 1),
        ("G4", 9, 2),
    ]
    # 3+2/8; 3/8 and 1/4 together are 5/8; without a signature the beat is a quarter.
    meters = [(b.beats, b.beat_unit) for b in arrangement.bars]
    assert meters == [(6, 8), (5, 8), (5, 8), (3, 4)]


# Voices, chords, hands


def test_voices_start_together_after_a_backup(read):
    assert as_played(read("voices")) == [
        ("C2", 0, 4), ("C3", 0, 1), ("C5", 0, 2), ("G5", 0, 4), ("G3", 1, 3), ("D5", 2, 2),
    ]  # fmt: skip


def test_chord_notes_share_the_onset_and_may_be_shorter(read):
    arrangement = read("chords")
    assert as_played(arrangement) == [
        ("C2", 0, 4), ("C3", 0, 4), ("C5", 0, 2), ("E5", 0, 2), ("G5", 0, 1), ("F5", 2, 2),
    ]  # fmt: skip


def test_a_chord_note_without_voice_is_of_its_chords_voice(read):
    assert {n.voice for n in read("chords").notes if n.hand == "left"} == {"5"}


def test_cross_staff_notes_stay_with_their_voices_hand(read):
    arrangement = read("cross-staff")
    assert left_hand(arrangement) == ["C3", "G3", "C4", "E4", "C3", "C3"]
    assert right_hand(arrangement) == ["C5", "G4", "G3"]
    assert [n.staff for n in arrangement.notes if n.name in ("C4", "E4")] == [1, 1]


def test_one_voice_number_on_both_staves_goes_by_runs(read):
    arrangement = read("voice-number-shared")
    assert right_hand(arrangement) == ["C5", "G4", "E5"]
    assert left_hand(arrangement) == ["C3", "E3", "C4"], "the run began on the lower staff"


def test_unisons_point_to_the_longest(read):
    arrangement = read("unisons")
    table = [(n.name, n.duration_q, n.unison) for n in arrangement.notes]
    # Three Cs at once: the whole note (index 1) stands for them; the Ds are not together.
    assert table == [("C4", 1, 1), ("C4", 4, 1), ("C4", 2, 1), ("D4", 3, 3), ("D4", 2, 4)]


# Graces, ornaments, small print


def test_graces_belong_to_their_note_in_the_order_of_the_page(read):
    arrangement = read("graces")
    graces = [(n.name, n.onset_q, n.grace) for n in arrangement.notes if n.grace]
    assert graces == [
        ("D5", 0, "before"),
        ("F5", 2, "before"),
        ("E5", 2, "before"),
        ("B4", 4, "after"),  # two unslashed graces close the trill on C5
        ("C5", 4, "after"),
        ("E5", 6, "after"),  # steals time from the note before
        ("F5", 6, "after"),
        ("C4", 8, "before"),
        ("E4", 8, "before"),
        ("G4", 8, "before"),
    ]
    assert all(n.duration_q == 0 for n in arrangement.notes if n.grace)


def test_graces_stand_before_their_main_note_and_after_graces_behind_it(read):
    arrangement = read("graces")
    at_two = [(n.name, n.grace) for n in arrangement.notes if n.onset_q == 2]
    assert at_two == [("F5", "before"), ("E5", "before"), ("D5", "")]
    at_six = [(n.name, n.grace) for n in arrangement.notes if n.onset_q == 6]
    assert at_six == [("D5", ""), ("E5", "after"), ("F5", "after")]


def test_a_grace_tied_into_its_chord_is_struck_once(read):
    notes = read("grace-tied").notes
    assert [(n.name, n.grace, n.duration_q, len(n.heads)) for n in notes] == [
        ("C4", "before", 4, 2), ("E4", "before", 4, 2), ("G4", "", 4, 1),
    ]  # fmt: skip


def test_ornament_signs_are_kept(read):
    signs = [n.ornament for n in read("ornaments").notes]
    assert signs == [
        "trill", "mordent", "inverted-mordent", "turn", "inverted-turn", "turn", "schleifer",
        "tremolo", "tremolo", "tremolo", "trill", "other",
    ]  # fmt: skip


def test_a_two_note_tremolo_keeps_its_sounding_lengths(read):
    # MusicXML 4.0: the two notes of a double tremolo each have half the written value.
    pair = [n for n in read("ornaments").notes if n.onset_q in (8, 10)]
    assert [(n.name, n.duration_q) for n in pair] == [("C4", 2), ("G4", 2)]


def test_an_arpeggio_mark_covers_its_chord_and_no_other(read):
    rolled = {n.name for n in read("arpeggio").notes if n.arpeggiated}
    assert rolled == {"C5", "E5", "G5"}


def test_cue_and_hidden_notes_are_optional(read):
    arrangement = read("cue-and-hidden")
    assert [(n.name, n.optional) for n in arrangement.notes] == [
        ("C4", False), ("D4", True), ("E4", True), ("F4", False),
        ("G4", False),  # only its tied head is hidden
    ]  # fmt: skip


def test_fingering_as_printed(read):
    assert [n.fingering for n in read("fingering").notes] == ["1", "2-1"]


# Pitch


def test_an_octave_line_does_not_move_the_pitch(read):
    # MusicXML 4.0: pitch is as sounding already, whatever the line above says.
    assert [n.pitch for n in read("octave-shift").notes] == [84, 72]


def test_a_clef_change_moves_neither_pitch_nor_hand(read):
    arrangement = read("clef-change")
    assert left_hand(arrangement) == ["C3", "E4"]
    assert [n.pitch for n in arrangement.notes if n.hand == "left"] == [48, 64]


def test_double_and_triple_accidentals(read):
    pitches = {n.name: n.pitch for n in read("double-accidentals").notes}
    # Octave numbers follow the letter: Cb5 is below C5, B#3 is middle C.
    assert pitches == {
        "Dbb3": 48, "Bbb4": 69, "Ebb5": 74, "Cbb4": 58, "Cb5": 71, "B#3": 60, "F##4": 67,
        "C##3": 50, "Bbbb4": 68, "C###5": 75,
    }  # fmt: skip


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("transposed", "transposing instrument"),
        ("microtone", "bar 2: D4 is altered by 0.5 semitones"),
        ("quartet", "4 parts"),
        ("rests-only", "holds no notes"),
        ("percussion", "percussion only"),
    ],
)
def test_what_no_pianist_can_play_is_refused_in_one_line(read, name, words):
    with pytest.raises(ScoreError) as refusal:
        read(name)
    assert words in str(refusal.value)
    assert "\n" not in str(refusal.value)


# Parts


def test_two_parts_of_one_staff_are_the_two_hands(read):
    arrangement = read("two-parts")
    assert right_hand(arrangement) == ["C5", "D5"]
    assert left_hand(arrangement) == ["C3", "D3"]
    assert [n.note_id for n in arrangement.notes] == ["n3", "n1", "n4", "n2"]


def test_a_timewise_score_reads_as_its_partwise_twin(read):
    wise, plain = read("timewise"), read("two-parts")
    assert as_played(wise) == as_played(plain)
    assert left_hand(wise) == left_hand(plain)


def test_the_piano_is_taken_out_of_a_song_and_the_rest_named(read):
    arrangement = read("voice-and-piano")
    assert [n.name for n in arrangement.notes] == ["C3", "C5"]
    assert any("Voice" in problem.what for problem in arrangement.problems)


def test_three_staves_and_a_lone_bass_staff(read):
    assert left_hand(read("three-staves")) == ["C3"]
    assert left_hand(read("one-staff-bass")) == ["C3"]


# Ids


def test_ids_are_kept_missing_ones_counted_bad_ones_replaced(read):
    arrangement = read("ids")
    # A second "alpha" and an id with a space are renamed by their place among all notes;
    # the file's own n6 stays.
    names = {n.name: n.note_id for n in arrangement.notes}
    assert names == {"C4": "alpha", "D4": "n2", "E4": "n3", "F4": "n4", "G4": "n6", "A4": "n6x1"}
    assert any("renamed" in problem.what for problem in arrangement.problems)
