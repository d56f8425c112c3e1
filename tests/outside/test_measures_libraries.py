"""The measures beside partitura's performance features and mir_eval's matching: the same notes."""

from __future__ import annotations

import mir_eval
import numpy as np
import pytest
from partitura.musicanalysis import performance_features as features

from engine.arrangement import whole_span
from engine.measure import deviations_ms
from engine.measure.cells import gather_cells
from engine.measure.heard import hear
from engine.measure.octaves import ROLLED_MS, measure_chords
from engine.measure.pedal_state import damper_steps
from engine.measure.steps import overlap_of
from engine.measure.tempo import follow_tempo
from engine.performance import DAMPER, PedalMove, Pulse
from tests.measure.by_hand import measured, page, play
from tests.measure.known_playing import Known, play_known
from tests.measure.labelled_takes import LabelledTake, read_labelled


@pytest.fixture(scope="module")
def take(data_sets) -> LabelledTake:
    return read_labelled(data_sets / "beethoven-8-2")


def matched_rows(take: LabelledTake, hand: str) -> np.ndarray:
    """The matched notes of one hand in the layout that partitura's features ask for."""
    arrangement, notes = take.arrangement, take.recording.notes
    rows = []
    for f in take.findings:
        if f.what != "right":
            continue
        score, played = arrangement.notes[f.score], notes[f.played]
        if score.hand == hand and not score.grace and not score.ornament and not score.arpeggiated:
            rows.append((
                float(score.onset_q), float(score.duration_q), score.pitch, played.onset_s,
                played.release_s - played.onset_s, played.velocity, int(score.voice or 0),
            ))  # fmt: skip
    names = ("onset", "duration", "pitch", "p_onset", "p_duration", "velocity", "voice")
    kinds = ("f8", "f8", "i4", "f8", "f8", "i4", "i4")
    return np.array(sorted(rows), dtype=list(zip(names, kinds, strict=True)))


@pytest.mark.parametrize("hand", ["left", "right"])
def test_chord_spread_is_partituras_asynchrony(take, hand):
    rows = matched_rows(take, hand)
    groups = [np.flatnonzero(rows["onset"] == q) for q in np.unique(rows["onset"])]
    theirs = features.asynchrony_feature(rows, groups, None)["delta"] * 1000.0
    by_size: dict[int, list[float]] = {}
    for group in groups:
        spread = float(theirs[group[0]])
        at = rows["p_onset"][group[np.argsort(rows["pitch"][group])]]
        rolled = spread > ROLLED_MS * (len(group) - 1) and (np.diff(at) > 0).all()
        if len(group) >= 2 and not rolled:
            by_size.setdefault(len(group), []).append(spread)
    ours = measure_chords(hear(take.arrangement, take.recording.notes, take.findings))
    compared = 0
    for chord in ours:
        if chord.hand == hand and chord.spread_ms.value is not None:
            # A unison is one note for us and two rows for them: a handful of groups differ.
            assert chord.spread_ms.value == pytest.approx(np.median(by_size[chord.notes]), abs=1.0)
            compared += chord.spread_ms.n
    assert compared > 20


def test_overlap_is_partituras_key_overlap_ratio(take):
    heard = hear(take.arrangement, take.recording.notes, take.findings)
    figure = max(take.arrangement.form.figures, key=lambda f: len(f.occurrences) * f.places)
    cells = gather_cells(heard, follow_tempo(heard), figure)
    ends, starts = cells.release_s.ravel(), cells.time_s.ravel()
    run = np.repeat(cells.run, cells.places)
    theirs = [
        features.get_kor({"p_onset": starts[i], "p_offset": ends[i]}, {"p_onset": starts[i + 1]})
        for i in range(len(starts) - 1)
        if run[i] == run[i + 1]
    ]
    _, share = overlap_of(cells)
    assert share.n == len(theirs)
    assert share.value == pytest.approx(np.median(theirs), abs=1e-6)


def test_sounding_ends_are_partituras_with_its_threshold_put_right(take):
    from partitura.performance import adjust_note_offsets_with_sustain

    notes, pedals = take.recording.notes, take.recording.pedals
    damper = damper_steps(pedals)
    controls = [
        {"type": "sustain_pedal", "number": m.controller, "time": m.time_s, "value": m.value}
        for m in pedals
        if m.controller == DAMPER
    ]
    rows = [
        {"midi_pitch": n.pitch, "note_on": n.onset_s, "note_off": n.release_s, "sound_off": None}
        for n in notes
    ]
    # Its test is "value > threshold", so that 64, which the standard calls on, needs 63.
    adjust_note_offsets_with_sustain(rows, controls, 63)
    again: dict[int, float] = {}
    apart = []
    for n in sorted(notes, key=lambda n: -n.onset_s):
        until = again.get(n.pitch, np.inf)
        ours = max(min(damper.held_until(n.release_s), until), n.release_s)
        if n.release_s < pedals[-1].time_s - 5:
            apart.append(abs(ours - rows[n.index]["sound_off"]))
        again[n.pitch] = n.onset_s
    # Where a key goes up in the very instant in which the pedal moves the two may differ.
    assert len(apart) > 1500
    assert np.mean(np.array(apart) < 1e-6) > 0.995


