"""The repeated figure: which notes of a hand are one pattern come round again and again.

A figure is told by rhythm, place and contour, not by its pitches, so it goes on through changes
of harmony. Each candidate cell length is judged by how short it makes the description of the
hand: a cell that repeats the one before costs next to nothing, a cell of the same shape less
than one that goes its own way. The cheapest wins, and is then reduced to its smallest part that
is still the pattern.
"""

from __future__ import annotations

from bisect import bisect_left
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cached_property
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from engine.arrangement import Arrangement, Figure, Hand
from engine.form.ticks import Ticks, ticks_for

Ints = npt.NDArray[np.int64]
Signs = npt.NDArray[np.int8]
Bools = npt.NDArray[np.bool_]

MIN_PLACES, MAX_PLACES = 2, 32
#: Ways tried to lay cells of one length: as many as the longest bar with a beat to count has.
MOST_PHASES = 64
#: A figure has so many cells in a row somewhere, and covers this share of its hand's onsets.
MIN_CELLS, MIN_SHARE = 4, 0.12
#: Half of its cells stand in rows of at least so many.
RUN = 3
#: Bits saved for each note covered (see `_saving`), unless it covers most of the hand.
MIN_SAVING = 0.8
MOST = 0.6
#: Share of a cell's steps that must go the way the template's do.
SAME_SHAPE = 0.8


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
    def bars(self) -> list[tuple[int, int]]:
        """(front, length) of each bar, with what is missing at its front."""
        of = self.ticks.of
        return [
            (of(b.onset_q - b.lead_q), of(b.duration_q + b.lead_q)) for b in self.arrangement.bars
        ]

    @cached_property
    def beat(self) -> int:
        """The beat unit of the first bar."""
        return self.ticks.of(Fraction(4, self.arrangement.bars[0].beat_unit))


@dataclass(frozen=True)
class _Struck:
    """The onsets of some notes of a hand: when, and the lowest note of each, with its pitch."""

    ticks: list[int]
    notes: list[int]
    pitches: Ints


@dataclass(frozen=True)
class _Tiling:
    """Cells of one length that share a rhythm and a shape, and what they save.

    Attributes:
        cell: ticks. places: onsets in each cell. starts: when each cell starts. firsts: where in
            `struck` each begins, shape (cells,). saved: bits.
    """

    struck: _Struck
    cell: int
    places: int
    starts: list[int]
    firsts: Ints
    saved: float

    @property
    def covered(self) -> int:
        return len(self.starts) * self.places

    @property
    def rhythm(self) -> tuple[int, ...]:
        first = int(self.firsts[0])
        return tuple(t - self.starts[0] for t in self.struck.ticks[first : first + self.places])

    @property
    def pitches(self) -> Ints:
        return _pitches(self.struck, self.firsts, self.places)

    @property
    def notes(self) -> list[tuple[int, ...]]:
        return [tuple(self.struck.notes[i : i + self.places]) for i in self.firsts.tolist()]


def find_figures(arrangement: Arrangement) -> tuple[Figure, ...]:
    """All figures of both hands, the one with most notes first.

    A hand may have several, one after the other; no note is in two.
    """
    lengths_q = _metric_lengths(arrangement)
    page = _Page(arrangement, ticks_for(arrangement, lengths_q))
    lengths = {page.ticks.of(q) for q in lengths_q}
    figures: list[Figure] = []
    for hand in ("left", "right"):
        figures += _figures_of(page, hand, lengths)
    return tuple(sorted(figures, key=lambda f: -len(f.occurrences) * f.places))


def _figures_of(page: _Page, hand: Hand, lengths: set[int]) -> Iterator[Figure]:
    taken: set[int] = set()
    playable = _playable(page.arrangement, hand)
    total = len(_strike(page, playable).ticks)
    while True:
        best: _Tiling | None = None
        for notes in _voices(page.arrangement, [i for i in playable if i not in taken]):
            tiling = _best_tiling(page, _strike(page, notes), lengths)
            if tiling and _is_figure(tiling, total) and (best is None or tiling.saved > best.saved):
                best = tiling
        if best is None:
            return
        yield _as_figure(page, hand, best)
        for cell in best.notes:
            taken.update(_struck_with(page, hand, cell))


