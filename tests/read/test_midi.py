"""MIDI files as scores. The files are made here, byte for byte or with mido."""

from __future__ import annotations

import struct
from fractions import Fraction
from itertools import product

import mido
import numpy as np
import pytest

from engine.errors import ScoreError
from engine.read import read_arrangement, read_score_bytes
from engine.read.limits import MAX_MIDI_NOTES
from tests.read.making_midi import TICKS, key, meta, midi_bytes, together


def read(*tracks, **options):
    return read_score_bytes(midi_bytes(*tracks, **options), "piece.mid")


def as_played(arrangement):
    return [(n.pitch, n.onset_q, n.duration_q) for n in arrangement.notes]


def test_a_file_of_format_0_byte_for_byte():
    # 96 ticks a quarter; 3/4; 500,000 us a quarter; C4 a quarter, then by running status
    # E4 a half, both released by note-on with velocity 0.
    track = bytes.fromhex(
        "00 FF 58 04 03 02 18 08"
        "00 FF 51 03 07 A1 20"
        "00 90 3C 40"
        "60 3C 00"
        "00 40 40"
        "81 40 40 00"
        "00 FF 2F 00"
    )
    header = b"MThd" + struct.pack(">LHHH", 6, 0, 1, 96)
    data = header + b"MTrk" + struct.pack(">L", len(track)) + track
    arrangement = read_score_bytes(data, "piece.mid")
    assert as_played(arrangement) == [(60, 0, 1), (64, 1, 2)]
    assert [(b.beats, b.beat_unit, b.duration_q) for b in arrangement.bars] == [(3, 4, 3)]
    assert [(t.onset_q, t.qpm) for t in arrangement.tempo] == [(0, 120)]
    assert not arrangement.spelled
    assert arrangement.title == "piece"


def test_ids_go_by_tick_then_pitch():
    arrangement = read(key(64, 0, 1) + key(48, 0, 1) + key(60, 1, 2))
    assert [(n.note_id, n.pitch) for n in arrangement.notes] == [("n1", 48), ("n2", 64), ("n3", 60)]


def test_tuplets_and_small_values_become_exact_fractions():
    thirds = [key(60 + i, Fraction(i, 3), Fraction(i + 1, 3)) for i in range(3)]
    fifths = [key(70 + i, 1 + Fraction(i, 5), 1 + Fraction(i + 1, 5)) for i in range(5)]
    sixteenths = [key(80 + i, 2 + Fraction(i, 4), 2 + Fraction(i + 1, 4)) for i in range(4)]
    arrangement = read(together(thirds + fifths + sixteenths))
    assert [n.onset_q for n in arrangement.notes] == (
        [Fraction(i, 3) for i in range(3)]
        + [1 + Fraction(i, 5) for i in range(5)]
        + [2 + Fraction(i, 4) for i in range(4)]
    )
    assert {n.duration_q for n in arrangement.notes} == {
        Fraction(1, 3), Fraction(1, 5), Fraction(1, 4),
    }  # fmt: skip


def test_three_against_four_in_one_quarter():
    notes = [key(72 + i, Fraction(i, 3), Fraction(i + 1, 3)) for i in range(3)]
    notes += [key(48 + i, Fraction(i, 4), Fraction(i + 1, 4)) for i in range(4)]
    arrangement = read(together(notes))
    assert {n.onset_q for n in arrangement.notes} == {
        Fraction(x) for x in (0, "1/3", "2/3", "1/4", "1/2", "3/4")
    }


def test_notes_cut_short_by_a_gate_get_their_written_length():
    # Every note sounds 85 % of its length; the last has nothing after it.
    arrangement = read(together(key(60 + i, i, i + 0.85) for i in range(4)))
    assert [n.duration_q for n in arrangement.notes] == [1, 1, 1, 1]


def test_a_played_file_is_put_on_a_plain_grid():
    # Eighths, each up to 0.05 of a quarter early or late.
    slips = (0.03, -0.02, 0.05, -0.04, 0.01, 0.04, -0.05, 0.02)
    eighths = [key(60 + i, 1 + i / 2 + s, 1.4 + i / 2 + s) for i, s in enumerate(slips)]
    arrangement = read(together(eighths), ticks=TICKS)
    assert [n.onset_q for n in arrangement.notes] == [1 + Fraction(i, 2) for i in range(8)]


def test_tempo_key_and_meter_of_the_first_track_hold_for_all():
    arrangement = read(
        [
            meta(0, "track_name", name="Evening"),
            meta(0, "time_signature", numerator=6, denominator=8),
            meta(0, "key_signature", key="Ebm"),
            meta(0, "set_tempo", tempo=mido.bpm2tempo(60)),
            meta(3, "set_tempo", tempo=mido.bpm2tempo(90)),
            meta(3, "marker", text="B"),
        ],
        key(63, 0, 3) + key(66, 3, 6),
    )
    assert arrangement.title == "Evening"
    assert [(b.number, b.beats, b.beat_unit, b.onset_q) for b in arrangement.bars] == [
        ("1", 6, 8, 0), ("2", 6, 8, 3),
    ]  # fmt: skip
    assert [(t.onset_q, t.qpm, t.beat_unit_q) for t in arrangement.tempo] == [
        (0, 60, Fraction(3, 2)), (3, 90, Fraction(3, 2)),
    ]  # fmt: skip
    assert arrangement.fifths == -6
    assert [n.name for n in arrangement.notes] == ["Eb4", "Gb4"]
    kinds = {(m.kind, m.text, m.onset_q) for m in arrangement.marks}
    assert ("rehearsal", "B", 3) in kinds


