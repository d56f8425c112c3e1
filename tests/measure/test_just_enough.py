"""What just suffices says something; one less says why not."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest

from engine.arrangement import Phrase
from engine.findings import Estimate
from engine.measure.evenness import Evenness
from engine.measure.instrument import split_slope
from engine.measure.octaves import Octaves
from tests.measure.by_hand import measured, page, play, with_form
from tests.measure.test_evenness import drone, evenness
from tests.measure.test_instrument import octaves as calibrating
from tests.measure.test_octaves import line_over_figure, octaves, tune_in_octaves
from tests.measure.test_timekeeper import intervals, part


@pytest.mark.parametrize(
    ("cells", "places", "told"), [(5, 5, True), (4, 8, False), (6, 4, True), (5, 4, False)]
)
def test_cells_and_notes_of_a_figure(cells, places, told):
    # At least five cells and at least 24 notes.
    arrangement = drone(cells=cells, places=places)
    found = measured(arrangement, *play(arrangement)).evenness
    assert isinstance(found, Evenness) == told
    if not told:
        assert f"too few whole cells of the figure: {cells} (0 left out)" in found.reason


@pytest.mark.parametrize(("count", "told"), [(6, True), (5, False)])
def test_octaves(count, told):
    found = octaves(tune_in_octaves(count), lambda i: 7.0 if i % 2 == 0 else 0.0)
    assert (found.split_ms.value is not None) == told
    assert found.octaves == count


@pytest.mark.parametrize(("count", "told"), [(6, True), (5, False)])
def test_shared_onsets(count, told):
    arrangement = line_over_figure(count)
    found = measured(arrangement, *play(arrangement)).lead
    assert isinstance(found, Estimate) != told
    if not told:
        assert found.reason == "too few shared onsets: 5, at least 6"
        assert found.n == 5


@pytest.mark.parametrize(("count", "told"), [(6, True), (5, False)])
def test_line_notes_over_a_figure(count, told):
    arrangement = line_over_figure(count)
    found = measured(arrangement, *play(arrangement)).balance
    assert isinstance(found, Estimate) != told
    if not told:
        assert found.n == 5


@pytest.mark.parametrize(("count", "told"), [(6, True), (5, False)])
def test_onsets_of_a_tempo(count, told):
    arrangement = page([(float(i), 1.0, 60, "right") for i in range(count)])
    found = measured(arrangement, *play(arrangement)).timing
    assert isinstance(found, Estimate) != told
    if not told:
        assert "too few onsets to tell a tempo: 5, at least 6" in found.reason


@pytest.mark.parametrize(("count", "told"), [(48, True), (47, False)])
def test_intervals_of_timekeeper_and_finger(count, told):
    assert (part(intervals(5, 3, count)).lag1_correlation.value is not None) == told


@pytest.mark.parametrize(("count", "told"), [(12, True), (11, False)])
def test_octaves_of_a_calibration(count, told):
    assert (split_slope(calibrating(0.5, count)).value is not None) == told


@pytest.mark.parametrize(("louder", "told"), [(6, True), (5, False)])
def test_voicing_of_a_calibration(louder, told):
    notes = [replace(n, velocity=50 + louder * (n.index % 4 == 0)) for n in calibrating(0.0, 12)]
    assert (split_slope(notes).value is not None) == told


@pytest.mark.parametrize(("count", "told"), [(5, True), (4, False)])
def test_cells_of_one_fingering(count, told):
    arrangement = drone(cells=20)
    notes = list(arrangement.notes)
    notes[0] = replace(notes[0], fingering="5")
    notes[4 * (20 - count)] = replace(notes[4 * (20 - count)], fingering="4")
    found = evenness(replace(arrangement, notes=tuple(notes)))
    assert [(f.fingering, f.cells) for f in found.fingerings] == [
        ("5 - - -", 20 - count),
        ("4 - - -", count),
    ]
    assert (found.fingerings[1].sd_ms.value is not None) == told


@pytest.mark.parametrize(("octaves_heard", "told"), [(13, True), (12, False)])
def test_gaps_of_a_trend_by_speed(octaves_heard, told):
    # Every other gap half as long: an octave less leaves eleven gaps where twelve are needed.
    onsets = np.cumsum([0.0, *([1.0, 0.5] * 12)])[:octaves_heard]
    arrangement = page([(float(q), 0.5, 60 + o, "right") for q in onsets for o in (0, 12)])
    found = octaves(arrangement, lambda i: 5.0 if i % 2 == 0 else 0.0)
    assert (found.faster_ms_per_halving.value is not None) == told


@pytest.mark.parametrize(
    ("late_ms", "rolled", "counted"),
    [(-59.5, 0, 12), (-60.5, 1, 11), (199.5, 0, 12), (200.5, 0, 11)],
)
def test_rolls_and_notes_not_meant_together(late_ms, rolled, counted):
    # The first lower note comes so much later than its upper.
    found = octaves(tune_in_octaves(), lambda i: late_ms if i == 0 else 0.0)
    assert (found.rolled, found.octaves) == (rolled, counted)


@pytest.mark.parametrize(
    ("late_ms", "words"),
    [(9.5, "together"), (10.5, "normal"), (19.5, "normal"), (20.5, "loose"), (29.5, "loose"),
     (30.5, "heard as split")],
)  # fmt: skip
def test_words_for_togetherness(late_ms, words):
    found = octaves(tune_in_octaves(), lambda i: late_ms if i % 2 == 0 else 0.0)
    assert isinstance(found, Octaves)
    assert found.words == words


@pytest.mark.parametrize(("notes", "told"), [(3, True), (2, False)])
def test_notes_of_a_phrase(notes, told):
    arrangement = line_over_figure()
    phrases = (Phrase(0, 1, Fraction(0), Fraction(4 * notes)),)
    arrangement = with_form(
        arrangement, line=arrangement.form.line, figures=arrangement.form.figures, phrases=phrases
    )
    shapes = measured(arrangement, *play(arrangement)).balance.phrases
    assert [s.notes for s in shapes] == ([notes] if told else [])
