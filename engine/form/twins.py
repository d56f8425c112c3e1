"""Twins and partings: passages that begin alike, where they part, and what each does there.

Compared bar by bar and then note by note, hands together and each hand that has a line of its
own; transposed passages count. A passage and its own repeat are twins only where the repeat ends
otherwise (first and second endings).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property

from engine.arrangement import Arrangement, Figure, Hands, Twins
from engine.pitch_names import printed

#: A passage has at least so many notes beside the figure before it counts as recognisable.
LEAST_NOTES = 3
#: Two notes differ in length if by at least so many quarters (the last note held on).
HELD_LONGER_Q = Fraction(1)
#: No more pairs than this are kept: the longest.
MOST = 120

#: One note in a bar: offset, pitch, length in quarters.
Event = tuple[Fraction, int, Fraction]


@dataclass(frozen=True)
class _Part:
    """What one hand, or both, play in each bar.

    Attributes:
        hands: whose. bars: events of each bar, in order. free: how many of each bar's onsets
            are not in the figure.
    """

    hands: Hands
    bars: tuple[tuple[Event, ...], ...]
    free: tuple[int, ...]

    @cached_property
    def shapes(self) -> tuple[tuple[Event, ...], ...]:
        """Each bar's events with pitches reckoned from its first."""
        return tuple(tuple((q, p - b[0][1], d) for q, p, d in b) if b else () for b in self.bars)

    def shift(self, i: int, j: int) -> int | None:
        """Semitones from bar i to bar j where they are alike; None where they are not."""
        if self.shapes[i] != self.shapes[j]:
            return None
        return self.bars[j][0][1] - self.bars[i][0][1] if self.bars[i] else 0


def find_twins(arrangement: Arrangement, figures: Sequence[Figure]) -> tuple[Twins, ...]:
    """Every pair of passages that begin alike for at least a bar, the longest first."""
    parts = _parts(arrangement, figures)
    found: dict[tuple[object, ...], Twins] = {}
    for part in parts:
        for i, j, n, shift in _alike_runs(part):
            if _recognisable(arrangement, part, i, j, n):
                twins = _describe(arrangement, part, i, j, n, shift)
                key = (*_written(arrangement, i, j, n), shift)
                if key not in found or found[key].length_q < twins.length_q:
                    found[key] = twins
    longest = sorted(found.values(), key=lambda t: (-t.length_q, t.first_q, t.second_q))[:MOST]
    return tuple(sorted(longest, key=lambda t: (t.first_q, t.second_q)))


def _parts(arrangement: Arrangement, figures: Sequence[Figure]) -> list[_Part]:
    """Both hands, and each hand that is not mostly figure."""
    in_figure = {i for f in figures for cell in f.occurrences for i in cell}
    out = [_part(arrangement, "both", in_figure)]
    for hand in ("right", "left"):
        mine = [i for i, n in enumerate(arrangement.notes) if n.hand == hand and not n.grace]
        if sum(i not in in_figure for i in mine) > 0.5 * len(mine):
            out.append(_part(arrangement, hand, in_figure))
    return out


def _part(arrangement: Arrangement, hands: Hands, in_figure: set[int]) -> _Part:
    bars: list[list[Event]] = [[] for _ in arrangement.bars]
    free: list[set[Fraction]] = [set() for _ in arrangement.bars]
    for i, note in enumerate(arrangement.notes):
        if note.grace or note.optional or hands not in ("both", note.hand):
            continue
        offset = note.onset_q - arrangement.bars[note.bar].onset_q
        bars[note.bar].append((offset, note.pitch, note.duration_q))
        if i not in in_figure:
            free[note.bar].add(offset)
    return _Part(hands, tuple(tuple(b) for b in bars), tuple(len(f) for f in free))


