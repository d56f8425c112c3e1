"""Evenness on figures written out by hand; the answers are worked out in the comments."""

from __future__ import annotations

import math
from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest

from engine.arrangement import TempoMark
from engine.findings import Estimate, Finding
from engine.measure.evenness import Evenness
from engine.measure.habits import printed_fingerings
from tests.measure.by_hand import figure_of, measured, page, play, with_form

PITCHES = (45, 52, 57, 60)


def drone(cells: int = 8, places: int = 4):
    """Cells of quarters at 300 quarters a minute: 200 ms a note."""
    notes = [(float(i), 1.0, PITCHES[i % places % 4], "left") for i in range(cells * places)]
    arrangement = page(notes, qpm=300, bar_q=places)
    figure = figure_of(arrangement, "left", places, places)
    return with_form(arrangement, figures=(figure,))


def evenness(arrangement, late_ms=lambda i: 0.0, **kwargs) -> Evenness:
    found = measured(arrangement, *play(arrangement, late_ms, **kwargs)).evenness
    assert isinstance(found, Evenness), found
    return found


def near(estimate: Estimate, value: float, by: float = 1e-6) -> bool:
    return estimate.value is not None and abs(estimate.value - value) <= by


def test_a_perfect_figure_is_even():
    found = evenness(drone())
    assert near(found.sd_ms, 0.0)
    assert near(found.cv, 0.0)
    assert near(found.median_sd_ioi_ms, 0.0)
    assert near(found.audible_share, 0.0)
    assert found.cells == 8
    assert found.excluded_cells == 0
    assert found.note_interval_ms == pytest.approx(200.0)


def test_one_place_late_every_time():
    # Place 3 comes 12 ms late in every cell. About their mean the places stand at -3, -3, 9, -3:
    # SD = sqrt((9 + 9 + 81 + 9) / 4) = sqrt(27). Intervals are 200, 212, 188, 200: relative to
    # 200 they are off by 0, .06, -.06, 0: CV = sqrt(2 * .0036 / 4) but for the last one, which
    # has no successor. Inside a cell 200, 212, 188 have SD 12. Two intervals in four are off by
    # 12 ms, over the 6 ms that are audible below 240 ms.
    found = evenness(drone(), lambda i: 12.0 if i % 4 == 2 else 0.0)
    assert near(found.sd_ms, math.sqrt(27.0))
    assert [round(p.deviation_ms.value, 6) for p in found.places] == [-3.0, -3.0, 9.0, -3.0]
    assert near(found.cv, math.sqrt(16 * 0.06**2 / 31))
    assert near(found.median_sd_ioi_ms, 12.0)
    assert near(found.audible_share, 16 / 31)
    assert near(found.place_share, 1.0)
    assert near(found.rest_sd_ms, 0.0)


def test_scatter_that_no_place_owns_is_rest():
    # Late by +5 or -5 as a coin falls.
    coins = np.random.default_rng(3).choice([-5.0, 5.0], 160)
    found = evenness(drone(cells=40), lambda i: float(coins[i]))
    assert found.rest_share.value > 0.9
    assert near(found.rest_sd_ms, 5.0, by=0.6)
    assert near(found.robust_sd_ms, 5.0 * 1.4826, by=1.5)


def test_a_tempo_that_drifts_is_no_unevenness():
    # Interval j is 200 * 0.999^j: 0.1 % faster each 0.2 s or so. Over the whole
    # -ln(0.999) / mean interval: 64 notes, from 200 to 187.7 ms, in 12.4 s.
    ends = np.concatenate([[0.0], np.cumsum(0.2 * 0.999 ** np.arange(63))])
    arrangement = drone(cells=16)
    found = evenness(arrangement, lambda i: float((ends[i] - 0.2 * i) * 1000))
    whole = -math.log(0.999**63) * 100 / (ends[-1] / 60.0)
    assert found.drift_percent_per_minute.value == pytest.approx(whole, rel=0.02)
    assert found.sd_ms.value < 0.05
    assert found.drift_share.value > 0.99


def test_cells_with_a_slip_are_left_out_and_counted():
    arrangement = drone(cells=10)
    notes, findings = play(arrangement, lambda i: 300.0 if i == 9 else 0.0)
    spoilt = [replace(f, what="wrong", score=None, stands_for=17) if f.score == 17 else f
              for f in findings]  # fmt: skip
    left_out = [f for f in spoilt if f.score != 30]
    found = measured(arrangement, notes, [*left_out, Finding(None, 30, "missing")]).evenness
    # Note 9 is 300 ms late and falls after note 10 (cell 3), 17 is wrong (cell 5), 30 missing
    # (cell 8); cell 4 is left standing alone, which says nothing of its tempo: four cells.
    assert isinstance(found, Evenness)
    assert found.excluded_cells == 4
    assert found.cells == 6


