"""A plan's items in words, and the command that starts each."""

from __future__ import annotations

import shlex

from engine.arrangement import Span
from practice.drill import name_span, type_span
from practice.plan.plan_facts import PlanFacts
from practice.plan.plan_items import PlanItem


def say_command(item: PlanItem, facts: PlanFacts) -> str:
    """What starts the item, "" for a rest or a warm-up."""
    if item.span is None:
        return ""
    words = ["undersong", "play", _quote(facts.path)]
    words += _span_options(item.span, facts)
    words += ["--hands", item.hands] if item.hands and item.hands != "both" else []
    words += ["--tempo", f"{item.rate:.0%}"] if item.rate else []
    words += ["--passes", str(item.passes)] if item.passes else []
    return " ".join(words)


def _span_options(span: Span, facts: PlanFacts) -> list[str]:
    bars = type_span(facts.arrangement, span)
    return ["--bars", bars] if bars else []


def _quote(path: str) -> str:
    return shlex.quote(path)


def say_what(item: PlanItem, facts: PlanFacts) -> str:
    """The item in a few words."""
    if item.span is None:
        return item.kind
    names = {h.section: h.name for h in facts.hands}
    where = name_span(facts.arrangement, item.span)
    if item.other is not None:
        where += " and " + name_span(facts.arrangement, item.other)
    name = names.get(item.section, "")
    hand = "" if item.hands in (None, "both") else f", {item.hands} hand"
    pace = f", at {item.rate:.0%}" if item.rate else ""
    times = f", {item.passes} pass{'es' * (item.passes != 1)}" if item.passes else ""
    return f"{item.kind}: {f'{name}, ' if name else ''}{where}{hand}{pace}{times}"
