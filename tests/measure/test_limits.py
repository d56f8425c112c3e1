"""Limits of the measures, on either side."""

from __future__ import annotations

from dataclasses import replace

import pytest

from engine.measure.change import find_trend
from engine.measure.yardsticks import REPERTOIRE, band_for
from tests.measure.by_hand import measured, play
from tests.measure.test_change import sessions
from tests.measure.test_octaves import line_over_figure


def test_a_band_begins_with_its_first_interval_and_ends_before_its_last() -> None:
    for band in REPERTOIRE:
        assert band_for(band.from_ms) == band
        assert band_for(band.to_ms - 1e-6) == band
        assert band_for(band.to_ms) != band


@pytest.mark.parametrize(("bars", "taken"), [(1, False), (2, True), (3, True)])
def test_a_repeat_is_taken_when_half_its_bars_were_played(bars: int, taken: bool) -> None:
    """Bars 1 to 4 come again as 5 to 8 of the unfolded page; of these only some are played."""
    arrangement = line_over_figure(9)
    again = tuple(
        replace(b, time=2, number=str(b.index - 3)) if 4 <= b.index < 8 else b
        for b in arrangement.bars
    )
    arrangement = replace(arrangement, bars=again)
    notes, findings = play(arrangement)
    played = {0, 1, 2, 3, 8, *range(4, 4 + bars)}
    some = [f for f in findings if arrangement.notes[f.score].bar in played]
    (repeat,) = measured(arrangement, notes, some).form.repeats
    assert repeat.taken == taken


@pytest.mark.parametrize("count", [1, 7])
def test_a_trend_needs_eight_sessions_and_says_so(count: int) -> None:
    change = find_trend(sessions(range(count)), "lower")
    assert change.verdict == "too early to say"
    assert change.words == f"{count} sessions, 8 are needed"
    assert change.difference.reason == f"too few sessions: {count}, at least 8 are needed"
