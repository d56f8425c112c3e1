"""The types all rooms share: tempo arithmetic, bars, spans."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest

from engine.arrangement import Arrangement, Bar, ScoreNote, Span, TempoMark, notes_in


def note(
    name: str, onset: Fraction | int, pitch: int, hand: str = "right", bar: int = 0
) -> ScoreNote:
    return ScoreNote(name, 1, Fraction(onset), Fraction(1), pitch, "C", 0, 4, hand, 1, "1", bar)  # type: ignore[arg-type]


@pytest.fixture
def small() -> Arrangement:
    """A pickup of one quarter, then two bars of 3/4; the tempo halves at the second bar."""
    bars = (
        Bar(0, "0", 0, 1, Fraction(0), Fraction(1), 3, 4, lead_q=Fraction(2)),
        Bar(1, "1", 1, 1, Fraction(1), Fraction(3), 3, 4),
        Bar(2, "2", 2, 1, Fraction(4), Fraction(3), 3, 4),
    )
    notes = (note("a", 0, 60), note("b", 1, 62, bar=1), note("c", 4, 40, "left", 2))
    return Arrangement(
        "small",
        "0" * 64,
        notes,
        bars,
        (TempoMark(Fraction(0), 120.0), TempoMark(Fraction(4), 60.0)),
    )


def test_seconds_follow_the_tempo_map(small: Arrangement):
    # 4 quarters at 120 are 2 s; then each quarter is 1 s.
    assert small.seconds_at([0, 2, 4, 5, 7]).tolist() == [0.0, 1.0, 2.0, 3.0, 5.0]
    assert small.table["onset_s"].tolist() == [0.0, 0.5, 2.0]
    assert small.table["duration_s"].tolist() == [0.5, 0.5, 1.0]


def test_quarters_undo_seconds(small: Arrangement):
    at = np.linspace(-1, 9, 41)
    assert np.allclose(small.quarters_at(small.seconds_at(at)), at)


def test_a_pickup_counts_from_the_end_of_its_bar(small: Arrangement):
    assert small.bars[0].beat_at(Fraction(0)) == 3
    assert small.bars[1].beat_at(Fraction(5, 2)) == Fraction(5, 2)


def test_moments_find_their_bar(small: Arrangement):
    assert [small.bar_at(q).index for q in (0, Fraction(1, 2), 1, Fraction(39, 10), 4, 99)] == [
        0,
        0,
        1,
        1,
        2,
        2,
    ]
    assert small.end_q == 7


def test_notes_of_a_span_and_hand(small: Arrangement):
    assert notes_in(small, Span(1, 2), "both").tolist() == [1, 2]
    assert notes_in(small, Span(0, 2), "left").tolist() == [2]
    assert Span(1, 2).quarters(small) == (1, 7)
