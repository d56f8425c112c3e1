"""Bars that do not add up, repeats that lead nowhere, ties that end nowhere."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from itertools import pairwise

from engine.arrangement import Arrangement, Bar, Mark, Problem, ScoreNote
from engine.pitch_names import printed
from engine.proof.remark import Remark, bar_key

_REPEATS = ("repeat", "ending", "jump", "D.S.", "D.C.", "coda", "segno")


def bar_remarks(arrangement: Arrangement) -> Iterator[Remark]:
    """What the reader put up with, short bars, and loose ties."""
    for problem in arrangement.problems:
        if problem.bar:
            yield _told(arrangement, problem)
    yield from _short_bars(arrangement)
    for mark in arrangement.marks:
        if mark.kind == "tie-open":
            note = next((n for n in arrangement.notes if mark.note_id in n.heads), None)
            if note is None or not note.optional:  # hidden, or a cue
                yield _loose_tie(arrangement, mark, note)


def _told(arrangement: Arrangement, problem: Problem) -> Remark:
    kind = "reading"
    if problem.what.endswith(" due"):
        kind = "bar"
    elif any(word in problem.what for word in _REPEATS):
        kind = "repeat"
    elif "pedal" in problem.what:
        kind = "pedal"
    why = f"{problem.what}; {problem.hint}" if problem.hint else problem.what
    bar = next((b for b in arrangement.bars if b.number == problem.bar), None)
    key = f"{kind}-{problem.bar}"  # of a bar that no time through comes to
    if bar is not None:
        key = bar_key(arrangement, kind, bar.index, bar.onset_q, [problem.what])
    certainty = 0.5 if kind == "reading" else 0.9
    return Remark(kind, problem.bar, None, why, certainty, (), key)


def _short_bars(arrangement: Arrangement) -> Iterator[Remark]:
    """Bars shorter than their signature that no pickup and no repeat accounts for."""
    written: dict[int, Bar] = {}
    for bar in arrangement.bars:
        written.setdefault(bar.written, bar)
    order = [written[w] for w in sorted(written)]
    starts = _starts(arrangement, order)
    pickups = {b.duration_q for k, b in enumerate(order) if b.lead_q or k in starts}
    for k, bar in enumerate(order):
        if bar.duration_q >= _due_q(bar) or k in starts or bar.lead_q:
            continue
        if not _completed(arrangement, order, k, starts, pickups):
            beats, whole = bar.duration_q * bar.beat_unit / 4, bar.beats
            unit, verb = "beat" if beats == 1 else "beats", "is" if whole == 1 else "are"
            why = f"holds {float(beats):.4g} {unit} where {whole} {verb} due"
            yield Remark("bar", bar.number, Fraction(1), why, 0.8, (), _key(arrangement, bar))


def _due_q(bar: Bar) -> Fraction:
    return Fraction(4 * bar.beats, bar.beat_unit)


def _starts(arrangement: Arrangement, order: list[Bar]) -> set[int]:
    """Places in the order where a pickup may stand, as at the head of the page.

    A repeat or a new signature begins there, or a double bar comes before (common practice).
    """
    begun = _written_at(arrangement, ("repeat-start",))
    ended = _written_at(arrangement, ("final-bar", "double-bar"))
    return {0} | {
        k + 1
        for k, (last, bar) in enumerate(pairwise(order))
        if bar.written in begun
        or last.written in ended
        or (bar.beats, bar.beat_unit) != (last.beats, last.beat_unit)
    }


def _written_at(arrangement: Arrangement, kinds: tuple[str, ...]) -> set[int]:
    """Written bars that bear a mark of these kinds."""
    return {arrangement.bars[m.bar].written for m in arrangement.marks if m.kind in kinds}


_ENDS = ("repeat-end", "final-bar", "double-bar", "ending", "fine", "dacapo", "dalsegno")


def _completed(
    arrangement: Arrangement, order: list[Bar], k: int, starts: set[int], pickups: set[Fraction]
) -> bool:
    """Whether what a short bar lacks is made up: by a bar beside it, a pickup, or a repeat.

    Under a new signature the next bar makes up the same part of a bar, not the same length.
    """
    due = _due_q(order[k])
    missing = due - order[k].duration_q
    if k + 1 < len(order) and order[k + 1].duration_q / _due_q(order[k + 1]) == missing / due:
        return True
    if order[k - 1].duration_q == missing:
        return True
    closing = k == len(order) - 1 or k + 1 in starts
    closing = closing or order[k].written in _written_at(arrangement, _ENDS)
    return closing and missing in pickups


def _loose_tie(arrangement: Arrangement, mark: Mark, note: ScoreNote | None) -> Remark:
    bar = arrangement.bars[mark.bar]
    name = printed(note.name) if note else "a note"
    here = mark.onset_q
    why = f"the tie at {name} {_loose_words(arrangement, mark, note)}"
    ids = (mark.note_id,)
    key = bar_key(arrangement, "tie", bar.index, here, [name])
    return Remark("tie", bar.number, bar.beat_at(here), why, 0.9, ids, key)


def _loose_words(arrangement: Arrangement, mark: Mark, note: ScoreNote | None) -> str:
    """What is wrong with a tie; where the key does come again, the page has not tied it."""
    if mark.text:
        return "begins nowhere: no note of that key before it"
    if note is not None:
        end_q = note.onset_q + note.duration_q
        after = arrangement.notes_of_bars[arrangement.bar_at(end_q).index]
        if any(n.onset_q == end_q and n.pitch == note.pitch for n in after):
            return "is not taken up by the same key after it"
    return "ends nowhere: no note of that key after it"


def _key(arrangement: Arrangement, bar: Bar) -> str:
    return bar_key(arrangement, "bar", bar.index, bar.onset_q, [])
