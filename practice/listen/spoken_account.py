"""A pass in words for the terminal: notes, the measures with their intervals, the slips."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from engine.arrangement import Arrangement
from engine.findings import Estimate, Slip
from engine.other_hand import OtherHand
from engine.review import PassReview
from engine.slips import count_slips
from practice.snapshot import PassRecord
from practice.window.ledger import LINES, LedgerLine, read_line

#: Slips said one by one; more than these are counted.
SLIPS_SAID = 12
#: Slips surer than this come first.
SURE = 0.6


def say_record(arrangement: Arrangement, record: PassRecord) -> list[str]:
    """The account of a pass of this session, with its verdict."""
    where = say_where(arrangement, record.from_q, record.to_q)
    head = f"Pass {record.number}: {where}, {_say_hands(record.hands)}"
    kept = f", take {record.take}" if record.take else ""
    verdict = "A good pass." if record.good else f"Not yet a good pass: {record.why_not}."
    lines = [f"{head}{_say_tempo(record.tempo_qpm)}{kept}"]
    return [*lines, *_say_measures(record), *_say_slips(arrangement, record.slips), f"  {verdict}"]


def say_review(arrangement: Arrangement, one: PassReview, number: int) -> list[str]:
    """The account of a pass found in a recording."""
    where = say_where(arrangement, one.played.from_q, one.played.to_q)
    head = f"Pass {number}: {where}, {_say_hands(one.hands)}{_say_tempo(one.played.tempo_qpm)}"
    return [head, *_say_measures(one), *_say_slips(arrangement, one.slips)]


def say_cost(cost: OtherHand) -> str:
    """What the other hand costs the figure, in one line."""
    bars = f"bars {cost.from_bar} to {cost.to_bar}"
    return (
        f"The {cost.hand} hand's figure in {bars}: {cost.alone_ms.value or 0:.1f} ms uneven alone"
        f" (pass {cost.alone}), {cost.together_ms.value or 0:.1f} ms with the other hand"
        f" (pass {cost.together}): {cost.words}."
    )


def say_where(arrangement: Arrangement, from_q: float, to_q: float) -> str:
    """From bar to bar, by printed number; the time through where a bar comes more than once."""
    first, last = arrangement.bar_at(from_q), arrangement.bar_at(to_q)
    names = [_say_bar(arrangement, bar.index) for bar in (first, last)]
    return f"bar {names[0]}" if first.index == last.index else f"bars {names[0]} to {names[1]}"


def _say_bar(arrangement: Arrangement, index: int) -> str:
    bar = arrangement.bars[index]
    times = sum(other.written == bar.written for other in arrangement.bars)
    number = bar.number or "(no number)"
    return f"{number} (time {bar.time})" if times > 1 else number


def _say_hands(hands: str) -> str:
    return "both hands" if hands == "both" else f"{hands} hand"


def _say_tempo(tempo_qpm: float) -> str:
    return f", {tempo_qpm:.0f} quarters a minute" if tempo_qpm == tempo_qpm else ""


def _say_measures(one: Any) -> list[str]:
    return [f"  {_say_counts(one)}", *(_say_line(line, one) for line in LINES[1:])]


def _say_counts(one: Any) -> str:
    count = getattr(getattr(one.measures, "notes", None), "count", None)
    if count is None:
        return "notes      not counted"
    written = count.right + count.wrong + count.missing
    parts = [f"{count.right} of {written} notes right"]
    off = ((count.wrong, "wrong"), (count.missing, "left out"), (count.extra, "added"))
    return ", ".join([*parts, *(f"{number} {word}" for number, word in off if number)])


def _say_line(line: LedgerLine, one: Any) -> str:
    reading = read_line(line, one)
    found: Estimate = reading.found
    if found.value is None:
        return f"  {line.label:<10} –        {found.reason}"
    between = ""
    if found.low is not None and found.high is not None:
        ends = [line.show(Estimate(end)) for end in (found.low, found.high)]
        between = f"  ({ends[0]} to {ends[1]}, n {found.n})"
    return f"  {line.label:<10} {line.show(found):<8} {reading.word}{between}"


def _say_slips(arrangement: Arrangement, slips: Sequence[Slip]) -> list[str]:
    if not slips:
        return []
    first = [s for s in slips if s.certainty >= SURE]
    said = [*first, *(s for s in slips if s.certainty < SURE)][:SLIPS_SAID]
    lines = [f"    {slip.words}" for slip in slips if slip in said]
    more = len(slips) - len(said)
    if more:
        lines += [f"    and {more} more; of all:", *_say_kinds(arrangement, slips)]
    return ["  slips", *lines]


def _say_kinds(arrangement: Arrangement, slips: Sequence[Slip]) -> list[str]:
    """How many of each kind, section by section."""
    return [
        f"    {section or 'elsewhere'}: " + ", ".join(f"{k} {n}" for k, n in kinds.most_common())
        for section, kinds in count_slips(arrangement, slips).items()
        if kinds
    ]
