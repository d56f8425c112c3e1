"""Written pedals that cross a change of harmony, or lift inside one."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction
from itertools import pairwise

from engine.arrangement import Arrangement, Harmony, PedalSpan
from engine.form.function import harmony_at
from engine.pitch_names import printed
from engine.proof.remark import Remark, remark_at

#: A change this near the ends of a pedal belongs to it (half a beat of notation), in quarters.
NEAR_Q = Fraction(1, 2)
#: Only harmonies at least this certain are held against a pedal.
SURE = 0.5
#: A pedal over a change is odd where at least so many changes on the page have their pedal
#: changed, and at most this share has not.
CLEARED, SHARE = 2, 0.34


def pedal_remarks(arrangement: Arrangement) -> Iterator[Remark]:
    """Pedals at odds with the harmony, where the page's other pedals agree with it."""
    spans = [p for p in arrangement.pedals if p.kind == "damper" and _written_once(arrangement, p)]
    yield from _crossing(arrangement, spans)
    yield from _lifting(arrangement, spans)


def _written_once(arrangement: Arrangement, span: PedalSpan) -> bool:
    return arrangement.bar_at(span.down_q).time == 1


Change = tuple[Harmony, Harmony]


def _changes(arrangement: Arrangement) -> list[Change]:
    """Changes to a harmony on another root, the first time round."""
    return [
        (a, b)
        for a, b in pairwise(arrangement.form.harmonies)
        if a.to_q == b.from_q
        and a.root != b.root
        and not (a.quality + b.quality).startswith("suspended")
        and min(a.certainty, b.certainty) >= SURE
        and arrangement.bar_at(b.from_q).time == 1
    ]


def _inside(span: PedalSpan, change: Change) -> bool:
    return span.down_q + NEAR_Q <= change[1].from_q <= span.up_q - NEAR_Q


def _crossing(arrangement: Arrangement, spans: Sequence[PedalSpan]) -> Iterator[Remark]:
    """Pedals over a change of harmony, on a page that otherwise changes them with it."""
    changes = _changes(arrangement)
    edges = [q for span in spans for q in (span.down_q, span.up_q)]
    cleared = [c for c in changes if any(abs(q - c[1].from_q) < NEAR_Q for q in edges)]
    crossed = [(span, [c for c in changes if _inside(span, c)]) for span in spans]
    crossed = [(span, over) for span, over in crossed if over]
    count = sum(len(over) for _, over in crossed)
    if len(cleared) < CLEARED or count > SHARE * (count + len(cleared)):
        return
    for span, over in crossed:
        (a, b), more = over[0], len(over) - 1
        and_more = f", and {more} more" if more else ""
        why = (
            f"the pedal put down in bar {arrangement.bar_at(span.down_q).number} is held over the "
            f"change from {printed_symbol(a.symbol)} to {printed_symbol(b.symbol)}{and_more}"
        )
        yield remark_at(arrangement, "pedal", b.from_q, why, 0.7)


def _lifting(arrangement: Arrangement, spans: Sequence[PedalSpan]) -> Iterator[Remark]:
    """Pedals lifted inside a harmony and not put down again at once, where others never are."""
    lifts = [
        (a, b)
        for a, b in pairwise(spans)
        if b.down_q - a.up_q > 0 and _same_harmony(arrangement, a.up_q, b.down_q)
    ]
    if not lifts or len(lifts) > max(1, 0.1 * len(spans)) or len(spans) < 4:
        return
    for a, b in lifts:
        k = harmony_at(arrangement.form.harmonies, a.up_q)
        symbol = printed_symbol(arrangement.form.harmonies[k].symbol)
        if a.up_q - a.down_q < 1 or float(b.down_q - a.up_q) < 0.25:
            continue
        why = f"the pedal is lifted inside {symbol} and put down again only later"
        yield remark_at(arrangement, "pedal", a.up_q, why, 0.5)


def _same_harmony(arrangement: Arrangement, from_q: Fraction, to_q: Fraction) -> bool:
    harmonies = arrangement.form.harmonies
    k = harmony_at(harmonies, from_q)
    if k < 0 or harmonies[k].certainty < SURE:
        return False
    return harmonies[k].from_q < from_q and to_q < harmonies[k].to_q


def printed_symbol(symbol: str) -> str:
    """A chord symbol with the signs as printed: "Ebm(add9)" becomes E♭m(add9)."""
    base, slash, bass = symbol.partition("/")
    return _printed_root(base) + (slash + _printed_root(bass) if slash else "")


def _printed_root(text: str) -> str:
    length = 1
    while length < len(text) and text[length] in "b#":
        length += 1
    return printed(text[:length]) + text[length:].replace("b", "♭").replace("#", "♯")