def test_a_hesitation_cuts_the_tempo_and_nothing_more():
    plain = evenness(drone(cells=12), lambda i: float(i * 7 % 5))
    waited = evenness(drone(cells=12), lambda i: float(i * 7 % 5) + (900.0 if i >= 24 else 0.0))
    assert waited.excluded_cells == 0
    assert waited.sd_ms.value == pytest.approx(plain.sd_ms.value, rel=0.1)


def test_unequal_notes_in_the_cell_are_no_unevenness():
    # A cell of 2 + 1 + 1 quarters.
    starts = [(4 * c + o, d) for c in range(12) for o, d in ((0, 2), (2, 1), (3, 1))]
    arrangement = page([(float(o), float(d), 50, "left") for o, d in starts], qpm=300)
    arrangement = with_form(arrangement, figures=(figure_of(arrangement, "left", 4, 3),))
    found = evenness(arrangement)
    assert near(found.sd_ms, 0.0)
    assert near(found.median_sd_ioi_ms, 0.0)
    assert found.window_sd_ms.value is None
    assert "longer and shorter" in found.window_sd_ms.reason


def test_overlap_is_release_minus_next_onset():
    # Held for 0.9 of 200 ms: 20 ms before the next note, a tenth of the interval.
    found = evenness(drone())
    assert near(found.overlap_ms, -20.0)
    assert near(found.overlap_share, -0.1)
    assert near(evenness(drone(), hold=1.25).overlap_ms, 50.0)


@pytest.mark.parametrize(("rate", "interval_ms"), [(1.0, 200.0), (0.8, 250.0)])
def test_short_rows_of_cells_have_a_tempo_of_their_own(rate, interval_ms):
    # A note of every third cell is missing: rows of two cells, eight notes, a straight line each.
    arrangement = drone(cells=18)
    notes, findings = play(arrangement, rate=rate)
    kept = [f for f in findings if f.score % 12 != 9]
    found = measured(arrangement, notes, kept).evenness
    assert (found.cells, found.excluded_cells) == (12, 6)
    assert found.note_interval_ms == pytest.approx(interval_ms)
    assert near(found.sd_ms, 0.0)
    # The last place of each cell 12 ms late: 3, 3, 3, -9 about its mean... in percent of the step.
    late = measured(arrangement, *_some(arrangement, rate, lambda i: 12.0 * (i % 4 == 3))).evenness
    assert late.places[3].deviation_ms.value == pytest.approx(9.0, abs=1e-6)
    assert late.sd_percent.value == pytest.approx(100 * late.sd_ms.value / interval_ms, rel=0.02)


def _some(arrangement, rate, late_ms):
    notes, findings = play(arrangement, late_ms, rate=rate)
    return notes, [f for f in findings if f.score % 12 != 9]


def test_a_cell_alone_between_missing_ones_is_left_out():
    # Cells 2 and 4 lack a note, so that cell 3 stands alone; cells 5 to 10 follow one another.
    arrangement = drone(cells=10)
    notes, findings = play(arrangement)
    kept = [f for f in findings if f.score not in (5, 13)]
    found = measured(arrangement, notes, kept).evenness
    assert (found.cells, found.excluded_cells) == (6, 4)


def test_a_line_between_the_notes_of_a_slow_figure_of_two():
    # Two notes to a cell, a quarter each; the line comes an eighth after the first of every cell:
    # it moves before the second note, where the scatter is, and rests before the first.
    written = [(float(k), 1.0, 40 + 7 * (k % 2), "left") for k in range(80)]
    written += [(2.0 * c + 0.5, 1.0, 72, "right") for c in range(40)]
    arrangement = page(written, qpm=240)
    figure = figure_of(arrangement, "left", 2, 2)
    tune = tuple(i for i, n in enumerate(arrangement.notes) if n.hand == "right")
    arrangement = with_form(arrangement, figures=(figure,), line=tune)
    draw = np.random.default_rng(6).normal(0, 4, len(arrangement.notes))
    found = evenness(arrangement, lambda i: draw[i])
    assert (found.moving_sd_ms.n, found.resting_sd_ms.n) == (40, 40)


def test_loudness_place_by_place():
    found = evenness(drone(cells=24), velocity=lambda i: (70, 50, 54, 50)[i % 4])
    assert [p.velocity.value for p in found.places] == [70.0, 50.0, 54.0, 50.0]
    assert found.velocity_sd.value > 5


