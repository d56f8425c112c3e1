"""One line of advice at the end of a pass, with its reason. The first rule that speaks is heard."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence

from engine.arrangement import Arrangement
from engine.findings import Estimate
from practice.snapshot import PassRecord

#: A bar with so many slips in one pass, or one with slips in two passes running, is worth a span.
CROWDED_BAR = 3
#: Habits of a place smaller than this are left alone (ms): below what is heard in most figures.
AUDIBLE_HABIT_MS = 10.0
Rule = Callable[[Arrangement, PassRecord, Sequence[PassRecord]], str]


def advise(arrangement: Arrangement, record: PassRecord, passes: Sequence[PassRecord]) -> str:
    """What to do next and why; "" where there is nothing to say."""
    return next((said for rule in _RULES if (said := rule(arrangement, record, passes))), "")


def _stopped(arrangement: Arrangement, record: PassRecord, passes: Sequence[PassRecord]) -> str:
    if "stop" not in record.why_not:
        return ""
    bar = arrangement.bar_at(record.to_q)
    return f"Start from bar {bar.number}: the pass stopped there, and the join is what needs it."


def _same_bar_again(
    arrangement: Arrangement, record: PassRecord, passes: Sequence[PassRecord]
) -> str:
    now = _slips_by_bar(arrangement, record)
    if not now:
        return ""
    bar, count = max(now.items(), key=lambda item: (item[1], -item[0]))
    number = arrangement.bars[bar].number
    before = [r for r in passes if r.number == record.number - 1 and r.hands == record.hands]
    if before and _slips_by_bar(arrangement, before[0]).get(bar):
        return f"Take bar {number} alone: it went otherwise in the last two passes."
    if count >= CROWDED_BAR:
        return f"Take bar {number} alone and slower: {count} of the slips are there."
    return ""


def _habit_of_a_place(
    arrangement: Arrangement, record: PassRecord, passes: Sequence[PassRecord]
) -> str:
    worst: tuple[float, int, float] | None = None
    for place in getattr(getattr(record.measures, "evenness", None), "places", ()):
        found: Estimate = place.deviation_ms
        if found.value is None or found.low is None or found.high is None:
            continue
        clear = min(abs(found.low), abs(found.high)) if found.low * found.high > 0 else 0.0
        if clear > 0 and abs(found.value) >= AUDIBLE_HABIT_MS:
            worst = max(worst or (0.0, 0, 0.0), (abs(found.value), place.place, found.value))
    if worst is None:
        return ""
    size, number, value = worst
    side = "late" if value > 0 else "early"
    return f"Listen to place {number} of the figure: it comes {size:.0f} ms {side} every time."


def _single_slip(arrangement: Arrangement, record: PassRecord, passes: Sequence[PassRecord]) -> str:
    bars = _slips_by_bar(arrangement, record)
    if not bars:
        return ""
    number = arrangement.bars[min(bars)].number
    return f"Once more, listening for bar {number}: one pass does not tell a slip from a habit."


def _went_well(arrangement: Arrangement, record: PassRecord, passes: Sequence[PassRecord]) -> str:
    if not record.good:
        return ""
    alike = [r for r in passes if r.span == record.span and r.hands == record.hands]
    good = sum(r.good for r in alike[-3:])
    if good >= 2 and record.hands != "both":
        return f"Join the hands: {good} of the last {len(alike[-3:])} passes were good."
    if good >= 2:
        return f"Go on to the next bars: {good} of the last {len(alike[-3:])} passes were good."
    return "Once more the same: one good pass may be luck, two are not."


_RULES: tuple[Rule, ...] = (
    _stopped,
    _same_bar_again,
    _habit_of_a_place,
    _single_slip,
    _went_well,
)


def _slips_by_bar(arrangement: Arrangement, record: PassRecord) -> Counter[int]:
    return Counter(arrangement.notes[s.score].bar for s in record.slips if s.score is not None)
