"""Pages built by hand from note names: what the tests of the form read."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from engine.arrangement import Arrangement, Bar, Hand, Mark, PedalSpan, ScoreNote, TempoMark
from engine.pitch_names import midi_number

#: (onset, duration, name) in quarters: (0, 1, "Bbb4").
Written = tuple[float, float, str]


def page(
    right: Sequence[Written] = (),
    left: Sequence[Written] = (),
    *,
    beats: int = 4,
    beat_unit: int = 4,
    fifths: int = 0,
    pickup_q: float = 0,
    marks: Sequence[Mark] = (),
    pedals: Sequence[PedalSpan] = (),
    order: Sequence[int] = (),
) -> Arrangement:
    """An arrangement of as many bars as the notes need; `order` unfolds written bars."""
    bar_q = Fraction(4 * beats, beat_unit)
    lead_q = bar_q - Fraction(pickup_q) if pickup_q else Fraction(0)
    end_q = max(Fraction(o) + Fraction(d) for o, d, _ in [*right, *left])
    bars: list[Bar] = []
    while not bars or bars[-1].onset_q + bars[-1].duration_q < end_q:
        first = not bars
        onset = Fraction(0) if first else bars[-1].onset_q + bars[-1].duration_q
        length = bar_q - lead_q if first else bar_q
        number = str(len(bars) + (0 if lead_q else 1))
        lead = lead_q if first else Fraction(0)
        bars.append(Bar(len(bars), number, len(bars), 1, onset, length, beats, beat_unit, lead))
    notes = [_note(bars, "right", k, w) for k, w in enumerate(right)]
    notes += [_note(bars, "left", k, w) for k, w in enumerate(left)]
    if order:
        bars, notes = _unfold(bars, notes, order)
    notes.sort(key=lambda n: (n.onset_q, n.pitch))
    return Arrangement(
        "A page", "", tuple(notes), tuple(bars), (TempoMark(Fraction(0), 60.0),),
        tuple(pedals), tuple(marks), fifths,
    )  # fmt: skip


def _note(bars: Sequence[Bar], hand: Hand, k: int, written: Written) -> ScoreNote:
    onset, duration, name = Fraction(written[0]), Fraction(written[1]), written[2]
    step, octave = name[0], int(name.lstrip("ABCDEFGb#"))
    signs = name[1:].rstrip("-0123456789")
    alter = signs.count("#") - signs.count("b")
    bar = next(b.index for b in reversed(bars) if b.onset_q <= onset)
    staff = 1 if hand == "right" else 2
    return ScoreNote(
        f"{hand[0]}{k}", 1, onset, duration, midi_number(step, alter, octave), step, alter,
        octave, hand, staff, str(staff), bar, heads=(f"{hand[0]}{k}",),
    )  # fmt: skip


def _unfold(
    bars: Sequence[Bar], notes: Sequence[ScoreNote], order: Sequence[int]
) -> tuple[list[Bar], list[ScoreNote]]:
    from dataclasses import replace

    out_bars: list[Bar] = []
    out_notes: list[ScoreNote] = []
    at = Fraction(0)
    for written in order:
        time = 1 + sum(b.written == written for b in out_bars)
        source = bars[written]
        out_bars.append(replace(source, index=len(out_bars), onset_q=at, time=time))
        for note in notes:
            if note.bar == written:
                onset = at + note.onset_q - source.onset_q
                out_notes.append(replace(note, time=time, onset_q=onset, bar=len(out_bars) - 1))
        at += source.duration_q
    return out_bars, out_notes


def each(names: str, step_q: float, from_q: float = 0, length_q: float = 0) -> list[Written]:
    """Notes one after the other; "-" rests, "+" joins notes struck together: "C3+E3 - G3"."""
    out: list[Written] = []
    for k, word in enumerate(names.split()):
        struck = word.split("+") if word != "-" else []
        out += [(from_q + k * step_q, length_q or step_q, name) for name in struck]
    return out
