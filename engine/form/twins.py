"""Twins and partings: passages that begin alike, where they part, and what each does there.

Compared bar by bar and then note by note, hands together and each hand that has a line of its
own; transposed passages count. A passage and its own repeat are twins only where the repeat ends
otherwise (first and second endings).
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property

import numpy as np
import numpy.typing as npt

from engine.arrangement import Arrangement, Figure, Hands, Twins
from engine.form.alike import Alike, Ints, named
from engine.form.keys import Floats
from engine.form.ticks import Ticks, ticks_for
from engine.pitch_names import printed

#: A passage has at least so many notes beside the figure before it counts as recognisable.
LEAST_NOTES = 3
#: Two notes differ in length if by at least so many quarters (the last note held on).
HELD_LONGER_Q = Fraction(1)
#: No more pairs than this are kept: the longest. Of a part's pairs, no more are looked at closely
#: than `LOOKED_AT`, the longest by whole bars: where a few bars come hundreds of times, in any
#: order, there are more pairs than bars, and all but these are a bar or two long.
MOST = 120
LOOKED_AT = 4000
#: Pairs weighed at one time, so that such a page does not fill the memory.
BATCH = 200_000

Bools = npt.NDArray[np.bool_]
#: One note in a bar: offset, pitch, length in ticks.
Event = tuple[int, int, int]


@dataclass(frozen=True)
class _Page:
    """An arrangement with its times in ticks."""

    arrangement: Arrangement
    ticks: Ticks

    @cached_property
    def onsets(self) -> list[int]:
        """When each note is struck."""
        return [self.ticks.of(note.onset_q) for note in self.arrangement.notes]

    @cached_property
    def edges(self) -> Floats:
        """Quarters at which each bar begins, and the last ends: to tell longer from shorter."""
        starts = [float(bar.onset_q) for bar in self.arrangement.bars]
        return np.array([*starts, float(self.arrangement.end_q)])

    @cached_property
    def written(self) -> Alike:
        """The written bars in order of playing."""
        return Alike(named([bar.written for bar in self.arrangement.bars]))


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
    def shapes(self) -> Ints:
        """A number for each bar, equal where the events are, pitches reckoned from the first."""
        return named([tuple((q, p - b[0][1], d) for q, p, d in b) for b in self.bars])

    @cached_property
    def first_pitches(self) -> Ints:
        """The pitch of each bar's first event; of silent bars 0."""
        return np.array([b[0][1] if b else 0 for b in self.bars], np.int64)

    @cached_property
    def goes_on(self) -> Alike:
        """The bars, each with its step in pitch from the sounding bar before it.

        Where these go on alike after two alike bars, so do the bars, equally transposed.
        """
        steps, before = [], 0
        for shape, bar in zip(self.shapes.tolist(), self.bars, strict=True):
            steps.append((shape, bar[0][1] - before if bar else 0))
            before = bar[0][1] if bar else before
        return Alike(named(steps))

    @cached_property
    def sounding_before(self) -> Ints:
        """The last bar before each that is not silent, -1 where there is none."""
        sounds = np.where([bool(b) for b in self.bars], np.arange(len(self.bars)), -1)
        return np.concatenate([[-1], np.maximum.accumulate(sounds)[:-1]]).astype(np.int64)

    @cached_property
    def free_before(self) -> Ints:
        """Onsets not in the figure in all bars before each, and in all."""
        return np.concatenate([[0], np.cumsum(self.free)]).astype(np.int64)


def find_twins(arrangement: Arrangement, figures: Sequence[Figure]) -> tuple[Twins, ...]:
    """Every pair of passages that begin alike for at least a bar, the longest first."""
    page = _Page(arrangement, ticks_for(arrangement))
    found: dict[tuple[object, ...], Twins] = {}
    for part in _parts(page, figures):
        for i, j, n in _alike_runs(page, part):
            shift = int(part.first_pitches[j] - part.first_pitches[i])
            twins = _describe(page, part, i, j, n, shift)
            key = (*_written(arrangement, i, j, n), shift)
            if key not in found or found[key].length_q < twins.length_q:
                found[key] = twins
    longest = sorted(found.values(), key=lambda t: (-t.length_q, t.first_q, t.second_q))[:MOST]
    return tuple(sorted(longest, key=lambda t: (t.first_q, t.second_q)))


