"""What the player may not know yet: the few findings worth a sentence at the head of the page.

Each is said only where chance would do as much in at most one page of twenty for its kind: the
level 0.05 is divided by the number of places, sections or kinds of slip that were looked at
(Bonferroni). Each carries the number of passes, nights or slips behind it.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from engine.measure.quantiles import t_quantile
from practice.progress.changes import Claim
from practice.progress.progress import HandProgress, Progress, SectionProgress

LEVEL = 0.05
#: One displaced note in a quick even row is noticed from here (Friberg and Sundberg 1995, JASA
#: 98:2524-31, for intervals under 240 ms).
HARDLY_HEARD_MS = 6.0
#: Nights and passes behind a sentence, at least.
LEAST = 5
#: Slips on either side, at least.
LEAST_SLIPS = 30
#: The last so many cold passes tell what is kept overnight.
NIGHTS = 20
MOST = 7


@dataclass(frozen=True, slots=True)
class News:
    """One sentence. `kind`: what it is about; `n`: what it rests on, counted in `of`."""

    kind: str
    words: str
    n: int
    of: str


def find_news(progress: Progress) -> tuple[News, ...]:
    """The most telling first."""
    told = (_weak, _late_places, _overnight, _costs, _changes, _mended_places, _kinds)
    return tuple(itertools.chain.from_iterable(find(progress) for find in told))[:MOST]


def _hands(progress: Progress) -> Iterator[tuple[SectionProgress, HandProgress]]:
    for section in progress.sections:
        for hand in section.hands:
            if hand.days:
                yield section, hand


def _with_hand(name: str, hands: str) -> str:
    return name if hands == "both" else f"{name}, {hands} hand"


def _listed(names: Sequence[str]) -> str:
    return names[0] if len(names) == 1 else ", ".join(names[:-1]) + " and " + names[-1]


# bars


def _weak(progress: Progress) -> Iterator[News]:
    weak = [w for w in progress.weak if w.hands == "both"][:3]
    if weak:
        told = [f"{w.number} (in {w.faulty} of its last {w.passes} passes)" for w in weak]
        word = "Bar" if len(weak) == 1 else "Bars"
        goes = "goes" if len(weak) == 1 else "go"
        words = f"{word} {_listed(told)} {goes} wrong again and again."
        yield News("weak bars", words, sum(w.passes for w in weak), "passes")


# places of the figure


def _late_places(progress: Progress) -> Iterator[News]:
    """Places of the figure that can be heard to be early or late, sections told together."""
    tried = [(s, h) for s, h in _hands(progress) if len(h.places_now) >= LEAST]
    looks = sum(len(h.places_now[0]) for _, h in tried)
    found: dict[tuple[int, int], list[tuple[str, float, int]]] = {}
    for section, hand in tried:
        rows = np.array(hand.places_now)
        for place, (mean, half) in enumerate(_means(rows, looks)):
            if abs(mean) - half > HARDLY_HEARD_MS:
                key = (place + 1, 1 if mean > 0 else -1)
                name = _with_hand(section.name, hand.hands)
                found.setdefault(key, []).append((name, mean, len(rows)))
    for (place, sign), told in sorted(found.items(), key=lambda item: -len(item[1])):
        yield _say_place(place, sign, told)


def _means(rows: np.ndarray, looks: int) -> list[tuple[float, float]]:
    """Mean of each column and half its interval, at the level shared by so many looks."""
    n = len(rows)
    half = t_quantile(1 - LEVEL / looks / 2, n - 1) * rows.std(axis=0, ddof=1) / math.sqrt(n)
    return list(zip(rows.mean(axis=0).tolist(), half.tolist(), strict=True))


def _say_place(place: int, sign: int, told: Sequence[tuple[str, float, int]]) -> News:
    sizes = [abs(mean) for _, mean, _ in told]
    size = f"{min(sizes):.0f} to {max(sizes):.0f}" if len(told) > 1 else f"{sizes[0]:.0f}"
    size = f"{sizes[0]:.0f}" if len({f"{s:.0f}" for s in sizes}) == 1 else size
    n = sum(count for _, _, count in told)
    where = _listed([name for name, _, _ in told])
    way = "late" if sign > 0 else "early"
    return News(
        "place",
        f"Place {place} of the figure comes {way} by {size} ms in {where} ({n} passes): "
        f"more than the {HARDLY_HEARD_MS:.0f} ms that begin to be heard.",
        n,
        "passes",
    )


def _mended_places(progress: Progress) -> Iterator[News]:
    """A place that could be heard in the first passes and is otherwise in the last."""
    tried = [(s, h) for s, h in _hands(progress) if _can_compare(h)]
    looks = sum(len(h.places_now[0]) for _, h in tried)
    found: dict[int, list[tuple[str, float, float, int]]] = {}
    for section, hand in tried:
        then, now = np.array(hand.places_then), np.array(hand.places_now)
        rows = zip(_means(then, looks), _means(now, looks), strict=True)
        for place, ((was, half_was), (mean, half)) in enumerate(rows):
            apart = abs(was - mean) > math.hypot(half_was, half)
            if apart and abs(was) > HARDLY_HEARD_MS > abs(mean):
                name = _with_hand(section.name, hand.hands)
                found.setdefault(place + 1, []).append((name, was, mean, len(then) + len(now)))
    for place, told in found.items():
        where = "; ".join(f"{name} {was:+.0f} to {now:+.0f} ms" for name, was, now, _ in told)
        n = sum(count for *_, count in told)
        words = f"Place {place} of the figure has come right: {where} ({n} passes)."
        yield News("mended", words, n, "passes")


def _can_compare(hand: HandProgress) -> bool:
    then, now = hand.places_then, hand.places_now
    return min(len(then), len(now)) >= LEAST and len(then[0]) == len(now[0])


# nights


def _overnight(progress: Progress) -> Iterator[News]:
    """Sections that lose notes from the last pass of a day to the first of the next played."""
    tried = [(s, h) for s, h in _hands(progress) if len(h.retention) >= LEAST]
    for section, hand in tried:
        lost = np.array([[r.last - r.cold] for r in hand.retention[-NIGHTS:]])
        ((mean, half),) = _means(lost, len(tried))
        if mean - half > 0.0:
            yield News(
                "overnight",
                f"{_with_hand(section.name, hand.hands)} loses {100 * mean:.1f} % of its notes "
                f"from the last pass of a day to the first of the next "
                f"({100 * (mean - half):.1f} to {100 * (mean + half):.1f} %, n {len(lost)}): "
                "what it is worth shows in the first pass, not in the last.",
                len(lost),
                "nights",
            )


# changes


def _changes(progress: Progress) -> Iterator[News]:
    """What got worse, then better, then no further where it is not secure yet; by measure."""
    told = [(s, h, c) for s, h in _hands(progress) for c in h.claims]
    for verdict in ("worse", "better", "no change"):
        for measure in dict.fromkeys(c.measure for _, _, c in told):
            found = [
                (s, h, c)
                for s, h, c in told
                if c.measure == measure and c.change.verdict == verdict
                and (verdict != "no change" or _goes_no_further(h, c))
            ]  # fmt: skip
            if len(found) == 1:
                ((section, hand, claim),) = found
                name = _with_hand(section.name, hand.hands)
                yield News(verdict, f"{name}: {claim.words}.", claim.passes, "passes")
            elif found:
                yield _say_changes(verdict, measure, found)


def _goes_no_further(hand: HandProgress, claim: Claim) -> bool:
    """A plateau of the last days in what has some way to go."""
    return hand.standing.stage != "secure" and claim.since == "lately"


def _say_changes(
    verdict: str, measure: str, found: Sequence[tuple[SectionProgress, HandProgress, Claim]]
) -> News:
    # Held against the days before and against the first ones, the last passes are the same.
    passes: dict[tuple[str, str], int] = {}
    for section, hand, claim in found:
        place = section.key, hand.hands
        passes[place] = max(passes.get(place, 0), claim.passes)
    n, sections = sum(passes.values()), len({s.key for s, _, _ in found})
    word = "no further lately" if verdict == "no change" else verdict
    where = "; ".join(f"{_with_hand(s.name, h.hands)} {c.short}".strip() for s, h, c in found)
    p = [c.change.p_value for _, _, c in found if c.change.p_value is not None]
    test = f"{found[0][2].change.test}, p at most {max(p):.3f}; " if p else ""
    many = f"{sections} section{'s' * (sections != 1)}"
    words = f"{measure}: {word} in {many}: {where} ({test}{n} passes)."
    return News(verdict, words[0].upper() + words[1:], n, "passes")


# kinds of slip


def _kinds(progress: Progress) -> Iterator[News]:
    """A kind of slip that is a larger or smaller part of the last month's than of those before."""
    months = sorted({month for month, _, _ in progress.kinds})
    if len(months) < 2:
        return
    now, before = months[-1], set(months[-4:-1])
    new = {k: n for m, k, n in progress.kinds if m == now}
    old: dict[str, int] = {}
    for month, kind, n in progress.kinds:
        if month in before:
            old[kind] = old.get(kind, 0) + n
    total_new, total_old = sum(new.values()), sum(old.values())
    if min(total_new, total_old) < LEAST_SLIPS:
        return
    kinds = sorted({*new, *old} - {"unclear"})
    for kind in kinds:
        a, b = new.get(kind, 0), old.get(kind, 0)
        if compare_shares(a, total_new, b, total_old) < LEVEL / len(kinds):
            yield _say_kind(kind, (a, total_new), (b, total_old), now)


