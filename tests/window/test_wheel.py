"""The Wheel's angles, exact for any length of cell."""

from __future__ import annotations

import math
from dataclasses import replace
from fractions import Fraction
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.arrangement import Arrangement, Bar, Figure, Form, ScoreNote, Span, TempoMark
from engine.findings import Finding, no_estimate
from engine.performance import PlayedNote
from practice.window.cells_played import figure_in, nominal_turns, read_cells
from practice.window.compose import parts_for
from practice.window.ops import Disc, Words
from practice.window.theme import LIGHT
from practice.window.view import View
from practice.window.wheel import compose_wheel, least_noticeable_ms, on_wheel, velocity_radius
from tests.window.staging import passed, stage, waiting

CELLS = 6


def drone(places: int, cell_q: int = 2) -> Arrangement:
    """A left hand of nothing but one figure, a cell a bar."""
    step = Fraction(cell_q, places)
    notes = tuple(
        ScoreNote(
            f"n{k}", 1, k * step, step, 40 + k % places, "C", 0, 2, "left", 2, "1", k // places
        )
        for k in range(places * CELLS)
    )
    bars = tuple(Bar(k, str(k + 1), k, 1, Fraction(k * cell_q), Fraction(cell_q), 2, 4)
                 for k in range(CELLS))  # fmt: skip
    cells = tuple(tuple(range(k * places, (k + 1) * places)) for k in range(CELLS))
    form = Form(figures=(Figure("left", Fraction(cell_q), places, cells),))
    return Arrangement("drone", "0" * 64, notes, bars, (TempoMark(Fraction(0), 60.0),), form=form)


def played(arrangement: Arrangement, late_s: dict[int, float], places: int, s_per_q: float = 0.7):
    notes = tuple(
        PlayedNote(k, n.pitch, 60, float(n.onset_q) * s_per_q + late_s.get(k % places, 0.0))
        for k, n in enumerate(arrangement.notes)
    )
    return notes, tuple(Finding(k, k, "right") for k in range(len(notes)))


@given(st.integers(2, 32), st.floats(0.2, 2.0))
def test_an_even_figure_falls_on_its_written_angles(places: int, s_per_q: float):
    arrangement = drone(places)
    figure = figure_in(arrangement, Span(0, CELLS - 1), "both")
    assert figure is not None
    notes, findings = played(arrangement, {}, places, s_per_q)
    cells = read_cells(arrangement, figure, Span(0, CELLS - 1), notes, findings)
    turns = nominal_turns(arrangement, figure)
    assert turns == pytest.approx([k / places for k in range(places)])
    assert len(cells.notes) == places * CELLS
    for note in cells.notes:
        assert note.turn == pytest.approx(turns[note.place], abs=1e-9)
    assert cells.cell_ms == pytest.approx(2 * s_per_q * 1000)


@pytest.mark.parametrize("places", [2, 3, 8, 32])
def test_a_late_place_is_turned_on_by_its_lateness(places: int):
    # worked out by hand: least squares over whole cells, one place late by d, all others on time.
    # The line's level rises by d/places, its slope by s; what is left of place p is d - d/places
    # less the slope's part, which vanishes for the middle cell's own centre.
    d, late = 0.02, places // 2
    arrangement = drone(places)
    figure = figure_in(arrangement, Span(0, CELLS - 1), "both")
    assert figure is not None
    notes, findings = played(arrangement, {late: d}, places)
    cells = read_cells(arrangement, figure, Span(0, CELLS - 1), notes, findings)
    q = np.array([float(n.onset_q) for n in arrangement.notes[: 3 * places]])
    y = np.where(np.arange(3 * places) % places == late, d, 0.0)
    fit = np.polyval(np.polyfit(q, y, 1), q)
    expected = (y - fit)[places : 2 * places]
    middle = [n for n in cells.notes if n.place == late][2]
    assert middle.late_ms == pytest.approx(expected[late] * 1000, abs=1e-6)
    assert middle.late_ms > 0


def test_no_figure_no_wheel():
    arrangement = drone(4)
    assert figure_in(arrangement, Span(0, CELLS - 1), "right") is None


def test_the_first_place_is_at_the_top_and_time_runs_clockwise():
    assert on_wheel((0, 0), 10, 0.0) == pytest.approx((0, -10))
    assert on_wheel((0, 0), 10, 0.25) == pytest.approx((10, 0))
    assert on_wheel((0, 0), 10, 0.5) == pytest.approx((0, 10))


def test_louder_is_further_out():
    radii = [velocity_radius(v, 100) for v in range(10, 111, 10)]
    assert radii == sorted(radii)
    assert len(set(radii)) == len(radii)


def test_least_noticeable_displacement():
    # Friberg & Sundberg 1995, JASA 98:2524-31: 6 ms in short intervals, 2.5 % of longer ones
    assert least_noticeable_ms(100) == 6.0
    assert least_noticeable_ms(500) == pytest.approx(12.5)
    assert least_noticeable_ms(1000) == pytest.approx(25.0)
    assert math.isclose(least_noticeable_ms(240), 6.0)


def test_the_number_in_the_middle_is_the_accounts_or_none():
    arrangement = stage().arrangement
    one = passed(arrangement, Span(4, 24))
    even = one.measures.evenness.sd_ms
    view = stage().view(waiting(arrangement, Span(4, 24), passes=(one,)), (1920, 1080))
    told = _words_of(view)
    assert f"{even.value:.0f} ms" in told
    few = replace(one, measures=SimpleNamespace(evenness=no_estimate("too few whole cells")))
    told = _words_of(replace(view, snapshot=replace(view.snapshot, passes=(few,))))
    assert not any(text.endswith(" ms") for text in told)
    assert "too few" in told


@pytest.mark.parametrize("size", [(1920, 1080), (1280, 800), (1280, 720)])
def test_no_words_lie_across_the_notes(size: tuple[int, int]):
    """The number stands even on a small Wheel; what would not fit beside it is left out."""
    arrangement = stage().arrangement
    one = passed(arrangement, Span(4, 24))
    view = stage().view(waiting(arrangement, Span(4, 24), passes=(one,)), size)
    drawn = compose_wheel(view, LIGHT, parts_for(view, size))
    middle = [op for op in drawn if isinstance(op, Words) and op.align == "centre"]
    middle = [op for op in middle if not op.text.isdigit()]
    centre = next(op for op in drawn if isinstance(op, Disc) and op.colour == LIGHT.rule)
    heard = [op for op in drawn if isinstance(op, Disc) and op.colour == LIGHT.heard]
    inside = min(math.dist((dot.x, dot.y), (centre.x, centre.y)) - dot.radius for dot in heard)
    assert any(op.text.endswith(" ms") for op in middle)
    for op in middle:
        for x in (op.x - op.width / 2, op.x + op.width / 2):
            # half of the letters' height over the line they stand on
            assert math.dist((x, op.y - op.size * 0.36), (centre.x, centre.y)) < inside


def _words_of(view: View) -> list[str]:
    drawn = compose_wheel(view, LIGHT, parts_for(view, (1920, 1080)))
    return [op.text for op in drawn if isinstance(op, Words)]
