"""When each bar is reached while something is played to the player: the page followed in words."""

from __future__ import annotations

from collections.abc import Iterable

from engine.arrangement import Arrangement, Span
from practice.drill import name_span
from practice.listen.kept_hearing import HearingTakes

#: Seconds from the beginning, and the bar as the player would say it.
BarMoment = tuple[float, str]


def find_bars_of_page(arrangement: Arrangement, span: Span, rate: float) -> list[BarMoment]:
    """The bars of a span played as written, at a share of the marked tempo."""
    bars = arrangement.bars[span.from_bar : span.to_bar + 1]
    at_s = arrangement.seconds_at([float(bar.onset_q) for bar in bars])
    return [
        (float(s - at_s[0]) / rate, _name(arrangement, bar.index))
        for s, bar in zip(at_s, bars, strict=True)
    ]


def find_bars_of_takes(arrangement: Arrangement, takes: HearingTakes) -> list[BarMoment]:
    """The bars of kept takes, by their right notes; none where none are known."""
    reached = (
        (at_s + float(s) - take.first_s, arrangement.bar_at(float(q)).index)
        for take, at_s in zip(takes.takes, takes.begins_s, strict=True)
        for s, q in zip(take.moments_s, take.places_q, strict=True)
    )
    return _changes(arrangement, reached)


def _changes(arrangement: Arrangement, reached: Iterable[tuple[float, int]]) -> list[BarMoment]:
    """Only where the bar is another than before."""
    out: list[BarMoment] = []
    last = -1
    for at_s, bar in reached:
        if bar != last:
            out.append((at_s, _name(arrangement, bar)))
        last = bar
    return out


def _name(arrangement: Arrangement, bar: int) -> str:
    return name_span(arrangement, Span(bar, bar))