def compare_shares(a: int, of_a: int, b: int, of_b: int) -> float:
    """p-value of two shares being one: the pooled z test, without continuity correction.

    The square of z is the chi-square of the two-by-two table.
    """
    pooled = (a + b) / (of_a + of_b)
    spread = math.sqrt(pooled * (1 - pooled) * (1 / of_a + 1 / of_b))
    return math.erfc(abs(a / of_a - b / of_b) / spread / math.sqrt(2)) if spread else 1.0


def _say_kind(kind: str, now: tuple[int, int], before: tuple[int, int], month: str) -> News:
    share, was = now[0] / now[1], before[0] / before[1]
    way = "more" if share > was else "less"
    words = (
        f"Of the slips in {month}, {share:.0%} are {kind} ({now[0]} of {now[1]}), {way} than the "
        f"{was:.0%} of the months before ({before[0]} of {before[1]})."
    )
    return News("kinds", words, now[1] + before[1], "slips")


# time


def _costs(progress: Progress) -> Iterator[News]:
    """The section that takes most time for each good pass, beside all the others together."""
    every = [
        (s.name, sum(h.sums.seconds for h in s.hands) / 60, sum(h.sums.good for h in s.hands),
         sum(h.sums.passes for h in s.hands))
        for s in progress.sections
    ]  # fmt: skip
    rows = [row for row in every if row[3] >= LEAST]
    if len(rows) < 2:
        return
    most = max(rows, key=lambda row: row[1] / max(row[2], 1))
    name, minutes, good, passes = most
    rest = [row for row in every if row is not most]
    others, other_good = sum(r[1] for r in rest), sum(r[2] for r in rest)
    if other_good and minutes / max(good, 1) > 2 * others / other_good:
        share = minutes / (minutes + others)
        each = f"{minutes / good:.1f} minutes each" if good else f"{minutes:.1f} minutes for none"
        words = (
            f"{name} took {share:.0%} of the time and brought {good} of {good + other_good} good "
            f"passes of a section; {each}, the other sections {others / other_good:.1f} each."
        )
        yield News("time", words, passes, "passes")
