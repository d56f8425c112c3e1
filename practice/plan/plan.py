"""What to practise today, in order: a pure function from facts to drills, each with its reason.

The rules and what they rest on are in `practice.plan.plan_rules`.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from typing import Literal

from engine.arrangement import Hands, Span, whole_span
from engine.standing import DEFINITIONS, STAGES
from practice.plan.plan_facts import HandFacts, Parting, PlanFacts, WeakBar

Kind = Literal[
    "warm-up", "break", "cold", "parting", "weak bars", "slower", "ladder", "join", "new",
    "run-through",
]  # fmt: skip


@dataclass(frozen=True, slots=True)
class PlanOptions:
    """What the player may set.

    Attributes:
        minutes: to practise. turn_min: length of a turn; one turn each where `turns` is off.
        break_after_min, break_min: rests. warm_up_min: 0 for none.
        step: rise of the ladder (share). enough: good passes in a row that end an item.
        together: new sections begin with both hands instead of each alone.
        performance: the day of one, or None; run-throughs come first in the fortnight before.
    """

    minutes: float = 40.0
    turns: bool = True
    turn_min: float = 3.0
    break_after_min: float = 25.0
    break_min: float = 3.0
    warm_up_min: float = 3.0
    step: float = 0.04
    enough: int = 3
    together: bool = False
    performance: date | None = None


@dataclass(frozen=True, slots=True)
class PlanItem:
    """One item. `rule` names an entry of `plan_rules.RULES`; `rate` is of the marked tempo, None
    for the player's own pace; `other` is the second passage of a parting."""

    kind: Kind
    minutes: float
    reason: str
    rule: str
    span: Span | None = None
    hands: Hands | None = None
    rate: float | None = None
    passes: int = 0
    section: int = -1
    other: Span | None = None


#: Urgency of each kind: higher first.
_URGENCY: dict[str, float] = {
    "slower": 90, "weak bars": 80, "parting": 65, "join": 60, "ladder": 50, "new": 40,
}  # fmt: skip
#: At most so much of the time goes to recalling.
RECALL_SHARE = 0.4
PERFORMANCE_NEAR = timedelta(days=14)
#: Slower means this share of the tempo last reached.
SLOWER = 0.8
#: ... but never under this: passes slower still count for no stage.
SLOWEST = DEFINITIONS.steady_tempo
FIRST_TEMPO = 0.6
#: So many sections are begun on one day at most; how many is right is not known.
NEW_A_DAY = 3
#: So many turns at one item on one day.
MOST_TURNS = 3


def make_plan(
    facts: PlanFacts, now: datetime, options: PlanOptions | None = None
) -> list[PlanItem]:
    """Today's items in order.

    Args:
        facts: what is known. now: with its offset from UTC.
    """
    told = options or PlanOptions()
    left = told.minutes
    warm_up = _warm_up(facts, told)
    left -= sum(i.minutes for i in warm_up)
    run = _run_through(facts, now, told)
    left -= sum(i.minutes for i in run)
    cold = _within(_recalls(facts, now), min(left, told.minutes * RECALL_SHARE))
    left -= sum(i.minutes for i in cold)
    work = _lengthen(_within(_work(facts, told), left), left, told)
    near = told.performance is not None and run
    body = [*run, *cold] if near else cold
    body += _take_turns(work, told) if told.turns else work
    body += [] if near else run
    return _with_breaks([*warm_up, *body], told)


def _within(items: Iterable[PlanItem], minutes: float) -> list[PlanItem]:
    """The most urgent items that fit."""
    kept: list[PlanItem] = []
    for item in items:
        if item.minutes <= minutes + 1e-9:
            kept.append(item)
            minutes -= item.minutes
    return kept


def _warm_up(facts: PlanFacts, options: PlanOptions) -> list[PlanItem]:
    known = [h for h in facts.hands if h.passes]
    if options.minutes < 15 or not options.warm_up_min or not known:
        return []
    return [
        PlanItem(
            "warm-up", options.warm_up_min,
            "easy scales or chords of your own; nothing of the arrangement, which stays cold",
            "warm-up",
        )
    ]  # fmt: skip


def _recalls(facts: PlanFacts, now: datetime) -> list[PlanItem]:
    """Sections for a cold pass: those due, the likeliest forgotten first; then those that a good
    cold pass would bring nearer to secure."""
    end = now.replace(hour=23, minute=59, second=59)
    known = [
        h for h in facts.hands
        if h.recall and not h.played_today and _is_known(h) and not _done_together(h, facts)
    ]  # fmt: skip
    due = [h for h in known if h.recall and h.recall.due <= end]
    due.sort(key=lambda h: h.recall.chance if h.recall else 1.0)
    nearer = [h for h in known if h not in due and h.stage == "up to tempo"]
    return [_recall_item(h) for h in due] + [_nearer_item(h) for h in nearer]


