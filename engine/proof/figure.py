"""Where the figure breaks its own pattern by a single note."""

from __future__ import annotations

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Iterator
from fractions import Fraction
from itertools import pairwise

from engine.arrangement import Arrangement, Figure, ScoreNote
from engine.form.function import chord_places, harmony_at
from engine.pitch_names import printed
from engine.proof.remark import Remark, remark_on

#: So many line notes back may still sound.
LINE_NOTES = 16


def figure_remarks(arrangement: Arrangement) -> Iterator[Remark]:
    """Cells that differ from equal cells on both sides in one note's pitch, presence or moment."""
    for figure in arrangement.form.figures:
        yield from _altered(arrangement, figure)
        yield from _interrupted(arrangement, figure)


def _notes(arrangement: Arrangement, cell: tuple[int, ...]) -> list[ScoreNote]:
    return [arrangement.notes[i] for i in cell]


def _follow(figure: Figure, before: list[ScoreNote], after: list[ScoreNote], cells: int) -> bool:
    return after[0].onset_q - before[0].onset_q == cells * figure.cell_q


def _altered(arrangement: Arrangement, figure: Figure) -> Iterator[Remark]:
    """One place of one cell has a key that is in neither the figure around it nor the harmony.

    Around it: two equal cells before and two after, or, where the harmony changes near by, three
    equal cells in a row that it belongs to or adjoins inside one harmony.
    """
    cells = [_notes(arrangement, c) for c in figure.occurrences]
    known = _known_places(arrangement, cells)
    for k, here in enumerate(cells):
        b = _usual_cell(arrangement, figure, cells, k)
        if b is None or here[0].time != 1:
            continue
        off = [p for p, n in enumerate(here) if n.pitch != b[p].pitch]
        if len(off) != 1 or _with_the_line(arrangement, here[off[0]]):
            continue
        roots = known[off[0], here[off[0]].pitch]
        if _foreign(arrangement, here, b):  # what another chord has speaks for nothing here
            root = _root_at(arrangement, here)
            roots = {root: roots[root]}
        if sum(map(len, roots.values())) == 1:  # else it is meant
            note, usual = here[off[0]], b[off[0]]
            why = (
                f"place {off[0] + 1} of the figure is {printed(note.name)} here and "
                f"{printed(usual.name)} in the cells {_sides(figure, cells, k, off[0], usual)}"
            )
            yield remark_on(arrangement, "figure", [note], why, 0.8, usual.name)


def _sides(
    figure: Figure, cells: list[list[ScoreNote]], k: int, place: int, usual: ScoreNote
) -> str:
    """On which sides the cells next to number `k` have the usual key: a row has two ends."""
    sides = {"before": -1, "after": 1}
    beside = {side: _equal_row(figure, cells, k, (d,)) for side, d in sides.items()}
    has = (side for side, cell in beside.items() if cell and cell[place].pitch == usual.pitch)
    return " and ".join(has)


def _usual_cell(
    arrangement: Arrangement, figure: Figure, cells: list[list[ScoreNote]], k: int
) -> list[ScoreNote] | None:
    """The cell that the ones around number `k` agree on; None where they do not."""
    here = cells[k]
    on_both_sides = _equal_row(figure, cells, k, (-2, -1, 1, 2))
    if on_both_sides:
        return on_both_sides
    harmonies = arrangement.form.harmonies
    region = harmony_at(harmonies, here[0].onset_q)
    for offsets in ((-2, -1), (1, 2), (-1, 1)):
        usual = _equal_row(figure, cells, k, offsets)
        if usual is None or region < 0:
            continue
        far = cells[k + (offsets[1] if offsets[1] > 0 else offsets[0])]
        if harmony_at(harmonies, far[0].onset_q) == region and _foreign(arrangement, here, usual):
            return usual
    return None


def _equal_row(
    figure: Figure, cells: list[list[ScoreNote]], k: int, offsets: tuple[int, ...]
) -> list[ScoreNote] | None:
    """The cells at some distances from number `k`, if all are there, in the row, and equal."""
    found = []
    for d in offsets:
        if not 0 <= k + d < len(cells):
            return None
        if cells[k + d][0].onset_q - cells[k][0].onset_q != d * figure.cell_q:
            return None
        found.append(cells[k + d])
    keys = [[n.pitch for n in cell] for cell in found]
    return found[0] if keys.count(keys[0]) == len(keys) else None


