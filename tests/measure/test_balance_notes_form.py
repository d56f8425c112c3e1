"""Balance, counts of notes, and form, on small pages."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest

from engine.arrangement import Phrase, Span
from engine.findings import Estimate, Finding
from engine.measure import Instrument, measure
from engine.measure.balance import Balance
from engine.measure.form import FormKept, HeldNote
from engine.performance import DAMPER, PedalMove, Pulse
from tests.measure.by_hand import measured, page, play
from tests.measure.test_octaves import line_over_figure, tune_in_octaves


def test_balance_is_line_minus_what_lies_beneath():
    # Line 80, figure 60, 56, 60, 56: mean 58, so 22 over it.
    arrangement = line_over_figure()
    tune = set(arrangement.form.line)
    beneath = [i for i in range(len(arrangement.notes)) if i not in tune]
    loud = {i: (60, 56)[k % 2] for k, i in enumerate(beneath)}
    notes, findings = play(arrangement, velocity=lambda i: loud.get(i, 80))
    found = measured(arrangement, notes, findings).balance
    assert isinstance(found, Balance)
    assert found.line_over_figure_velocity.value == pytest.approx(22.0)
    assert found.line_velocity.value == pytest.approx(80.0)
    assert found.figure_velocity.value == pytest.approx(58.0)
    assert found.line_over_figure_db.value is None
    assert "not calibrated" in found.line_over_figure_db.reason
    known = measured(arrangement, notes, findings, instrument=Instrument("mine"))
    assert known.balance.line_over_figure_db.value == pytest.approx(22 * 0.26)


def test_the_shape_of_a_phrase():
    # The first six line notes, 60 62 70 68 64 61, at quarters 0 4 ... 20 of a phrase of 24: the
    # peak lies at 8 of 24, ten over the first and nine over the last.
    arrangement = line_over_figure()
    tune = arrangement.form.line
    loud = dict(zip(tune, (60, 62, 70, 68, 64, 61) * 2, strict=True))
    arrangement = replace(
        arrangement,
        form=replace(arrangement.form, phrases=(Phrase(0, 1, Fraction(0), Fraction(24)),)),
    )
    found = measured(arrangement, *play(arrangement, velocity=lambda i: loud.get(i, 50))).balance
    (shape,) = found.phrases
    assert shape.velocities == (60, 62, 70, 68, 64, 61)
    assert shape.peak_share == pytest.approx(8 / 24)
    assert (shape.rise_velocity, shape.fall_velocity) == (10.0, 9.0)
    assert shape.figure_velocity == pytest.approx(50.0)


def test_without_a_line_there_is_no_balance():
    arrangement = tune_in_octaves()
    found = measured(arrangement, *play(arrangement)).balance
    assert isinstance(found, Estimate)
    assert found.reason == "no line was found"


def test_notes_are_counted_by_hand_and_bar():
    # 24 notes right of 2 hands: one wrong (left, bar 2), one missing (right, bar 3), one extra that
    # comes after a note of bar 1.
    written = [(float(i), 1.0, 60, "right") for i in range(12)]
    written += [(float(i), 1.0, 40, "left") for i in range(12)]
    arrangement = page(written)
    notes, findings = play(arrangement)
    lost = next(i for i, n in enumerate(arrangement.notes) if n.hand == "right" and n.bar == 2)
    erred = next(i for i, n in enumerate(arrangement.notes) if n.hand == "left" and n.bar == 1)
    said = []
    for f in findings:
        if f.score == lost:
            said.append(Finding(f.played, None, "extra"))
        elif f.score == erred:
            said.append(Finding(f.played, None, "wrong", stands_for=erred))
        else:
            said.append(f)
    said.append(Finding(None, lost, "missing"))
    found = measured(arrangement, notes, said).notes
    count = found.count
    assert (count.right, count.wrong, count.missing, count.extra) == (22, 1, 1, 1)
    assert found.right_share.value == pytest.approx(22 / 24)
    by_hand = {h.hand: h.count for h in found.hands}
    assert (by_hand["left"].wrong, by_hand["left"].missing) == (1, 0)
    assert (by_hand["right"].wrong, by_hand["right"].missing) == (0, 1)
    assert [(b.bar, b.count.wrong, b.count.missing, b.count.extra) for b in found.bars] == [
        ("2", 1, 0, 0),
        ("3", 0, 1, 1),
    ]


def test_a_unison_counts_once_and_small_print_is_never_missing():
    arrangement = page([(0.0, 1.0, 60, "right"), (0.0, 2.0, 60, "left"), (1.0, 1.0, 62, "right")])
    notes = list(arrangement.notes)
    notes[1] = replace(notes[1], unison=0)
    notes[2] = replace(notes[2], optional=True)
    arrangement = replace(arrangement, notes=tuple(notes))
    played, _ = play(arrangement)
    found = measured(arrangement, played[:1], [Finding(0, 0, "right")]).notes
    assert (found.count.right, found.count.missing) == (1, 0)


def test_the_other_hand_is_not_counted():
    arrangement = line_over_figure()
    notes, findings = play(arrangement)
    found = measured(arrangement, notes, findings, hands="left").notes
    assert [h.hand for h in found.hands] == ["left"]
    assert found.count.right == 48


def test_a_run_through_is_complete_or_names_what_was_left_out():
    arrangement = line_over_figure(6)
    notes, findings = play(arrangement)
    whole = measured(arrangement, notes, findings).form
    assert isinstance(whole, FormKept)
    assert whole.complete
    assert whole.whole_piece
    some = [f for f in findings if arrangement.notes[f.score].bar not in (2, 3)]
    gap = measured(arrangement, notes, some).form
    assert not gap.complete
    assert gap.left_out == ("3", "4")
    part = measure(
        arrangement, notes, (), findings, span=Span(1, 2), hands="both", pulse=Pulse()
    ).form
    assert part.complete
    assert not part.whole_piece
    assert part.bars_asked == 2


def test_repeats_taken_and_not():
    # Bars 2 and 3 come a second time (time 2) as bars 4 and 5 of the unfolded page.
    arrangement = line_over_figure(6)
    bars = tuple(
        replace(b, time=2, number=("2", "3")[b.index - 3]) if b.index in (3, 4) else b
        for b in arrangement.bars
    )
    arrangement = replace(arrangement, bars=bars)
    notes, findings = play(arrangement)
    taken = measured(arrangement, notes, findings).form.repeats
    assert [(r.from_bar, r.to_bar, r.bar_time, r.taken) for r in taken] == [("2", "3", 2, True)]
    some = [f for f in findings if arrangement.notes[f.score].bar not in (3, 4)]
    skipped = measured(arrangement, notes, some).form
    assert [r.taken for r in skipped.repeats] == [False]
    assert skipped.left_out == ("2@2", "3@2")


def test_the_last_note_held_as_long_as_written():
    # A half note at 60 is 2 s; the key is let go after 1.5 s, and the pedal at 2.2 s.
    arrangement = page([(float(i), 1.0, 60, "right") for i in range(8)] + [(8.0, 2.0, 60, "right")])
    notes, findings = play(arrangement)
    notes = (*notes[:-1], replace(notes[-1], release_s=notes[-1].onset_s + 1.5))
    bare = measured(arrangement, notes, findings).form.last_note
    assert isinstance(bare, HeldNote)
    assert bare.written_ms == pytest.approx(2000.0)
    assert bare.held_share == pytest.approx(0.75)
    assert bare.sounded_share == pytest.approx(0.75)
    at = notes[-1].onset_s
    pedals = [PedalMove(at + 0.5, DAMPER, 127), PedalMove(at + 2.2, DAMPER, 0)]
    rung = measured(arrangement, notes, findings, pedals).form.last_note
    assert rung.held_share == pytest.approx(0.75)
    assert rung.sounded_share == pytest.approx(1.1)


def test_the_last_note_at_the_tempo_played():
    # The same at half speed is written 4 s long.
    arrangement = page(
        [(float(i), 1.0, 60, "right") for i in range(12)] + [(12.0, 2.0, 60, "right")]
    )
    found = measured(arrangement, *play(arrangement, rate=0.5, hold=1.0)).form.last_note
    assert found.written_ms == pytest.approx(4000.0, rel=1e-6)
    assert found.held_share == pytest.approx(1.0)


def test_of_a_last_chord_the_longest_note_that_was_let_go():
    # Three equal notes, the lowest of them still down when the pass is judged.
    chord = [(8.0, 2.0, pitch, "right") for pitch in (60, 64, 67)]
    arrangement = page([(float(i), 1.0, 60, "right") for i in range(8)] + chord)
    notes, findings = play(arrangement)
    held = next(n for n in notes[-3:] if n.pitch == 60)
    notes = tuple(replace(n, release_s=float("nan")) if n is held else n for n in notes)
    found = measured(arrangement, notes, findings).form.last_note
    assert isinstance(found, HeldNote)
    assert found.held_share == pytest.approx(0.9)
    assert found.sounded_share == pytest.approx(0.9)


def test_one_hand_alone_is_asked_for_the_keys_it_shares_with_the_other():
    # Eight bars of C E G c in the left hand; the right strikes the same c, and stands for it.
    written = [
        note
        for b in range(8)
        for note in (
            *((4.0 * b + k, 1.0, pitch, "left") for k, pitch in enumerate((48, 52, 55, 60))),
            (4.0 * b + 3.0, 1.0, 60, "right"),
        )
    ]
    arrangement = page(written)
    shared = {n.onset_q: i for i, n in enumerate(arrangement.notes) if n.hand == "right"}
    unisons = [shared.get(n.onset_q, -1) for n in arrangement.notes]
    notes = [replace(n, unison=u) for n, u in zip(arrangement.notes, unisons, strict=True)]
    arrangement = replace(arrangement, notes=tuple(notes))
    played, findings = play(arrangement)
    left = [i for i, n in enumerate(arrangement.notes) if n.hand == "left"]
    mine = [f for f in findings if f.score in left]
    all_of_it = measured(arrangement, played, mine, hands="left").notes.count
    assert (all_of_it.right, all_of_it.missing) == (32, 0)
    without = [
        replace(f, played=None, what="missing") if arrangement.notes[f.score].pitch == 60 else f
        for f in mine
    ]
    some = measured(arrangement, played, without, hands="left").notes
    assert (some.count.right, some.count.missing) == (24, 8)
    assert [h.count.missing for h in some.hands] == [8]
    form = measured(arrangement, played, mine, hands="left").form
    assert form.last_note.held_share == pytest.approx(0.9)


def test_the_last_note_not_reached():
    arrangement = page([(float(i), 1.0, 60 + i % 3, "right") for i in range(12)])
    notes, findings = play(arrangement)
    found = measured(arrangement, notes[:-2], findings[:-2]).form.last_note
    assert isinstance(found, Estimate)
    assert "not reached" in found.reason


def test_a_grace_note_at_the_end_has_no_length_to_be_held_for():
    arrangement = page([(float(i), 1.0, 60, "right") for i in range(8)] + [(7.5, 0.0, 62, "right")])
    found = measured(arrangement, *play(arrangement, hold=0.5)).form.last_note
    assert isinstance(found, Estimate)
    assert "no written length" in found.reason
