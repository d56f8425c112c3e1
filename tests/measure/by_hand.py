"""Pages and playing written out key by key, for tests whose answers are worked out on paper."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from fractions import Fraction

from engine.arrangement import (
    Arrangement,
    Bar,
    Figure,
    Form,
    Hand,
    Hands,
    Mark,
    PedalSpan,
    ScoreNote,
    TempoMark,
    whole_span,
)
from engine.findings import Finding
from engine.measure import Instrument, Measures, measure
from engine.performance import PedalMove, PlayedNote, Pulse

#: (onset in quarters, duration in quarters, MIDI pitch, hand)
Written = tuple[float, float, int, Hand]
_NAMES = (("C", 0), ("D", -1), ("D", 0), ("E", -1), ("E", 0), ("F", 0), ("G", -1), ("G", 0),
          ("A", -1), ("A", 0), ("B", -1), ("B", 0))  # fmt: skip


def page(
    written: Iterable[Written],
    *,
    qpm: float = 60.0,
    bar_q: int = 4,
    pedals: Sequence[PedalSpan] = (),
    marks: Sequence[Mark] = (),
) -> Arrangement:
    """A page in n/4 time of the notes given; ids n1, n2 ... in order of onset and pitch."""
    rows = sorted(written, key=lambda w: (w[0], w[2]))
    end_q = max(w[0] + w[1] for w in rows)
    count = int(-(-end_q // bar_q))
    bars = tuple(
        Bar(i, str(i + 1), i, 1, Fraction(i * bar_q), Fraction(bar_q), bar_q, 4)
        for i in range(count)
    )
    return Arrangement(
        "by hand",
        "0" * 64,
        tuple(_note(i, w, bar_q) for i, w in enumerate(rows)),
        bars,
        (TempoMark(Fraction(0), qpm),),
        tuple(pedals),
        tuple(marks),
    )


def _note(i: int, w: Written, bar_q: int) -> ScoreNote:
    onset, duration = Fraction(w[0]).limit_denominator(960), Fraction(w[1]).limit_denominator(960)
    step, alter = _NAMES[w[2] % 12]
    return ScoreNote(
        f"n{i + 1}", 1, onset, duration, w[2], step, alter, w[2] // 12 - 1, w[3],
        1 if w[3] == "right" else 2, "1", int(onset // bar_q),
    )  # fmt: skip


def with_form(arrangement: Arrangement, **parts: object) -> Arrangement:
    """The same page with these parts of its form."""
    return replace(arrangement, form=replace(Form(), **parts))  # type: ignore[arg-type]


def figure_of(arrangement: Arrangement, hand: Hand, cell_q: float, places: int) -> Figure:
    """All notes of a hand as one figure, cell by cell."""
    mine = [i for i, n in enumerate(arrangement.notes) if n.hand == hand]
    cells = [tuple(mine[i : i + places]) for i in range(0, len(mine) - places + 1, places)]
    return Figure(hand, Fraction(cell_q), places, tuple(cells))


def play(
    arrangement: Arrangement,
    late_ms: Callable[[int], float] = lambda i: 0.0,
    velocity: Callable[[int], int] = lambda i: 64,
    hold: float = 0.9,
    start_s: float = 1.0,
    rate: float = 1.0,
) -> tuple[tuple[PlayedNote, ...], tuple[Finding, ...]]:
    """Every note in its place at the marked tempo times `rate`, but `late_ms` of its index late."""
    table = arrangement.table
    struck = [
        (start_s + table["onset_s"][i] / rate + late_ms(i) / 1000.0, i)
        for i in range(len(arrangement.notes))
    ]
    notes, findings = [], []
    for index, (onset, i) in enumerate(sorted(struck)):
        held = float(table["duration_s"][i]) / rate * hold
        pitch = arrangement.notes[i].pitch
        notes.append(PlayedNote(index, pitch, velocity(i), float(onset), float(onset) + held))
        findings.append(Finding(index, i, "right", final=True))
    return tuple(notes), tuple(findings)


def measured(
    arrangement: Arrangement,
    notes: Sequence[PlayedNote],
    findings: Sequence[Finding],
    pedals: Sequence[PedalMove] = (),
    hands: Hands = "both",
    pulse: Pulse | None = None,
    instrument: Instrument | None = None,
) -> Measures:
    """All measures over the whole page."""
    return measure(
        arrangement, notes, pedals, findings, span=whole_span(arrangement), hands=hands,
        pulse=pulse or Pulse(), instrument=instrument,
    )  # fmt: skip
