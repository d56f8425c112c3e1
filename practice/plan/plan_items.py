"""What a plan is made of: its items, and what the player may set."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Literal

from engine.arrangement import Hands, Span
from engine.standing import DEFINITIONS, STAGES
from practice.plan.plan_facts import HandFacts

Kind = Literal[
    "warm-up", "break", "cold", "parting", "weak bars", "slower", "apart", "ladder", "join", "new",
    "run-through",
]  # fmt: skip
Begin = Literal["as it goes", "separately", "together"]

FIRST_TEMPO = 0.6
#: Slower means this share of the tempo last reached.
SLOWER = 0.8
#: ... but never under this: passes slower still count for no stage.
SLOWEST = DEFINITIONS.steady_tempo
#: Between two passes, to look and to begin again.
BREATH_S = 8.0


@dataclass(frozen=True, slots=True)
class PlanOptions:
    """What the player may set.

    Attributes:
        minutes: to practise. turn_min: length of a turn; one turn each where `turns` is off.
        break_after_min, break_min: rests. warm_up_min: 0 for none.
        step: rise of the ladder (share). enough: good passes in a row that end an item.
        new_a_day: sections begun on one day at most; None: one for every eight minutes.
        begin: new sections with both hands, and each alone only where that falls apart ("as it
            goes"); each alone first ("separately"); or never alone ("together").
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
    new_a_day: int | None = None
    begin: Begin = "as it goes"
    performance: date | None = None


@dataclass(frozen=True, slots=True)
class PlanItem:
    """One item.

    Attributes:
        rule: names an entry of `plan_rules.RULES`.
        rate: of the marked tempo, None for the player's own pace. goal: where a ladder ends.
        other: the second passage of a parting.
        section, last: the first and the last of neighbouring sections played in one go; last is -1
            for one alone.
    """

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
    last: int = -1
    goal: float = 1.0


def is_known(fact: HandFacts) -> bool:
    """Steady or better."""
    return STAGES.index(fact.stage) >= STAGES.index("steady")


def minutes_for(seconds: float, tempo_share: float | None, passes: int) -> float:
    """Time for so many passes with a breath after each, in half minutes, one at least.

    Args:
        seconds: of one pass at the marked tempo.
    """
    spent_s = passes * (seconds / (tempo_share or FIRST_TEMPO) + BREATH_S)
    return max(round(spent_s / 30) / 2, 1.0)


def slower_than(reached: float | None) -> float:
    """The tempo to go back to from one reached."""
    return max(round(SLOWER * (reached or FIRST_TEMPO), 2), SLOWEST)
