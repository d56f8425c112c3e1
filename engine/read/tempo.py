"""The tempo map along the unfolded score."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from engine.arrangement import Bar, TempoMark
from engine.read.limits import DEFAULT_QPM, MAX_QPM, MIN_QPM
from engine.read.report import Report
from engine.read.written import TempoSign, WrittenBar, WrittenScore


@dataclass(frozen=True, slots=True)
class _Tempo:
    qpm: float
    unit_q: Fraction | None


def tempo_map(score: WrittenScore, bars: tuple[Bar, ...], report: Report) -> tuple[TempoMark, ...]:
    """Tempo marks in order of playing, the first at 0.

    Going back to a bar brings back the tempo that is in force there on the page, as a player
    reads it, whatever ritardando came before the repeat sign.
    """
    pages = _read_through(score, report)
    marks: list[TempoMark] = []
    for bar in bars:
        for at_q, tempo in pages[bar.written]:
            unit_q = tempo.unit_q or beat_unit_of(score.bars[bar.written])
            mark = TempoMark(bar.onset_q + at_q, tempo.qpm, unit_q)
            if marks and marks[-1].onset_q >= mark.onset_q:
                marks.pop()
            if not marks or (marks[-1].qpm, marks[-1].beat_unit_q) != (mark.qpm, unit_q):
                marks.append(mark)
    return tuple(marks)


def beat_unit_of(bar: WrittenBar) -> Fraction:
    """The beat of a bar's signature: the dotted value in 6/8, 9/8, 12/8 and their like."""
    compound = bar.beat_unit >= 8 and bar.beats > 3 and bar.beats % 3 == 0
    return Fraction(4 * (3 if compound else 1), bar.beat_unit)


def _read_through(score: WrittenScore, report: Report) -> list[list[tuple[Fraction, _Tempo]]]:
    """For each written bar the tempos in it, the one in force at its start first."""
    signs = [merge_signs(bar.tempos) for bar in score.bars]
    now = _Tempo(_opening_qpm(score, signs, report), None)
    pages: list[list[tuple[Fraction, _Tempo]]] = []
    for bar_signs in signs:
        page = [(Fraction(0), now)]
        for sign in bar_signs:
            now = _follow(now, sign)
            page.append((sign.at_q, now))
        pages.append(page)
    return pages


def _opening_qpm(score: WrittenScore, signs: list[list[TempoSign]], report: Report) -> float:
    """The tempo before the first sign: the first sign's own, so that the score starts with it."""
    first = next((s.qpm for bar in signs for s in bar if s.qpm is not None), None)
    if first is not None:
        return first
    if score.default_qpm is not None:
        return score.default_qpm
    report.put_up_with("", f"no tempo is given; {DEFAULT_QPM:g} quarters a minute are assumed")
    return DEFAULT_QPM


def _follow(now: _Tempo, sign: TempoSign) -> _Tempo:
    unit_q = sign.beat_unit_q or now.unit_q
    if sign.qpm is not None:
        return _Tempo(sign.qpm, unit_q)
    ratio = float(sign.ratio or 1)
    return _Tempo(min(max(now.qpm * ratio, MIN_QPM), MAX_QPM), unit_q)


def merge_signs(signs: list[TempoSign]) -> list[TempoSign]:
    """Signs of a bar in order; at one moment the last speed counts, and the last beat unit."""
    merged: list[TempoSign] = []
    for sign in sorted(signs, key=lambda s: s.at_q):
        if merged and merged[-1].at_q == sign.at_q:
            old = merged.pop()
            sign = TempoSign(
                sign.at_q,
                sign.qpm if sign.qpm is not None else old.qpm,
                sign.beat_unit_q or old.beat_unit_q,
                sign.ratio or old.ratio,
            )
        merged.append(sign)
    return merged
