"""The page read back in words: form, twins, harmony bar by bar, line, figure and pedal."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction
from itertools import groupby

from engine.arrangement import Arrangement, Bar, Figure, Harmony, Twins
from engine.form.fifths import text_at
from engine.form.function import (
    common_and_moving,
    harmony_at,
    held_over,
    line_functions,
    mode_over,
)
from engine.pitch_names import printed
from engine.proof.pedals import printed_symbol

_KEYS = {0: "no sharps or flats", 1: "one sharp", -1: "one flat"}
#: The reader takes key signatures of up to fourteen: two accidentals a letter.
_COUNTS = (
    "", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven",
    "twelve", "thirteen", "fourteen",
)  # fmt: skip
#: Functions that go without saying: they are not listed among the colours.
_PLAIN = ("root", "fifth", "minor third", "major third", "minor seventh")


def read_back(arrangement: Arrangement) -> list[str]:
    """The whole page in lines of text."""
    parts = (
        ("Form", form_lines(arrangement)),
        ("Twins", twin_lines(arrangement)),
        ("Harmony", harmony_lines(arrangement)),
        ("Line", line_lines(arrangement)),
        ("Figure", figure_lines(arrangement)),
        ("Pedal", pedal_lines(arrangement)),
    )
    lines = [heading(arrangement)]
    for title, part in parts:
        body = list(part)
        if body:
            lines += ["", title, *(f"  {line}" for line in body)]
    return lines


def heading(arrangement: Arrangement) -> str:
    """Title, bars, key signature."""
    written = len({b.written for b in arrangement.bars})
    played = len(arrangement.bars)
    bars = _count(written, "bar") + ("" if played == written else f", {played} as played")
    f = arrangement.fifths
    kind = "sharps" if f > 0 else "flats"
    return f"{arrangement.title}: {bars}, {_KEYS.get(f, f'{_COUNTS[abs(f)]} {kind}')}"


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


def bars_words(bars: Sequence[Bar]) -> str:
    """Printed numbers of a row of bars: "5–8", "5", "5–8 (time 2)"."""
    first, last = bars[0], bars[-1]
    numbers = first.number if first.number == last.number else f"{first.number}–{last.number}"
    return numbers + (f" (time {first.time})" if first.time > 1 else "")


def place_words(arrangement: Arrangement, onset_q: Fraction) -> str:
    """ "bar 12, beat 3" of a moment."""
    bar = arrangement.bar_at(onset_q)
    again = f" (time {bar.time})" if bar.time > 1 else ""
    return f"bar {bar.number}{again}, beat {round(float(bar.beat_at(onset_q)), 2):g}"


def form_lines(arrangement: Arrangement) -> Iterator[str]:
    """Sections with their bars, and the phrases inside them."""
    form = arrangement.form
    wide = max((len(s.name) for s in form.sections), default=0)
    named = any(s.name.split(" again")[0] != s.letter for s in form.sections)
    for k, section in enumerate(form.sections):
        bars = arrangement.bars[section.from_bar : section.to_bar]
        phrases = [p for p in form.phrases if p.section == k]
        starts = ", ".join(arrangement.bar_at(p.from_q).number for p in phrases)
        said = f"   phrases from {starts}" if len(phrases) > 1 else ""
        letter = f"{section.letter:2} " if named else ""
        yield f"{letter}{section.name:{wide}}  bars {bars_words(bars)}{said}"


def twin_lines(arrangement: Arrangement) -> Iterator[str]:
    """Passages that begin alike, and what each does where they part."""
    for twins in arrangement.form.twins:
        yield twin_words(arrangement, twins)


def twin_words(arrangement: Arrangement, twins: Twins) -> str:
    """One pair of twins in a sentence."""
    first, second = arrangement.bar_at(twins.first_q), arrangement.bar_at(twins.second_q)
    where = f"bars {bars_words([first])} and {bars_words([second])}"
    hands = "" if twins.hands == "both" else f" in the {twins.hands} hand"
    way = "up" if twins.transposed > 0 else "down"
    shift = f", {_count(abs(twins.transposed), 'semitone')} {way}" if twins.transposed else ""
    length = _length_words(arrangement, twins.first_q, twins.length_q)
    return f"{where} begin alike{hands}{shift} for {length}: {twins.words}"


def _length_words(arrangement: Arrangement, from_q: Fraction, length_q: Fraction) -> str:
    bar = arrangement.bar_at(from_q).duration_q
    bars = float(length_q / bar) if bar else 0.0
    return f"{round(bars, 1):g} bar{'' if bars == 1 else 's'}"


def harmony_lines(arrangement: Arrangement) -> Iterator[str]:
    """Each harmony with its bars, symbol, what moves into it, and the mode of the line over it.

    What the repeats bring again is said once.
    """
    harmonies = arrangement.form.harmonies
    first_time = [(k, h) for k, h in enumerate(harmonies) if arrangement.bar_at(h.from_q).time == 1]
    wide = max((len(printed_symbol(h.symbol)) for _, h in first_time), default=0)
    held = held_over(arrangement)
    for k, h in first_time:
        extras = "; ".join(_harmony_extras(arrangement, k, held.get(k, ())))
        symbol = printed_symbol(h.symbol)
        doubt = " ?" if h.certainty < 0.6 else "  "
        yield f"{_stretch(arrangement, h):>14}  {symbol:{wide}}{doubt} {extras}".rstrip()


def _stretch(arrangement: Arrangement, harmony: Harmony) -> str:
    first = arrangement.bar_at(harmony.from_q)
    last = first
    for index in range(first.index + 1, len(arrangement.bars)):
        bar = arrangement.bars[index]
        if bar.onset_q >= harmony.to_q or bar.written != last.written + 1:
            break
        last = bar
    beat = float(first.beat_at(harmony.from_q))
    start = first.number if beat == 1 else f"{first.number}:{round(beat, 1):g}"
    return start if last.index == first.index else f"{start}–{last.number}"


def _harmony_extras(
    arrangement: Arrangement, k: int, held: Sequence[tuple[int, str]]
) -> Iterator[str]:
    harmonies = arrangement.form.harmonies
    here = harmonies[k]
    if here.colours:
        yield ", ".join(printed(c) if len(c) < 4 else _colour_words(c) for c in here.colours)
    if k and harmonies[k - 1].to_q == here.from_q:
        common, _ = common_and_moving(harmonies[k - 1], here)
        if common:
            yield f"keeps {', '.join(printed(text_at(p)) for p in common)}"
    for i, words in held:
        yield f"{printed(arrangement.notes[i].name)}: {words}"
    if here.to_q - here.from_q >= 8:
        modes = mode_over(arrangement, k)
        if modes:
            yield f"{printed(here.root)} {modes[0]}"


def _colour_words(colour: str) -> str:
    words, name = colour.rsplit(" ", 1)
    return f"{words} {printed(name)}"


def line_lines(arrangement: Arrangement) -> Iterator[str]:
    """Whose the line is, its octaves, and its colour notes over the harmony."""
    form = arrangement.form
    if not form.line:
        return
    hands = {arrangement.notes[i].hand for i in form.line}
    whose = f"{min(hands)} hand" if len(hands) == 1 else "both hands"
    doubled = len(form.doublings)
    octaves = (
        "all in octaves" if doubled == len(form.line)
        else f"{doubled} in octaves" if doubled else "single notes"
    )  # fmt: skip
    yield f"{whose}, {_count(len(form.line), 'note')}, {octaves}"
    for one in line_functions(arrangement):
        note = arrangement.notes[one.note]
        if (
            note.time == 1
            and one.words
            and one.words not in _PLAIN
            and _colourful(note.alter, one.words)
        ):
            yield f"{place_words(arrangement, note.onset_q)}: {printed(note.name)}, {one.words}"


def _colourful(alter: int, words: str) -> bool:
    """Worth saying: an altered or unusual function, not every ninth and sixth in passing."""
    plain = ("ninth", "eleventh", "sixth", "minor sixth", "major seventh")
    return words not in plain or abs(alter) >= 2


def figure_lines(arrangement: Arrangement) -> Iterator[str]:
    """Each figure: hand, places, cell, where it runs and where it stops."""
    for figure in arrangement.form.figures:
        cell = " ".join(printed(arrangement.notes[i].name) for i in figure.occurrences[0])
        length = round(float(figure.cell_q), 3)
        unit = "quarter" if figure.cell_q == 1 else "quarters"
        yield (
            f"{figure.hand} hand, {figure.places} places in {length:g} {unit}, "
            f"{len(figure.occurrences)} cells, first: {cell}"
        )
        yield f"  runs through bars {', '.join(_figure_runs(arrangement, figure))}"


def _figure_runs(arrangement: Arrangement, figure: Figure) -> Iterator[str]:
    bars = sorted({arrangement.notes[i].bar for cell in figure.occurrences for i in cell})
    bars = [b for b in bars if arrangement.bars[b].time == 1]
    for _, row in groupby(enumerate(bars), key=lambda pair: pair[1] - pair[0]):
        yield bars_words([arrangement.bars[b] for _, b in row])


def pedal_lines(arrangement: Arrangement) -> Iterator[str]:
    """The written damper pedals, each with its harmony."""
    spans = [p for p in arrangement.pedals if p.kind == "damper"]
    first_time = [p for p in spans if arrangement.bar_at(p.down_q).time == 1]
    for span in first_time[:40]:
        k = harmony_at(arrangement.form.harmonies, span.down_q)
        symbol = printed_symbol(arrangement.form.harmonies[k].symbol) if k >= 0 else ""
        down, up = place_words(arrangement, span.down_q), _up_words(arrangement, span.up_q)
        yield f"{down} to {up}  {symbol}".rstrip()
    if len(first_time) > 40:
        yield f"and {len(first_time) - 40} more"


def _up_words(arrangement: Arrangement, up_q: Fraction) -> str:
    return "the end" if up_q >= arrangement.end_q else place_words(arrangement, up_q)
