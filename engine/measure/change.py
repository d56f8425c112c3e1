"""Is it a change? Two passes or two groups of sessions: claimed only where it is one.

Passes of one session hang together (the same day, the same hands), so that over sessions the
session is the piece that counts, not the pass. Figures from different instruments are not
compared.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from itertools import combinations
from typing import Literal

import numpy as np
import numpy.typing as npt

from engine.findings import Estimate, no_estimate
from engine.measure import interval
from engine.measure.evenness import Evenness
from engine.measure.heard import Numbers
from engine.measure.quantiles import t_quantile

Better = Literal["lower", "higher"]
Verdict = Literal["better", "worse", "no change", "too early to say", "not comparable"]

#: A change is claimed where chance alone would do as much at most this often.
CLAIM = 0.05
#: With fewer sessions on either side no arrangement of them is rare enough to claim anything.
LEAST_SESSIONS = 4
#: Evenness goes with the tempo: figures whose note intervals differ by more are not compared.
LIKE_TEMPO = 0.1
_DRAWS, _SEED = 20_000, 20040212


@dataclass(frozen=True, slots=True)
class Session:
    """One sitting: the instrument, and the measure's value in each of its passes."""

    instrument: str
    values: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Change:
    """What can be said of a change.

    Attributes:
        verdict: better or worse only where the test says so; "no change" where the interval is
            narrow enough to rule out one worth having; "too early to say" otherwise.
        difference: later minus earlier, with its interval.
        p_value: how often chance alone would do as much; None where no test was made.
        superiority: share of pairs in which the later is better (0.5: no difference).
        test: the test, by name. words: one sentence.
    """

    verdict: Verdict
    difference: Estimate
    p_value: float | None
    superiority: float | None
    test: str
    words: str


def compare_passes(
    earlier: Estimate, later: Estimate, better: Better, worth: float = 0.0
) -> Change:
    """Two passes by their own intervals: a change where that of the difference excludes nought.

    Method of variance estimates recovery (Zou & Donner 2008, Stat Med 27:1693-1702). It speaks
    of these two passes only, not of what was learned.

    Args:
        earlier, later: estimates of one measure in one unit, on one instrument.
        better: which direction is an improvement.
        worth: a difference smaller than this is not worth having (in the same unit).
    """
    test = "interval of the difference of two passes"
    reason = earlier.reason or later.reason or "one of the two has no value"
    difference = interval.difference_of(later, earlier, later.unit, reason)
    ends = interval.known(difference)
    if ends is None:
        return _early(difference, test, f"{reason}: nothing to compare")
    if ends[1] > 0.0 or ends[2] < 0.0:
        return _claimed(difference, better, None, None, test)
    return _unclaimed(difference, worth, None, None, test)


def compare_sessions(
    earlier: Sequence[Session],
    later: Sequence[Session],
    better: Better,
    worth: float = 0.0,
    looks: int = 1,
) -> Change:
    """Two groups of sessions by an exact permutation test on their session means.

    All ways of dealing the sessions to the two groups are tried (20,000 of them by a fixed
    seed where there are more); p is the share that part the groups at least as far. Interval of
    the difference by Welch (1947, Biometrika 34:28-35).

    Args:
        earlier, later: sessions in any order; those without values are passed over.
        better: which direction is an improvement.
        worth: a difference smaller than this is not worth having.
        looks: how many comparisons are made at once; the level is divided by it (Bonferroni).
    """
    test = "permutation test over sessions"
    if len({s.instrument for s in (*earlier, *later)}) > 1:
        return not_comparable(test)
    a, b = _means(earlier), _means(later)
    if min(len(a), len(b)) < LEAST_SESSIONS:
        n = min(len(a), len(b))
        few = interval.too_few(n, LEAST_SESSIONS, "sessions", "")
        return _early(few, test, f"{n} sessions on one side, {LEAST_SESSIONS} are needed")
    difference, p = _welch(a, b), _permuted(a, b)
    wins = _superiority(a, b, better)
    if p <= CLAIM / looks:
        return _claimed(difference, better, p, wins, test)
    return _unclaimed(difference, worth, p, wins, test)


