"""Deviations and timing on rows of notes written out by hand."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest

from engine.arrangement import Mark, Phrase
from engine.findings import Estimate, Finding
from engine.measure import deviations_ms
from engine.measure.timing import Timing
from engine.performance import PlayedNote, Pulse
from tests.measure.by_hand import measured, page, play, with_form


def row(count: int = 32, **kwargs):
    """Quarters at 60: one a second."""
    return page([(float(i), 1.0, 60 + i % 5, "right") for i in range(count)], **kwargs)


def timing(arrangement, *args, pulse=None, **kwargs) -> Timing:
    notes, findings = play(arrangement, *args, **kwargs)
    found = measured(arrangement, notes, findings, pulse=pulse).timing
    assert isinstance(found, Timing), found
    return found


def test_free_pulse_one_late_note_stands_out_and_spoils_no_other():
    arrangement = row()
    notes, findings = play(arrangement, lambda i: 30.0 if i == 15 else 0.0)
    late = deviations_ms(arrangement, notes, findings, Pulse())
    assert late.shape == (32,)
    assert late[15] == pytest.approx(30.0, abs=0.01)
    assert np.abs(np.delete(late, 15)).max() < 0.5


def test_free_pulse_follows_the_players_own_tempo():
    # Slower by 2 % each note, as in a broad ritardando: no note is late by more than a hundredth of
    # its interval, and but for the ends hardly any.
    ends = np.concatenate([[0.0], np.cumsum(1.02 ** np.arange(31))])
    arrangement = row()
    notes, findings = play(arrangement, lambda i: float(ends[i] - i) * 1000)
    late = deviations_ms(arrangement, notes, findings, Pulse())
    assert np.abs(late[8:-8]).max() < 1.0
    assert (np.abs(late) < 10.0 * np.append(np.diff(ends), 1.02**31)).all()


def test_strict_pulse_is_from_the_click():
    # At 80 % of 60 the click comes every 1.25 s from 10 s on; quarter 4 is the downbeat.
    arrangement = row(count=16)
    notes = tuple(
        PlayedNote(k, arrangement.notes[i].pitch, 60, 10.0 + 1.25 * (i - 4) + 0.02, 11.0 + 1.25 * i)
        for k, i in enumerate(range(4, 16))
    )
    findings = [Finding(k, i, "right") for k, i in enumerate(range(4, 16))]
    late = deviations_ms(arrangement, notes, findings, Pulse("strict", 10.0, 4.0, 0.8))
    assert late == pytest.approx(np.full(12, 20.0))


def test_what_answers_to_nothing_has_no_deviation():
    arrangement = row()
    notes, findings = play(arrangement)
    extra = PlayedNote(len(notes), 99, 60, 5.5, 5.7)
    said = [*findings, Finding(extra.index, None, "extra")]
    late = deviations_ms(arrangement, (*notes, extra), said, Pulse())
    assert np.isnan(late[-1])
    assert np.isfinite(late[:-1]).all()


def test_a_wrong_key_struck_in_time_is_in_time():
    arrangement = row()
    notes, findings = play(arrangement, lambda i: 25.0 if i == 10 else 0.0)
    said = [Finding(10, None, "wrong", stands_for=10) if f.played == 10 else f for f in findings]
    assert deviations_ms(arrangement, notes, said, Pulse())[10] == pytest.approx(25.0, abs=0.01)


def test_graces_and_rolls_are_early_on_purpose():
    arrangement = row()
    notes = list(arrangement.notes)
    notes[5] = replace(notes[5], arpeggiated=True)
    notes[9] = replace(notes[9], ornament="trill")
    arrangement = replace(arrangement, notes=tuple(notes))
    played, findings = play(arrangement, lambda i: -80.0 if i in (5, 9) else 0.0)
    late = deviations_ms(arrangement, played, findings, Pulse())
    assert np.isnan(late[[5, 9]]).all()
    assert np.nanmax(np.abs(late)) < 0.01


def test_findings_name_notes_by_index_not_by_position():
    arrangement = row()
    notes, findings = play(arrangement, lambda i: 40.0 if i == 20 else 0.0)
    part = notes[8:]
    late = deviations_ms(arrangement, part, findings[8:], Pulse())
    assert late[12] == pytest.approx(40.0, abs=0.01)


def test_tempo_and_mark():
    # Played at 0.8 of the mark: 48 quarters a minute.
    found = timing(row(), rate=0.8)
    assert found.tempo_qpm.value == pytest.approx(48.0)
    assert found.mark_share.value == pytest.approx(0.8)
    assert [round(p.tempo_qpm, 6) for p in found.tempo_curve] == [48.0] * 8


def test_a_hesitation_is_listed_with_its_length():
    found = timing(row(), lambda i: 1300.0 if i >= 18 else 0.0)
    assert [(h.bar, h.beat) for h in found.hesitations] == [("5", 3.0)]
    assert found.hesitations[0].length_ms == pytest.approx(1300.0)
    assert found.hesitations[0].beats == pytest.approx(1.3, abs=0.01)
    assert found.tempo_qpm.value == pytest.approx(60.0)


def test_under_half_a_beat_is_no_hesitation():
    assert timing(row(), lambda i: 450.0 if i >= 18 else 0.0).hesitations == ()


def test_a_fermata_is_no_hesitation():
    held = Mark("fermata", Fraction(17), 4)
    arrangement = row(marks=[held])
    assert timing(arrangement, lambda i: 3000.0 if i >= 18 else 0.0).hesitations == ()


def test_a_fermata_over_notes_of_the_other_hand_is_no_hesitation():
    # The fermata stands on quarter 17 and the left hand still plays at 17.5.
    written = [(float(i), 1.0, 60, "right") for i in range(32)]
    written += [(i / 2, 0.5, 45, "left") for i in range(64)]
    held = Mark("fermata", Fraction(17), 4)
    arrangement = page(written, marks=[held])
    onset_q = arrangement.table["onset_q"]
    found = timing(arrangement, lambda i: 3000.0 if onset_q[i] >= 18 else 0.0)
    assert found.hesitations == ()


def test_a_phrase_may_begin_later():
    arrangement = with_form(row(), phrases=(Phrase(0, 2, Fraction(16), Fraction(32)),))
    assert timing(arrangement, lambda i: 800.0 if i >= 16 else 0.0).hesitations == ()
    assert len(timing(arrangement, lambda i: 1200.0 if i >= 16 else 0.0).hesitations) == 1


def test_entries_after_rests():
    # Eight quarters, two quarters of silence, and on; the entry comes 60 ms late.
    written = [(float(i), 1.0, 60, "right") for i in (*range(8), *range(10, 24))]
    found = timing(page(written), lambda i: 60.0 if i == 8 else 0.0)
    assert [(e.bar, e.beat) for e in found.entries] == [("3", 3.0)]
    assert found.entries[0].hand == "right"
    assert found.entries[0].deviation_ms == pytest.approx(60.0, abs=1.0)


def test_entries_of_the_line_over_a_drone():
    # The left hand never rests. The right plays bars 1 and 2, is silent in bar 3, comes in 45 ms
    # late in bar 4; the half note that it rests in bar 5 is no entry.
    written = [(i / 2, 0.5, 45, "left") for i in range(48)]
    written += [(float(i), 1.0, 72, "right") for i in (*range(8), *range(12, 16), 18, 19, 20)]
    arrangement = page(written)
    onset_q = arrangement.table["onset_q"]
    late = {i for i, n in enumerate(arrangement.notes) if n.hand == "right" and onset_q[i] == 12}
    found = timing(arrangement, lambda i: 45.0 if i in late else 0.0)
    assert [(e.bar, e.beat, e.hand) for e in found.entries] == [("4", 1.0, "right")]
    assert found.entries[0].deviation_ms == pytest.approx(45.0, abs=3.0)


def test_an_entry_played_twice_is_told_twice():
    written = [(float(i), 1.0, 60, "right") for i in (*range(8), *range(10, 24))]
    arrangement = page(written)
    notes, findings = play(arrangement)
    again = [replace(n, index=n.index + 22, onset_s=n.onset_s + 40, release_s=n.release_s + 40)
             for n in notes]  # fmt: skip
    more = [replace(f, played=f.played + 22) for f in findings]
    found = measured(arrangement, [*notes, *again], [*findings, *more]).timing
    assert [e.bar for e in found.entries] == ["3", "3"]


@pytest.mark.parametrize(
    ("late", "words"),
    [
        (lambda i: -18.0 + (i * 7 % 5), "a little ahead of the click"),
        (lambda i: -3.0 * i, "rushing"),
        (lambda i: 3.0 * i, "dragging"),
        (lambda i: 30.0 + (i * 7 % 5), "behind the click"),
        # Half a millisecond a second is 30 ms a minute: a trend, but no rushing nor dragging.
        (lambda i: 30.0 + 0.5 * i, "behind the click"),
        (lambda i: -30.0 - 0.5 * i, "a little ahead of the click"),
        # A trend of 90 a minute that the scatter hides.
        (lambda i: 1.5 * (i - 16) + 300.0 * ((i * 7 % 5) - 2), "on the click"),
        (lambda i: -1.5 * (i - 16) + 300.0 * ((i * 7 % 5) - 2), "on the click"),
        (lambda i: float((i * 7 % 5) - 2), "on the click"),
    ],
)
def test_anticipation_is_told_from_rushing(late, words):
    found = timing(row(48), late, pulse=Pulse("strict", 1.0, 0.0, 1.0))
    assert words in found.words


def test_asynchrony_on_paper():
    # -10 and +2 by turns: mean -4, SD (n - 1) of 48 such is 6 * sqrt(48 / 47).
    found = timing(row(48), lambda i: -10.0 if i % 2 else 2.0, pulse=Pulse("strict", 1.0, 0.0, 1.0))
    assert found.asynchrony_ms.value == pytest.approx(-4.0)
    assert found.asynchrony_sd_ms.value == pytest.approx(6.0 * np.sqrt(48 / 47))
    assert found.asynchrony_drift_ms_per_minute.value == pytest.approx(0.0, abs=1.0)


def test_going_back_begins_a_new_run_and_is_no_hesitation():
    arrangement = row(16)
    order = [*range(12), *range(8, 16)]
    notes = tuple(
        PlayedNote(k, arrangement.notes[i].pitch, 60, 1.0 + k, 1.9 + k) for k, i in enumerate(order)
    )
    findings = [Finding(k, i, "right") for k, i in enumerate(order)]
    measures = measured(arrangement, notes, findings)
    assert measures.timing.hesitations == ()
    assert measures.form.goings_back == 1
    assert measures.timing.tempo_qpm.value == pytest.approx(60.0)


def test_leaving_bars_out_is_no_going_back():
    arrangement = row(32)
    order = [*range(12), *range(20, 32)]
    notes = tuple(
        PlayedNote(k, arrangement.notes[i].pitch, 60, 1.0 + k, 1.9 + k) for k, i in enumerate(order)
    )
    findings = [Finding(k, i, "right") for k, i in enumerate(order)]
    found = measured(arrangement, notes, findings)
    assert found.form.goings_back == 0
    assert found.form.left_out == ("4", "5")
    assert found.timing.hesitations == ()
    assert found.timing.tempo_qpm.value == pytest.approx(60.0)


def test_one_stray_note_is_no_going_back():
    arrangement = row()
    notes, findings = play(arrangement)
    strayed = [replace(f, score=3) if f.played == 20 else f for f in findings]
    measures = measured(arrangement, notes, strayed)
    assert measures.form.goings_back == 0
    assert measures.timing.hesitations == ()


def test_too_little_to_tell():
    arrangement = row(4)
    found = measured(arrangement, *play(arrangement)).timing
    assert isinstance(found, Estimate)
    assert "too few onsets" in found.reason
    late = deviations_ms(arrangement, *play(arrangement), Pulse())
    assert np.isnan(late).all()
    assert deviations_ms(arrangement, (), (), Pulse()).shape == (0,)