def test_a_short_first_meter_is_a_pickup():
    arrangement = read(
        [meta(0, "time_signature", numerator=1, denominator=4),
         meta(1, "time_signature", numerator=4, denominator=4)],
        key(60, 0, 1) + key(62, 1, 5),
    )  # fmt: skip
    assert [(b.number, b.duration_q, b.lead_q) for b in arrangement.bars] == [
        ("0", 1, 3), ("1", 4, 0),
    ]  # fmt: skip


def test_pedals_are_down_from_64():
    # A switch is off to 63 and on from 64 (MIDI 1.0 controller definitions).
    def pedal(at, value, controller=64):
        return (
            round(at * TICKS),
            mido.Message("control_change", control=controller, value=value),
        )

    moves = [pedal(0, 63), pedal(1, 64), pedal(1.5, 127), pedal(2, 63), pedal(2.5, 127),
             pedal(3, 0), pedal(0, 127, 67), pedal(4, 0, 67)]  # fmt: skip
    arrangement = read(key(60, 0, 4) + moves)
    assert [(p.down_q, p.up_q, p.kind) for p in arrangement.pedals] == [
        (0, 4, "soft"), (1, 2, "damper"), (Fraction(5, 2), 3, "damper"),
    ]  # fmt: skip


def test_two_tracks_are_two_hands_the_higher_is_the_right():
    arrangement = read(key(48, 0, 1) + key(50, 1, 2), key(72, 0, 1) + key(74, 1, 2))
    assert [(n.pitch, n.hand, n.staff) for n in arrangement.notes] == [
        (48, "left", 2), (72, "right", 1), (50, "left", 2), (74, "right", 1),
    ]  # fmt: skip


def test_track_names_win_over_height():
    arrangement = read(
        [meta(0, "track_name", name="Piano LH"), *key(72, 0, 1)],
        [meta(0, "track_name", name="Piano RH"), *key(48, 0, 1)],
    )
    assert [(n.pitch, n.hand) for n in arrangement.notes] == [(48, "right"), (72, "left")]


def test_two_channels_of_format_0_are_two_hands():
    arrangement = read(key(48, 0, 1, channel=1) + key(72, 0, 1, channel=0), kind=0)
    assert [n.hand for n in arrangement.notes] == ["left", "right"]


def test_one_track_is_parted_into_two_hands():
    # A broken chord below, octaves above: nothing either hand could not reach.
    below = [key(p, i / 2, i / 2 + 0.5) for i, p in enumerate((43, 50, 55, 58) * 4)]
    above = [key(p, i, i + 1) for i in range(8) for p in (67 + i % 3, 79 + i % 3)]
    arrangement = read(together(below + above))
    assert {n.hand for n in arrangement.notes if n.pitch <= 58} == {"left"}
    assert {n.hand for n in arrangement.notes if n.pitch >= 67} == {"right"}


def test_the_split_agrees_with_the_staves_of_real_scores(data_sets):
    """Hands known from the staves; more than nine notes in ten agree with them."""
    from engine.read.hand_split import Struck, split_hands

    for name, least in (("chopin-op57", 0.9), ("mozart-k331", 0.9)):
        notes = [n for n in read_arrangement(data_sets / name / "score.musicxml").notes
                 if not n.grace]  # fmt: skip
        notes.sort(key=lambda n: (n.onset_q, n.pitch))
        struck = [Struck(float(n.onset_q), float(n.onset_q + n.duration_q), n.pitch) for n in notes]
        found = split_hands(struck)
        agreed = sum(a == n.hand for a, n in zip(found, notes, strict=True))
        assert agreed / len(notes) > least, name


def test_a_score_written_to_midi_and_read_back_keeps_onsets_and_lengths(data_sets):
    """Exact onsets survive the way through ticks, op. 25 no. 1's sextuplets and tuplets too."""
    arrangement = read_arrangement(data_sets / "chopin-op25-1" / "score.musicxml")
    notes = [n for n in arrangement.notes if not n.grace and n.duration_q > 0]
    seen = {(n.onset_q, n.pitch) for n in notes}
    notes = [n for n in notes if n.unison == arrangement.index_of[n.score_id]]
    tracks = [
        together(key(n.pitch, n.onset_q, n.onset_q + n.duration_q) for n in notes if n.hand == hand)
        for hand in ("right", "left")
    ]
    back = read(*tracks)
    onsets = {(n.onset_q, n.pitch) for n in back.notes}
    assert len(onsets & seen) / len(seen) > 0.99