def _parts(page: _Page, figures: Sequence[Figure]) -> list[_Part]:
    """Both hands, and each hand that is not mostly figure."""
    in_figure = {i for f in figures for cell in f.occurrences for i in cell}
    out = [_part(page, "both", in_figure)]
    for hand in ("right", "left"):
        notes = page.arrangement.notes
        mine = [i for i, n in enumerate(notes) if n.hand == hand and not n.grace]
        if sum(i not in in_figure for i in mine) > 0.5 * len(mine):
            out.append(_part(page, hand, in_figure))
    return out


def _part(page: _Page, hands: Hands, in_figure: set[int]) -> _Part:
    starts = [page.ticks.of(bar.onset_q) for bar in page.arrangement.bars]
    bars: list[list[Event]] = [[] for _ in starts]
    free: list[set[int]] = [set() for _ in starts]
    for i, note in enumerate(page.arrangement.notes):
        if note.grace or note.optional or hands not in ("both", note.hand):
            continue
        offset = page.onsets[i] - starts[note.bar]
        bars[note.bar].append((offset, note.pitch, page.ticks.of(note.duration_q)))
        if i not in in_figure:
            free[note.bar].add(offset)
    return _Part(hands, tuple(tuple(b) for b in bars), tuple(len(f) for f in free))


def _alike_runs(page: _Page, part: _Part) -> list[tuple[int, int, int]]:
    """(first bar, second bar, how many bars alike) of each longest run that is recognisable.

    The longest `LOOKED_AT`, in the order of `_pairs`.
    """
    kept = np.zeros((4, 0), np.int64)
    rank = 0
    for pairs in _batches(part):
        i, j = pairs
        n = 1 + part.goes_on.lengths(i + 1, j + 1)
        order = np.arange(rank, rank + len(i))
        rank += len(i)
        good = _recognisable(page, part, i, j, n)
        kept = _longest(page, np.concatenate([kept, np.array([order, i, j, n])[:, good]], axis=1))
    return [(i, j, n) for i, j, n in kept[1:].T.tolist()]


def _longest(page: _Page, runs: Ints) -> Ints:
    """The longest of runs (order, first bar, second bar, length), in their order."""
    if runs.shape[1] <= LOOKED_AT:
        return runs
    _, i, _, n = runs
    length_q = page.edges[i + n] - page.edges[i]
    chosen = np.argsort(-length_q, kind="stable")[:LOOKED_AT]
    return runs[:, np.sort(chosen)]


def _batches(part: _Part) -> Iterator[Ints]:
    """The pairs of `_pairs`, (2, pairs), many together."""
    batch: list[Ints] = []
    size = 0
    for pairs in _pairs(part):
        batch.append(pairs)
        size += pairs.shape[1]
        if size >= BATCH:
            yield np.concatenate(batch, axis=1)
            batch, size = [], 0
    if batch:
        yield np.concatenate(batch, axis=1)


def _pairs(part: _Part) -> Iterator[Ints]:
    """Pairs of bars at which a run of alike bars begins, (2, pairs): for each first bar, all."""
    shapes, pitches, before = part.shapes, part.first_pitches, part.sounding_before
    order = np.argsort(shapes, kind="stable")
    for alike in np.split(order, np.flatnonzero(np.diff(shapes[order])) + 1):
        if not part.bars[alike[0]]:
            continue  # silent bars begin nothing
        for a, i in enumerate(alike[:-1].tolist()):
            second = alike[a + 1 :]
            if before[i] >= 0:  # those whose bars before are alike too begin earlier
                theirs = before[second]
                earlier = (second - theirs == i - before[i]) & (shapes[theirs] == shapes[before[i]])
                earlier &= pitches[theirs] - pitches[before[i]] == pitches[second] - pitches[i]
                second = second[~earlier]
            yield np.array([np.full_like(second, i), second])