def test_sixty_four_is_on_for_us_and_off_for_partituras_default():
    from partitura.performance import adjust_note_offsets_with_sustain

    controls = [{"type": "sustain_pedal", "number": 64, "time": 0.0, "value": 64},
                {"type": "sustain_pedal", "number": 64, "time": 3.0, "value": 0}]  # fmt: skip
    row = [{"midi_pitch": 60, "note_on": 0.5, "note_off": 1.0, "sound_off": None}]
    adjust_note_offsets_with_sustain(row, controls, 64)
    ours = damper_steps([PedalMove(0.0, DAMPER, 64), PedalMove(3.0, DAMPER, 0)]).held_until(1.0)
    assert ours == 3.0
    assert row[0]["sound_off"] != ours


def test_deviation_within_50_ms_is_mir_evals_onset_measure():
    # Clicks 400 ms apart, so that each note can match its own click only.
    known = Known(
        bars=16, interval=400.0, habit=(0.0,) * 8, jitter=35.0, lead=0.0, lead_sd=0.0, slope=0.0,
        split=0.0, together_sd=0.0,
    )  # fmt: skip
    played = play_known(known, 3)
    pulse = Pulse("strict", 1.0, 0.0, 1.0)
    late = deviations_ms(played.arrangement, played.notes, played.findings, pulse)
    left = [f.played for f in played.findings if played.arrangement.notes[f.score].hand == "left"]
    reference = np.sort(played.arrangement.table["onset_s"][
        [f.score for f in played.findings if f.played in set(left)]
    ] + 1.0)  # fmt: skip
    found = np.sort([played.notes[i].onset_s for i in left])
    _, precision, recall = mir_eval.onset.f_measure(reference, found, window=0.05)
    share = float((np.abs(late[left]) <= 50.0).mean())
    assert precision == recall == pytest.approx(share)
    assert 0.7 < share < 0.95


def test_right_notes_are_mir_evals_transcription_recall():
    # Thirty notes, four of them struck on the wrong key and two left out.
    arrangement = page([(float(i), 1.0, 60 + 2 * (i % 5), "right") for i in range(30)])
    notes, findings = play(arrangement)
    wrong, missing = {3, 9, 14, 21}, {6, 27}
    heard = [n for n in notes if n.index not in missing]
    said = []
    for f in findings:
        if f.played in wrong:
            said.append(type(f)(f.played, None, "wrong", stands_for=f.score))
        elif f.played in missing:
            said.append(type(f)(None, f.score, "missing"))
        else:
            said.append(f)
    ours = measured(arrangement, heard, said).notes.right_share.value

    def hertz(pitches):
        return mir_eval.util.midi_to_hz(np.array(pitches, dtype=float))

    def spans(these):
        return np.array([(n.onset_s, n.release_s) for n in these])

    keys = [n.pitch + (1 if n.index in wrong else 0) for n in heard]
    _, recall, _, _ = mir_eval.transcription.precision_recall_f1_overlap(
        spans(notes), hertz([n.pitch for n in notes]), spans(heard), hertz(keys), offset_ratio=None
    )
    assert ours == pytest.approx(recall) == pytest.approx(24 / 30)


def test_whole_real_takes_give_numbers_or_reasons(take):
    from tests.measure.test_invariance import _check_reasons

    found = measured(take.arrangement, take.recording.notes, take.findings, take.recording.pedals)
    _check_reasons(found)
    assert whole_span(take.arrangement).from_bar == 0
    assert found.form.complete


def test_the_damper_at_each_onset_is_partituras_where_it_rests(take, data_sets):
    import partitura

    path = data_sets / "beethoven-8-2" / "p1.mid"
    part = partitura.load_performance_midi(str(path)).performedparts[0]
    # It takes every controller of the file for the damper, the soft pedal too.
    part.controls = [c for c in part.controls if c["number"] == DAMPER]
    rows = np.concatenate([matched_rows(take, hand) for hand in ("left", "right")])
    theirs = features.pedal_ramp(part, rows)[0]["onset_value"].astype(float)
    damper = damper_steps(take.recording.pedals)
    ours = damper.value_at(rows["p_onset"])
    # Theirs is drawn straight from one move to the next, which a pedal is not: compared is where
    # both moves round the onset are alike.
    after = np.searchsorted(damper.time_s, rows["p_onset"], side="right")
    inside = (after > 0) & (after < len(damper.value))
    resting = inside.copy()
    resting[inside] = np.abs(np.diff(damper.value)[after[inside] - 1]) <= 3
    assert resting.sum() > 400
    assert np.abs(theirs - ours)[resting].max() <= 4.0


def test_moments_within_50_ms_of_the_local_tempo_are_mir_evals_matches(take):
    # Each moment against where the tempo round it puts it; those with a neighbour nearer than
    # 120 ms are left out, so that a match can only be with itself.
    moments = follow_tempo(hear(take.arrangement, take.recording.notes, take.findings))
    told = np.isfinite(moments.expected_s)
    expected, came = moments.expected_s[told], moments.time_s[told]
    gap = np.minimum(np.diff(expected, prepend=-9.0), np.diff(expected, append=1e9))
    gap = np.minimum(gap, np.minimum(np.diff(came, prepend=-9.0), np.diff(came, append=1e9)))
    alone = gap > 0.12
    expected, came = expected[alone], came[alone]
    ours = float((np.abs(came - expected) <= 0.05).mean())
    f, precision, recall = mir_eval.onset.f_measure(expected, came, window=0.05)
    assert alone.sum() > 300
    assert 0.5 < ours < 1.0
    assert f == precision == recall == pytest.approx(ours, abs=0.005)