def _done_together(fact: HandFacts, facts: PlanFacts) -> bool:
    """One hand of a section that both hands play at least steadily."""
    both = [h for h in facts.hands if h.section == fact.section and h.hands == "both"]
    return fact.hands != "both" and any(map(_is_known, both))


def _nearer_item(fact: HandFacts) -> PlanItem:
    return PlanItem(
        "cold", _minutes_for(fact, 1),
        "up to tempo, but not yet secure: a good pass now, cold, counts", "cold",
        fact.span, fact.hands, None, 1, fact.section,
    )  # fmt: skip


def _recall_item(fact: HandFacts) -> PlanItem:
    assert fact.recall is not None
    chance = fact.recall.chance
    return PlanItem(
        "cold", _minutes_for(fact, 1),
        f"due for recall: the model gives it {chance:.0%}; one pass, cold, at your best tempo",
        "recall", fact.span, fact.hands, None, 1, fact.section,
    )  # fmt: skip


def _is_known(fact: HandFacts) -> bool:
    return STAGES.index(fact.stage) >= STAGES.index("steady")


def _both_played(facts: PlanFacts, section: int) -> bool:
    return any(h.section == section and h.hands == "both" and h.passes for h in facts.hands)


def _minutes_for(fact: HandFacts, passes: int) -> float:
    """Time for so many passes with a breath after each, in half minutes."""
    seconds = passes * (fact.seconds / (fact.tempo_share or FIRST_TEMPO) + 8.0)
    return max(round(seconds / 30) / 2, 1.0)


def _work(facts: PlanFacts, options: PlanOptions) -> list[PlanItem]:
    """Everything worth working at, most urgent first, one item a section and hand."""
    items = [*_weak_items(facts), *_parting_items(facts)]
    for fact in facts.hands:
        item = _slower(fact, facts) or _join(fact, facts) or _rung(fact, facts, options)
        items += [item] if item else []
    items += _new(facts, options)
    return sorted(items, key=lambda i: (-_URGENCY[i.kind], i.section))


def _weak_items(facts: PlanFacts) -> list[PlanItem]:
    return [_weak_item(facts, weak) for weak in facts.weak[:3]]


def _weak_item(facts: PlanFacts, weak: WeakBar) -> PlanItem:
    bars = facts.arrangement.bars
    span = Span(max(weak.bar - 1, 0), min(weak.bar + 1, len(bars) - 1))
    section = _section_of(facts, weak.bar)
    told = [h for h in facts.hands if h.section == section and h.hands == weak.hands]
    reached = (told[0].tempo_share if told else None) or FIRST_TEMPO
    return PlanItem(
        "weak bars", 3.0,
        f"bar {bars[weak.bar].number} went wrong in {weak.faulty} of its last {weak.passes} passes",
        "slower", span, weak.hands, _slower_than(reached), 5, section,
    )  # fmt: skip


def _slower_than(reached: float | None) -> float:
    return max(round(SLOWER * (reached or FIRST_TEMPO), 2), SLOWEST)


def _section_of(facts: PlanFacts, bar: int) -> int:
    found = [h.section for h in facts.hands if h.span.from_bar <= bar <= h.span.to_bar]
    return found[0] if found else -1


def _parting_items(facts: PlanFacts) -> list[PlanItem]:
    """Partings whose two passages are known, and not both secure."""
    both = {h.section: h for h in facts.hands if h.hands == "both"}
    out = []
    for parting in facts.partings:
        sides = [both.get(k) for k in parting.sections]
        if any(s is None or not s.passes for s in sides):
            continue
        if all(s is not None and s.stage == "secure" for s in sides):
            continue
        out.append(_parting_item(parting))
    return out[:2]


def _parting_item(parting: Parting) -> PlanItem:
    words = parting.words or "two passages begin alike and part here"
    return PlanItem(
        "parting", 3.0, f"by turns, a pass of each: {words}", "parting", parting.first, "both",
        None, 4, parting.sections[0], parting.second,
    )  # fmt: skip


def _slower(fact: HandFacts, facts: PlanFacts) -> PlanItem | None:
    if not fact.wrong_twice or fact.stage == "secure" or _done_together(fact, facts):
        return None
    rate = _slower_than(fact.tempo_share)
    return PlanItem(
        "slower", _minutes_for(fact, 4), "its last two passes were both faulty: slower, then again",
        "slower", fact.span, fact.hands, rate, 4, fact.section,
    )  # fmt: skip


def _join(fact: HandFacts, facts: PlanFacts) -> PlanItem | None:
    """Hands together, where each is steady and together it is not."""
    if fact.hands != "both" or _is_known(fact):
        return None
    alone = [h for h in facts.hands if h.section == fact.section and h.hands != "both"]
    if len(alone) < 2 or not all(map(_is_known, alone)):
        return None
    rate = _slower_than(min(h.tempo_share or FIRST_TEMPO for h in alone))
    return PlanItem(
        "join", _minutes_for(fact, 4), "each hand is steady alone: join them, slower", "join",
        fact.span, "both", rate, 4, fact.section,
    )  # fmt: skip


