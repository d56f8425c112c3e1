"""The repeated figure: which notes of a hand are one pattern come round again and again.

A figure is told by rhythm, place and contour, not by its pitches, so it goes on through changes
of harmony. Each candidate cell length is judged by how short it makes the description of the
hand: a cell that repeats the one before costs next to nothing, a cell of the same shape less
than one that goes its own way. The cheapest wins, and is then reduced to its smallest part that
is still the pattern.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

from engine.arrangement import Arrangement, Bar, Figure, Hand

MIN_PLACES = 2
MAX_PLACES = 32
#: A figure has so many cells in a row somewhere, and covers this share of its hand's onsets.
MIN_CELLS = 4
MIN_SHARE = 0.12
#: Half of its cells stand in rows of at least so many.
RUN = 3
#: Bits saved for each note covered (see `_saving`), unless it covers most of the hand.
MIN_SAVING = 0.8
MOST = 0.6
#: Share of a cell's steps that must go the way the template's do.
SAME_SHAPE = 0.8


@dataclass(frozen=True, slots=True)
class Struck:
    """One onset of a hand: when, and the note that stands for it."""

    onset_q: Fraction
    note: int
    pitch: int


@dataclass(frozen=True, slots=True)
class _Cell:
    start_q: Fraction
    struck: tuple[Struck, ...]

    @property
    def rhythm(self) -> tuple[Fraction, ...]:
        return tuple(s.onset_q - self.start_q for s in self.struck)

    @property
    def pitches(self) -> tuple[int, ...]:
        return tuple(s.pitch for s in self.struck)

    @property
    def notes(self) -> tuple[int, ...]:
        return tuple(s.note for s in self.struck)


@dataclass(frozen=True, slots=True)
class _Tiling:
    """Cells of one length that share a rhythm and a shape, and what they save."""

    cell_q: Fraction
    cells: tuple[_Cell, ...]
    saved: float


def find_figures(arrangement: Arrangement) -> tuple[Figure, ...]:
    """All figures of both hands, the one with most notes first.

    A hand may have several, one after the other; no note is in two.
    """
    figures: list[Figure] = []
    for hand in ("left", "right"):
        figures += _figures_of(arrangement, hand)
    return tuple(sorted(figures, key=lambda f: -len(f.occurrences) * f.places))


def _figures_of(arrangement: Arrangement, hand: Hand) -> Iterator[Figure]:
    taken: set[int] = set()
    total = len(strike(arrangement, _playable(arrangement, hand)))
    while True:
        best: _Tiling | None = None
        for notes in _voices(arrangement, hand, taken):
            struck = strike(arrangement, notes)
            tiling = _best_tiling(arrangement, struck)
            if tiling and _is_figure(tiling, total) and (best is None or tiling.saved > best.saved):
                best = tiling
        if best is None:
            return
        yield _as_figure(hand, best)
        for cell in best.cells:
            taken.update(_at_onsets(arrangement, hand, cell))


def _at_onsets(arrangement: Arrangement, hand: Hand, cell: _Cell) -> set[int]:
    """The notes that a cell uses up: its own, and those struck with them in the same voice."""
    wanted = {(s.onset_q, arrangement.notes[s.note].voice) for s in cell.struck}
    first, last = cell.struck[0].note, cell.struck[-1].note
    return {
        i
        for i in range(max(0, first - 12), min(len(arrangement.notes), last + 13))
        if arrangement.notes[i].hand == hand
        and (arrangement.notes[i].onset_q, arrangement.notes[i].voice) in wanted
    }


def _playable(arrangement: Arrangement, hand: Hand) -> list[int]:
    return [
        i
        for i, n in enumerate(arrangement.notes)
        if n.hand == hand and not n.grace and not n.optional and n.unison in (-1, i)
    ]


def _voices(arrangement: Arrangement, hand: Hand, taken: set[int]) -> list[list[int]]:
    """What a figure may be sought in: all that the hand plays, and each written voice of it."""
    whole = [i for i in _playable(arrangement, hand) if i not in taken]
    voices: dict[tuple[int, str], list[int]] = {}
    for i in whole:
        voices.setdefault((arrangement.notes[i].staff, arrangement.notes[i].voice), []).append(i)
    parts = [v for v in voices.values() if len(v) >= MIN_CELLS * MIN_PLACES]
    return [whole, *parts] if len(parts) > 1 else [whole]


def strike(arrangement: Arrangement, notes: Sequence[int]) -> list[Struck]:
    """The onsets of some notes (indices, ascending), the lowest standing for each."""
    at: dict[Fraction, Struck] = {}
    for i in notes:
        note = arrangement.notes[i]
        here = at.get(note.onset_q)
        if here is None or note.pitch < here.pitch:
            at[note.onset_q] = Struck(note.onset_q, i, note.pitch)
    return [at[q] for q in sorted(at)]


def _best_tiling(arrangement: Arrangement, struck: list[Struck]) -> _Tiling | None:
    tilings: list[_Tiling] = []
    for cell_q in _cell_lengths(arrangement, struck):
        for starts in _grids(arrangement, cell_q):
            tilings.extend(_tile(struck, cell_q, starts))
    if not tilings:
        return None
    best = max(tilings, key=lambda t: (t.saved, -t.cell_q))
    reduced = _reduce(best)
    # Cells whose other half is irregular are only found on the smaller grid itself.
    same = [t for t in tilings if _same_cell(t, reduced)]
    return max([reduced, *same], key=lambda t: len(t.cells))


def _same_cell(a: _Tiling, b: _Tiling) -> bool:
    return (a.cell_q, a.cells[0].rhythm) == (b.cell_q, b.cells[0].rhythm)


def _cell_lengths(arrangement: Arrangement, struck: list[Struck]) -> list[Fraction]:
    """Lengths worth trying: parts of the bar, one and two bars, and lags at which onsets recur."""
    lengths: set[Fraction] = set()
    for bar in {(b.beats, b.beat_unit): b for b in arrangement.bars}.values():
        whole = Fraction(4 * bar.beats, bar.beat_unit)
        lengths |= {whole / k for k in range(1, bar.beats + 1) if bar.beats % k == 0}
        lengths |= {2 * whole, whole / 2}
    lengths |= _recurring_lags(struck)
    return sorted(lengths)


def _recurring_lags(struck: list[Struck]) -> set[Fraction]:
    """Time lags after which the same keys come again most often: periods free of the bar."""
    votes: Counter[Fraction] = Counter()
    for i, one in enumerate(struck):
        for other in struck[i + MIN_PLACES : i + MAX_PLACES + 1]:
            if other.pitch == one.pitch:
                votes[other.onset_q - one.onset_q] += 1
                break
    return {lag for lag, n in votes.most_common(3) if n >= 2 * MIN_CELLS}


def _grids(arrangement: Arrangement, cell_q: Fraction) -> Iterator[list[Fraction]]:
    """Where cells of a length may start: with each bar, where they divide it; else freely."""
    bars = arrangement.bars
    if all(_full(b) % cell_q == 0 for b in bars):
        yield [b.onset_q - b.lead_q + k * cell_q for b in bars for k in range(_count(b, cell_q))]
        return
    for phase in range(_count(bars[0], cell_q) + 1 if cell_q < _full(bars[0]) else 2):
        start = bars[0].onset_q - bars[0].lead_q
        step = Fraction(4, bars[0].beat_unit) if cell_q < _full(bars[0]) else _full(bars[0])
        n = int((arrangement.end_q - start) / cell_q) + 1
        yield [start + phase * step + k * cell_q for k in range(n)]


def _full(bar: Bar) -> Fraction:
    return bar.duration_q + bar.lead_q


def _count(bar: Bar, cell_q: Fraction) -> int:
    return int(_full(bar) / cell_q)


def _cut(struck: list[Struck], cell_q: Fraction, starts: list[Fraction]) -> list[_Cell]:
    cells, i = [], 0
    for start in starts:
        while i < len(struck) and struck[i].onset_q < start:
            i += 1
        j = i
        while j < len(struck) and struck[j].onset_q < start + cell_q:
            j += 1
        if MIN_PLACES <= j - i <= MAX_PLACES:
            cells.append(_Cell(start, tuple(struck[i:j])))
        i = j
    return cells


def _tile(
    struck: list[Struck], cell_q: Fraction, starts: list[Fraction], fewest: int = MIN_CELLS
) -> Iterator[_Tiling]:
    """The best few tilings on one grid: for each frequent rhythm, the commonest shape."""
    by_rhythm: dict[tuple[Fraction, ...], list[_Cell]] = {}
    for cell in _cut(struck, cell_q, starts):
        by_rhythm.setdefault(cell.rhythm, []).append(cell)
    for cells in sorted(by_rhythm.values(), key=len, reverse=True)[:3]:
        if len(cells) >= fewest:
            kept = _of_one_shape(cells)
            if len(kept) >= fewest:
                yield _Tiling(cell_q, kept, _saving(kept))


def _of_one_shape(cells: list[_Cell]) -> tuple[_Cell, ...]:
    """Cells whose contour agrees with the commonest one."""
    shapes = Counter(contour(cell.pitches) for cell in cells)
    template = max(
        (shape for shape, _ in shapes.most_common(4)),
        key=lambda t: sum(_agree(t, shape) * n for shape, n in shapes.items()),
    )
    good = {s for s in shapes if _agree(template, s)}
    return tuple(c for c in cells if contour(c.pitches) in good)


def contour(pitches: Sequence[int]) -> tuple[int, ...]:
    """Up 1, down -1, level 0: each note against the one before it, then each against the first."""
    steps = [_sign(b - a) for a, b in pairwise(pitches)]
    return (*steps, *(_sign(p - pitches[0]) for p in pitches[2:]))


def _sign(x: int) -> int:
    return (x > 0) - (x < 0)


def _agree(template: tuple[int, ...], shape: tuple[int, ...]) -> bool:
    same = sum(1.0 - abs(a - b) / 2 for a, b in zip(template, shape, strict=True))
    return same >= SAME_SHAPE * len(template)


def _saving(cells: Sequence[_Cell]) -> float:
    """Bits saved by describing the cells as one figure.

    A free pitch is reckoned at three bits. A cell like the one before costs one bit in all; in
    one of the same shape a pitch already heard in the cell is free, any other costs two.
    """
    saved, before = 0.0, None
    for cell in cells:
        if cell.pitches == before:
            saved += 3 * len(cell.pitches) - 1
        else:
            news = len(set(cell.pitches)) - 1
            saved += 3 * (len(cell.pitches) - 1 - news) + news - 1
        before = cell.pitches
    return saved


def _is_figure(tiling: _Tiling, onsets: int) -> bool:
    """Enough of it, mostly cell after cell, and worth calling a pattern."""
    covered = sum(len(cell.struck) for cell in tiling.cells)
    runs = _runs(tiling)
    together = sum(n for n in runs if n >= RUN)
    return (
        covered >= MIN_SHARE * onsets
        and max(runs) >= MIN_CELLS
        and together >= 0.5 * len(tiling.cells)
        and (tiling.saved >= MIN_SAVING * covered or covered >= MOST * onsets)
    )


def _runs(tiling: _Tiling) -> list[int]:
    """Lengths of the rows of cells that follow one another without a gap."""
    runs = [1]
    for a, b in zip(tiling.cells, tiling.cells[1:], strict=False):
        if b.start_q == a.start_q + tiling.cell_q:
            runs[-1] += 1
        else:
            runs.append(1)
    return runs


def _reduce(tiling: _Tiling) -> _Tiling:
    """The smallest part of a cell that is itself the figure."""
    places = len(tiling.cells[0].struck)
    for parts in range(places // MIN_PLACES, 1, -1):
        if places % parts == 0 and _same_rhythm(tiling, parts):
            part = _split(tiling, parts)
            if len(part.cells) >= 0.9 * parts * len(tiling.cells) and not _parts_differ(
                tiling, parts
            ):
                return part
    return tiling


def _same_rhythm(tiling: _Tiling, parts: int) -> bool:
    size, step = len(tiling.cells[0].struck) // parts, tiling.cell_q / parts
    rhythm = tiling.cells[0].rhythm
    return all(r + step == s for r, s in zip(rhythm, rhythm[size:], strict=False))


def _parts_differ(tiling: _Tiling, parts: int) -> bool:
    """Whether the parts of a cell differ in the same way each time.

    They do in C G E G: its second half starts higher, always. Where parts are equal, or move as
    the harmony happens to, the cell is only several cells of a shorter figure.
    """
    size = len(tiling.cells[0].struck) // parts
    steps = [
        tuple(_sign(b - a) for a, b in zip(cell.pitches, cell.pitches[size:], strict=False))
        for cell in tiling.cells
    ]
    for column in zip(*steps, strict=True):
        way, n = Counter(column).most_common(1)[0]
        if way != 0 and n >= 0.8 * len(column):
            return True
    return False


def _split(tiling: _Tiling, parts: int) -> _Tiling:
    step, size = tiling.cell_q / parts, len(tiling.cells[0].struck) // parts
    cells = [
        _Cell(cell.start_q + k * step, cell.struck[k * size : (k + 1) * size])
        for cell in tiling.cells
        for k in range(parts)
    ]
    return _Tiling(step, _of_one_shape(cells), tiling.saved)


def figure_with_cell(
    arrangement: Arrangement, hand: Hand, cell_q: Fraction, bars: set[int]
) -> Figure | None:
    """The figure of a hand in some bars (indices) with a cell of a given length, if any."""
    notes = [i for i in _playable(arrangement, hand) if arrangement.notes[i].bar in bars]
    tilings = [
        tiling
        for starts in _grids(arrangement, cell_q)
        for tiling in _tile(strike(arrangement, notes), cell_q, starts, fewest=1)
    ]
    best = max(tilings, key=lambda t: len(t.cells) * len(t.cells[0].struck), default=None)
    return _as_figure(hand, best) if best else None


def _as_figure(hand: Hand, tiling: _Tiling) -> Figure:
    return Figure(
        hand,
        tiling.cell_q,
        len(tiling.cells[0].struck),
        tuple(cell.notes for cell in tiling.cells),
    )
