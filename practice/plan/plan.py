"""What to practise today, in order: a pure function from facts to drills, each with its reason.

The rules and what they rest on are in `practice.plan.plan_rules`.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import datetime, timedelta

from engine.arrangement import Span, whole_span
from practice.plan.plan_facts import HandFacts, PlanFacts, length_s
from practice.plan.plan_items import PlanItem, PlanOptions, is_known, minutes_for
from practice.plan.plan_work import done_together, find_work

#: At most so much of the time goes to recalling.
RECALL_SHARE = 0.4
PERFORMANCE_NEAR = timedelta(days=14)
#: Sections this near the full tempo are tried at it, cold.
NEAR_TEMPO = 0.9
#: Neighbours are played in one go up to so many seconds at the marked tempo.
CHAIN_S = 30.0
#: ... if their tempos are no further apart than this.
CHAIN_STEP = 0.05
#: So many turns at one item on one day.
MOST_TURNS = 2


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
    cold = chain(_within(_recalls(facts, now), min(left, told.minutes * RECALL_SHARE)), facts)
    left -= sum(i.minutes for i in cold)
    work = _lengthen(_within(chain(find_work(facts, told), facts), left), left, told)
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
        if h.recall and not h.played_today and is_known(h) and not done_together(h, facts)
    ]  # fmt: skip
    due = [h for h in known if h.recall and h.recall.due <= end]
    due.sort(key=lambda h: h.recall.chance if h.recall else 1.0)
    nearer = [h for h in known if h not in due and _is_near(h)]
    return [_recall_item(h) for h in due] + [_nearer_item(h) for h in nearer]


def _is_near(fact: HandFacts) -> bool:
    return fact.stage == "up to tempo" or (
        fact.stage == "steady" and (fact.tempo_share or 0.0) >= NEAR_TEMPO
    )


def _nearer_item(fact: HandFacts) -> PlanItem:
    return PlanItem(
        "cold", minutes_for(fact.seconds, fact.tempo_share, 1),
        f"{fact.stage}, but not yet secure: a good pass now, cold, at the full tempo counts",
        "cold", fact.span, fact.hands, None, 1, fact.section,
    )  # fmt: skip


def _recall_item(fact: HandFacts) -> PlanItem:
    assert fact.recall is not None
    chance = fact.recall.chance
    return PlanItem(
        "cold", minutes_for(fact.seconds, fact.tempo_share, 1),
        f"due for recall: the model gives it {chance:.0%}; one pass, cold, at your best tempo",
        "recall", fact.span, fact.hands, None, 1, fact.section,
    )  # fmt: skip


def chain(items: Sequence[PlanItem], facts: PlanFacts) -> list[PlanItem]:
    """Neighbouring sections with the same to do, played in one go; order by the first of each."""
    out: list[PlanItem] = []
    for item in items:
        near = next((k for k, other in enumerate(out) if _joins(other, item, facts)), None)
        if near is None:
            out.append(item)
        else:
            out[near] = _joined(out[near], item, facts)
    return out if len(out) == len(items) else chain(out, facts)


def _joins(a: PlanItem, b: PlanItem, facts: PlanFacts) -> bool:
    """Both are recalls, or rungs of known sections, and one begins where the other ends."""
    if a.kind != b.kind or a.hands != b.hands or a.kind not in ("cold", "ladder"):
        return False
    if a.span is None or b.span is None or abs((a.rate or 0) - (b.rate or 0)) > CHAIN_STEP + 1e-9:
        return False
    if a.kind == "ladder" and not all(_is_known_section(i.section, facts) for i in (a, b)):
        return False
    touch = a.span.to_bar + 1 == b.span.from_bar or b.span.to_bar + 1 == a.span.from_bar
    return touch and _seconds(a, facts) + _seconds(b, facts) <= CHAIN_S


def _is_known_section(section: int, facts: PlanFacts) -> bool:
    return any(h.section == section and h.hands == "both" and is_known(h) for h in facts.hands)


def _seconds(item: PlanItem, facts: PlanFacts) -> float:
    """Length of the sections of an item at the marked tempo."""
    last = max(item.last, item.section)
    told = {h.section: h.seconds for h in facts.hands if item.section <= h.section <= last}
    return sum(told.values())


def _joined(a: PlanItem, b: PlanItem, facts: PlanFacts) -> PlanItem:
    first, second = sorted((a, b), key=lambda i: i.section)
    assert first.span is not None
    assert second.span is not None
    rates = [i.rate for i in (a, b) if i.rate is not None]
    rate = min(rates) if rates else None
    one = replace(
        first, span=Span(first.span.from_bar, second.span.to_bar), rate=rate,
        last=max(second.last, second.section), rule=a.rule, reason=_say_joined(a),
    )  # fmt: skip
    return replace(one, minutes=minutes_for(_seconds(one, facts), rate or 0.95, one.passes))


def _say_joined(a: PlanItem) -> str:
    also = "; in one go with its neighbours"
    return a.reason if a.reason.endswith(also) else a.reason + also


def _run_through(facts: PlanFacts, now: datetime, options: PlanOptions) -> list[PlanItem]:
    together = [h for h in facts.hands if h.hands == "both" and not h.familiar]
    if not together or not all(map(is_known, together)):
        return []
    days = (options.performance - now.date()).days if options.performance else -1
    near = 0 <= days <= PERFORMANCE_NEAR.days
    if facts.ran_through_today or (options.performance and not near):
        return []
    whole = whole_span(facts.arrangement)
    # Sections that come again are among the facts once, but are played as often as they come.
    minutes = max(round(length_s(facts.arrangement, whole) / 60 + 1), 2)
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
