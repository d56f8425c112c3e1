"""How far each note is from where it belongs, in ms, positive late."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from engine.arrangement import Arrangement
from engine.findings import Finding
from engine.measure.heard import Heard, Numbers, hear
from engine.measure.tempo import Moments, follow_tempo
from engine.performance import PlayedNote, Pulse


def deviations_ms(
    arrangement: Arrangement,
    notes: Sequence[PlayedNote],
    findings: Sequence[Finding],
    pulse: Pulse,
) -> Numbers:
    """Deviation of each played note, positive late.

    Strict pulse: from where the tempo map puts the note. Free pulse: from where the tempo of
    the notes round it puts it, the moment itself left out (`engine.measure.tempo`).

    Args:
        arrangement: the score.
        notes: played notes; findings name them by `index`.
        findings: right and wrong ones give deviations.
        pulse: how time is judged.

    Returns:
        shape (len(notes),), ms; nan for notes that answer to nothing, and for graces, ornaments
        and arpeggiated notes, which are early or late on purpose.
    """
    heard = hear(arrangement, notes, findings)
    out = np.full(len(notes), np.nan)
    if len(heard.score):
        out[heard.played] = row_deviations_ms(heard, follow_tempo(heard), pulse)
    return out


def row_deviations_ms(heard: Heard, moments: Moments, pulse: Pulse) -> Numbers:
    """The same for each row of `heard`, shape (rows,)."""
    place_s = moments.expected_s if pulse.kind == "free" else click_s(heard, moments, pulse)
    has = moments.of_row >= 0
    out = np.full(len(heard.score), np.nan)
    out[has] = (heard.onset_s[has] - place_s[moments.of_row[has]]) * 1000.0
    return out


def click_s(heard: Heard, moments: Moments, pulse: Pulse) -> Numbers:
    """Where the strict pulse puts each moment, seconds, shape (m,)."""
    start = heard.arrangement.seconds_at(pulse.start_q)
    return np.asarray(pulse.start_s + (moments.mark_s - start) / pulse.rate)