def not_comparable(test: str = "") -> Change:
    """What is said of figures from different instruments: nothing."""
    none = no_estimate("different instruments")
    return Change("not comparable", none, None, None, test, "played on different instruments")


def cost_of_other_hand(alone: Evenness, together: Evenness) -> Change:
    """Evenness of the same bars with the figure's hand alone against both: later is together.

    Only where both were played at about one tempo (`LIKE_TEMPO`).
    """
    if (alone.hand, alone.cell_places) != (together.hand, together.cell_places):
        none = no_estimate("another figure", "ms")
        return Change("not comparable", none, None, None, "", "the two are different figures")
    if alone.fingering != together.fingering:
        none = no_estimate("another fingering", "ms")
        return Change("not comparable", none, None, None, "", "the two were fingered otherwise")
    if abs(together.note_interval_ms / alone.note_interval_ms - 1.0) > LIKE_TEMPO:
        none = no_estimate("another tempo", "ms")
        return Change("not comparable", none, None, None, "", "the two were played at two tempos")
    return compare_passes(alone.sd_ms, together.sd_ms, "lower")


def _means(sessions: Sequence[Session]) -> Numbers:
    finite = [interval.finite(s.values) for s in sessions]
    return np.array([x.mean() for x in finite if len(x)])


def _welch(a: Numbers, b: Numbers) -> Estimate:
    va, vb = a.var(ddof=1) / len(a), b.var(ddof=1) / len(b)
    n = len(a) + len(b)
    value = float(b.mean() - a.mean())
    if va + vb <= 0.0:
        return Estimate(value, value, value, n)
    df = (va + vb) ** 2 / (va**2 / (len(a) - 1) + vb**2 / (len(b) - 1))
    return interval.around(value, t_quantile(0.975, float(df)) * math.sqrt(va + vb), n, "")


def _permuted(a: Numbers, b: Numbers) -> float:
    pool = np.concatenate([a, b])
    seen = abs(b.mean() - a.mean()) - 1e-12 * (1.0 + np.abs(pool).max())
    if math.comb(len(pool), len(a)) <= _DRAWS:
        picks = _every_pick(len(pool), len(a))
    else:
        draw = np.random.default_rng(_SEED)
        picks = draw.permuted(np.tile(np.arange(len(pool)), (_DRAWS, 1)), axis=1)[:, : len(a)]
    first = pool[picks].sum(axis=1)
    apart = np.abs((pool.sum() - first) / len(b) - first / len(a))
    return float((apart >= seen).mean())


@cache
def _every_pick(count: int, size: int) -> npt.NDArray[np.intp]:
    """All ways to pick so many of them, a row each; a page asks for the same ones many times."""
    return np.array(list(combinations(range(count), size)))


def _superiority(a: Numbers, b: Numbers, better: Better) -> float:
    """Probability that a later session is better than an earlier one, ties half (Mann-Whitney)."""
    away = (a[:, None] - b[None, :]) * (1.0 if better == "lower" else -1.0)
    return float((away > 0).mean() + 0.5 * (away == 0).mean())


def _early(difference: Estimate, test: str, words: str) -> Change:
    return Change("too early to say", difference, None, None, test, words)


def _claimed(
    difference: Estimate, better: Better, p: float | None, wins: float | None, test: str
) -> Change:
    assert difference.value is not None
    improved = (difference.value < 0) == (better == "lower")
    verdict: Verdict = "better" if improved else "worse"
    chance = "" if p is None else f" (p = {p:.3f})"
    return Change(verdict, difference, p, wins, test, f"{verdict}, by the {test}{chance}")


def _unclaimed(
    difference: Estimate, worth: float, p: float | None, wins: float | None, test: str
) -> Change:
    ends = interval.known(difference)
    assert ends is not None
    if worth > 0.0 and -worth < ends[1] and ends[2] < worth:
        return Change("no change", difference, p, wins, test, f"no change of {worth:g} or more")
    words = "too early to say: the difference may be chance"
    return Change("too early to say", difference, p, wins, test, words)
