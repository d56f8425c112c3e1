"""Where the notation lets a player go on other than as unfolded: repeats and jumps not taken."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from itertools import pairwise

from engine.arrangement import Bar


def find_turns(bars: Sequence[Bar], first_group: dict[int, int]) -> dict[int, tuple[int, ...]]:
    """For each bar, the groups at which a player may go on who takes another turn.

    A written bar may be followed by whatever bar follows it anywhere in the unfolded score: the
    repeat's beginning or what comes after it, one ending or another.

    Args:
        bars: of the unfolded score.
        first_group: index of a bar to its first group (bars that have one).
    """
    follows: dict[int, set[int]] = defaultdict(set)
    for bar, after in pairwise(bars):
        follows[bar.written].add(after.written)
    places: dict[int, list[int]] = defaultdict(list)
    for bar in bars:
        places[bar.written].append(bar.index)
    out: dict[int, tuple[int, ...]] = {}
    for bar in bars:
        if len(follows[bar.written]) < 2:
            continue
        others = [k for w in follows[bar.written] for k in places[w] if k != bar.index + 1]
        groups = sorted(first_group[k] for k in others if k in first_group)
        if groups:
            out[bar.index] = tuple(groups)
    return out
