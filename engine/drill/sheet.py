"""A drill described: small, plain, and the same for the plan, the command and the window."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from engine.arrangement import Hands, Span

#: level: stay at one tempo; step: rung by rung; alternate: slow and at tempo by turns.
Way = Literal["level", "step", "alternate"]
#: turns: the places one after the other, round and round (twins: one and the other);
#: backwards: the last bar, then the last two ...; anywhere: from a bar drawn by lot.
Order = Literal["turns", "backwards", "anywhere"]
Gesture = Literal["off", "soft-pedal", "lowest-key"]


@dataclass(frozen=True, slots=True)
class Ladder:
    """How the tempo moves. Rates are shares of the marked tempo.

    Attributes:
        way: see `Way`.
        start, goal: first rate and the one to arrive at. slowest: never below this.
        step: the longest rung; 5 % lies above the 3 % that a change of tempo takes to be noticed
            (Drake & Botte 1993). least_step: the shortest, near the limit.
        good_to_rise, poor_to_fall: passes in a row that move it. How many in a row is the player's
            choice; no study shows one number to be best. good_to_stand: so many at the goal end it;
            0: as many as make it rise.
        enough_poor: poor passes in a row after which it is put aside, never urged on.
        enough_still: passes without getting faster after which the same is proposed.
    """

    way: Way = "step"
    start: float = 0.6
    goal: float = 1.0
    slowest: float = 0.3
    step: float = 0.05
    least_step: float = 0.02
    good_to_rise: int = 2
    good_to_stand: int = 0
    poor_to_fall: int = 2
    enough_poor: int = 8
    enough_still: int = 20


@dataclass(frozen=True, slots=True)
class DrillSheet:
    """One task at the keyboard.

    Attributes:
        name: what the player calls it.
        where: places in words: "bars 5-8", "bars 5-8@2", "section A", "phrase A 2", "twins 1",
            "slip 3", "weakest 2", "whole". Twins are two places.
        hands: taken by turns, each as soon as it stands at the goal; ("both",) for one.
        pulse: strict (with the click) or free. ladder: for the strict pulse.
        order: see `Order`. overlap: bars played on beyond each place, so that the join is
            practised. rest_beats: between two passes; 0 goes straight on.
        passes: how many; 0 for until the goal stands (or, free, until the player stops).
        other_hand: the hand not practised is played to the player. click_parts: clicks a beat.
        from_memory: the page hides bar by bar. run_through: no interruption whatever happens.
        gesture: what means "again"; twice in a second means "on to the next". Never heard as notes.
        break_after_min: minutes of playing after which a rest is proposed; 0 for never.
        seed: of the lots drawn.
    """

    name: str = ""
    where: tuple[str, ...] = ("whole",)
    hands: tuple[Hands, ...] = ("both",)
    pulse: Literal["free", "strict"] = "strict"
    ladder: Ladder = field(default_factory=Ladder)
    order: Order = "turns"
    overlap: int = 0
    rest_beats: int = 4
    passes: int = 0
    other_hand: bool = False
    click_parts: int = 1
    from_memory: bool = False
    run_through: bool = False
    gesture: Gesture = "off"
    break_after_min: float = 25.0
    seed: int = 0


@dataclass(frozen=True, slots=True)
class PassResult:
    """How one pass of the drill went.

    Attributes:
        span, hands, rate: as it was asked for (the span without its overlap).
        good: a good pass by the definitions in force; why_not: one line where it was not.
        start_s, seconds: when it began on the session's clock, how long it took.
        rested: a break was taken before it.
    """

    span: Span
    hands: Hands
    rate: float
    good: bool
    why_not: str = ""
    start_s: float = 0.0
    seconds: float = 0.0
    rested: bool = False