def _recognisable(page: _Page, part: _Part, i: Ints, j: Ints, n: Ints) -> Bools:
    """Enough notes of their own, not overlapping, and not a passage with its own repeat.

    The repeat of a passage is its twin only if it parts from it by going elsewhere.
    """
    bars = page.arrangement.bars
    written = np.array([b.written for b in bars])
    time = np.array([b.time for b in bars])
    own = part.free_before[i + n] - part.free_before[i] >= LEAST_NOTES
    same = page.written.lengths(i, j) >= n
    forward = (written[i] <= written[j]) | (time[i] == time[j])
    parts = (j + n < len(bars)) & (part.hands == "both")
    return np.asarray((n <= j - i) & own & np.where(same, parts, forward))


def _written(arrangement: Arrangement, i: int, j: int, n: int) -> tuple[int, int, int, int]:
    """The written bars of a pair and of its parting: the same for each time through."""
    bars = arrangement.bars
    first = bars[min(i + n, len(bars) - 1)].written
    second = bars[min(j + n, len(bars) - 1)].written
    pairs = sorted([(bars[i].written, first), (bars[j].written, second)])
    return (*pairs[0], *pairs[1])


def _describe(page: _Page, part: _Part, i: int, j: int, n: int, shift: int) -> Twins:
    arrangement = page.arrangement
    bars = arrangement.bars
    offset_q = page.ticks.quarters(_parting_offset(page, part, i + n, j + n, shift))
    first_q = _edge(arrangement, i + n) + offset_q
    second_q = _edge(arrangement, j + n) + offset_q
    return Twins(
        first_q=bars[i].onset_q,
        second_q=bars[j].onset_q,
        length_q=first_q - bars[i].onset_q,
        parting=(first_q, second_q),
        transposed=shift,
        hands=part.hands,
        words=_words(page, part.hands, first_q, second_q),
    )


def _edge(arrangement: Arrangement, bar: int) -> Fraction:
    return arrangement.bars[bar].onset_q if bar < len(arrangement.bars) else arrangement.end_q


def _parting_offset(page: _Page, part: _Part, i: int, j: int, shift: int) -> int:
    """Where in the first different bars the first difference comes, in ticks."""
    if i >= len(part.bars) or j >= len(part.bars):
        return 0
    a, b = part.bars[i], part.bars[j]
    held_longer = page.ticks.of(HELD_LONGER_Q)
    for (q, p, d), (r, s, e) in zip(a, b, strict=False):
        if q != r or p + shift != s or abs(d - e) >= held_longer:
            return min(q, r)
    return min((q for q, _, _ in (*a[len(b) :], *b[len(a) :])), default=0)


def _words(page: _Page, hands: Hands, first_q: Fraction, second_q: Fraction) -> str:
    """What each does at the parting."""
    one, other = (_continuation(page, hands, q) for q in (first_q, second_q))
    return f"{one}; {other}"


def _continuation(page: _Page, hands: Hands, at_q: Fraction) -> str:
    if at_q >= page.arrangement.end_q:
        return "the end"
    bar = page.arrangement.bar_at(at_q)
    again = f" (time {bar.time})" if bar.time > 1 else ""
    tick = page.ticks.of(at_q)
    struck = page.arrangement.notes[
        bisect_left(page.onsets, tick) : bisect_right(page.onsets, tick)
    ]
    notes = [n for n in struck if hands in ("both", n.hand) and not n.grace]
    if not notes:
        name = _held(page.arrangement, hands, bar.index, at_q)
        return f"bar {bar.number}{again} {f'holds {name}' if name else 'rests'}"
    top = notes[-1]
    held = f" for {float(top.duration_q):g} quarters" if top.duration_q >= 4 else ""
    return f"bar {bar.number}{again} goes on with {printed(top.name)}{held}"


def _held(arrangement: Arrangement, hands: Hands, bar: int, at_q: Fraction) -> str:
    """The highest note held over a moment, struck in its bar or one of the four before; "" if none.

    A rest is a moment at which nothing sounds.
    """
    near = arrangement.notes_of_bars[max(0, bar - 4) : bar + 1]
    sounding = [
        n
        for notes in near
        for n in notes
        if hands in ("both", n.hand) and n.onset_q < at_q < n.onset_q + n.duration_q
    ]
    return printed(max(sounding, key=lambda n: n.pitch).name) if sounding else ""
