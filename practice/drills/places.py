"""The places of a drill, found in the arrangement: "bars 5-8", "twins 1", "slip 3" and the rest."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import TypeVar

from engine.arrangement import Arrangement, Phrase, Span, whole_span
from engine.drill import DrillSheet
from practice.drill import find_span, type_span
from practice.drills.sheet_file import DrillError

#: A place around a slip reaches this many bars to either side.
AROUND = 1
#: Nothing was played yet, or all of it was right.
NOTHING_WEAK = "play a take; where the last one had no slip, name bars instead"
_WORD = re.compile(r"^\s*([a-z]+)\s*(.*?)\s*$", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Weaknesses:
    """What earlier takes tell: the weakest bars, worst first, and the bars of the last slips."""

    bars: tuple[int, ...] = ()
    slips: tuple[int, ...] = ()


NOTHING_KNOWN = Weaknesses()
T = TypeVar("T")


def find_places(
    arrangement: Arrangement, sheet: DrillSheet, known: Weaknesses = NOTHING_KNOWN
) -> list[Span]:
    """The places of a drill in the order given, each once.

    Raises:
        DrillError, SpanError: a place is not understood, or not there.
    """
    found = [span for text in sheet.where for span in _find(arrangement, text, known)]
    return list(dict.fromkeys(found))


def say_place(arrangement: Arrangement, span: Span) -> str:
    """The bars in the words of a drill: "whole", "bars 5-8", "bars 5-8@2"."""
    bars = type_span(arrangement, span)
    return f"bars {bars}" if bars else "whole"


def _find(arrangement: Arrangement, text: str, known: Weaknesses) -> Sequence[Span]:
    read = _WORD.match(text)
    kind, rest = (read[1].casefold(), read[2]) if read else ("", "")
    finder = _FINDERS.get(kind)
    if finder is None:
        if re.match(r"^\s*\d", text):
            return [find_span(arrangement, bars=text)]
        hint = "write: whole, bars 5-8, section A, phrase A 2, twins 1, slip 3 or weakest 2"
        raise DrillError("no such kind of place", f'"{text}"', hint)
    return finder(arrangement, rest, known)


def _find_whole(arrangement: Arrangement, _rest: str, _known: Weaknesses) -> list[Span]:
    return [whole_span(arrangement)]


def _find_bars(arrangement: Arrangement, rest: str, _known: Weaknesses) -> list[Span]:
    return [find_span(arrangement, bars=rest)]


def _find_section(arrangement: Arrangement, rest: str, _known: Weaknesses) -> list[Span]:
    return [find_span(arrangement, section=rest)]


def _find_phrase(arrangement: Arrangement, rest: str, _known: Weaknesses) -> list[Span]:
    """ "A 2": the second phrase of the first section so named; "7": the seventh of all."""
    name, _, number = rest.rpartition(" ")
    phrases = list(arrangement.form.phrases)
    if name:
        wanted = find_span(arrangement, section=name)
        phrases = [p for p in phrases if _span_of_phrase(arrangement, p).from_bar in _bars(wanted)]
    return [_span_of_phrase(arrangement, _pick(phrases, number, f"phrase {rest}"))]


def _find_twins(arrangement: Arrangement, rest: str, _known: Weaknesses) -> list[Span]:
    """Both passages, each from its beginning to the bar after the parting."""
    twins = _pick(arrangement.form.twins, rest or "1", f"twins {rest}")
    pairs = ((twins.first_q, twins.parting[0]), (twins.second_q, twins.parting[1]))
    last = len(arrangement.bars) - 1
    return [
        Span(arrangement.bar_at(q).index, min(arrangement.bar_at(parting).index + 1, last))
        for q, parting in pairs
    ]


def _find_slip(arrangement: Arrangement, rest: str, known: Weaknesses) -> list[Span]:
    bar = _pick(known.slips, rest or "1", f"slip {rest}")
    return [_around(arrangement, bar)]


def _find_weakest(arrangement: Arrangement, rest: str, known: Weaknesses) -> list[Span]:
    """The worst so many bars; neighbours are one place."""
    count = int(rest) if rest.isdigit() else 1
    chosen = sorted(known.bars[:count])
    if not chosen:
        raise DrillError("no weak bars are known", "weakest", NOTHING_WEAK)
    places = [_around(arrangement, chosen[0])]
    for bar in chosen[1:]:
        one = _around(arrangement, bar)
        if one.from_bar <= places[-1].to_bar:
            places[-1] = Span(places[-1].from_bar, one.to_bar)
        else:
            places.append(one)
    return places


_FINDERS: dict[str, Callable[[Arrangement, str, Weaknesses], Sequence[Span]]] = {
    "whole": _find_whole, "bars": _find_bars, "bar": _find_bars, "section": _find_section,
    "phrase": _find_phrase, "twins": _find_twins, "slip": _find_slip, "weakest": _find_weakest,
}  # fmt: skip


def _around(arrangement: Arrangement, bar: int) -> Span:
    return Span(max(bar - AROUND, 0), min(bar + AROUND, len(arrangement.bars) - 1))


def _bars(span: Span) -> range:
    return range(span.from_bar, span.to_bar + 1)


def _span_of_phrase(arrangement: Arrangement, phrase: Phrase) -> Span:
    inside = phrase.to_q - Fraction(1, 10_000)
    return Span(arrangement.bar_at(phrase.from_q).index, arrangement.bar_at(inside).index)


def _pick(items: Sequence[T], number: str, where: str) -> T:
    if not number.isdigit() or not 1 <= int(number) <= len(items):
        hint = f"there are {len(items)}" if items else "there are none"
        raise DrillError("no such place", where, hint)
    return items[int(number) - 1]
