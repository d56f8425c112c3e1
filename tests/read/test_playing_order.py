"""Repeats, endings and jumps unfolded. Each bar of these scores holds one long note, so that the
order of the notes is the order of the bars; expectations are worked out by hand."""

from __future__ import annotations

from fractions import Fraction

import pytest

from engine.read import read_score_bytes
from tests.read.playing_orders import ORDERS


@pytest.mark.parametrize(("name", "order"), ORDERS.items())
def test_playing_order(read, name, order):
    assert [n.step for n in read(name).notes] == order.split()


def test_a_repeat_leaves_out_the_introduction_and_ends_on_a_longer_note(read):
    arrangement = read("repeat-without-introduction")
    played = [(n.name, n.time, n.onset_q, n.duration_q) for n in arrangement.notes]
    assert played == [
        ("C4", 1, 0, 4),
        ("D4", 1, 4, 4),
        ("E4", 1, 8, 2),
        ("F4", 1, 10, 2),
        ("D4", 2, 12, 4),
        ("G4", 1, 16, 8),
    ]
    assert [(b.number, b.time) for b in arrangement.bars] == [
        ("1", 1), ("2", 1), ("3", 1), ("2", 2), ("4", 1), ("5", 1),
    ]  # fmt: skip


def test_ids_carry_the_time_through(read):
    ids = [n.score_id for n in read("repeat-times").notes]
    assert ids == ["n1-1", "n2-1", "n1-2", "n2-2", "n1-3", "n2-3", "n3-1"]


@pytest.mark.parametrize("name", ORDERS)
def test_folding_gives_back_every_written_bar_once(read, name):
    arrangement = read(name)
    seen = {(b.written, b.time) for b in arrangement.bars}
    assert len(seen) == len(arrangement.bars)
    for written in {b.written for b in arrangement.bars}:
        times = [b.time for b in arrangement.bars if b.written == written]
        assert times == list(range(1, len(times) + 1))


def test_bars_that_are_never_reached_are_reported(scores):
    # Without the repeat sign of the first ending there is no way to the second.
    text = (scores / "endings.musicxml").read_text()
    text = text.replace('<repeat direction="backward"/>', "")
    arrangement = read_score_bytes(text.encode(), "x")
    assert [n.step for n in arrangement.notes] == ["C", "D", "F"]
    assert [(p.bar, p.what) for p in arrangement.problems] == [
        ("3", "this bar is never reached by the repeats and jumps as written")
    ]


# Bars


def test_a_pickup_bar_ends_where_a_whole_bar_would(read):
    bars = read("pickup-bar").bars
    assert (bars[0].number, bars[0].duration_q, bars[0].lead_q) == ("0", 1, 3)
    assert bars[0].beat_at(Fraction(0)) == 4, "the pickup is the fourth beat"
    assert bars[1].lead_q == 0
    assert bars[2].lead_q == 0, "a last bar may be short: nothing is missing at its front"


def test_the_second_half_of_a_split_bar_goes_on_counting(read):
    first, second = (b for b in read("split-bar").bars if b.number in ("2", "X1") and b.time == 1)
    assert (first.duration_q, first.lead_q) == (3, 0)
    assert (second.duration_q, second.lead_q) == (1, 3)
    assert second.beat_at(second.onset_q) == 4


def test_a_pickup_after_a_full_bar_counts_from_its_end(read):
    bars = read("pickup-after-double-bar").bars
    assert [(b.number, b.lead_q) for b in bars] == [("1", 0), ("X1", 3), ("2", 0)]


def test_a_bar_with_a_repeat_inside_is_cut_there(read):
    arrangement = read("mid-bar-repeat")
    shape = [(b.number, b.time, b.duration_q, b.lead_q) for b in arrangement.bars]
    assert shape == [
        ("1", 1, 4, 0), ("2", 1, 2, 0), ("1", 2, 4, 0), ("2", 2, 2, 0), ("2", 1, 2, 2),
        ("3", 1, 4, 0),
    ]  # fmt: skip


def test_printed_numbers_stay_as_printed(read):
    assert [b.number for b in read("printed-numbers").bars] == ["1", "12a", "12a", ""]


def test_bars_are_as_long_as_their_music_and_too_long_ones_reported(read):
    arrangement = read("short-and-long-bars")
    assert [b.duration_q for b in arrangement.bars] == [4, 3, 5, 4]
    assert [(p.bar, p.what) for p in arrangement.problems] == [
        ("3", "holds 5 beats where 4 are due")
    ]


@pytest.mark.parametrize(
    ("too_much", "said"),
    [(2, []), (18, ["holds 4.04 beats where 4 are due"])],
)
def test_a_bar_is_not_made_longer_by_what_a_program_rounded(too_much, said):
    """Nine notes in four quarters of 480 parts: 2 parts too many are rounded, 18 are written."""
    lengths = [213] * 8 + [4 * 480 - 8 * 213 + too_much]
    length_q = Fraction(4) + (Fraction(too_much, 480) if said else 0)
    notes = "".join(
        f"<note><pitch><step>C</step><octave>4</octave></pitch><duration>{d}</duration></note>"
        for d in lengths
    )
    whole = "<note><pitch><step>C</step><octave>4</octave></pitch><duration>1920</duration></note>"
    text = (
        '<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>Piano</part-name>'
        '</score-part></part-list><part id="P1"><measure number="1"><attributes><divisions>480'
        "</divisions><time><beats>4</beats><beat-type>4</beat-type></time></attributes>"
        f'{notes}</measure><measure number="2">{whole}</measure></part></score-partwise>'
    )
    arrangement = read_score_bytes(text.encode(), "rounded.musicxml")
    assert arrangement.bars[0].duration_q == length_q
    assert arrangement.notes[-1].onset_q == length_q
    assert [p.what for p in arrangement.problems if p.bar] == said