def test_seconds_agree_with_mido(tmp_path):
    """mido's own sum of the tempo map is the outside value; the last event ends the last bar."""
    tempos = [meta(i, "set_tempo", tempo=400_000 + 37_000 * i) for i in range(8)]
    path = tmp_path / "tempos.mid"
    path.write_bytes(midi_bytes(tempos, key(60, 0, 8)))
    arrangement = read_arrangement(path)
    assert arrangement.seconds_at(8) == pytest.approx(mido.MidiFile(path).length, abs=1e-3)


def test_percussion_is_left_out_and_said():
    arrangement = read(key(60, 0, 1) + key(35, 0, 1, channel=9))
    assert [n.pitch for n in arrangement.notes] == [60]
    assert any("percussion" in p.what for p in arrangement.problems)


def test_unknown_chunks_are_passed_over():
    data = midi_bytes(key(60, 0, 1))
    strange = b"XFIH" + struct.pack(">L", 5) + b"hello"
    cut = data.index(b"MTrk")
    assert read_score_bytes(data[:cut] + strange + data[cut:] + strange, "x.mid").notes


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"MThd", "no proper header"),
        (b"MThd" + struct.pack(">LHHH", 6, 0, 1, 96), "holds no notes"),
        (midi_bytes(key(60, 0, 1))[:-6], "breaks off"),
        (midi_bytes(key(60, 0, 1), kind=2), "format 2"),
        (midi_bytes([meta(0, "marker", text="x")]), "no notes"),
        (midi_bytes(key(60, 0, 1)).replace(struct.pack(">H", TICKS), b"\xe7\x28", 1), "seconds"),
        (midi_bytes(key(60, 0, 1)).replace(struct.pack(">H", TICKS), b"\0\0", 1), "quarters"),
        (midi_bytes(key(60, 0, 1)).replace(b"\x90", b"\xf4"), "damaged"),
        (midi_bytes(key(60, 0, 1)) + b"\xff" * 5000, "damaged"),
        (midi_bytes(key(60, 0, 250_000)), "longer than"),
        (b"MThd" + b"\0" * 2**21, "larger than 512 KB"),
    ],
)
def test_a_midi_file_that_is_no_score_is_refused_in_one_line(data, words):
    with pytest.raises(ScoreError) as refusal:
        read_score_bytes(data, "bad.mid")
    assert words in str(refusal.value)
    assert "\n" not in str(refusal.value)


def test_hands_are_parted_as_every_way_of_parting_prices_them():
    """Of five single notes and chords the dearest history is never dropped: all are priced."""
    from engine.read.hand_split import Struck, split_hands

    def price(parted):
        """By the words of the module, hand by hand."""
        middle, held, total = {"left": 48.0, "right": 72.0}, {"left": [], "right": []}, 0.0
        for now, struck, lower in parted:
            for hand, notes in (("left", struck[:lower]), ("right", struck[lower:])):
                held[hand] = [(end, p) for end, p in held[hand] if end > now]
                away = [60 - p if hand == "right" else p - 60 for _, p in notes]
                total += 0.02 * sum(max(0, a) for a in away)
                if notes:
                    pitches = [p for _, p in notes] + [p for _, p in held[hand]]
                    reach = max(pitches) - min(pitches)
                    centre = (notes[0][1] + notes[-1][1]) / 2
                    total += 0.25 * abs(centre - middle[hand]) + max(0, reach - 8)
                    total += 8 * max(0, reach - 16) + 20 * max(0, len(pitches) - 5)
                    middle[hand] = centre
                    held[hand] = (held[hand] + list(notes))[-10:]
            total += 2 * max(0.0, middle["left"] - middle["right"])
        return total

    rng = np.random.default_rng(5)
    for case in range(60):
        moments, now = [], 0.0
        for size in ((1, 1, 1), (2, 1), (1, 2), (3, 1), (1, 3))[case % 5]:
            pitches = sorted(rng.choice(np.arange(36, 90), size, replace=False).tolist())
            moments.append((now, [(now + float(rng.choice([0.5, 2.0])), p) for p in pitches]))
            now += 0.5
        ways = product(*(range(len(notes) + 1) for _, notes in moments))
        parted = [[(at, n, k) for (at, n), k in zip(moments, way, strict=True)] for way in ways]
        assert len(parted) <= 8  # as many histories as are carried along
        best = min(parted, key=price)
        found = split_hands([Struck(at, end, p) for at, notes in moments for end, p in notes])
        lower, chosen = list(found), []
        for at, notes in moments:
            mine, lower = lower[: len(notes)], lower[len(notes) :]
            chosen.append((at, notes, mine.count("left")))
        assert price(chosen) == pytest.approx(price(best))


def test_more_notes_than_a_midi_page_has_are_refused():
    notes = [key(60, i / 4, (i + 1) / 4) for i in range(MAX_MIDI_NOTES + 1)]
    with pytest.raises(ScoreError, match=f"more than {MAX_MIDI_NOTES} notes"):
        read(together(notes))
