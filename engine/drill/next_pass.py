"""What to play next, and why: the one question a drill answers."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from engine.arrangement import Hands, Span
from engine.drill.chain import choose_span
from engine.drill.ladder import Rung, find_rung
from engine.drill.sheet import DrillSheet, Ladder, PassResult

#: A pause this long between two passes counts as a rest.
REST_S = 180.0


@dataclass(frozen=True, slots=True)
class NextPass:
    """The next pass of a drill.

    Attributes:
        span: the bars to judge; None where the drill is over.
        play_to_bar: play on to this bar, for the join. hands, rate: how.
        reason: why this, in one line for the player.
        rest: a break is proposed first. given_up: over, because it did not go; the player is told
            what else might help, and never to try harder.
    """

    span: Span | None
    play_to_bar: int
    hands: Hands
    rate: float
    reason: str
    rest: bool = False
    given_up: bool = False


def next_pass(
    sheet: DrillSheet, places: Sequence[Span], last_bar: int, history: Sequence[PassResult]
) -> NextPass:
    """The next pass.

    Args:
        sheet: the drill. places: its `where`, found in the arrangement, at least one.
        last_bar: index of the arrangement's last bar, which an overlap cannot pass.
        history: the passes of this drill, oldest first.
    """
    if sheet.passes and len(history) >= sheet.passes:
        return _over(sheet, history, f"{len(history)} pass{'es' * (len(history) != 1)}, as set")
    for hands in sheet.hands:
        mine = [p for p in history if p.hands == hands]
        tasks = _Tasks(sheet, tuple(places), hands, tuple(history))
        chosen = choose_span(sheet, places, mine, tasks.is_over)
        if chosen.span is not None:
            rung = tasks.rung(chosen.span)
            reason = "; ".join(text for text in (chosen.reason, rung.reason) if text)
            to_bar = min(chosen.span.to_bar + sheet.overlap, last_bar)
            one = NextPass(chosen.span, to_bar, hands, rung.rate, reason)
            return _propose_rest(sheet, one, history)
    return _close(sheet, places, history)


def minutes_since_rest(history: Sequence[PassResult]) -> float:
    """Minutes of playing since the last pause that was long enough to be a rest."""
    seconds = 0.0
    end_s: float | None = None
    for one in history:
        if one.rested or (end_s is not None and one.start_s - end_s >= REST_S):
            seconds = 0.0
        seconds += one.seconds
        end_s = one.start_s + one.seconds
    return seconds / 60


@dataclass(frozen=True, slots=True)
class _Tasks:
    """How the bars of one hand stand: a task is a span and the hand that plays it."""

    sheet: DrillSheet
    places: tuple[Span, ...]
    hands: Hands
    history: tuple[PassResult, ...]

    def rung(self, span: Span) -> Rung:
        """Where a task stands. Drawn starts share one ladder, for they are one task."""
        shared = self.sheet.order == "anywhere"
        mine = [p for p in self.history if p.hands == self.hands and (shared or p.span == span)]
        return find_rung(self._ladder(span), mine)

    def is_over(self, span: Span) -> bool:
        """It stands, or was put aside. A lone place in free pulse has no end of its own."""
        rung = self.rung(span)
        return rung.given_up or (rung.done and not self._is_endless())

    def _ladder(self, span: Span) -> Ladder:
        """A free pulse has no ladder; the links of a chain stay slow until the whole is joined."""
        sheet = self.sheet
        if sheet.pulse == "free":
            return replace(sheet.ladder, way="level")
        if sheet.order == "backwards" and span not in self.places:
            return replace(sheet.ladder, way="level", goal=sheet.ladder.start)
        return sheet.ladder

    def _is_endless(self) -> bool:
        sheet = self.sheet
        alone = len(self.places) == 1 and len(sheet.hands) == 1 and sheet.order != "backwards"
        return alone and sheet.pulse == "free"


def _propose_rest(sheet: DrillSheet, one: NextPass, history: Sequence[PassResult]) -> NextPass:
    minutes = minutes_since_rest(history)
    if not sheet.break_after_min or minutes < sheet.break_after_min or sheet.run_through:
        return one
    words = f"{minutes:.0f} minutes of playing: rest hands and ears a while; stop if it hurts"
    return replace(one, rest=True, reason=words)


def _close(sheet: DrillSheet, places: Sequence[Span], history: Sequence[PassResult]) -> NextPass:
    """Everything stands, or was put aside."""
    played = {(p.span, p.hands): None for p in history}
    tasks = {hands: _Tasks(sheet, tuple(places), hands, tuple(history)) for hands in sheet.hands}
    rungs = [tasks[hands].rung(span) for span, hands in played if hands in tasks]
    aside = [rung for rung in rungs if rung.given_up]
    reason = aside[-1].reason if aside else "all of it stands"
    return replace(_over(sheet, history, reason), given_up=bool(aside))


def _over(sheet: DrillSheet, history: Sequence[PassResult], reason: str) -> NextPass:
    last = history[-1] if history else None
    hands = last.hands if last else sheet.hands[0]
    return NextPass(None, 0, hands, last.rate if last else sheet.ladder.goal, reason)
