"""Sections and phrases: what the page says, or what repetition and novelty suggest."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Collection, Iterator, Sequence
from fractions import Fraction
from itertools import pairwise

import numpy as np

from engine.arrangement import Arrangement, Figure, Mark, Phrase, Section
from engine.form.alike import Ints
from engine.form.recurrence import Floats, Likeness, Print, recurring_blocks

#: Words that open a section when printed above the staff (common practice).
SECTION_WORDS = (
    "intro", "introduction", "verse", "chorus", "refrain", "bridge", "coda", "outro", "trio",
    "interlude", "theme", "variation", "solo", "ending", "codetta",
)  # fmt: skip
#: What stands before the first named section.
INTRODUCTION = "Introduction"
#: Without marks, no section is shorter than this, and the usual one is so long.
SHORTEST_BARS = 4
USUAL_BARS = 8
#: Two bars are the same for the form if so much of them is (see `Likeness`).
SAME_BAR = 0.75


def find_sections(arrangement: Arrangement, figures: Sequence[Figure] = ()) -> tuple[Section, ...]:
    """Sections in order of playing; they cover every bar once.

    Rehearsal marks count for most, then words that name a part, double bars, repeats and changes
    of key or metre; with none of these, blocks of bars that come again, else a change of
    texture, else eight bars. Sections are alike by what they have beside the figure, if anything.
    """
    starts = marked_starts(arrangement)
    if len(starts) < 2:
        starts = found_starts(arrangement)
    return _named(arrangement, starts, figures)


def marked_starts(arrangement: Arrangement) -> dict[int, str]:
    """First bars (indices) of the sections the page marks, with their printed names, if any."""
    starts = {0: ""}
    rehearsal = any(m.kind == "rehearsal" for m in arrangement.marks)
    endings = {m.bar for m in arrangement.marks if m.kind == "ending"}
    for mark in arrangement.marks:
        bar = _opened_by(arrangement, mark, rehearsal, endings)
        if bar is not None and bar < len(arrangement.bars):
            starts[bar] = _title(mark) or starts.get(bar, "")
    for a, b in pairwise(arrangement.bars):
        if b.written != a.written + 1 and b.index not in endings:  # a repeat or a jump
            starts.setdefault(b.index, "")
    kept = _without_crumbs(arrangement, starts)
    if not kept[0] and any(kept.values()) and len(kept) > 1:
        kept[0] = INTRODUCTION
    return kept


def _opened_by(
    arrangement: Arrangement, mark: Mark, rehearsal: bool, endings: set[int]
) -> int | None:
    if mark.kind == "rehearsal" or _title(mark):
        return mark.bar
    if mark.kind in ("repeat-start", "segno", "coda"):
        return mark.bar
    if mark.kind in ("double-bar", "repeat-end", "final-bar") and mark.bar + 1 not in endings:
        return mark.bar + 1
    if not rehearsal and mark.kind in ("key", "time") and mark.onset_q > 0:
        bar = arrangement.bars[mark.bar]
        return mark.bar if mark.onset_q == bar.onset_q else None
    return None


def _title(mark: Mark) -> str:
    """The name a mark gives to what follows."""
    text = " ".join(mark.text.split())
    if mark.kind == "rehearsal":
        return text
    first = text.lower().split(" ")[0].strip(".:,") if text else ""
    return text if mark.kind == "words" and first in SECTION_WORDS else ""


def _without_crumbs(arrangement: Arrangement, starts: dict[int, str]) -> dict[int, str]:
    """Without unnamed sections of a single bar (endings, split bars): they join the one before.

    A pickup bar joins what follows it.
    """
    order = sorted(starts)
    kept: dict[int, str] = {0: starts[0]}
    for k, bar in enumerate(order[1:], start=1):
        end = order[k + 1] if k + 1 < len(order) else len(arrangement.bars)
        if bar == 1 and arrangement.bars[0].lead_q > 0 and len(kept) == 1:
            kept[0] = starts[bar] or kept[0]
        elif starts[bar] or end - bar > 1 or arrangement.bars[bar].written == 0:
            kept[bar] = starts[bar]
    return kept


def found_starts(arrangement: Arrangement) -> dict[int, str]:
    """First bars of sections on a page without marks."""
    first = 1 if arrangement.bars[0].lead_q > 0 else 0
    prints = bar_prints(arrangement)
    starts = _recurrences(prints, first)
    if len(starts) < 2:
        starts = list(range(first, len(arrangement.bars), USUAL_BARS))
    if len(starts) > 1 and len(arrangement.bars) - starts[-1] < SHORTEST_BARS:
        starts.pop()
    return {0: "", **{s: "" for s in starts if s > first}}


def bar_prints(arrangement: Arrangement, without: Collection[int] = ()) -> list[Print]:
    """What each bar holds: (place in the bar, pitch, hand) of every note but those named."""
    held: list[set[tuple[Fraction, int, str]]] = [set() for _ in arrangement.bars]
    for i, note in enumerate(arrangement.notes):
        if i in without:
            continue
        bar = arrangement.bars[note.bar]
        held[note.bar].add((note.onset_q - bar.onset_q, note.pitch, note.hand))
    return [frozenset(h) for h in held]


def _recurrences(prints: Sequence[Print], first: int) -> list[int]:
    """Bars where a block of at least four bars, heard before or after, begins."""
    gain: dict[int, float] = {}
    for start, lag, n in recurring_blocks(prints, first, SHORTEST_BARS, SAME_BAR):
        if n <= lag + SHORTEST_BARS:
            for edge in (start, start + n, start + lag, start + n + lag):
                gain[edge] = gain.get(edge, 0.0) + n
    return _spaced(gain, first, len(prints))


def _spaced(gain: dict[int, float], first: int, n: int) -> list[int]:
    """The strongest starts that keep the shortest distance, in order."""
    chosen = {first}
    for start in sorted(gain, key=lambda s: (-gain[s], s)):
        near = range(start - SHORTEST_BARS + 1, start + SHORTEST_BARS)
        if first < start < n and chosen.isdisjoint(near):
            chosen.add(start)
    return sorted(chosen)


def _named(
    arrangement: Arrangement, starts: dict[int, str], figures: Sequence[Figure]
) -> tuple[Section, ...]:
    """Letters in order of first appearance; the same letter for what comes again."""
    in_figure = {i for f in figures for cell in f.occurrences for i in cell}
    edges = [*sorted(starts), len(arrangement.bars)]
    twins = _twin_blocks(arrangement, bar_prints(arrangement, in_figure), edges)
    sections: list[Section] = []
    letters = 0
    names: dict[str, int] = {}
    for (first, last), of in zip(pairwise(edges), twins, strict=True):
        twin = None if of is None else sections[of]
        letter = twin.letter if twin else letter_at(letters)
        letters += twin is None
        name = starts[first] or (twin.name.split(" again")[0] if twin else letter)
        sections.append(Section(_unique(name, names), letter, first, last))
    return tuple(sections)


def letter_at(n: int) -> str:
    """A, B ... Z, AA, AB ..."""
    return chr(65 + n) if n < 26 else letter_at(n // 26 - 1) + chr(65 + n % 26)


def _unique(name: str, used: dict[str, int]) -> str:
    """A name no other section has: the second A is "A again", the third "A again 2"."""
    used[name] = used.get(name, 0) + 1
    n = used[name]
    return name if n == 1 else f"{name} again" if n == 2 else f"{name} again {n - 1}"


def _twin_blocks(
    arrangement: Arrangement, prints: Sequence[Print], edges: Sequence[int]
) -> Iterator[int | None]:
    """For each block of bars between edges, the first one before it that it brings again, if any.

    It does if all its bars are printed there, or if half of its notes are the same, bar by bar.
    """
    likeness = Likeness(prints)
    blocks = list(pairwise(edges))
    written = [{b.written for b in arrangement.bars[first:last]} for first, last in blocks]
    starts = np.array(edges[:-1])
    sizes = np.diff(edges)
    for k, (first, last) in enumerate(blocks):
        total = np.zeros(k)
        for bar in range(first, last):
            at = bar - first
            total += np.where(at < sizes[:k], _at(likeness.to_all(bar), starts[:k] + at), 0.0)
        enough = total >= 0.5 * np.maximum(sizes[:k], last - first)
        yield next((j for j in range(k) if enough[j] or written[k] <= written[j]), None)


def _at(values: Floats, places: Ints) -> Floats:
    """Values at places, those past the end being any."""
    return np.asarray(values[np.minimum(places, len(values) - 1)])


def find_phrases(
    arrangement: Arrangement, sections: Sequence[Section], line: Sequence[int]
) -> tuple[Phrase, ...]:
    """Phrases of each section, numbered from 1.

    A phrase ends at a bar line (or with the section) where the line breathes: a rest or a long
    note; two to eight bars long, four where nothing speaks for another length.
    """
    phrases: list[Phrase] = []
    for k, section in enumerate(sections):
        cuts = _cuts(arrangement, section, line)
        edges = [arrangement.bars[b].onset_q for b in cuts]
        last = arrangement.bars[section.to_bar - 1]
        edges.append(last.onset_q + last.duration_q)
        phrases += [Phrase(k, n + 1, edges[n], edges[n + 1]) for n in range(len(edges) - 1)]
    return tuple(phrases)


def _cuts(arrangement: Arrangement, section: Section, line: Sequence[int]) -> list[int]:
    """First bars of the phrases of a section, by the cheapest division."""
    first, last = section.from_bar, section.to_bar
    breath = {b: _breath(arrangement, b, line) for b in range(first + 1, last)}
    cost, came_from = {first: 0.0}, {first: first}
    for end in range(first + 1, last + 1):
        cost[end], came_from[end] = min(
            (cost[start] + _length_cost(end - start) - breath.get(end, 0.0), start)
            for start in range(max(first, end - 8), end)
        )
    cuts = [last]
    while cuts[-1] != first:
        cuts.append(came_from[cuts[-1]])
    return cuts[:0:-1]


def _length_cost(bars: int) -> float:
    """How unlikely a phrase of so many bars is (common practice: four, then two and eight)."""
    return {1: 3.0, 2: 1.0, 3: 1.4, 4: 0.6, 5: 1.5, 6: 1.5, 7: 2.0, 8: 1.3}[bars]


def _breath(arrangement: Arrangement, bar: int, line: Sequence[int]) -> float:
    """How much the line breathes at the start of a bar, 0 to 2."""
    edge = arrangement.bars[bar].onset_q
    onsets = arrangement.table["onset_q"]
    end = bisect_left(line, float(edge), key=lambda i: float(onsets[i]))
    before = [arrangement.notes[i] for i in line[max(0, end - 16) : end]]
    if not before:
        return 0.0
    last = before[-1]
    usual = sorted(n.duration_q for n in before)[len(before) // 2]
    if last.onset_q + last.duration_q > edge:
        return -0.5  # tied over the bar line
    silent = edge - last.onset_q - last.duration_q
    long = last.duration_q >= 2 * usual and usual > 0
    return min(2.0, (1.0 if silent > 0 else 0.0) + (0.8 if long else 0.0))
