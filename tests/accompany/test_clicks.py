"""Where clicks fall, in bars of all kinds."""

from __future__ import annotations

from fractions import Fraction

import pytest

from engine.accompany.clicks import list_clicks, list_count_in
from engine.arrangement import Arrangement, Bar, TempoMark


def bars_of(
    beats: int,
    unit: int,
    count: int = 2,
    mark_q: Fraction = Fraction(1),
    pickup_q: Fraction | None = None,
) -> Arrangement:
    """Empty bars of one signature, perhaps after a pickup."""
    full = Fraction(4 * beats, unit)
    bars, at = [], Fraction(0)
    if pickup_q is not None:
        bars.append(Bar(0, "0", 0, 1, at, pickup_q, beats, unit, full - pickup_q))
        at += pickup_q
    for _ in range(count):
        bars.append(Bar(len(bars), str(len(bars)), len(bars), 1, at, full, beats, unit))
        at += full
    return Arrangement("bars", "", (), tuple(bars), (TempoMark(Fraction(0), 90.0, mark_q),))


def weights(clicks: list) -> str:  # type: ignore[type-arg]
    return "".join({"accent": "A", "beat": "b", "part": "."}[c.weight] for c in clicks)


@pytest.mark.parametrize(
    ("beats", "unit", "mark_q", "expected"),
    [
        (4, 4, Fraction(1), "AbbbAbbb"),
        (3, 4, Fraction(1), "AbbAbb"),
        (6, 8, Fraction(3, 2), "AbAb"),
        (6, 8, Fraction(1), "AbAb"),  # quarters do not make up a bar of two threes
        (6, 8, Fraction(1, 2), "AbbbbbAbbbbb"),
        (9, 8, Fraction(3, 2), "AbbAbb"),
        (3, 8, Fraction(1, 2), "AbbAbb"),
        (5, 4, Fraction(1), "AbbbbAbbbb"),
        (7, 8, Fraction(1, 2), "AbbbbbbAbbbbbb"),
        (2, 2, Fraction(2), "AbAb"),
    ],
)
def test_accents_by_metre(beats: int, unit: int, mark_q: Fraction, expected: str) -> None:
    page = bars_of(beats, unit, mark_q=mark_q)
    assert weights(list_clicks(page, Fraction(0), page.end_q)) == expected


def test_subdivisions_lie_evenly_between_beats() -> None:
    page = bars_of(2, 4, count=1)
    clicks = list_clicks(page, Fraction(0), page.end_q, parts=3)
    assert weights(clicks) == "A..b.."
    assert [c.onset_q for c in clicks] == [Fraction(k, 3) for k in range(6)]


def test_a_pickup_has_no_accent_and_the_bar_after_it_has() -> None:
    page = bars_of(3, 4, pickup_q=Fraction(1))
    assert weights(list_clicks(page, Fraction(0), page.end_q)) == "bAbbAbb"


def test_the_count_in_is_one_bar_and_what_the_pickup_lacks() -> None:
    page = bars_of(3, 4, pickup_q=Fraction(1))
    count = list_count_in(page, Fraction(0))
    assert weights(count) == "AbbAb"
    assert count[-1].onset_q == -1
    assert weights(list_count_in(page, Fraction(1))) == "Abb"


def test_a_count_of_so_many_beats() -> None:
    page = bars_of(4, 4)
    assert weights(list_count_in(page, Fraction(0), beats=2, parts=2)) == "b.b."


def test_only_the_clicks_of_the_span() -> None:
    page = bars_of(4, 4, count=3)
    clicks = list_clicks(page, Fraction(4), Fraction(8))
    assert [c.onset_q for c in clicks] == [4, 5, 6, 7]
