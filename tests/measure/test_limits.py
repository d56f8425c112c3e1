"""Limits of the measures, on either side."""

from __future__ import annotations

import math
from dataclasses import replace
from fractions import Fraction
from types import SimpleNamespace

import numpy as np
import pytest

from engine.arrangement import Harmony, PedalSpan
from engine.findings import Finding
from engine.measure import steps
from engine.measure.cells import gather_cells
from engine.measure.change import compare_sessions
from engine.measure.even_fit import fit_even
from engine.measure.harmony_times import written_regions
from engine.measure.heard import hear
from engine.measure.instrument import calibrate
from engine.measure.interval import slope_of
from engine.measure.ringing import FLOOR_DB, under_db
from engine.measure.tempo import follow_tempo
from engine.measure.yardsticks import REPERTOIRE, band_for
from engine.performance import DAMPER, PedalMove, PlayedNote
from tests.measure.by_hand import measured, page, play, with_form
from tests.measure.known_playing import Known, play_known
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


def test_five_values_make_a_slope_unless_they_stand_in_one_place() -> None:
    assert slope_of([0, 1, 2, 3, 4], [0, 2, 4, 6, 8], "ms").value == pytest.approx(2.0)
    assert slope_of([3] * 5, [0, 2, 4, 6, 8], "ms").reason == "no spread"
    assert slope_of([3] * 4, [0, 2, 4, 6], "ms").reason.startswith("too few notes: 4")


@pytest.mark.parametrize(
    ("old_db", "new_db", "under"),
    [
        (-20.0, -5.0, 15.0),
        (-5.0, -8.0, -3.0),
        (-math.inf, -5.0, FLOOR_DB),
        (-5.0, -math.inf, FLOOR_DB),
    ],
)
def test_what_does_not_sound_is_as_far_under_as_can_be(
    old_db: float, new_db: float, under: float
) -> None:
    assert under_db(old_db, new_db) == under


def test_an_extra_note_before_all_others_stands_in_the_first_bar() -> None:
    """And any other in the bar of the note heard before it; each bar has one note."""
    arrangement = page([(0, 4, 60, "right"), (4, 4, 62, "right"), (8, 4, 64, "right")])
    struck = [(0.5, 70), (4.0, 60), (8.0, 62), (9.0, 71), (12.0, 64)]
    notes = [PlayedNote(i, p, 64, s, s + 1.0) for i, (s, p) in enumerate(struck)]
    said = [Finding(1, 0, "right"), Finding(2, 1, "right"), Finding(4, 2, "right")]
    both = [Finding(0, None, "extra"), *said, Finding(3, None, "extra")]
    slipped = measured(arrangement, notes, both).notes.bars
    assert [(b.bar, b.count.extra) for b in slipped] == [("1", 1), ("2", 1)]


def test_a_difference_has_its_interval_whichever_side_scatters_more() -> None:
    even, ragged = sessions([10, 11, 12, 13]), sessions([1, 9, 4, 6])
    there = compare_sessions(even, ragged, "lower").difference
    back = compare_sessions(ragged, even, "lower").difference
    assert there.low < there.value < there.high
    assert (back.value, back.low, back.high) == pytest.approx(
        (-there.value, -there.high, -there.low)
    )


def test_what_single_cells_show_of_a_fit_is_its_projection_cell_by_cell() -> None:
    """The whole matrix written out: M = I - X X+, and the squares of its blocks of one cell."""
    played = play_known(Known(bars=6), 3)
    heard = hear(played.arrangement, played.notes, played.findings)
    cells = gather_cells(heard, follow_tempo(heard), played.arrangement.form.figures[0])
    fit = fit_even(cells)
    model = np.zeros((cells.time_s.size, fit.columns.count))
    filled = 0
    for rows, block in fit.columns.blocks:
        model[rows, filled : filled + block.shape[1]] = block
        filled += block.shape[1]
    model[:, filled:] = fit.columns.shared
    left = np.eye(len(model)) - model @ np.linalg.pinv(model)
    assert np.trace(left) == pytest.approx(fit.freedom)
    shown = sum(
        (left[k : k + cells.places, k : k + cells.places] ** 2).sum()
        for k in range(0, len(model), cells.places)
    )
    assert fit.kept == pytest.approx(shown / fit.freedom)
    assert 0.5 < fit.kept < 1.0


def test_tempos_that_hang_together_widen_the_interval_of_a_drift(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """By sqrt((1 + r) / (1 - r)), r being the lag-1 correlation of what a line leaves over."""
    at_s = np.arange(40) * 3.0
    wave = np.sin(np.arange(40) * np.pi / 10)
    monkeypatch.setattr(steps, "_group_tempos", lambda cells, fit: (np.exp(-0.02 * wave), at_s))
    found = steps.drift_of(SimpleNamespace(time_s=at_s), None)
    plain = slope_of(at_s / 60.0, 2.0 * wave, "percent")
    minutes = at_s / 60.0 - at_s.mean() / 60.0
    rest = 2.0 * wave - 2.0 * wave.mean() - minutes * (minutes @ wave) * 2.0 / (minutes @ minutes)
    r = float(rest[1:] @ rest[:-1] / (rest @ rest))
    assert r > 0.8
    wide = (found.high - found.low) / (plain.high - plain.low)
    assert wide == pytest.approx(math.sqrt((1 + r) / (1 - r)), rel=1e-6)


def test_a_lift_belongs_to_the_change_that_it_is_nearer_to() -> None:
    """Chords change every quarter, a second apart, the last two at 4 and 5 s; the only lift is at
    4.6 s: it is 0.4 s early for the last, and no lift of the one before."""
    chords = ((36, 43, 48), (38, 45, 50))
    written = [(q + k / 4, 0.25, chords[q % 2][k], "left") for q in range(5) for k in range(3)]
    harmonies = tuple(Harmony(Fraction(q), Fraction(q + 1), "CD"[q % 2], "major") for q in range(5))
    arrangement = with_form(page(written), harmonies=harmonies)
    damper = [PedalMove(at, DAMPER, v) for at, v in ((0.5, 127), (4.6, 0), (4.8, 127))]
    changes = measured(arrangement, *play(arrangement), pedals=damper).pedal.changes
    assert [c.lift_ms and round(c.lift_ms) for c in changes] == [None, None, None, -400]


def test_a_foot_that_is_off_the_pedal_does_not_rest_in_mid_travel() -> None:
    damper = [PedalMove(float(k), DAMPER, v) for k, v in enumerate((0, 40, 60, 127, 0, 127))]
    found = calibrate([], damper)
    assert (found.bite, found.clear) == (40, 60)


def test_a_pedal_marked_just_after_a_change_of_harmony_does_not_move_it() -> None:
    """Harmonies of four quarters; the pedal of the second is marked a sixteenth after it begins."""
    written = [(float(q), 1.0, 48 + q % 3, "left") for q in range(12)]
    harmonies = tuple(
        Harmony(Fraction(4 * k), Fraction(4 * k + 4), "CDC"[k], "major") for k in range(3)
    )
    held = (PedalSpan(Fraction(17, 4), Fraction(7)),)
    arrangement = with_form(page(written, pedals=held), harmonies=harmonies)
    assert written_regions(arrangement) == [(0.0, 4.0), (4.0, 8.0), (8.0, 12.0)]