def _alike_runs(part: _Part) -> Iterator[tuple[int, int, int, int]]:
    """(first bar, second bar, how many bars alike, semitones) of each longest run."""
    n = len(part.bars)
    by_shape: dict[tuple[Event, ...], list[int]] = {}
    for i, shape in enumerate(part.shapes):
        by_shape.setdefault(shape, []).append(i)
    for alike in by_shape.values():
        if not part.bars[alike[0]]:
            continue  # silent bars begin nothing
        for a, i in enumerate(alike):
            for j in alike[a + 1 :]:
                shift = part.shift(i, j) or 0
                if i and _goes_on(part, i - 1, j - 1, shift):
                    continue  # begins earlier
                length = 1
                while j + length < n and _goes_on(part, i + length, j + length, shift):
                    length += 1
                yield i, j, length, shift


def _goes_on(part: _Part, i: int, j: int, shift: int) -> bool:
    here = part.shift(i, j)
    return here is not None and (here == shift or not part.bars[i])


def _recognisable(arrangement: Arrangement, part: _Part, i: int, j: int, n: int) -> bool:
    """Enough notes of their own, not overlapping, and not a passage with its own repeat.

    The repeat of a passage is its twin only if it parts from it by going elsewhere.
    """
    if n > j - i or sum(part.free[i : i + n]) < LEAST_NOTES:
        return False
    bars = arrangement.bars
    same = all(bars[i + k].written == bars[j + k].written for k in range(n))
    if not same:
        return bars[i].written <= bars[j].written or bars[i].time == bars[j].time
    return part.hands == "both" and j + n < len(bars)


def _written(arrangement: Arrangement, i: int, j: int, n: int) -> tuple[int, int, int, int]:
    """The written bars of a pair and of its parting: the same for each time through."""
    bars = arrangement.bars
    first = bars[min(i + n, len(bars) - 1)].written
    second = bars[min(j + n, len(bars) - 1)].written
    pairs = sorted([(bars[i].written, first), (bars[j].written, second)])
    return (*pairs[0], *pairs[1])


def _describe(arrangement: Arrangement, part: _Part, i: int, j: int, n: int, shift: int) -> Twins:
    bars = arrangement.bars
    first, second = _parting_offset(part, i + n, j + n, shift)
    first_q = _edge(arrangement, i + n) + (first or 0)
    second_q = _edge(arrangement, j + n) + (second or 0)
    return Twins(
        first_q=bars[i].onset_q,
        second_q=bars[j].onset_q,
        length_q=first_q - bars[i].onset_q,
        parting=(first_q, second_q),
        transposed=shift,
        hands=part.hands,
        words=_words(arrangement, part.hands, first_q, second_q),
    )


def _edge(arrangement: Arrangement, bar: int) -> Fraction:
    return arrangement.bars[bar].onset_q if bar < len(arrangement.bars) else arrangement.end_q


def _parting_offset(part: _Part, i: int, j: int, shift: int) -> tuple[Fraction, Fraction]:
    """Where in the first different bars the first difference comes (the same in both)."""
    if i >= len(part.bars) or j >= len(part.bars):
        return Fraction(0), Fraction(0)
    a, b = part.bars[i], part.bars[j]
    for (q, p, d), (r, s, e) in zip(a, b, strict=False):
        if q != r or p + shift != s or abs(d - e) >= HELD_LONGER_Q:
            return min(q, r), min(q, r)
    rest = [q for q, _, _ in (*a[len(b) :], *b[len(a) :])]
    at = min(rest, default=Fraction(0))
    return at, at


def _words(arrangement: Arrangement, hands: Hands, first_q: Fraction, second_q: Fraction) -> str:
    """What each does at the parting."""
    one, other = (_continuation(arrangement, hands, q) for q in (first_q, second_q))
    return f"{one}; {other}"


def _continuation(arrangement: Arrangement, hands: Hands, at_q: Fraction) -> str:
    if at_q >= arrangement.end_q:
        return "the end"
    bar = arrangement.bar_at(at_q)
    again = f" (time {bar.time})" if bar.time > 1 else ""
    notes = [
        n
        for n in arrangement.notes
        if n.onset_q == at_q and hands in ("both", n.hand) and not n.grace
    ]
    if not notes:
        return f"bar {bar.number}{again} rests"
    top = notes[-1]
    held = f" for {float(top.duration_q):g} quarters" if top.duration_q >= 4 else ""
    return f"bar {bar.number}{again} goes on with {printed(top.name)}{held}"
