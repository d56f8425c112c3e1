"""Written pedals that cross a change of harmony, or lift inside one."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from fractions import Fraction

from engine.arrangement import Arrangement, Harmony, PedalSpan
from engine.form.function import chord_places, harmony_at
from engine.pitch_names import printed
from engine.proof.remark import Remark, remark_at

#: A change this near the ends of a pedal belongs to it (half a beat of notation), in quarters.
NEAR_Q = Fraction(1, 2)
#: Only harmonies at least this certain are held against a pedal.
SURE = 0.6


def pedal_remarks(arrangement: Arrangement) -> Iterator[Remark]:
    """Pedals at odds with the harmony, where the page's other pedals agree with it."""
    spans = [p for p in arrangement.pedals if p.kind == "damper" and _written_once(arrangement, p)]
    yield from _crossing(arrangement, spans)
    yield from _lifting(arrangement, spans)


def _written_once(arrangement: Arrangement, span: PedalSpan) -> bool:
    return arrangement.bar_at(span.down_q).time == 1


def _changes_inside(arrangement: Arrangement, span: PedalSpan) -> list[tuple[Harmony, Harmony]]:
    """Changes of harmony well inside a pedal, to a chord with another root that shares little."""
    form = arrangement.form.harmonies
    out = []
    for a, b in itertools.pairwise(form):
        inside = span.down_q + NEAR_Q <= b.from_q <= span.up_q - NEAR_Q
        if not inside or a.to_q != b.from_q or min(a.certainty, b.certainty) < SURE:
            continue
        if a.root != b.root and len(set(chord_places(a)) & set(chord_places(b))) <= 1:
            out.append((a, b))
    return out


def _crossing(arrangement: Arrangement, spans: Sequence[PedalSpan]) -> Iterator[Remark]:
    """Pedals over a change, where at most one in five of the page's pedals is so."""
    crossing = [(span, inside) for span in spans if (inside := _changes_inside(arrangement, span))]
    if not crossing or len(crossing) > max(1, 0.2 * len(spans)):
        return
    for span, inside in crossing:
        if span.up_q >= arrangement.end_q and len(inside) > 1:
            continue  # never lifted: the reader has said so
        a, b = inside[0]
        more = f", and {len(inside) - 1} more" if len(inside) > 1 else ""
        why = (
            f"the pedal put down in bar {arrangement.bar_at(span.down_q).number} is held over the "
            f"change from {printed_symbol(a.symbol)} to {printed_symbol(b.symbol)}{more}"
        )
        yield remark_at(arrangement, "pedal", b.from_q, why, 0.7)


def _lifting(arrangement: Arrangement, spans: Sequence[PedalSpan]) -> Iterator[Remark]:
    """Pedals lifted inside a harmony and not put down again at once, where others never are."""
    lifts = [
        (a, b)
        for a, b in itertools.pairwise(spans)
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
