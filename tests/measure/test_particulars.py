"""Particulars of single measures, each with its answer on paper."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest

from engine.findings import Estimate, Finding
from engine.measure.harmony_times import long_runs, play_time_s, written_regions
from engine.measure.heard import hear
from engine.measure.instrument import calibrate, octaves_struck
from engine.measure.interval import share_of
from engine.measure.pedal import kind_of
from engine.measure.steps import against_repertoire_of, audible_words_of
from engine.measure.tempo import follow_tempo
from engine.performance import DAMPER, PedalMove, PlayedNote
from tests.measure.by_hand import figure_of, measured, page, play, with_form
from tests.measure.test_evenness import drone, evenness
from tests.measure.test_octaves import line_over_figure, octaves
from tests.measure.test_pedal import chords

# evenness


@pytest.mark.parametrize(("cells", "intervals", "notes"), [(23, 5, 5), (24, 5, 6), (25, 6, 6)])
def test_windows_are_whole_and_at_least_six(cells, intervals, notes):
    # 92 notes have 91 intervals: five windows of 16 of either; 96 notes have six windows of notes
    # and 95 intervals, five; 100 notes six of both.
    found = evenness(drone(cells=cells), velocity=lambda i: 60 + i * 7 % 5)
    assert (found.window_sd_ms.n, found.velocity_sd.n) == (intervals, notes)
    assert (found.window_sd_ms.value is not None) == (intervals == 6)
    assert (found.velocity_sd.value is not None) == (notes == 6)


def test_the_last_window_may_end_with_the_row():
    # 43 cells of three have 128 intervals: eight windows and none left over.
    assert evenness(drone(cells=43, places=3)).window_sd_ms.n == 8


def test_a_window_by_numpys_line():
    # The same 16 intervals again and again, a straight line through them taken off.
    draw = np.random.default_rng(2).integers(-15, 16, 16).astype(float)
    steps = 200.0 + np.tile(draw, 7)
    late = np.concatenate([[0.0], np.cumsum(steps - 200.0)])[:100]
    found = evenness(drone(cells=25), lambda i: late[i])
    x = np.arange(16)
    rest = 200.0 + draw - np.polyval(np.polyfit(x, 200.0 + draw, 1), x)
    sd = np.sqrt((rest**2).sum() / 14)
    assert found.window_sd_ms.value == pytest.approx(sd)
    assert found.window_cv.value == pytest.approx(sd / (200.0 + draw.mean()))


@pytest.mark.parametrize(("beyond", "wilson"), [(4, True), (6, False)])
def test_a_few_audible_intervals_are_counted_by_wilson(beyond, wilson):
    # Each note that is late alone makes two intervals audible.
    late = {17: 40.0, 53: 40.0, 89: 40.0}
    chosen = dict(list(late.items())[: beyond // 2])
    found = evenness(drone(cells=40), lambda i: chosen.get(i, 0.0)).audible_share
    plain = share_of(beyond, 159)
    assert found.value == pytest.approx(beyond / 159)
    assert ((found.low, found.high) == pytest.approx((plain.low, plain.high))) == wilson


@pytest.mark.parametrize(
    ("share", "words"),
    [(0.05, "hears an even figure"), (0.06, "a note here and there"), (0.25, "a note here"),
     (0.26, "a character"), (0.6, "a character"), (0.61, "heard as uneven")],
)  # fmt: skip
def test_words_for_what_is_heard(share, words):
    assert words in audible_words_of(Estimate(share, 0.0, 1.0, 9, "share"))


def test_no_words_without_a_number():
    assert audible_words_of(share_of(0, 0)) == ""


def test_what_the_repertoire_does_at_this_speed():
    sd = Estimate(16.0, 14.0, 18.0, 30, "ms")
    assert against_repertoire_of(150.0, sd) == (
        "half of repertoire figures lie between 14.4 and 31.6 ms",
        "as usual in expressive playing",
    )
    assert against_repertoire_of(500.0, sd) == ("", "no repertoire was counted at 500 ms a note")
    none = share_of(0, 0)
    assert against_repertoire_of(150.0, none) == ("", none.reason)


# octaves and lead


def test_octaves_far_apart_say_nothing_of_speed():
    # Twelve gaps of a half and a whole second, and then of four seconds: only the first count.
    onsets = [*np.cumsum([0.0, *([1.0, 0.5] * 6)]), *(9.0 + 4.0 * np.arange(1, 9))]
    arrangement = page([(float(q), 0.5, 60 + o, "right") for q in onsets for o in (0, 12)])
    found = octaves(arrangement, lambda i: 5.0 if i % 2 == 0 else 0.0)
    assert found.octaves == 21
    # The last quick octave is followed by a gap of four seconds.
    assert found.faster_ms_per_halving.n == 12


def test_the_line_leads_what_lies_under_it():
    # The figure's first note lies over the line from cell 7 on: six shared onsets are left.
    arrangement = line_over_figure(12)
    notes = [
        replace(n, pitch=90) if n.hand == "left" and n.onset_q % 4 == 0 and n.bar >= 6 else n
        for n in arrangement.notes
    ]
    found = measured(replace(arrangement, notes=tuple(notes)), *play(arrangement)).lead
    assert found.shared == 6


def test_of_two_notes_beneath_the_lower_one_counts():
    written = [(4.0 * c, 1.0, 40 + o, "left") for c in range(12) for o in (0, 7)]
    written += [(4.0 * c, 4.0, 72, "right") for c in range(12)]
    arrangement = page(written, qpm=240)
    tune = tuple(i for i, n in enumerate(arrangement.notes) if n.hand == "right")
    arrangement = with_form(arrangement, line=tune)
    low = {i for i, n in enumerate(arrangement.notes) if n.pitch == 40}
    found = measured(arrangement, *play(arrangement, lambda i: 30.0 if i in low else 0.0)).lead
    assert found.lead_ms.value == pytest.approx(30.0)


# balance


def test_accompaniment_just_before_a_line_note_belongs_to_it():
    # Half notes at 60 over figure notes of 40, 42 ... 54, a beat after each; the line is at 80.
    # What comes 50 ms before a line note is under it, what comes 150 ms before under the last one.
    written = [(2.0 * c, 2.0, 72, "right") for c in range(8)]
    written += [(2.0 * c + 1.0, 1.0, 40, "left") for c in range(8)]
    arrangement = page(written)
    tune = tuple(i for i, n in enumerate(arrangement.notes) if n.hand == "right")
    arrangement = with_form(arrangement, line=tune, figures=(figure_of(arrangement, "left", 2, 1),))

    def over(late_ms: float) -> float:
        played = play(
            arrangement,
            lambda i: 0.0 if i in tune else late_ms,
            lambda i: 80 if i in tune else 40 + int(arrangement.notes[i].onset_q) - 1,
        )
        return measured(arrangement, *played).balance.line_over_figure_velocity.value

    # In place or 850 ms late: 80 - 47.
    assert over(0.0) == pytest.approx(33.0)
    assert over(850.0) == pytest.approx(33.0)
    # 950 ms late each is under the next: the first line note has none, six have 40 to 50, the last
    # 52 and 54.
    assert over(950.0) == pytest.approx((6 * 80 - 270 + 27) / 7)


# pedal and harmony


def test_score_time_to_played_time():
    # Quarters at 60 from 1 s on, the last at quarter 9: beyond it to the end of its bar (12) at
    # the tempo of the last few, outside nothing.
    arrangement = page([(float(i), 1.0, 60, "right") for i in range(10)])
    heard = hear(arrangement, *play(arrangement))
    moments = follow_tempo(heard)
    found = play_time_s(heard, moments, 0, np.array([0.0, 3.5, 9.0, 11.0, 12.0, 12.5, -1.0]))
    assert found[:5] == pytest.approx([1.0, 4.5, 10.0, 12.0, 13.0])
    assert np.isnan(found[5:]).all()
    assert long_runs(moments).tolist() == [0]


def test_where_pedals_are_asked_for():
    # Four bars, a chord each: from each change to the next; a written pedal over bars 2 and 3 holds
    # the one between them; one that begins in mid-bar asks anew.
    assert written_regions(chords(4)) == [(0.0, 4.0), (4.0, 8.0), (8.0, 12.0), (12.0, 16.0)]
    held = chords(4, [_pedal(4, 12), _pedal(12, 16)])
    assert written_regions(held) == [(0.0, 4.0), (4.0, 12.0), (12.0, 16.0)]
    anew = chords(4, [_pedal(0, 4), _pedal(4, 6), _pedal(6, 8)])
    assert written_regions(anew) == [
        (0.0, 4.0), (4.0, 6.0), (6.0, 8.0), (8.0, 12.0), (12.0, 16.0),
    ]  # fmt: skip


def _pedal(down: int, up: int):
    from engine.arrangement import PedalSpan

    return PedalSpan(Fraction(down), Fraction(up))


@pytest.mark.parametrize(
    ("lift_ms", "catch_ms", "kind"),
    [
        (-80.0, 70.0, "clean"), (110.0, 320.0, "clean"), (-80.1, 70.0, "other"),
        (-80.0, 69.9, "other"), (110.1, 320.0, "other"), (110.0, 320.1, "other"),
        (150.0, 300.0, "other"), (150.1, 300.0, "late"), (150.1, 900.0, "late"),
        (-200.0, 0.0, "kept"), (-200.0, 0.1, "other"), (-100.0, 400.0, "other"),
        (-100.0, 400.1, "gap"), (0.0, None, "gap"), (None, None, "missed"),
    ],
)  # fmt: skip
def test_kinds_of_change_at_their_edges(lift_ms, catch_ms, kind):
    both = lift_ms is not None and catch_ms is not None
    assert kind_of(lift_ms, catch_ms, catch_ms - lift_ms if both else None) == kind


@pytest.mark.parametrize(
    ("dip", "back", "count"),
    [(58, 127, 1), (57, 127, 0), (79, 127, 1), (80, 127, 0), (65, 100, 1), (65, 99, 0)],
)
def test_what_is_a_half_change(dip, back, count):
    moves = [(0.5, 127), (6.0, dip), (6.2, back)]
    found = measured(chords(3), *play(chords(3)), [PedalMove(t, DAMPER, v) for t, v in moves])
    assert found.pedal.half_changes == count


@pytest.mark.parametrize(("pedals", "pieces"), [(3, 3), (2, 8)])
def test_pieces_of_the_time_marked(pedals, pieces):
    # Three marked pedals are three pieces; of two the bars in them are.
    marks = [_pedal(4 * k, 4 * k + 4) for k in range(pedals - 1)] + [_pedal(4 * pedals - 4, 32)]
    arrangement = chords(9, marks)
    found = measured(arrangement, *play(arrangement), [PedalMove(0.5, DAMPER, 127)]).pedal
    assert found.marked
    assert found.down_share.n == pieces


@pytest.mark.parametrize(("count", "told"), [(6, True), (5, False)])
def test_line_notes_of_a_smear(count, told):
    arrangement = page(
        [(i * 0.5, 0.5, 72 + 2 * (i % 2), "right") for i in range(count)]
        + [(i * 0.5, 0.5, 40, "left") for i in range(8)]
    )
    tune = tuple(i for i, n in enumerate(arrangement.notes) if n.hand == "right")
    arrangement = with_form(arrangement, line=tune)
    found = measured(arrangement, *play(arrangement), [PedalMove(0.5, DAMPER, 127)]).pedal
    assert (found.smear_db.value is not None) == told


@pytest.mark.parametrize(("step", "clashes"), [(2, True), (3, False), (12, False)])
def test_a_whole_tone_clashes_and_a_third_does_not(step, clashes):
    arrangement = page([(i * 0.5, 0.5, 72 + step * (i % 2), "right") for i in range(16)])
    arrangement = with_form(arrangement, line=tuple(range(16)))
    found = measured(arrangement, *play(arrangement), [PedalMove(0.5, DAMPER, 127)]).pedal
    assert (found.smear_db.value < 20.0) == clashes
    if not clashes:
        assert found.smear_db.value == 60.0


# tempo


@pytest.mark.parametrize(("wait_ms", "count"), [(500.0, 0), (515.625, 1)])
def test_half_a_beat_is_no_hesitation_and_more_is(wait_ms, count):
    arrangement = page([(float(i), 1.0, 60, "right") for i in range(32)])
    late = play(arrangement, lambda i: wait_ms if i >= 16 else 0.0)
    assert len(measured(arrangement, *late).timing.hesitations) == count


def test_two_notes_of_a_cell_at_one_moment_are_no_order():
    # A quarter of a second a note; the second note of cell 3 comes with the third.
    arrangement = page([(float(i), 1.0, 45 + i % 4, "left") for i in range(40)], qpm=240)
    arrangement = with_form(arrangement, figures=(figure_of(arrangement, "left", 4, 4),))
    found = evenness(arrangement, lambda i: 250.0 if i == 9 else 0.0)
    assert (found.cells, found.excluded_cells) == (9, 1)


# form and notes


@pytest.mark.parametrize(("played", "complete"), [(2, True), (1, False)])
def test_half_of_its_notes_make_a_bar_played(played, complete):
    arrangement = line_over_figure(6)
    notes, findings = play(arrangement)
    third = [i for i, n in enumerate(arrangement.notes) if n.bar == 2 and n.hand == "left"]
    kept = [f for f in findings if f.score not in third[played:]]
    found = measured(arrangement, notes, kept, hands="left").form
    assert found.complete == complete
    assert found.left_out == (() if complete else ("3",))


@pytest.mark.parametrize(("missing", "taken"), [({4}, True), ({3, 4}, False)])
def test_half_of_its_bars_make_a_repeat_taken(missing, taken):
    arrangement = line_over_figure(6)
    bars = tuple(
        replace(b, time=2, number="23"[b.index - 3]) if b.index in (3, 4) else b
        for b in arrangement.bars
    )
    arrangement = replace(arrangement, bars=bars)
    notes, findings = play(arrangement)
    kept = [f for f in findings if arrangement.notes[f.score].bar not in missing]
    assert [r.taken for r in measured(arrangement, notes, kept).form.repeats] == [taken]


def test_a_note_said_twice_counts_as_the_better():
    arrangement = page([(float(i), 1.0, 60, "right") for i in range(8)])
    notes, findings = play(arrangement)
    more = [Finding(None, 2, "missing"), Finding(3, None, "wrong", stands_for=2)]
    kept = [f for f in findings if f.score != 3]
    count = measured(arrangement, notes, [*more, *kept, *reversed(more)]).notes.count
    assert (count.right, count.wrong, count.missing) == (7, 0, 0)
    less = measured(arrangement, notes, [f for f in [*kept, *more] if f.score != 2]).notes.count
    assert (less.right, less.wrong, less.missing) == (6, 1, 0)


def test_an_extra_note_before_all_others_is_in_the_first_bar():
    arrangement = page([(float(i), 1.0, 60, "right") for i in range(8)])
    notes, findings = play(arrangement)
    early = PlayedNote(8, 61, 64, 0.2, 0.4)
    found = measured(arrangement, [*notes, early], [*findings, Finding(8, None, "extra")]).notes
    assert [(b.bar, b.count.extra) for b in found.bars] == [("1", 1)]


# instrument


@pytest.mark.parametrize(("apart_s", "count"), [(0.0625, 1), (0.125, 0)])
def test_two_notes_are_an_octave_within_a_tenth_of_a_second(apart_s, count):
    notes = [PlayedNote(0, 60, 50, 1.0, 2.0), PlayedNote(1, 72, 60, 1.0 + apart_s, 2.0)]
    split, louder = octaves_struck(notes)
    assert len(split) == count
    if count:
        # The lower came first, so that the split is negative.
        assert (split, louder) == ([-62.5], [10.0])


@pytest.mark.parametrize(
    ("rests", "points"),
    [(((40, 0.25), (44, 0.25)), (40, 44)), (((40, 0.25), (43, 0.25)), (30, 90)),
     (((40, 0.25), (80, 0.125)), (30, 90)), (((40, 0.5), (60, 0.5), (80, 0.5)), (40, 80))],
)  # fmt: skip
def test_where_the_foot_rests(rests, points):
    moves, at = [PedalMove(0.0, DAMPER, 0), PedalMove(0.0625, DAMPER, 10)], 0.125
    for value, rest_s in rests:
        moves.append(PedalMove(at, DAMPER, value))
        at += rest_s
    moves.append(PedalMove(at, DAMPER, 127))
    found = calibrate([], moves)
    assert (found.bite, found.clear) == points
