"""Written pedal marks, along the unfolded score, to spans of pedal down."""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction
from itertools import groupby

from engine.arrangement import Bar, PedalSpan
from engine.read.report import Report
from engine.read.written import PedalSign, WrittenScore

#: At one moment the foot comes up before it goes down.
_ORDER = {"stop": 0, "change": 1, "start": 1, "resume": 2}


def pedal_spans(
    score: WrittenScore, bars: tuple[Bar, ...], report: Report
) -> tuple[PedalSpan, ...]:
    """Spans in order of going down. A pedal never lifted is held to the end, and reported."""
    feet = _Feet()
    signs = [(bar.onset_q + s.at_q, bar, s) for bar in bars for s in score.bars[bar.written].pedals]
    signs.sort(key=lambda entry: (entry[0], _ORDER[entry[2].action]))
    for onset_q, moment in groupby(signs, key=lambda entry: entry[0]):
        feet.move(onset_q, moment)
    end_q = bars[-1].onset_q + bars[-1].duration_q
    for bar in feet.lift_all(end_q):
        report.put_up_with(bar.number, "the pedal put down here is never lifted")
    return tuple(sorted(feet.spans, key=lambda s: (s.down_q, s.up_q)))


class _Feet:
    """Which pedals are down, under which number, since when and since which bar."""

    def __init__(self) -> None:
        self.spans: list[PedalSpan] = []
        self._down: dict[str, tuple[Fraction, Bar, str]] = {}

    def move(self, onset_q: Fraction, moment: Iterable[tuple[Fraction, Bar, PedalSign]]) -> None:
        """Obey all signs of one moment."""
        for _, bar, sign in moment:
            if sign.action == "stop":
                self._lift(onset_q, sign)
            elif sign.action == "resume" and self._number_of(sign) is not None:
                continue
            elif sign.kind != "soft" or self._number_of(sign) is None:
                # A new "Ped." while the pedal is down is a change: up and down again.
                self._lift(onset_q, sign)
                self._down[sign.number] = (onset_q, bar, sign.kind)

    def _number_of(self, sign: PedalSign) -> str | None:
        """The number under which the pedal that a sign speaks of is down."""
        if sign.number in self._down:
            return sign.number
        same = [number for number, (_, _, kind) in self._down.items() if kind == sign.kind]
        return same[-1] if same else None

    def _lift(self, onset_q: Fraction, sign: PedalSign) -> None:
        number = self._number_of(sign)
        if number is not None:
            down_q, _, kind = self._down.pop(number)
            if onset_q > down_q:
                self.spans.append(PedalSpan(down_q, onset_q, kind))  # type: ignore[arg-type]

    def lift_all(self, end_q: Fraction) -> list[Bar]:
        """Close what is still down; returns the bars in which it went down."""
        left = list(self._down.values())
        for down_q, _, kind in left:
            if end_q > down_q:
                self.spans.append(PedalSpan(down_q, end_q, kind))  # type: ignore[arg-type]
        self._down.clear()
        return [bar for _, bar, _ in left]
