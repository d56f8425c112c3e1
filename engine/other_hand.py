"""What the other hand costs the figure: the same bars with its hand alone and with both."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import islice

from engine.arrangement import Arrangement, Hand, Span
from engine.findings import Estimate
from engine.measure.change import cost_of_other_hand
from engine.measure.evenness import Evenness, measure_evenness
from engine.measure.heard import hear
from engine.measure.tempo import follow_tempo
from engine.review import PassReview

#: So many of the nearest passes are tried for each.
TRIED = 3


@dataclass(frozen=True, slots=True)
class OtherHand:
    """The figure of some bars, its hand alone against both hands.

    Attributes:
        alone, together: the two passes, counted from 1.
        hand: whose figure. from_bar, to_bar: printed numbers of the bars that both passes hold.
        alone_ms, together_ms: SD of its deviation in these bars.
        difference_ms: together less alone.
        verdict, words: whether that is a difference at all, and by which test.
    """

    alone: int
    together: int
    hand: Hand
    from_bar: str
    to_bar: str
    alone_ms: Estimate
    together_ms: Estimate
    difference_ms: Estimate
    verdict: str
    words: str


def find_costs(arrangement: Arrangement, passes: Sequence[PassReview]) -> tuple[OtherHand, ...]:
    """Each pass with both hands against the nearest one with the figure's hand alone.

    Args:
        arrangement: what was played.
        passes: of one recording or session, in order; those on two keyboards are not compared.
    """
    return tuple(_costs(arrangement, passes))


def _costs(arrangement: Arrangement, passes: Sequence[PassReview]) -> Iterator[OtherHand]:
    for k, one in enumerate(passes):
        if one.hands == "both":
            near = _nearest_alone(arrangement, passes, k)
            found = (_compare(arrangement, passes, i, k) for i in near)
            yield from islice((cost for cost in found if cost is not None), 1)


def _nearest_alone(
    arrangement: Arrangement, passes: Sequence[PassReview], together: int
) -> list[int]:
    """The passes of a figure's hand alone that may be compared, the nearest first."""
    whose = {f.hand for f in arrangement.form.figures}
    both = passes[together]
    fit = [i for i, one in enumerate(passes) if one.hands in whose and _are_alike(one, both)]
    return sorted(fit, key=lambda i: abs(i - together))[:TRIED]


def _are_alike(one: PassReview, other: PassReview) -> bool:
    """Played on one keyboard, with bars in common."""
    first = max(one.span.from_bar, other.span.from_bar)
    return one.instrument == other.instrument and first <= min(one.span.to_bar, other.span.to_bar)


def _compare(
    arrangement: Arrangement, passes: Sequence[PassReview], alone: int, together: int
) -> OtherHand | None:
    """Two passes over the bars they share; None where these hold no figure in one of them."""
    one, other = passes[alone], passes[together]
    low = max(one.span.from_bar, other.span.from_bar)
    high = min(one.span.to_bar, other.span.to_bar)
    span = Span(low, high)
    single, double = (_evenness(arrangement, p, span, one.hands) for p in (one, other))
    if single is None or double is None:
        return None
    change = cost_of_other_hand(single, double)
    bars = arrangement.bars
    return OtherHand(
        alone + 1, together + 1, single.hand, bars[low].number, bars[high].number,
        single.sd_ms, double.sd_ms, change.difference, change.verdict, change.words,
    )  # fmt: skip


def _evenness(arrangement: Arrangement, one: PassReview, span: Span, hands: str) -> Evenness | None:
    heard = hear(arrangement, one.notes, one.findings, span, "left" if hands == "left" else "right")
    found = measure_evenness(heard, follow_tempo(heard))
    return found if isinstance(found, Evenness) else None
