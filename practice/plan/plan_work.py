"""What there is to work at, from the facts: one item a section and hand, most urgent first."""

from __future__ import annotations

from collections.abc import Iterator

from engine.arrangement import Hands, Span
from practice.plan.plan_facts import HandFacts, Parting, PlanFacts
from practice.plan.plan_items import (
    FIRST_TEMPO,
    SLOWEST,
    PlanItem,
    PlanOptions,
    is_known,
    minutes_for,
    slower_than,
)
from practice.progress.weak_bars import WeakBar

#: Urgency of each kind: higher first.
_URGENCY: dict[str, float] = {
    "slower": 90, "apart": 85, "weak bars": 80, "parting": 65, "join": 60, "ladder": 50, "new": 40,
}  # fmt: skip
#: A section is begun for every so many minutes of practice; how many are right is not known.
NEW_EVERY_MIN = 8.0
MOST_WEAK, MOST_PARTINGS = 2, 2
#: One for every so many minutes of practice: they are not all there is.
PARTING_EVERY_MIN = 10.0


def find_work(facts: PlanFacts, options: PlanOptions) -> list[PlanItem]:
    """Everything worth working at, most urgent first."""
    items = [*_weak_items(facts), *_parting_items(facts, options)]
    for fact in facts.hands:
        items += _work_on(fact, facts, options)
    items += _new(facts, options)
    return sorted(items, key=lambda i: (-_URGENCY[i.kind], i.section))


def done_together(fact: HandFacts, facts: PlanFacts) -> bool:
    """One hand of a section that both hands play at least steadily."""
    both = [h for h in facts.hands if h.section == fact.section and h.hands == "both"]
    return fact.hands != "both" and any(map(is_known, both))


def _work_on(fact: HandFacts, facts: PlanFacts, options: PlanOptions) -> list[PlanItem]:
    item = _join(fact, facts)
    if item is None and fact.falls_apart and options.begin != "together":
        apart = _apart(fact, facts)
        if apart:
            return apart
    item = item or _slower(fact, facts) or _rung(fact, facts, options)
    return [item] if item else []


def _weak_items(facts: PlanFacts) -> list[PlanItem]:
    return [_weak_item(facts, weak) for weak in facts.weak[:MOST_WEAK]]


def _weak_item(facts: PlanFacts, weak: WeakBar) -> PlanItem:
    bars = facts.arrangement.bars
    span = Span(max(weak.bar - 1, 0), min(weak.bar + 1, len(bars) - 1))
    section = _section_of(facts, weak.bar)
    told = [h for h in facts.hands if h.section == section and h.hands == weak.hands]
    reached = (told[0].tempo_share if told else None) or FIRST_TEMPO
    return PlanItem(
        "weak bars", 2.0,
        f"bar {bars[weak.bar].number} went wrong in {weak.faulty} of its last {weak.passes} passes",
        "slower", span, weak.hands, slower_than(reached), 4, section, goal=reached,
    )  # fmt: skip


def _section_of(facts: PlanFacts, bar: int) -> int:
    found = [h.section for h in facts.hands if h.span.from_bar <= bar <= h.span.to_bar]
    return found[0] if found else -1