def _rung(fact: HandFacts, facts: PlanFacts, options: PlanOptions) -> PlanItem | None:
    """The next tempo of a section that is played but not yet up to it."""
    if not fact.passes or fact.stage in ("up to tempo", "secure"):
        return None
    if fact.hands != "both" and _both_played(facts, fact.section):
        return None
    reached = fact.tempo_share or FIRST_TEMPO
    ready = fact.good_lately or _is_known(fact)
    rate = max(round(min(reached * (1 + options.step), 1.0) if ready else reached, 2), SLOWEST)
    why = f"good at {reached:.0%}: the next rung" if ready else f"not yet steady at {reached:.0%}"
    return PlanItem(
        "ladder", _minutes_for(fact, 4), why, "ladder", fact.span, fact.hands, rate, 4, fact.section
    )


def _new(facts: PlanFacts, options: PlanOptions) -> list[PlanItem]:
    """The next sections not yet played, a few a day, hands separately unless asked otherwise.

    One made of bars already played is not new; one that looks like another new one waits a day.
    """
    begun = {h.section for h in facts.hands if h.begun_today}
    played = {h.section for h in facts.hands if h.passes}
    out: list[PlanItem] = []
    for fact in facts.hands:
        alone = fact.hands != "both"
        if fact.section in played or fact.familiar or alone == options.together:
            continue
        if fact.section not in begun:
            if len(begun) >= NEW_A_DAY or _looks_like_one(facts, fact.section, begun):
                continue
            begun.add(fact.section)
        out.append(_new_item(fact))
    return out


def _new_item(fact: HandFacts) -> PlanItem:
    return PlanItem(
        "new", _minutes_for(fact, 3), f"new: {fact.name}, {_say_hands(fact.hands)}, slowly", "new",
        fact.span, fact.hands, FIRST_TEMPO, 3, fact.section,
    )  # fmt: skip


def _say_hands(hands: Hands) -> str:
    return "hands together" if hands == "both" else f"{hands} hand alone"


def _looks_like_one(facts: PlanFacts, section: int, others: set[int]) -> bool:
    """A twin has its parting between this section and one of the others."""
    return any(
        section in parting.sections and others & (set(parting.sections) - {section})
        for parting in facts.partings
    )


def _run_through(facts: PlanFacts, now: datetime, options: PlanOptions) -> list[PlanItem]:
    together = [h for h in facts.hands if h.hands == "both" and not h.familiar]
    if not together or not all(map(_is_known, together)):
        return []
    days = (options.performance - now.date()).days if options.performance else -1
    near = 0 <= days <= PERFORMANCE_NEAR.days
    if options.performance and not near:
        return []
    whole = whole_span(facts.arrangement)
    minutes = max(round(sum(h.seconds for h in together) / 60 + 1), 2)
    when = "today" if days == 0 else f"in {days} day{'s' * (days != 1)}"
    why = f"performance {when}: all of it, without stopping" if near else (
        "every section is steady: the whole form, without stopping"
    )  # fmt: skip
    return [PlanItem("run-through", float(minutes), why, "run-through", whole, "both", None, 1)]


def _lengthen(items: Sequence[PlanItem], left: float, options: PlanOptions) -> list[PlanItem]:
    """Time left over goes to the same items, the most urgent first, up to `MOST_TURNS` turns."""
    left -= sum(i.minutes for i in items)
    grown = list(items)
    for _ in range(MOST_TURNS - 1):
        for k, item in enumerate(items):
            more = min(item.minutes, options.turn_min)
            if more <= left + 1e-9:
                passes = grown[k].passes + max(round(item.passes * more / item.minutes), 1)
                grown[k] = replace(grown[k], minutes=grown[k].minutes + more, passes=passes)
                left -= more
    return grown


def _take_turns(work: Sequence[PlanItem], options: PlanOptions) -> list[PlanItem]:
    """Items cut into turns and dealt out, two to four sections at a time."""
    out: list[PlanItem] = []
    for k in range(0, len(work), 4):
        queue = [_cut(item, options.turn_min) for item in work[k : k + 4]]
        while any(queue):
            out += [turns.pop(0) for turns in queue if turns]
    return out


def _cut(item: PlanItem, turn_min: float) -> list[PlanItem]:
    count = max(round(item.minutes / turn_min), 1)
    passes = max(round(item.passes / count), 1)
    turn = replace(item, minutes=round(item.minutes / count, 1), passes=passes)
    return [turn] * count


def _with_breaks(items: Sequence[PlanItem], options: PlanOptions) -> list[PlanItem]:
    """A rest after every so many minutes, never last."""
    out: list[PlanItem] = []
    since = 0.0
    for item in items:
        if since and since + item.minutes > options.break_after_min:
            rest = "rest; shoulders down, hands loose. If anything hurts, stop for today"
            out.append(PlanItem("break", options.break_min, rest, "break"))
            since = 0.0
        out.append(item)
        since += item.minutes
    return out
