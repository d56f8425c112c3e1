"""A session laid out by hand, so that the kept pictures depend on the window alone."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from functools import cache
from types import SimpleNamespace

from engine.arrangement import Arrangement, Figure, Form, Section, Span, Twins
from engine.findings import Estimate, Finding, Slip
from engine.performance import DAMPER, PedalMove, PlayedNote, Pulse
from practice.snapshot import PassRecord, Snapshot
from tests.window.staging import Stage, map_cells, stage, waiting

SPAN = Span(4, 19)
S_PER_Q = 0.8


@cache
def laid_out_stage() -> Stage:
    """The miniature with its form written down here."""
    plain = stage()
    return Stage(plain.path, replace(plain.arrangement, form=_form(plain.arrangement)))


def _form(arrangement: Arrangement) -> Form:
    names = (("Before", 0, 4), ("Inlet", 4, 20), ("Still Water", 20, 28), ("Moon Up", 28, 103))
    sections = tuple(Section(name, "", start, end) for name, start, end in names)
    cells = []
    for bar in range(4, 20):
        cell = [k for k, n in enumerate(arrangement.notes) if n.bar == bar and n.hand == "left"]
        cells.append(tuple(cell[:8]))
    figure = Figure("left", Fraction(2), 8, tuple(cells))
    twins = Twins(Fraction(8), Fraction(24), Fraction(10), (Fraction(18), Fraction(34)))
    return Form(sections=sections, figures=(figure,), twins=(twins,))


_MEASURE = SimpleNamespace(
    right_share=Estimate(0.957, 0.93, 0.97, 300, "share"),
    median_deviation_ms=Estimate(11.0, 9.0, 13.0, 300, "ms"),
    sd_ms=Estimate(14.0, 12.0, 17.0, 128, "ms"),
    median_abs_residual_ms=Estimate(8.0, 6.0, 10.0, 40, "ms"),
    changes_clean_share=Estimate(0.88, 0.7, 0.95, 16, "share"),
    line_over_figure_velocity=Estimate(9.0, 7.0, 11.0, 300, "velocity"),
    places=(),
)
_MEASURES = SimpleNamespace(
    **dict.fromkeys(("notes", "timing", "evenness", "octaves", "pedal", "balance"), _MEASURE)
)


def laid_out_pass(number: int = 1) -> PassRecord:
    """Notes early and late by a rule, one left out, one wrong, one too many."""
    arrangement = laid_out_stage().arrangement
    table = arrangement.table
    rows = [k for k, bar in enumerate(table["bar"]) if SPAN.from_bar <= bar <= SPAN.to_bar]
    late_ms = [((k * 37 + number * 11) % 150) - 75 for k in range(len(rows))]
    notes = tuple(
        PlayedNote(
            k, arrangement.notes[row].pitch, 40 + (k * 13) % 50,
            float(table["onset_q"][row]) * S_PER_Q + late_ms[k] / 4000,
        )
        for k, row in enumerate(rows)
    )  # fmt: skip
    findings = [Finding(k, row, "right", final=True) for k, row in enumerate(rows)]
    findings[20] = Finding(20, None, "wrong", stands_for=rows[20], final=True)
    findings[50] = Finding(50, None, "extra", final=True)
    findings.append(Finding(None, rows[50], "missing", final=True))
    slips = (
        Slip("accidental missed", 20, rows[20], "Bb3", "B3", "bar 6, beat 2: B for B♭: the flat"),
        Slip("left out", None, rows[50], "Gb3", "", "G♭ left out"),
        Slip("added", 50, None, "", "A3", "A too many: it is not on the page"),
    )
    pedals = (PedalMove(6.5, DAMPER, 127), PedalMove(19.0, DAMPER, 0), PedalMove(19.2, DAMPER, 127))
    return PassRecord(
        number, number, SPAN, "both", Pulse(), 8.0, 40.0, notes, pedals, tuple(findings),
        tuple(float(v) for v in late_ms), slips, _MEASURES, False,
        "96 % of the notes right", 75.0, "2031-03-04T18:20:00+01:00",
    )  # fmt: skip


def laid_out_rest() -> Snapshot:
    """At rest after two such passes."""
    arrangement = laid_out_stage().arrangement
    return waiting(
        arrangement, SPAN, state="rest", passes=(laid_out_pass(1), laid_out_pass(2)),
        cells=map_cells(arrangement),
    )  # fmt: skip