def _foreign(arrangement: Arrangement, here: list[ScoreNote], usual: list[ScoreNote]) -> bool:
    """Whether what differs is no note of the chord."""
    harmonies = arrangement.form.harmonies
    k = harmony_at(harmonies, here[0].onset_q)
    if k < 0:
        return False
    chord = chord_places(harmonies[k])
    classes = {7 * p % 12 for p in chord}
    return all(
        a.pitch % 12 not in classes for a, b in zip(here, usual, strict=True) if a.pitch != b.pitch
    )


def _known_places(
    arrangement: Arrangement, cells: list[list[ScoreNote]]
) -> dict[tuple[int, int], dict[str, set[str]]]:
    """The written notes of the figure by place and key, then by the root of the chord there."""
    known: dict[tuple[int, int], dict[str, set[str]]] = defaultdict(lambda: defaultdict(set))
    for cell in cells:
        root = _root_at(arrangement, cell)
        for place, note in enumerate(cell):
            known[place, note.pitch][root].add(note.note_id)
    return known


def _root_at(arrangement: Arrangement, cell: list[ScoreNote]) -> str:
    """The root of the chord where a cell begins, "" for none."""
    harmonies = arrangement.form.harmonies
    k = harmony_at(harmonies, cell[0].onset_q)
    return harmonies[k].root if k >= 0 else ""


def _with_the_line(arrangement: Arrangement, note: ScoreNote) -> bool:
    """Whether the line has the same letter with the same sign at that moment: then it is meant."""
    line = arrangement.form.line  # in order of onset
    k = bisect_right(line, note.onset_q, key=lambda i: arrangement.notes[i].onset_q)
    sounding = (arrangement.notes[i] for i in line[max(0, k - LINE_NOTES) : k])
    return any(
        n.pitch % 12 == note.pitch % 12 for n in sounding if note.onset_q < n.onset_q + n.duration_q
    )


def _interrupted(arrangement: Arrangement, figure: Figure) -> Iterator[Remark]:
    """One cell of a row lacks a note, has one too many, or has one at another moment."""
    cells = [_notes(arrangement, c) for c in figure.occurrences]
    for k, (before, after) in enumerate(pairwise(cells)):
        if not _follow(figure, before, after, 2) or before[0].time != 1:
            continue
        if not _in_a_row(figure, cells, k) or not _in_a_row(figure, cells, k + 1):
            continue
        start = before[0].onset_q + figure.cell_q
        here = [
            n
            for bar in arrangement.notes_of_bars[before[0].bar : after[0].bar + 1]
            for n in bar
            if n.hand == figure.hand and start <= n.onset_q < after[0].onset_q and not n.grace
        ]
        if here:
            yield from _one_off(arrangement, before, here, start)


def _in_a_row(figure: Figure, cells: list[list[ScoreNote]], k: int) -> bool:
    """Whether a cell has its neighbour on the far side of the gap."""
    left = k > 0 and _follow(figure, cells[k - 1], cells[k], 1)
    right = k + 1 < len(cells) and _follow(figure, cells[k], cells[k + 1], 1)
    return left or right


def _one_off(
    arrangement: Arrangement,
    before: list[ScoreNote],
    here: list[ScoreNote],
    start_q: Fraction,
) -> Iterator[Remark]:
    wanted = [n.onset_q - before[0].onset_q for n in before]
    got = sorted({n.onset_q - start_q for n in here})
    missing = [q for q in wanted if q not in got]
    extra = [q for q in got if q not in wanted]
    if len(missing) + len(extra) == 0 or len(missing) > 1 or len(extra) > 1:
        return
    pitches = {n.pitch for n in before}
    if sum(n.pitch in pitches for n in here) < 0.7 * len(here):
        return
    place = wanted.index(missing[0]) + 1 if missing else 0
    if missing and extra:
        why = f"place {place} of the figure comes at another moment than in the cells around it"
    elif missing:
        why = f"place {place} of the figure is missing here and present in the cells around it"
    else:
        why = "one note more here than in the figure's cells around it"
    yield remark_on(arrangement, "figure", here, why, 0.75)
