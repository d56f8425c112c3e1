"""Which bars come next: places by turns, chained from the back, or drawn by lot."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from engine.arrangement import Span
from engine.drill.sheet import DrillSheet, PassResult

#: The task of a span is done (it stands, or was put aside).
IsDone = Callable[[Span], bool]


@dataclass(frozen=True, slots=True)
class Choice:
    """The bars of the next pass, and why; None where nothing is left."""

    span: Span | None
    reason: str = ""


def choose_span(
    sheet: DrillSheet, places: Sequence[Span], history: Sequence[PassResult], is_done: IsDone
) -> Choice:
    """The next bars. `is_done` is asked of every candidate."""
    if sheet.order == "backwards":
        return _chain(places, is_done)
    if sheet.order == "anywhere":
        return Choice(None) if is_done(places[0]) else _draw(sheet, places, len(history))
    return _take_turns(places, history, is_done)


def list_links(place: Span) -> list[Span]:
    """A place from the back: its last bar, its last two ... all of it."""
    return [Span(k, place.to_bar) for k in range(place.to_bar, place.from_bar - 1, -1)]


def _chain(places: Sequence[Span], is_done: IsDone) -> Choice:
    for place in places:
        for link in list_links(place):
            if not is_done(link):
                bars = link.to_bar - link.from_bar + 1
                what = "the last bar" if bars == 1 else f"the last {bars} bars"
                return Choice(link, what)
    return Choice(None)


def _draw(sheet: DrillSheet, places: Sequence[Span], number: int) -> Choice:
    """A bar drawn by lot, each as likely as any other, and on from there to its place's end."""
    bars = [(bar, place) for place in places for bar in range(place.from_bar, place.to_bar + 1)]
    rng = np.random.default_rng([sheet.seed, number])
    bar, place = bars[int(rng.integers(len(bars)))]
    return Choice(Span(bar, place.to_bar), "start anywhere")


def _take_turns(places: Sequence[Span], history: Sequence[PassResult], is_done: IsDone) -> Choice:
    open_places = [p for p in places if not is_done(p)]
    if not open_places:
        return Choice(None)
    if len(places) == 1:
        return Choice(open_places[0])
    last = history[-1].span if history else None
    after = places.index(last) + 1 if last in places else 0
    turn = [*places[after:], *places[:after]]
    reason = "the other one, by turns" if history and len(open_places) > 1 else ""
    return Choice(next(p for p in turn if p in open_places), reason)
