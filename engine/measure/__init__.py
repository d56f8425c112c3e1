"""How it was played: one pure function a measure, each with its source and its intervals.

These are musical measures. They give no diagnosis.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from engine.arrangement import Arrangement, Hands, Span
from engine.findings import Estimate, Finding
from engine.measure.balance import Balance, measure_balance
from engine.measure.deviation import deviations_ms
from engine.measure.evenness import Evenness, measure_evenness
from engine.measure.form import FormKept, measure_form
from engine.measure.heard import hear
from engine.measure.instrument import Instrument, calibrate
from engine.measure.lead import Lead, measure_lead
from engine.measure.notes import Notes, measure_notes
from engine.measure.octaves import Octaves, measure_octaves
from engine.measure.pedal import Pedal, measure_pedal
from engine.measure.tempo import follow_tempo
from engine.measure.timing import Timing, measure_timing
from engine.performance import PedalMove, PlayedNote, Pulse

__all__ = ["Instrument", "Measures", "calibrate", "deviations_ms", "measure"]


@dataclass(frozen=True, slots=True)
class Measures:
    """All measures of one pass; an `Estimate` without value says why one is absent."""

    notes: Notes | Estimate
    timing: Timing | Estimate
    evenness: Evenness | Estimate
    octaves: Octaves | Estimate
    lead: Lead | Estimate
    pedal: Pedal | Estimate
    balance: Balance | Estimate
    form: FormKept | Estimate


def measure(
    arrangement: Arrangement,
    notes: Sequence[PlayedNote],
    pedals: Sequence[PedalMove],
    findings: Sequence[Finding],
    *,
    span: Span,
    hands: Hands,
    pulse: Pulse,
    instrument: Instrument | None = None,
) -> Measures:
    """Measure one pass.

    Args:
        arrangement: the score with its form.
        notes: played notes; findings name them by `index`.
        pedals: pedal moves, the state before the first note included.
        findings: one for each note, and those for notes left out.
        span, hands: what was asked for.
        pulse: how time is judged.
        instrument: the keyboard as calibrated, or None.
    """
    heard = hear(arrangement, notes, findings, span, hands)
    moments = follow_tempo(heard)
    return Measures(
        measure_notes(heard),
        measure_timing(heard, moments, pulse),
        measure_evenness(heard, moments),
        measure_octaves(heard, instrument),
        measure_lead(heard, instrument),
        measure_pedal(heard, moments, pedals, instrument),
        measure_balance(heard, instrument),
        measure_form(heard, moments, pedals),
    )
