"""What is claimed to have changed, in one section and hand: only what the test allows.

The last seven days are set against the seven before them, and against the first seven where there
are more, on the instrument played last, by `engine.measure.change.compare_sessions`; the level is
divided by the number of comparisons that one page makes. A narrow interval about nought is called
a plateau. What the other hand costs the figure is compared likewise: the evenness of its hand alone
and of both, at one tempo, on the last days on which the section was played in both ways.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Literal

from engine.measure.change import LEAST_SESSIONS, Better, Change, Session, compare_sessions
from practice.store.history import Day

#: So many days on each side.
DAYS = 7
Measure = Literal["evenness", "notes right", "with the other hand"]


@dataclass(frozen=True, slots=True)
class Candidate:
    """A comparison that can be made: days before and after, and the passes behind them.

    `since`: "lately" against the days right before, else "since" a date, against the first days.
    """

    measure: Measure
    better: Better
    worth: float
    earlier: tuple[float, ...]
    later: tuple[float, ...]
    passes: int
    since: str = "lately"


@dataclass(frozen=True, slots=True)
class Claim:
    """A change, a regression or a plateau, with its test and the number of passes behind it.

    `words` is a whole sentence, `short` only from what to what; "" for a plateau. `since`: what the
    last days were held against, see `Candidate`.
    """

    measure: Measure
    change: Change
    passes: int
    words: str
    short: str = ""
    since: str = "lately"


#: How a measure is read from a day, which way is better, and what is worth having.
_MEASURES: tuple[tuple[Measure, Better, float], ...] = (
    ("evenness", "lower", 2.0),
    ("notes right", "higher", 0.01),
)


def find_candidates(days: Sequence[Day]) -> list[Candidate]:
    """The comparisons that enough days on one instrument allow."""
    if not days:
        return []
    # a day on several instruments belongs to no series
    last = next((d.instrument for d in reversed(days) if d.instrument >= 0), -1)
    same = [d for d in days if d.instrument == last]
    found = [_candidate(same, *m) for m in _MEASURES] + [_since_start(same, *m) for m in _MEASURES]
    return [c for c in found if c is not None]


def find_cost(alone: Sequence[Day], both: Sequence[Day]) -> list[Candidate]:
    """The figure with its hand alone against both, on the days that tell both.

    Args:
        alone, both: of one section, evenness at one tempo and on one instrument.
    """
    by_day = {d.day: d.evenness_ms for d in alone if d.evenness_ms.value is not None}
    pairs = [(by_day[d.day], d.evenness_ms) for d in both
             if d.day in by_day and d.evenness_ms.value is not None]  # fmt: skip
    pairs = pairs[-2 * DAYS :]
    if len(pairs) < LEAST_SESSIONS:
        return []
    one, other = (
        tuple(e.value for e in side if e.value is not None) for side in zip(*pairs, strict=True)
    )
    passes = sum(a.n + b.n for a, b in pairs)
    _, better, worth = _MEASURES[0]
    return [Candidate("with the other hand", better, worth, one, other, passes)]


def _since_start(
    days: Sequence[Day], measure: Measure, better: Better, worth: float
) -> Candidate | None:
    """The first days against the last, where the last two groups are not the same as these."""
    told = [day for day in days if _read(day, measure)[0] is not None]
    if len(told) < 3 * DAYS:
        return None
    ends = [*told[:DAYS], *told[-DAYS:]]
    found = _candidate(ends, measure, better, worth)
    first = date.fromisoformat(told[0].day)
    return None if found is None else replace(found, since=f"since {first}")


def _candidate(
    days: Sequence[Day], measure: Measure, better: Better, worth: float
) -> Candidate | None:
    told = [(v, n) for v, n in (_read(day, measure) for day in days) if v is not None]
    told = told[-2 * DAYS :]
    half = len(told) // 2
    if half < LEAST_SESSIONS:
        return None
    earlier, later = told[:half], told[half:]
    return Candidate(
        measure,
        better,
        worth,
        tuple(v for v, _ in earlier),
        tuple(v for v, _ in later),
        sum(n for _, n in told),
    )


def _read(day: Day, measure: Measure) -> tuple[float | None, int]:
    if measure == "evenness":
        return day.evenness_ms.value, day.evenness_ms.n
    return day.right_share if day.passes else None, day.passes


def judge_candidates(candidates: Sequence[Candidate], looks: int) -> list[Claim]:
    """The claims among comparisons of one section and hand.

    Args:
        looks: how many comparisons the whole page makes.
    """
    return list(_judge(candidates, looks))


def _judge(candidates: Sequence[Candidate], looks: int) -> Iterator[Claim]:
    for one in candidates:
        change = compare_sessions(
            [Session("", (v,)) for v in one.earlier],
            [Session("", (v,)) for v in one.later],
            one.better,
            one.worth,
            max(looks, 1),
        )
        if change.verdict in ("better", "worse", "no change"):
            words = _say(one, change, looks)
            short = _say_short(one, change)
            yield Claim(one.measure, change, one.passes, words, short, one.since)


def _say(one: Candidate, change: Change, looks: int) -> str:
    before, now = (sum(v) / len(v) for v in (one.earlier, one.later))
    if one.measure == "with the other hand":
        return _say_cost(one, change, looks)
    where = f"{one.since}, {len(one.earlier)} days against {len(one.later)}, {one.passes} passes"
    if change.verdict == "no change":
        least = _number(one, one.worth)
        return f"{one.measure}: a plateau, no change of {least} or more ({where})"
    return (
        f"{one.measure}: {change.verdict}, {_number(one, before)} to {_number(one, now)} ({where}; "
        f"{change.test}, p = {change.p_value:.3f}, {looks} comparisons made)"
    )


def _say_short(one: Candidate, change: Change) -> str:
    if change.verdict == "no change":
        return ""
    before, now = (sum(v) / len(v) for v in (one.earlier, one.later))
    return f"{_number(one, before)} to {_number(one, now)} {one.since}"


def _say_cost(one: Candidate, change: Change, looks: int) -> str:
    before, now = (sum(v) / len(v) for v in (one.earlier, one.later))
    where = f"{len(one.later)} days on which it was played alone and together, {one.passes} passes"
    if change.verdict == "no change":
        return f"with the other hand: no cost to the figure of {one.worth:.1f} ms or more ({where})"
    return (
        f"with the other hand: the figure is {change.verdict}, {before:.1f} to {now:.1f} ms "
        f"({where}; {change.test}, p = {change.p_value:.3f}, {looks} comparisons made)"
    )


def _number(one: Candidate, value: float) -> str:
    return f"{value:.1%}" if one.measure == "notes right" else f"{value:.1f} ms"