def _struck_with(page: _Page, hand: Hand, cell: Sequence[int]) -> set[int]:
    """The notes that a cell uses up: its own, and those struck with them in the same voice."""
    notes, onsets = page.arrangement.notes, page.onsets
    wanted = {(onsets[i], notes[i].voice) for i in cell}
    near = range(max(0, cell[0] - 12), min(len(notes), cell[-1] + 13))
    return {i for i in near if notes[i].hand == hand and (onsets[i], notes[i].voice) in wanted}


def _playable(arrangement: Arrangement, hand: Hand) -> list[int]:
    """What may be the hand's figure; small print too where it is most of the hand, and so no cue.

    Chopin's op. 25 no. 1 prints all but the first note of each cell small.
    """
    mine = [
        i
        for i, n in enumerate(arrangement.notes)
        if n.hand == hand and not n.grace and n.unison in (-1, i)
    ]
    plain = [i for i in mine if not arrangement.notes[i].optional]
    return plain if 2 * len(plain) >= len(mine) else mine


def _voices(arrangement: Arrangement, whole: list[int]) -> list[list[int]]:
    """What a figure may be sought in: all that the hand plays, and each written voice of it."""
    voices: dict[tuple[int, str], list[int]] = {}
    for i in whole:
        voices.setdefault((arrangement.notes[i].staff, arrangement.notes[i].voice), []).append(i)
    parts = [v for v in voices.values() if len(v) >= MIN_CELLS * MIN_PLACES]
    return [whole, *parts] if len(parts) > 1 else [whole]


def _strike(page: _Page, notes: Iterable[int]) -> _Struck:
    """The onsets of some notes (indices), the lowest standing for each."""
    pitch = {i: page.arrangement.notes[i].pitch for i in notes}
    at: dict[int, int] = {}
    for i in pitch:
        here = at.setdefault(page.onsets[i], i)
        if pitch[i] < pitch[here]:
            at[page.onsets[i]] = i
    ticks = sorted(at)
    lowest = [at[t] for t in ticks]
    return _Struck(ticks, lowest, np.array([pitch[i] for i in lowest], np.int64))


def _best_tiling(page: _Page, struck: _Struck, lengths: set[int]) -> _Tiling | None:
    tilings: list[_Tiling] = []
    for cell in sorted(lengths | _recurring_lags(struck)):
        for starts in _grids(page, cell):
            tilings.extend(_tile(struck, cell, starts))
    if not tilings:
        return None
    best = max(tilings, key=lambda t: (t.saved, -t.cell))
    reduced = _reduce(best)
    # Cells whose other half is irregular are only found on the smaller grid itself.
    same = [t for t in tilings if (t.cell, t.rhythm) == (reduced.cell, reduced.rhythm)]
    return max([reduced, *same], key=lambda t: len(t.starts))


def _metric_lengths(arrangement: Arrangement) -> set[Fraction]:
    """Lengths of cell worth trying for the metre's sake: parts of the bar, one and two bars."""
    lengths: set[Fraction] = set()
    for beats, unit in {(b.beats, b.beat_unit) for b in arrangement.bars}:
        whole = Fraction(4 * beats, unit)
        lengths |= {whole / k for k in range(1, beats + 1) if beats % k == 0}
        lengths |= {2 * whole, whole / 2}
    return lengths


def _recurring_lags(struck: _Struck) -> set[int]:
    """Time lags after which the same keys come again most often: periods free of the bar."""
    pitches, ticks = struck.pitches.tolist(), struck.ticks
    lags: list[int] = []
    following: dict[int, int] = {}  # of each pitch, the next time it is struck
    for i in range(len(ticks) - MIN_PLACES - 1, -1, -1):
        following[pitches[i + MIN_PLACES]] = i + MIN_PLACES
        then = following.get(pitches[i], i)
        if i < then <= i + MAX_PLACES:
            lags.append(ticks[then] - ticks[i])
    votes = Counter(reversed(lags))
    return {lag for lag, n in votes.most_common(3) if n >= 2 * MIN_CELLS}


