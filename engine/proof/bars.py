"""Bars that do not add up, repeats that lead nowhere, ties that end nowhere."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction

from engine.arrangement import Arrangement, Bar, Mark, Problem, ScoreNote
from engine.pitch_names import printed
from engine.proof.remark import Remark, bar_key

_REPEATS = ("repeat", "ending", "jump", "D.S.", "D.C.", "coda", "segno")


def bar_remarks(arrangement: Arrangement) -> Iterator[Remark]:
    """What the reader put up with, short bars, and loose ties."""
    for problem in arrangement.problems:
        if problem.bar:
            yield _told(problem)
    yield from _short_bars(arrangement)
    for mark in arrangement.marks:
        if mark.kind == "tie-open":
            yield _loose_tie(arrangement, mark)


def _told(problem: Problem) -> Remark:
    kind = "reading"
    if "beats where" in problem.what:
        kind = "bar"
    elif any(word in problem.what for word in _REPEATS):
        kind = "repeat"
    elif "pedal" in problem.what:
        kind = "pedal"
    why = f"{problem.what}; {problem.hint}" if problem.hint else problem.what
    key = f"{kind}:{problem.bar}:{problem.what}"
    certainty = 0.5 if kind == "reading" else 0.9
    return Remark(kind, problem.bar, None, why, certainty, (), key)


def _short_bars(arrangement: Arrangement) -> Iterator[Remark]:
    """Bars shorter than their signature that no pickup and no repeat accounts for."""
    written: dict[int, Bar] = {}
    for bar in arrangement.bars:
        written.setdefault(bar.written, bar)
    order = [written[w] for w in sorted(written)]
    for k, bar in enumerate(order):
        due = Fraction(4 * bar.beats, bar.beat_unit)
        if bar.duration_q >= due or k == 0 or bar.lead_q:
            continue
        if not _completed(arrangement, order, k, due):
            beats, whole = bar.duration_q * bar.beat_unit / 4, bar.beats
            why = f"holds {float(beats):g} beats where {whole} are due"
            yield Remark("bar", bar.number, Fraction(1), why, 0.8, (), _key(arrangement, bar))


def _completed(arrangement: Arrangement, order: list[Bar], k: int, due: Fraction) -> bool:
    """Whether what a short bar lacks is made up: by the pickup, the next bar, or a repeat."""
    missing = due - order[k].duration_q
    if k + 1 < len(order) and order[k + 1].duration_q == missing:
        return True
    if order[k - 1].duration_q == missing:
        return True
    pickups = {b.duration_q for b in arrangement.bars if b.lead_q or b.index == 0}
    closing = k == len(order) - 1 or _stands_at_repeat(arrangement, order[k])
    return closing and missing in pickups


def _stands_at_repeat(arrangement: Arrangement, bar: Bar) -> bool:
    ends = ("repeat-end", "final-bar", "double-bar", "ending", "fine", "dacapo", "dalsegno")
    return any(
        m.kind in ends and arrangement.bars[m.bar].written == bar.written for m in arrangement.marks
    )


def _loose_tie(arrangement: Arrangement, mark: Mark) -> Remark:
    bar = arrangement.bars[mark.bar]
    note = next((n for n in arrangement.notes_of_bars[mark.bar] if mark.note_id in n.heads), None)
    note = note or next((n for n in arrangement.notes if mark.note_id in n.heads), None)
    name = printed(note.name) if note else "a note"
    here = note.onset_q if note and note.heads[0] == mark.note_id else mark.onset_q
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
