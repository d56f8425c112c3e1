"""What the player says of the form in the sidecar, put over what was found."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction

from engine.arrangement import Arrangement, Bar, Figure, Phrase, Section
from engine.form.figure import figure_with_cell
from engine.form.sections import letter_at
from engine.read.overrides import bars_of
from engine.read.sidecar import FigureRule, SectionRule, Sidecar, Stretch


def told_sections(
    arrangement: Arrangement, found: Sequence[Section], sidecar: Sidecar
) -> tuple[Section, ...]:
    """The sections as told; bars that the player leaves unsaid keep what was found there."""
    if not sidecar.sections:
        return tuple(found)
    name_of: dict[int, tuple[str, str]] = {}
    for section in found:
        for bar in range(section.from_bar, section.to_bar):
            name_of[bar] = (section.name, section.letter)
    told = {b.index for r in sidecar.sections for b in bars_of(r.stretch, arrangement.bars)}
    left = {s.letter for s in found if not told.issuperset(range(s.from_bar, s.to_bar))}
    letters = left | {r.letter for r in sidecar.sections}
    for rule in sidecar.sections:
        letter = rule.letter or _letter_for(rule, sidecar, letters)
        for k, run in enumerate(_runs(bars_of(rule.stretch, arrangement.bars))):
            again = "" if k == 0 else " again" if k == 1 else f" again {k}"
            name_of.update({bar.index: (rule.name + again, letter) for bar in run})
    return _joined(name_of)


def _letter_for(rule: SectionRule, sidecar: Sidecar, taken: set[str]) -> str:
    """A letter for a name without one: its own if it is one, else the next free one."""
    if len(rule.name) == 1:
        return rule.name
    named = [r.name for r in sidecar.sections]
    free = [letter for k in range(60) if (letter := letter_at(k)) not in taken]
    return free[named.index(rule.name) % len(free)]


def _runs(bars: Sequence[Bar]) -> list[list[Bar]]:
    """Bars in rows that follow one another as played."""
    runs: list[list[Bar]] = []
    for bar in bars:
        if runs and runs[-1][-1].index + 1 == bar.index:
            runs[-1].append(bar)
        else:
            runs.append([bar])
    return runs


def _joined(name_of: dict[int, tuple[str, str]]) -> tuple[Section, ...]:
    sections: list[Section] = []
    for bar in sorted(name_of):
        name, letter = name_of[bar]
        if sections and sections[-1].name == name and sections[-1].to_bar == bar:
            sections[-1] = replace(sections[-1], to_bar=bar + 1)
        else:
            sections.append(Section(name, letter, bar, bar + 1))
    return tuple(sections)


def told_phrases(
    arrangement: Arrangement, found: Sequence[Phrase], sections: Sequence[Section], sidecar: Sidecar
) -> tuple[Phrase, ...]:
    """The phrases as told, numbered anew in their sections; found ones elsewhere."""
    if not sidecar.phrases:
        return tuple(found)
    told = [edges for s in sidecar.phrases for edges in _stretches_q(arrangement, s)]
    free = [(p.from_q, p.to_q) for p in found]
    kept = [(a, b) for a, b in free if not any(c < b and a < d for c, d in told)]
    numbers: dict[int, int] = {}
    phrases = []
    for from_q, to_q in sorted(set(told) | set(kept)):
        bar = arrangement.bar_at(from_q).index
        k = next((i for i, s in enumerate(sections) if s.from_bar <= bar < s.to_bar), 0)
        numbers[k] = numbers.get(k, 0) + 1
        phrases.append(Phrase(k, numbers[k], from_q, to_q))
    return tuple(phrases)


def _stretches_q(arrangement: Arrangement, stretch: Stretch) -> list[tuple[Fraction, Fraction]]:
    """[from, to) in quarters of a stretch, once for each time it is played."""
    return [
        (_beat_q(run[0], stretch.first.beat, 0), _beat_q(run[-1], stretch.last.beat, 1))
        for run in _runs(bars_of(stretch, arrangement.bars))
    ]


def _beat_q(bar: Bar, beat: Fraction | None, ends: int) -> Fraction:
    """Where a beat of a bar starts (or ends), the bar's own edge where none is named."""
    if beat is None:
        return bar.onset_q + (bar.duration_q if ends else 0)
    at = bar.onset_q - bar.lead_q + (beat - 1 + ends) * Fraction(4, bar.beat_unit)
    return min(max(at, bar.onset_q), bar.onset_q + bar.duration_q)


def told_figures(
    arrangement: Arrangement, found: Sequence[Figure], sidecar: Sidecar
) -> tuple[Figure, ...]:
    """The figures as told; found ones stay where nothing is said of their hand and bars."""
    if not sidecar.figures:
        return tuple(found)
    told: list[Figure] = []
    covered: set[tuple[str, int]] = set()
    for rule in sidecar.figures:
        bars = {b.index for b in bars_of(rule.stretch, arrangement.bars)}
        covered |= {(rule.hand, b) for b in bars}
        figure = _told_figure(arrangement, rule, bars)
        if figure:
            told.append(figure)
    notes = arrangement.notes
    for figure in found:
        left = tuple(
            cell
            for cell in figure.occurrences
            if not any((figure.hand, notes[i].bar) in covered for i in cell)
        )
        if left:
            told.append(replace(figure, occurrences=left))
    return tuple(sorted(told, key=lambda f: -len(f.occurrences) * f.places))


def _told_figure(arrangement: Arrangement, rule: FigureRule, bars: set[int]) -> Figure | None:
    unit = arrangement.bars[min(bars)].beat_unit if bars else 4
    return figure_with_cell(arrangement, rule.hand, rule.beats * Fraction(4, unit), bars)
