"""The tempo ladder: the rate for the next pass of one task, from that task's passes so far."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from engine.drill.sheet import Ladder, PassResult

#: A rung is at most this share of the way to the tempo that failed last.
SHARE_OF_WAY = 0.5
#: Two rates closer than this are one.
SAME = 1e-6


@dataclass(frozen=True, slots=True)
class Rung:
    """Where a task stands.

    Attributes:
        rate: of the next pass. reason: why, in words for the player.
        done: the goal stands. given_up: put aside for now.
    """

    rate: float
    reason: str
    done: bool = False
    given_up: bool = False


@dataclass(slots=True)
class _Climb:
    """The ladder while passes are taken in; `ceiling` is the slowest rate lately found too fast."""

    rate: float
    good: int = 0
    poor: int = 0
    poor_in_all: int = 0
    falls: int = 0
    best: float = 0.0
    still: int = 0
    ceiling: float | None = None
    reason: str = "to begin with"


def find_rung(ladder: Ladder, passes: Sequence[PassResult]) -> Rung:
    """The next rate for a task.

    Args:
        passes: this task's, oldest first; their rates need not have come from this ladder.
    """
    if ladder.way == "level":
        return _stay_level(ladder, passes)
    climb = _Climb(min(ladder.start, ladder.goal))
    at_goal = 0
    for one in passes:
        if abs(one.rate - ladder.goal) < SAME:
            at_goal = at_goal + 1 if one.good else 0
        climb.poor_in_all = 0 if one.good else climb.poor_in_all + 1
        faster = one.good and one.rate > climb.best + SAME
        climb.best = max(climb.best, one.rate) if one.good else climb.best
        climb.still = 0 if faster else climb.still + 1
        if not _is_trial(ladder, one, climb):
            _take(ladder, climb, one)
    return _say(ladder, climb, passes, at_goal)


def _stay_level(ladder: Ladder, passes: Sequence[PassResult]) -> Rung:
    good = _run_at_end(passes, good=True)
    if good >= (ladder.good_to_stand or ladder.good_to_rise):
        return Rung(ladder.goal, f"{_times(good)} well in a row: it stands", done=True)
    if _run_at_end(passes, good=False) >= ladder.enough_poor:
        return Rung(ladder.goal, _put_aside(ladder.enough_poor), given_up=True)
    return Rung(ladder.goal, "")


def _is_trial(ladder: Ladder, one: PassResult, climb: _Climb) -> bool:
    """A pass at tempo between the slow ones: it moves nothing."""
    at_goal = abs(one.rate - ladder.goal) < SAME
    return ladder.way == "alternate" and at_goal and climb.rate < ladder.goal - SAME


def _take(ladder: Ladder, climb: _Climb, one: PassResult) -> None:
    """Move by one pass. Good at a slower tempo, or poor at a faster one, proves nothing."""
    if one.rate < climb.rate - SAME if one.good else one.rate > climb.rate + SAME:
        return
    if one.good:
        climb.good, climb.poor, climb.falls = climb.good + 1, 0, 0
        if climb.good >= ladder.good_to_rise:
            _rise(ladder, climb)
        else:
            left = ladder.good_to_rise - climb.good
            climb.reason = f"good; {_times(left)} more like it at {_percent(climb.rate)}"
        return
    climb.good, climb.poor = 0, climb.poor + 1
    if climb.poor >= ladder.poor_to_fall:
        _fall(ladder, climb)
    else:
        climb.reason = f"once more at {_percent(climb.rate)}" + (
            f": {one.why_not}" if one.why_not else ""
        )


def _rise(ladder: Ladder, climb: _Climb) -> None:
    if climb.ceiling is not None and climb.rate >= climb.ceiling - SAME:
        climb.ceiling = None
    top = ladder.goal if climb.ceiling is None else min(climb.ceiling, ladder.goal)
    way = (top - climb.rate) * (1.0 if climb.ceiling is None else SHARE_OF_WAY)
    step = min(ladder.step, max(way, ladder.least_step))
    goods, climb.good = climb.good, 0
    rate = min(climb.rate + step, ladder.goal)
    if rate > climb.rate + SAME:
        short = " by a short rung, for faster has failed" if climb.ceiling is not None else ""
        climb.reason = f"{_times(goods)} well in a row: up to {_percent(rate)}{short}"
    climb.rate = rate


def _fall(ladder: Ladder, climb: _Climb) -> None:
    """Down; each time in a row that slower was not slow enough, further."""
    poors, climb.poor = climb.poor, 0
    climb.ceiling, climb.falls = climb.rate, climb.falls + 1
    rate = max(climb.rate - ladder.step * climb.falls, ladder.slowest)
    if rate < climb.rate - SAME:
        climb.reason = f"{_times(poors)} poor in a row: down to {_percent(rate)}"
    else:
        climb.reason = f"as slow as it goes, {_percent(rate)}: fewer bars or one hand may help"
    climb.rate = rate


def _say(ladder: Ladder, climb: _Climb, passes: Sequence[PassResult], at_goal: int) -> Rung:
    if at_goal >= (ladder.good_to_stand or ladder.good_to_rise):
        return Rung(ladder.goal, f"{_times(at_goal)} well at the goal: it stands", done=True)
    if climb.poor_in_all >= ladder.enough_poor:
        return Rung(climb.rate, _put_aside(climb.poor_in_all), given_up=True)
    if climb.still >= ladder.enough_still:
        best = f", {_percent(climb.best)} so far" if climb.best else ""
        return Rung(climb.rate, _enough(climb.still, best), given_up=True)
    slow = climb.rate < ladder.goal - SAME
    if ladder.way == "alternate" and slow and passes and passes[-1].good:
        last_was_slow = passes[-1].rate < ladder.goal - SAME
        if last_was_slow:
            return Rung(ladder.goal, "the slow one was good: once at tempo, to hear where it goes")
    if ladder.way == "alternate" and passes and abs(passes[-1].rate - ladder.goal) < SAME and slow:
        return Rung(climb.rate, f"back to the slow one, {_percent(climb.rate)}")
    return Rung(climb.rate, climb.reason)


def _run_at_end(passes: Sequence[PassResult], good: bool) -> int:
    run = 0
    for one in reversed(passes):
        if one.good is not good:
            break
        run += 1
    return run


def _put_aside(poor: int) -> str:
    return (
        f"{poor} poor in a row: leave it for now; take fewer bars, one hand, or something else, "
        "and come back to it tomorrow"
    )


def _enough(passes: int, best: str) -> str:
    return (
        f"{passes} passes without getting faster{best}: enough of it for today; take something "
        "else, or fewer bars, and look at it again tomorrow"
    )


def _times(n: int) -> str:
    return {1: "once", 2: "twice"}.get(n, f"{n} times")


def _percent(rate: float) -> str:
    return f"{rate * 100:.0f} %"
