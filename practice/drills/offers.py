"""What can be drilled here: the kinds of drill, the kept ones, every place of the arrangement."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import count
from typing import Literal

from engine.arrangement import Arrangement, Hands, Span
from engine.drill import DrillSheet
from engine.errors import UndersongError
from practice.drill import name_span
from practice.drills.kept_sheets import PLANNED, KeptSheet
from practice.drills.places import NOTHING_KNOWN, Weaknesses, find_places, say_place
from practice.drills.ready_made import READY_MADE

Group = Literal["kinds", "kept", "places"]
#: Spans are offered round so many slips of the last take, the first ones, each bar once.
MOST_SLIPS = 8


@dataclass(frozen=True, slots=True)
class Shelf:
    """What there is besides the arrangement: what earlier takes tell, and the drills kept."""

    known: Weaknesses = NOTHING_KNOWN
    kept: tuple[KeptSheet, ...] = ()


EMPTY_SHELF = Shelf()


@dataclass(frozen=True, slots=True)
class Offer:
    """A drill to choose.

    Attributes:
        title: what the list calls it. sheet: the drill. group: where in the list it stands.
        name: under which it is kept, "" where it is not.
        bars: which bars that is here. trouble: why it cannot be begun here, "" where it can.
    """

    title: str
    sheet: DrillSheet
    group: Group
    name: str = ""
    bars: str = ""
    trouble: str = ""


def list_offers(
    arrangement: Arrangement, span: Span, hands: Hands = "both", shelf: Shelf = EMPTY_SHELF
) -> tuple[Offer, ...]:
    """Everything there is to choose, in the list's order; kinds are of the span and hands given."""
    kinds = _kinds(arrangement, span, hands, shelf.known)
    offers = [*kinds, *_kept(shelf), *_places(arrangement, hands)]
    return tuple(_try(arrangement, one, shelf.known) for one in offers)


def list_own_offers(arrangement: Arrangement, shelf: Shelf) -> tuple[Offer, ...]:
    """The drills the player has kept, but for those that cannot be played here."""
    kept = (_try(arrangement, one, shelf.known) for one in _kept(shelf))
    return tuple(o for o in kept if not o.trouble and not o.name.startswith(PLANNED))


def list_places(arrangement: Arrangement, span: Span, known: Weaknesses) -> tuple[str, ...]:
    """The places a drill can be moved to, in words: the span chosen, then all there are by name."""
    words = [
        say_place(arrangement, span), "whole", *(where for _, where in _forms(arrangement)),
        *(f"twins {k}" for k in range(1, len(arrangement.form.twins) + 1)),
        *(where for _, where in _slips(arrangement, known)),
        *(f"weakest {k}" for k in (1, 2, 3) if len(known.bars) >= k),
    ]  # fmt: skip
    return tuple(one for one in dict.fromkeys(words) if _can_find(arrangement, one, known))


def _try(arrangement: Arrangement, offer: Offer, known: Weaknesses) -> Offer:
    if offer.trouble:
        return offer
    try:
        places = find_places(arrangement, offer.sheet, known)
    except UndersongError as error:
        return replace(offer, trouble=str(error))
    return replace(offer, bars=" and ".join(_say_bars(arrangement, place) for place in places))


def _say_bars(arrangement: Arrangement, place: Span) -> str:
    """Where nothing is said of the time, it is the first."""
    return name_span(arrangement, place).removesuffix(", time 1")


def _can_find(arrangement: Arrangement, where: str, known: Weaknesses) -> bool:
    try:
        return bool(find_places(arrangement, DrillSheet(where=(where,)), known))
    except UndersongError:
        return False


def _kinds(
    arrangement: Arrangement, span: Span, hands: Hands, known: Weaknesses
) -> Iterator[Offer]:
    """The ready-made ones, of the bars and hands chosen where they are not of others."""
    for kind, sheet in READY_MADE.items():
        if kind == "twins":
            yield from _twins(arrangement, sheet, hands)
            continue
        if sheet.where == ("whole",) and not sheet.run_through:
            sheet = replace(sheet, where=(say_place(arrangement, span),))
        yield Offer(_title(sheet.name), _with_hands(sheet, hands), "kinds")
    for title, where in _slips(arrangement, known):
        sheet = DrillSheet(f"round {where}", where=(where,), hands=(hands,), overlap=1)
        yield Offer(title, sheet, "kinds")


def _with_hands(sheet: DrillSheet, hands: Hands) -> DrillSheet:
    by_turns = len(sheet.hands) > 1
    return sheet if by_turns or sheet.run_through else replace(sheet, hands=(hands,))


def _twins(arrangement: Arrangement, sheet: DrillSheet, hands: Hands) -> Iterator[Offer]:
    """A pair each; where there is none the list says so."""
    pairs = len(arrangement.form.twins)
    for number in range(1, max(pairs, 1) + 1):
        one = replace(_with_hands(sheet, hands), where=(f"twins {number}",))
        yield Offer(_title(sheet.name) + (f", pair {number}" if pairs > 1 else ""), one, "kinds")


def _slips(arrangement: Arrangement, known: Weaknesses) -> Iterator[tuple[str, str]]:
    """A span round each bar that slipped in the last take."""
    first: dict[int, int] = {}
    for number, bar in enumerate(known.slips, 1):
        first.setdefault(bar, number)
    for bar, number in list(first.items())[:MOST_SLIPS]:
        yield f"Round the slip in {_say_bars(arrangement, Span(bar, bar))}", f"slip {number}"


def _kept(shelf: Shelf) -> Iterator[Offer]:
    for one in shelf.kept:
        sheet = one.sheet or DrillSheet()
        yield Offer(one.name, sheet, "kept", one.name, trouble=one.trouble)


def _places(arrangement: Arrangement, hands: Hands) -> Iterator[Offer]:
    """A tempo ladder of each section and each phrase."""
    for title, where in _forms(arrangement):
        yield Offer(title, DrillSheet(title, where=(where,), hands=(hands,)), "places")


def _forms(arrangement: Arrangement) -> Iterator[tuple[str, str]]:
    """Sections by name, counted where several have one; phrases by number."""
    times: dict[str, count[int]] = {}
    for section in arrangement.form.sections:
        number = next(times.setdefault(section.name.casefold(), count(1)))
        again = f"@{number}" if number > 1 else ""
        yield f"Section {section.name}{again}", f"section {section.name}{again}"
    for number in range(1, len(arrangement.form.phrases) + 1):
        yield f"Phrase {number}", f"phrase {number}"


def _title(name: str) -> str:
    return name[:1].upper() + name[1:]
