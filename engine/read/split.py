"""Bars with a repeat sign in the middle, cut there, so that every sign stands at a bar's edge."""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction
from typing import TypeVar
from xml.etree.ElementTree import Element

from engine.read.barlines import read_barline
from engine.read.written import PedalSign, TempoSign, WrittenBar, WrittenMark, WrittenNote


@dataclass(frozen=True, slots=True)
class Cut:
    """A barline inside a bar."""

    at_q: Fraction
    barline: Element


_Thing = TypeVar("_Thing", WrittenNote, TempoSign, PedalSign, WrittenMark)


def split_bars(bars: list[WrittenBar], cuts: dict[int, list[Cut]]) -> list[WrittenBar]:
    """The bars, those with cuts (by index) in as many pieces as the cuts make."""
    pieces: list[WrittenBar] = []
    for i, bar in enumerate(bars):
        rest = bar
        for cut in sorted(cuts.get(i, ()), key=lambda c: c.at_q):
            at_q = cut.at_q - (bar.duration_q - rest.duration_q)
            if not 0 < at_q < rest.duration_q:
                continue
            front, rest = _split(rest, at_q)
            read_barline(cut.barline, front, front.duration_q, rest)
            pieces.append(front)
        pieces.append(rest)
    return pieces


def _split(bar: WrittenBar, at_q: Fraction) -> tuple[WrittenBar, WrittenBar]:
    front = WrittenBar(bar.number, at_q, lead_q=bar.lead_q, implicit=bar.implicit)
    back = WrittenBar(bar.number, bar.duration_q - at_q, lead_q=bar.lead_q + at_q, implicit=True)
    for piece in (front, back):
        piece.beats, piece.beat_unit, piece.fifths = bar.beats, bar.beat_unit, bar.fifths
    front.notes, back.notes = _share(bar.notes, at_q)
    front.tempos, back.tempos = _share(bar.tempos, at_q)
    front.pedals, back.pedals = _share(bar.pedals, at_q)
    front.marks, back.marks = _share(bar.marks, at_q)
    _share_signs(bar, front, back)
    return front, back


def _share(things: list[_Thing], at_q: Fraction) -> tuple[list[_Thing], list[_Thing]]:
    """What comes before the cut, and what comes after it, counted from the cut."""
    before = [thing for thing in things if thing.at_q < at_q]
    after = [replace(t, at_q=t.at_q - at_q) for t in things if t.at_q >= at_q]
    return before, after


def _share_signs(bar: WrittenBar, front: WrittenBar, back: WrittenBar) -> None:
    """What stands at the old bar's left edge goes to the front, the rest to the back."""
    front.repeat_start = bar.repeat_start
    back.repeat_end, back.repeat_times = bar.repeat_end, bar.repeat_times
    back.after_jump, back.ending = bar.after_jump, bar.ending
    places = ("segno", "coda")
    front.jumps = [jump for jump in bar.jumps if jump.kind in places]
    back.jumps = [jump for jump in bar.jumps if jump.kind not in places]
