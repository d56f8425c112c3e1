"""Sections and phrases: what the page says, or what repetition and novelty suggest."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from fractions import Fraction
from itertools import pairwise

from engine.arrangement import Arrangement, Figure, Mark, Phrase, Section

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
#: Two bars are the same for the form if so much of them is (see `likeness`).
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
    rehearsal = [m for m in arrangement.marks if m.kind == "rehearsal"]
    for mark in arrangement.marks:
        bar = _opened_by(arrangement, mark, bool(rehearsal))
        if bar is not None and bar < len(arrangement.bars):
            starts[bar] = _title(mark) or starts.get(bar, "")
    endings = {m.bar for m in arrangement.marks if m.kind == "ending"}
    for a, b in pairwise(arrangement.bars):
        if b.written != a.written + 1 and b.index not in endings:  # a repeat or a jump
            starts.setdefault(b.index, "")
    kept = _without_crumbs(arrangement, starts)
    if not kept[0] and any(kept.values()) and len(kept) > 1:
        kept[0] = INTRODUCTION
    return kept


def _opened_by(arrangement: Arrangement, mark: Mark, rehearsal: bool) -> int | None:
    if mark.kind == "rehearsal" or _title(mark):
        return mark.bar
    if mark.kind in ("repeat-start", "segno", "coda"):
        return mark.bar
    ending = {m.bar for m in arrangement.marks if m.kind == "ending"}
    if mark.kind in ("double-bar", "repeat-end", "final-bar") and mark.bar + 1 not in ending:
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


def bar_prints(
    arrangement: Arrangement, without: Collection[int] = ()
) -> list[frozenset[tuple[Fraction, int, str]]]:
    """What each bar holds: (place in the bar, pitch, hand) of every note but those named."""
    held: list[set[tuple[Fraction, int, str]]] = [set() for _ in arrangement.bars]
    for i, note in enumerate(arrangement.notes):
        if i in without:
            continue
        bar = arrangement.bars[note.bar]
        held[note.bar].add((note.onset_q - bar.onset_q, note.pitch, note.hand))
    return [frozenset(h) for h in held]


def likeness(a: frozenset[object], b: frozenset[object]) -> float:
    """Share of two bars' notes that they have in common, 0 to 1."""
    return len(a & b) / len(a | b) if a or b else 1.0


def _recurrences(prints: Sequence[frozenset[tuple[Fraction, int, str]]], first: int) -> list[int]:
    """Bars where a block of at least four bars, heard before or after, begins."""
    n = len(prints)
    gain: dict[int, float] = {}
    for lag in range(SHORTEST_BARS, n):
        run = 0
        for i in range(first, n - lag + 1):
            same = i + lag < n and likeness(prints[i], prints[i + lag]) >= SAME_BAR
            if same:
                run += 1
                continue
            if SHORTEST_BARS <= run <= lag + SHORTEST_BARS:
                for start in (i - run, i, i - run + lag, i + lag):
                    gain[start] = gain.get(start, 0.0) + run
            run = 0
    return _spaced(gain, first, n)


def _spaced(gain: dict[int, float], first: int, n: int) -> list[int]:
    """The strongest starts that keep the shortest distance, in order."""
    chosen = [first]
    for start in sorted(gain, key=lambda s: (-gain[s], s)):
        if first < start < n and all(abs(start - c) >= SHORTEST_BARS for c in chosen):
            chosen.append(start)
    return sorted(chosen)


def _named(
    arrangement: Arrangement, starts: dict[int, str], figures: Sequence[Figure]
) -> tuple[Section, ...]:
    """Letters in order of first appearance; the same letter for what comes again."""
    in_figure = {i for f in figures for cell in f.occurrences for i in cell}
    prints = bar_prints(arrangement, in_figure)
    order = sorted(starts)
    sections: list[Section] = []
    letters = 0
    names: dict[str, int] = {}
    for k, first in enumerate(order):
        last = order[k + 1] if k + 1 < len(order) else len(arrangement.bars)
        twin = next((s for s in sections if _same_block(arrangement, prints, s, first, last)), None)
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


def _same_block(
    arrangement: Arrangement,
    prints: Sequence[frozenset[tuple[Fraction, int, str]]],
    section: Section,
    first: int,
    last: int,
) -> bool:
    """Whether bars [first, last) bring a section again: half of its notes, bar by bar."""
    bars = arrangement.bars
    written = [b.written for b in bars[section.from_bar : section.to_bar]]
    if {b.written for b in bars[first:last]} <= set(written):
        return True
    longer = max(last - first, section.to_bar - section.from_bar)
    pairs = zip(prints[section.from_bar : section.to_bar], prints[first:last], strict=False)
    return sum(likeness(a, b) for a, b in pairs) >= 0.5 * longer


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
    best: dict[int, tuple[float, list[int]]] = {first: (0.0, [])}
    for end in range(first + 1, last + 1):
        options = [
            (best[start][0] + _length_cost(end - start) - breath.get(end, 0.0), start)
            for start in range(max(first, end - 8), end)
            if start in best
        ]
        cost, start = min(options)
        best[end] = (cost, [*best[start][1], start])
    return best[last][1]


def _length_cost(bars: int) -> float:
    """How unlikely a phrase of so many bars is (common practice: four, then two and eight)."""
    return {1: 3.0, 2: 1.0, 3: 1.4, 4: 0.6, 5: 1.5, 6: 1.5, 7: 2.0, 8: 1.3}[bars]


def _breath(arrangement: Arrangement, bar: int, line: Sequence[int]) -> float:
    """How much the line breathes at the start of a bar, 0 to 2."""
    edge = arrangement.bars[bar].onset_q
    before = [arrangement.notes[i] for i in line if arrangement.notes[i].onset_q < edge]
    if not before:
        return 0.0
    last = before[-1]
    usual = sorted(n.duration_q for n in before[-16:])[len(before[-16:]) // 2]
    if last.onset_q + last.duration_q > edge:
        return -0.5  # tied over the bar line
    silent = edge - last.onset_q - last.duration_q
    long = last.duration_q >= 2 * usual and usual > 0
    return min(2.0, (1.0 if silent > 0 else 0.0) + (0.8 if long else 0.0))