def test_fingerings_are_compared_not_mixed():
    # Odd cells fingered otherwise and played with place 2 late by 20 ms, the others even.
    arrangement = drone(cells=20)
    notes = tuple(
        replace(n, fingering="5321"[i % 4] if i // 4 % 2 else "5421"[i % 4])
        for i, n in enumerate(arrangement.notes)
    )
    arrangement = replace(arrangement, notes=notes)
    jitter = np.random.default_rng(3).normal(0, 1, 80)
    found = evenness(
        arrangement, lambda i: jitter[i] + (20.0 if i % 4 == 1 and i // 4 % 2 else 0.0)
    )
    by_name = {f.fingering: f for f in found.fingerings}
    assert set(by_name) == {"5 3 2 1", "5 4 2 1"}
    assert [by_name[k].cells for k in sorted(by_name)] == [10, 10]
    first, other = found.fingerings
    assert first.fingering == "5 3 2 1"
    assert "compared with this one" in first.difference_ms.reason
    assert other.difference_ms.high < 0


def fingered(which, cells=20):
    """A drone whose every note carries the finger that `which` gives its index."""
    arrangement = drone(cells=cells)
    notes = tuple(replace(n, fingering=which(i)) for i, n in enumerate(arrangement.notes))
    return replace(arrangement, notes=notes)


def test_another_fingering_changes_nothing_of_what_is_measured():
    # Twelve cells scatter by 2 ms, the next eight are fingered otherwise and scatter by 12.
    jitter = np.random.default_rng(8).normal(0, 1, 80)
    whole = fingered(lambda i: ("5321" if i < 48 else "5421")[i % 4])
    found = evenness(whole, lambda i: jitter[i] * (2.0 if i < 48 else 12.0))
    alone = evenness(fingered(lambda i: "5321"[i % 4], 12), lambda i: jitter[i] * 2.0)
    assert (found.fingering, found.cells) == ("5 3 2 1", 12)
    assert found.sd_ms.value == pytest.approx(alone.sd_ms.value)
    assert found.places[1].deviation_ms.value == pytest.approx(alone.places[1].deviation_ms.value)
    assert alone.fingerings == ()


def test_two_fingerings_by_turns_share_no_habit():
    # Every other cell is fingered otherwise, with place 2 late by 20 ms: its mean square is
    # 20^2 (1/4 - 1/16) = 75, so that its spread is 8.66 ms; the other's is nought.
    whole = fingered(lambda i: ("5321" if i // 4 % 2 else "5421")[i % 4])
    found = evenness(whole, lambda i: 20.0 if i % 4 == 1 and i // 4 % 2 else 0.0)
    late, even = found.fingerings
    assert (late.sd_ms.value, found.sd_ms.value) == pytest.approx((75**0.5, 75**0.5), abs=1e-6)
    assert even.sd_ms.value == pytest.approx(0.0, abs=1e-6)
    assert found.places[1].deviation_ms.value == pytest.approx(15.0)
    assert found.note_interval_ms == pytest.approx(200.0)
    # No window of 16 notes is of one fingering.
    assert "windows" in found.window_sd_ms.reason


def test_what_is_measured_is_the_page_s_commonest_whatever_was_missed():
    # Eleven cells fingered one way and nine another: with three of the first missed eight are left.
    whole = fingered(lambda i: ("5321" if i < 44 else "1234")[i % 4])
    notes, findings = play(whole)
    left_out = [replace(f, what="missing", played=None) if f.score in (5, 9, 13) else f
                for f in findings]  # fmt: skip
    found = measured(whole, notes, left_out).evenness
    assert (found.fingering, found.cells) == ("5 3 2 1", 7)
    assert [(f.fingering, f.cells) for f in found.fingerings] == [("5 3 2 1", 7), ("1 2 3 4", 9)]


def test_a_reminder_is_no_other_fingering():
    # Fingered in full once; later cells remind of the first finger only.
    notes = "5321" + "    " * 7 + "5   " + "    " * 3
    found = evenness(fingered(lambda i: notes[i].strip(), 12))
    assert (found.fingering, found.fingerings) == ("5 3 2 1", ())


def test_too_few_cells_of_each_fingering():
    # Eight cells, four of each: enough to measure mixed, too few of either.
    whole = fingered(lambda i: ("5321" if i < 16 else "5421")[i % 4], 8)
    found = measured(whole, *play(whole, lambda i: 0.0)).evenness
    assert "with one fingering: 4" in found.reason


def test_a_fingering_that_scatters_more_is_told():
    # The first twelve cells are fingered one way and scatter by 2 ms; the next eight, fingered
    # once and then no more, another way and by 12.
    arrangement = drone(cells=20)
    fingers = {0: "5321", 48: "5421"}
    notes = list(arrangement.notes)
    for first, which in fingers.items():
        for k in range(4):
            notes[first + k] = replace(notes[first + k], fingering=which[k])
    jitter = np.random.default_rng(8).normal(0, 1, 80)
    found = evenness(
        replace(arrangement, notes=tuple(notes)), lambda i: jitter[i] * (2.0 if i < 48 else 12.0)
    )
    usual, other = found.fingerings
    assert (usual.fingering, usual.cells) == ("5 3 2 1", 12)
    assert (other.fingering, other.cells) == ("5 4 2 1", 8)
    assert other.difference_ms.low > 0
    assert other.difference_ms.value == pytest.approx(other.sd_ms.value - usual.sd_ms.value)


def test_cells_before_and_after_a_printed_fingering():
    arrangement = drone(cells=12)
    notes = list(arrangement.notes)
    notes[16] = replace(notes[16], fingering="5")
    notes[18] = replace(notes[18], fingering="2")
    arrangement = replace(arrangement, notes=tuple(notes))
    figure = arrangement.form.figures[0]
    printed = printed_fingerings(arrangement, figure)
    assert [printed[4 * k] for k in range(12)] == [""] * 4 + ["5 - 2 -"] * 8


def test_a_repeat_is_fingered_as_the_first_time():
    # Cells 1 to 4, printed once and repeated; the first carries a fingering, and the last another,
    # by which the repeat of the first three must not go.
    arrangement = drone(cells=8)
    fingers = dict(zip((0, 1, 2, 3, 12, 13, 14, 15), "53215421", strict=True))
    notes = [
        replace(
            n, note_id=f"n{i % 16}", time=1 + i // 16,
            fingering=fingers.get(i, ""),
        )
        for i, n in enumerate(arrangement.notes)
    ]  # fmt: skip
    arrangement = replace(arrangement, notes=tuple(notes))
    printed = printed_fingerings(arrangement, arrangement.form.figures[0])
    assert [printed[4 * k] for k in range(8)] == (["5 3 2 1"] * 3 + ["5 4 2 1"]) * 2


def test_a_page_fingered_once_has_nothing_to_compare():
    arrangement = drone(cells=12)
    notes = [
        replace(n, fingering="5321"[i]) if i < 4 else n for i, n in enumerate(arrangement.notes)
    ]
    assert evenness(replace(arrangement, notes=tuple(notes))).fingerings == ()


def test_a_new_marked_tempo_is_no_unequal_note():
    # At 300 quarters a minute, from bar 13 on at 200: the windows of 16 are told all the same.
    arrangement = drone(cells=32)
    marks = (*arrangement.tempo, TempoMark(Fraction(48), 200.0))
    assert evenness(replace(arrangement, tempo=marks)).window_sd_ms.value is not None


def test_a_longer_last_note_is_no_equal_cell():
    # Three eighths and a quarter and a half: the windows of equal notes have no meaning.
    written = [(2.5 * c + o, 0.5, 45 + k, "left")
               for c in range(24) for k, o in enumerate((0, 0.5, 1.0, 1.5))]  # fmt: skip
    arrangement = page(written, qpm=120, bar_q=5)
    figure = figure_of(arrangement, "left", 2.5, 4)
    found = evenness(with_form(arrangement, figures=(figure,)))
    assert "longer and shorter" in found.window_sd_ms.reason


def test_the_line_costs_evenness_where_it_moves():
    # The line comes with the first note of every other cell; there the figure note is pushed.
    arrangement = drone(cells=40)
    line = [(float(8 * k), 4.0, 76, "right") for k in range(20)]
    both = page(
        [(float(n.onset_q), 1.0, n.pitch, "left") for n in arrangement.notes] + line, qpm=300
    )
    figure = figure_of(both, "left", 4, 4)
    tune = tuple(i for i, n in enumerate(both.notes) if n.hand == "right")
    both = with_form(both, figures=(figure,), line=tune)
    first = {cell[0] for k, cell in enumerate(figure.occurrences) if k % 2 == 0}
    draw = np.random.default_rng(5).normal(0, 1, len(both.notes))
    found = evenness(both, lambda i: draw[i] * (15.0 if i in first else 3.0))
    assert found.moving_sd_ms.n == 20
    assert found.line_cost_ms.low > 0


@pytest.mark.parametrize(
    ("cells", "hands", "words"),
    [(3, "both", "too few whole cells"), (8, "right", "no repeated figure")],
)
def test_says_why_there_is_nothing(cells, hands, words):
    arrangement = drone(cells=cells)
    found = measured(arrangement, *play(arrangement), hands=hands).evenness
    assert isinstance(found, Estimate)
    assert found.value is None
    assert words in found.reason