def _parting_items(facts: PlanFacts, options: PlanOptions) -> list[PlanItem]:
    """Partings whose two passages are known, and not both secure; none in a very short time."""
    both = {h.section: h for h in facts.hands if h.hands == "both"}
    out = []
    for parting in facts.partings:
        sides = [both.get(k) for k in parting.sections]
        if any(s is None or not s.passes for s in sides):
            continue
        if all(s is not None and s.stage == "secure" for s in sides):
            continue
        out.append(_parting_item(parting))
    return out[: min(MOST_PARTINGS, int(options.minutes // PARTING_EVERY_MIN))]


def _parting_item(parting: Parting) -> PlanItem:
    words = parting.words or "two passages begin alike and part here"
    return PlanItem(
        "parting", 3.0, f"by turns, a pass of each: {words}", "parting", parting.first, "both",
        None, 4, parting.sections[0], parting.second,
    )  # fmt: skip


def _slower(fact: HandFacts, facts: PlanFacts) -> PlanItem | None:
    if not fact.wrong_twice or fact.stage == "secure" or done_together(fact, facts):
        return None
    rate = slower_than(fact.tempo_share)
    return PlanItem(
        "slower", minutes_for(fact.seconds, rate, 4),
        "its last two passes were both faulty: slower, then again",
        "slower", fact.span, fact.hands, rate, 4, fact.section,
    )  # fmt: skip


def _apart(fact: HandFacts, facts: PlanFacts) -> list[PlanItem]:
    """Each hand alone where both together fall apart, and alone it is not yet steady."""
    if fact.hands != "both" or is_known(fact):
        return []
    alone = [h for h in facts.hands if h.section == fact.section and h.hands != "both"]
    return [_apart_item(hand) for hand in alone if not is_known(hand)]


def _apart_item(fact: HandFacts) -> PlanItem:
    rate = max(fact.tempo_share or FIRST_TEMPO, SLOWEST)
    return PlanItem(
        "apart", minutes_for(fact.seconds, rate, 3),
        f"hands together it fell apart twice: {say_hands(fact.hands)}, slowly", "apart",
        fact.span, fact.hands, rate, 3, fact.section,
    )  # fmt: skip


def _join(fact: HandFacts, facts: PlanFacts) -> PlanItem | None:
    """Hands together, where each is steady and together it is not."""
    if fact.hands != "both" or is_known(fact):
        return None
    alone = [h for h in facts.hands if h.section == fact.section and h.hands != "both"]
    if len(alone) < 2 or not all(map(is_known, alone)):
        return None
    rate = slower_than(min(h.tempo_share or FIRST_TEMPO for h in alone))
    return PlanItem(
        "join", minutes_for(fact.seconds, rate, 4), "each hand is steady alone: join them, slower",
        "join", fact.span, "both", rate, 4, fact.section,
    )  # fmt: skip


def _rung(fact: HandFacts, facts: PlanFacts, options: PlanOptions) -> PlanItem | None:
    """The next tempo of a section that is played but not yet up to it, or that was not kept."""
    if not fact.passes or _is_done(fact, options):
        return None
    if fact.hands != "both" and _both_played(facts, fact.section):
        return None
    rate, why = _next_rung(fact, options)
    return PlanItem(
        "ladder", minutes_for(fact.seconds, rate, 4), why, "ladder", fact.span, fact.hands, rate,
        4, fact.section,
    )  # fmt: skip


def _is_done(fact: HandFacts, options: PlanOptions) -> bool:
    """Nothing more for today: it is up to tempo and was kept cold, or stands once more."""
    at_tempo = fact.stage in ("up to tempo", "secure")
    return at_tempo and (fact.kept_cold is not False or fact.row_today >= options.enough)


def _next_rung(fact: HandFacts, options: PlanOptions) -> tuple[float, str]:
    """Its tempo, and why."""
    reached = fact.tempo_share or FIRST_TEMPO
    if fact.stage in ("up to tempo", "secure"):
        return _rate(1 - 2 * options.step), "up to tempo, but not when cold: until it stands again"
    if fact.good_lately or is_known(fact):
        return _rate(reached * (1 + options.step)), f"good at {reached:.0%}: the next rung"
    return _rate(reached), f"not yet steady at {reached:.0%}"


def _rate(share: float) -> float:
    return min(max(round(share, 2), SLOWEST), 1.0)


def _both_played(facts: PlanFacts, section: int) -> bool:
    return any(h.section == section and h.hands == "both" and h.passes for h in facts.hands)


def _new(facts: PlanFacts, options: PlanOptions) -> Iterator[PlanItem]:
    """The next sections not yet played, a few a day.

    One made of bars already played is not new; one that looks like another new one waits a day.
    """
    begun = {h.section for h in facts.hands if h.begun_today}
    played = {h.section for h in facts.hands if h.passes}
    most = options.new_a_day or max(round(options.minutes / NEW_EVERY_MIN), 1)
    for fact in facts.hands:
        if fact.section in played or fact.familiar or not _begins(fact.hands, options):
            continue
        if fact.section not in begun:
            if len(begun) >= most or _looks_like_one(facts, fact.section, begun):
                continue
            begun.add(fact.section)
        yield _new_item(fact)


def _begins(hands: Hands, options: PlanOptions) -> bool:
    return (hands == "both") != (options.begin == "separately")


def _new_item(fact: HandFacts) -> PlanItem:
    return PlanItem(
        "new", minutes_for(fact.seconds, FIRST_TEMPO, 3),
        f"new: {fact.name}, {say_hands(fact.hands)}, slowly", "new",
        fact.span, fact.hands, FIRST_TEMPO, 3, fact.section,
    )  # fmt: skip


def say_hands(hands: Hands) -> str:
    """The hands in words."""
    return "hands together" if hands == "both" else f"{hands} hand alone"


def _looks_like_one(facts: PlanFacts, section: int, others: set[int]) -> bool:
    """A twin has its parting between this section and one of the others."""
    return any(
        section in parting.sections and others & (set(parting.sections) - {section})
        for parting in facts.partings
    )