def _grids(page: _Page, cell: int) -> Iterator[Sequence[int]]:
    """Where cells of a length may start: with each bar, where they divide it; else freely."""
    front, full = page.bars[0]
    if all(length % cell == 0 for _, length in page.bars):
        yield [at + k for at, length in page.bars for k in range(0, length, cell)]
        return
    within = cell < full
    n = (page.ticks.of(page.arrangement.end_q) - front) // cell + 1
    for phase in range(min(full // cell + 1, MOST_PHASES) if within else 2):
        start = front + phase * (page.beat if within else full)
        yield range(start, start + n * cell, cell)


def _cut(struck: _Struck, cell: int, starts: Iterable[int]) -> Iterator[tuple[int, int, int]]:
    """(start, first, last) of each cell that holds a fit number of onsets [first, last)."""
    last = 0
    for start in starts:
        first = bisect_left(struck.ticks, start, last)
        last = bisect_left(struck.ticks, start + cell, first)
        if MIN_PLACES <= last - first <= MAX_PLACES:
            yield start, first, last


def _tile(
    struck: _Struck, cell: int, starts: Iterable[int], fewest: int = MIN_CELLS
) -> Iterator[_Tiling]:
    """The best few tilings on one grid: for each frequent rhythm, the commonest shape."""
    by_rhythm: dict[tuple[int, ...], list[tuple[int, int]]] = {}
    for start, first, last in _cut(struck, cell, starts):
        rhythm = tuple([t - start for t in struck.ticks[first:last]])
        by_rhythm.setdefault(rhythm, []).append((start, first))
    for rhythm, cells in sorted(by_rhythm.items(), key=lambda r: -len(r[1]))[:3]:
        if len(cells) >= fewest:
            tiling = _of_one_shape(struck, cell, len(rhythm), cells)
            if len(tiling.starts) >= fewest:
                yield tiling


def _of_one_shape(
    struck: _Struck, cell: int, places: int, cells: Sequence[tuple[int, int]]
) -> _Tiling:
    """Of cells (start, first) of one rhythm, those whose contour agrees with the commonest."""
    firsts = np.array([first for _, first in cells], np.int64)
    good = _shaped_alike(contours(_pitches(struck, firsts, places)))
    starts = [start for (start, _), kept in zip(cells, good.tolist(), strict=True) if kept]
    saved = _saving(_pitches(struck, firsts[good], places))
    return _Tiling(struck, cell, places, starts, firsts[good], saved)


def _pitches(struck: _Struck, firsts: Ints, places: int) -> Ints:
    """Pitches of cells: (cells, places)."""
    return np.asarray(struck.pitches[firsts[:, None] + np.arange(places)])


def contours(pitches: Ints) -> Signs:
    """Up 1, down -1, level 0: each note against the one before it, then each against the first.

    From (cells, places) pitches to (cells, 2 * places - 3) signs.
    """
    steps = np.diff(pitches, axis=1)
    from_first = pitches[:, 2:] - pitches[:, :1]
    return np.asarray(np.sign(np.concatenate([steps, from_first], axis=1)), np.int8)


def _shaped_alike(shapes: Signs) -> Bools:
    """Which shapes agree with the one, of the commonest few, that most agree with."""
    seen = [row.tobytes() for row in shapes]
    counts = Counter(seen)
    distinct = np.frombuffer(b"".join(counts), np.int8).reshape(len(counts), -1)
    n = np.array(list(counts.values()))
    agree = [_agree(distinct[k], distinct) for k in np.argsort(-n, kind="stable")[:4]]
    best = max(agree, key=lambda with_it: int(n[with_it].sum()))
    good = dict(zip(counts, best.tolist(), strict=True))
    return np.array([good[shape] for shape in seen])


def _agree(template: Signs, shapes: Signs) -> Bools:
    """Which shapes go the template's way in enough steps; a level step is half of either."""
    steps = len(template)
    same = steps - np.abs(shapes - template).sum(axis=1) / 2
    return np.asarray(same >= SAME_SHAPE * steps)


def _saving(pitches: Ints) -> float:
    """Bits saved by describing cells, (cells, places), as one figure.

    A free pitch is reckoned at three bits. A cell like the one before costs one bit in all; in
    one of the same shape a pitch already heard in the cell is free, any other costs two.
    """
    places = pitches.shape[1]
    again = np.zeros(len(pitches), bool)
    again[1:] = (pitches[1:] == pitches[:-1]).all(axis=1)
    news = (np.diff(np.sort(pitches, axis=1), axis=1) != 0).sum(axis=1)
    other = 3 * (places - 1 - news) + news - 1
    return float(np.where(again, 3 * places - 1, other).sum())


def _is_figure(tiling: _Tiling, onsets: int) -> bool:
    """Enough of it, mostly cell after cell, and worth calling a pattern."""
    covered, runs = tiling.covered, _runs(tiling)
    together = sum(n for n in runs if n >= RUN)
    return (
        covered >= MIN_SHARE * onsets
        and max(runs) >= MIN_CELLS
        and together >= 0.5 * len(tiling.starts)
        and (tiling.saved >= MIN_SAVING * covered or covered >= MOST * onsets)
    )


def _runs(tiling: _Tiling) -> list[int]:
    """Lengths of the rows of cells that follow one another without a gap."""
    runs = [1]
    for a, b in pairwise(tiling.starts):
        if b == a + tiling.cell:
            runs[-1] += 1
        else:
            runs.append(1)
    return runs


def _reduce(tiling: _Tiling) -> _Tiling:
    """The smallest part of a cell that is itself the figure."""
    for parts in range(tiling.places // MIN_PLACES, 1, -1):
        if tiling.places % parts == 0 and _same_rhythm(tiling, parts):
            part = _split(tiling, parts)
            enough = len(part.starts) >= 0.9 * parts * len(tiling.starts)
            if enough and not _parts_differ(tiling, parts):
                return part
    return tiling


def _same_rhythm(tiling: _Tiling, parts: int) -> bool:
    size, rhythm = tiling.places // parts, tiling.rhythm
    return all((s - r) * parts == tiling.cell for r, s in zip(rhythm, rhythm[size:], strict=False))


def _parts_differ(tiling: _Tiling, parts: int) -> bool:
    """Whether the parts of a cell differ in the same way each time.

    They do in C G E G: its second half starts higher, always. Where parts are equal, or move as
    the harmony happens to, the cell is only several cells of a shorter figure.
    """
    size, pitches = tiling.places // parts, tiling.pitches
    ways = np.sign(pitches[:, size:] - pitches[:, :-size])
    most = np.maximum((ways > 0).sum(axis=0), (ways < 0).sum(axis=0))
    return bool((most >= 0.8 * len(pitches)).any())


def _split(tiling: _Tiling, parts: int) -> _Tiling:
    """Each cell cut into equal parts of the same rhythm."""
    step, size = tiling.cell // parts, tiling.places // parts
    cells = [
        (start + k * step, first + k * size)
        for start, first in zip(tiling.starts, tiling.firsts.tolist(), strict=True)
        for k in range(parts)
    ]
    part = _of_one_shape(tiling.struck, step, size, cells)
    return replace(part, saved=tiling.saved)


def figure_with_cell(
    arrangement: Arrangement, hand: Hand, cell_q: Fraction, bars: set[int]
) -> Figure | None:
    """The figure of a hand in some bars (indices) with a cell of a given length, if any."""
    page = _Page(arrangement, ticks_for(arrangement, [cell_q]))
    notes = [i for i in _playable(arrangement, hand) if arrangement.notes[i].bar in bars]
    struck, cell = _strike(page, notes), page.ticks.of(cell_q)
    tilings = [t for starts in _grids(page, cell) for t in _tile(struck, cell, starts, fewest=1)]
    best = max(tilings, key=lambda t: t.covered, default=None)
    return _as_figure(page, hand, best) if best else None


def _as_figure(page: _Page, hand: Hand, tiling: _Tiling) -> Figure:
    cell_q = page.ticks.quarters(tiling.cell)
    return Figure(hand, cell_q, tiling.places, tuple(tiling.notes))
