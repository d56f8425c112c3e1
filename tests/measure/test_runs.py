"""Where playing is cut: runs where the player went back or jumped, stretches where they waited."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

import numpy as np
import pytest

from engine.arrangement import Mark
from engine.findings import Finding
from engine.measure.heard import hear
from engine.measure.tempo import Moments, follow_tempo
from engine.performance import PlayedNote
from tests.measure.by_hand import page


def moments_of(places: Sequence[int], gaps_s: dict[int, float] | None = None, **page_) -> Moments:
    """Quarters at 60 played in the order of `places`, a second apart; `gaps_s` are longer waits."""
    count = max(places) + 8
    arrangement = page([(float(i), 1.0, 60 + i % 5, "right") for i in range(count)], **page_)
    at, notes, said = 1.0, [], []
    for k, place in enumerate(places):
        at += (gaps_s or {}).get(k, 1.0) if k else 0.0
        notes.append(PlayedNote(k, 60 + place % 5, 64, at, at + 0.5))
        said.append(Finding(k, place, "right"))
    return follow_tempo(hear(arrangement, notes, said))


def runs_of(places: Sequence[int]) -> list[int]:
    """How many moments each run has."""
    return np.bincount(moments_of(places).run).tolist()


@pytest.mark.parametrize(
    ("places", "runs"),
    [
        # Straight on.
        (range(12), [12]),
        # Four quarters ahead are a gap on the page, five a jump.
        ([*range(8), *range(11, 20)], [17]),
        ([*range(8), *range(12, 20)], [8, 8]),
        # Again from the beginning, and from three notes back; two notes again are a stutter.
        ([*range(8), *range(8)], [8, 8]),
        ([*range(8), *range(5, 13)], [8, 8]),
        ([*range(8), *range(6, 14)], [14]),
        # One note far off is a stray, and so are two.
        ([*range(8), 20, *range(8, 16)], [16]),
        ([*range(8), 20, 21, *range(8, 16)], [16]),
        # One note struck twice is a stray too.
        ([*range(8), 7, *range(8, 16)], [16]),
        # At the end fewer notes are left to agree: one alone begins a run of its own.
        ([*range(8), 2], [8, 1]),
        ([*range(8), 2, 3], [8, 2]),
    ],
)
def test_going_back_and_jumping_begin_a_run(places, runs):
    assert runs_of(list(places)) == runs


def test_a_late_note_of_the_chord_before_is_no_going_back():
    # Two voices a quarter apart on the page, struck the other way round: within a quarter of what
    # was reached.
    assert runs_of([0, 1, 2, 4, 3, 5, 6, 8, 7, 9, 10, 11]) == [12]


@pytest.mark.parametrize(("gap_s", "stretches"), [(1.49, [16]), (1.51, [8, 8])])
def test_half_a_beat_too_long_is_a_new_stretch(gap_s, stretches):
    found = moments_of(range(16), {8: gap_s})
    assert np.bincount(found.stretch).tolist() == stretches
    assert found.run.max() == 0
    assert found.waited_s[8] == pytest.approx(gap_s - 1.0)


def test_at_a_quick_tempo_a_quarter_of_a_second_is_needed():
    # 240 quarters a minute: half a beat is an eighth of a second.
    quick = dict.fromkeys(range(1, 24), 0.25)
    for extra_s, count in ((0.24, 1), (0.26, 2)):
        found = moments_of(range(24), {**quick, 12: 0.25 + extra_s}, qpm=240)
        assert len(np.unique(found.stretch)) == count


@pytest.mark.parametrize(("then", "stretches"), [(9, [15]), (10, [8, 6])])
def test_more_than_a_beat_too_short_is_a_new_stretch(then, stretches):
    # A second after note 7 comes note 9, which is due after two, or note 10, due after three.
    found = moments_of([*range(8), *range(then, 16)])
    assert np.bincount(found.stretch).tolist() == stretches
    assert found.run.max() == 0
    assert found.waited_s[8] == pytest.approx(1.0 - (then - 7))


@pytest.mark.parametrize("kind", ["fermata", "breath"])
def test_after_a_fermata_or_a_breath_a_stretch_begins(kind):
    found = moments_of(range(16), marks=[Mark(kind, Fraction(7), 1)])
    assert np.bincount(found.stretch).tolist() == [8, 8]
    assert moments_of(range(16), marks=[Mark("accent", Fraction(7), 1)]).stretch.max() == 0


def test_the_tempo_of_a_straight_row():
    found = moments_of(range(16))
    assert found.rate == pytest.approx(np.ones(16))
    assert found.expected_s == pytest.approx(found.time_s)
    slow = moments_of(range(16), dict.fromkeys(range(1, 16), 1.25))
    assert slow.rate == pytest.approx(np.full(16, 1.25))
    assert slow.waited_s == pytest.approx(np.zeros(16), abs=1e-9)


def test_too_short_a_stretch_has_no_expectation():
    found = moments_of([*range(8), *range(20, 25)])
    assert np.isfinite(found.expected_s[:8]).all()
    assert np.isnan(found.expected_s[8:]).all()
    assert np.isfinite(moments_of([*range(8), *range(20, 26)]).expected_s).all()


def test_a_row_struck_all_at_one_moment_has_no_tempo_and_no_fault():
    with np.errstate(all="raise"):
        found = moments_of(range(16), dict.fromkeys(range(1, 16), 0.0))
    assert found.expected_s == pytest.approx(np.ones(16))
    assert found.rate == pytest.approx(np.zeros(16))
