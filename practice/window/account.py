"""The Account: this pass, the last and the best; the slips in words; one line of advice."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

from practice.snapshot import PassRecord
from practice.window.advice import advise
from practice.window.faces import shorten, text_width, words, wrap
from practice.window.ledger import (
    LINES,
    LedgerLine,
    are_fingered_alike,
    best_at_tempo,
    is_real_change,
    read_line,
)
from practice.window.ops import Box, DrawOp, Face, Line, Shape
from practice.window.parts import Parts
from practice.window.phrases import describe_pass
from practice.window.slip_words import slips_in_words
from practice.window.theme import Theme
from practice.window.view import View


def compose_account(view: View, theme: Theme, parts: Parts) -> list[DrawOp]:
    """The Account, from top to bottom as far as there is room."""
    box = parts.account.inset(parts.gap, parts.gap * 0.5)
    record = view.told
    if record is None:
        return _nothing_yet(theme, parts, box)
    ops, y = _heading(view, record, theme, parts, box)
    table, y = _table(view, record, theme, parts, box, y)
    ops += table
    advice = _advice(view, record, parts, box)
    step = parts.type.body * 1.35
    room = box.bottom - len(advice) * step - parts.gap * 1.25 - y
    slips, y = _slips(view, record, theme, parts, Box(box.x, y, box.w, room))
    ops += slips
    if advice:
        y += parts.gap * 0.5
        ops.append(Line(((box.x, y), (box.right, y)), theme.rule, 1.0))
    for number, text in enumerate(advice):
        base = y + parts.gap * 0.25 + parts.type.body + number * step
        ops.append(words(box.x, base, text, parts.type.body, theme.ink, "serif-italic"))
    return ops


def _nothing_yet(theme: Theme, parts: Parts, box: Box) -> list[DrawOp]:
    size = parts.type.body
    lines = wrap(
        "After a pass, what was played stands here: notes, timing, evenness, octaves, pedal, "
        "balance, and the slips in words.", "serif-italic", size, box.w, 5,
    )  # fmt: skip
    return [
        words(box.x, box.y + size * (1.2 + 1.4 * k), text, size, theme.soft, "serif-italic")
        for k, text in enumerate(lines)
    ]


def _heading(
    view: View, record: PassRecord, theme: Theme, parts: Parts, box: Box
) -> tuple[list[DrawOp], float]:
    size = parts.type.body
    y = box.y + size * 1.1
    text = describe_pass(record, view.snapshot.arrangement)
    ops: list[DrawOp] = [
        words(box.x, y, shorten(text, "bold", size, box.w), size, theme.ink, "bold")
    ]
    # its share of notes is left to the table, which counts by what is written
    verdict = "a good pass" if record.good else record.why_not.split(" (")[0]
    if view.looking == "average" and view.record is not None:
        verdict = f"the page shows what is usual, of {len(view.averaged)} passes"
    if verdict:
        y += size * 1.35
        verdict = shorten(verdict, "serif", size, box.w)
        ops.append(words(box.x, y, verdict, size, theme.soft, "serif"))
    return ops, y + size * 0.45


def _table(
    view: View, record: PassRecord, theme: Theme, parts: Parts, box: Box, y: float
) -> tuple[list[DrawOp], float]:
    small, body = parts.type.small, parts.type.body
    others = (_pass_before(view, record), best_at_tempo(view.snapshot.passes, record))
    columns = _columns(parts, box)
    y += small * 1.1
    heads = zip((columns.this, columns.last, columns.best), ("this", "last", "best"), strict=True)
    ops: list[DrawOp] = [words(x, y, name, small, theme.soft, align="right") for x, name in heads]
    y += small * 0.4
    ops.append(Line(((box.x, y), (box.right, y)), theme.rule, 1.0))
    for line in LINES:
        y += body * 1.3
        ops.append(words(box.x, y, line.label, small, theme.soft))
        ops += _row(line, record, others, theme, parts, columns, y)
    return ops, y + body * 0.8


@dataclass(frozen=True, slots=True)
class _Columns:
    """Right edges of the numbers, and the room for the word between them."""

    this: float
    word: float
    word_room: float
    last: float
    best: float


def _columns(parts: Parts, box: Box) -> _Columns:
    small, body = parts.type.small, parts.type.body
    label = max(text_width(line.label, "text", small) for line in LINES)
    this = box.x + label + small * 0.5 + text_width("99.9 %", "bold", body) * 1.1
    number = text_width("99.9", "text", small) + small * 0.9
    word = this + small * 1.4
    return _Columns(this, word, box.right - 2 * number - word, box.right - number, box.right)


def _row(
    line: LedgerLine,
    record: PassRecord,
    others: tuple[PassRecord | None, PassRecord | None],
    theme: Theme,
    parts: Parts,
    columns: _Columns,
    y: float,
) -> Iterator[DrawOp]:
    """One measure: number and unit, a word, the same number last time and at its best."""
    body, small = parts.type.body, parts.type.small
    reading, before = read_line(line, record), others[0]
    now = reading.found
    known = now.value is not None
    face: Face = "bold" if known else "text"
    text = line.show(now) if known else "–"
    yield words(columns.this, y, text, body, theme.ink, face, "right")
    alike = _values_alike(line, record, others)
    room = columns.word_room if any(alike) else columns.best - columns.word
    word = shorten(reading.word if known else _in_short(now.reason), "text", small, room)
    yield words(columns.word, y, word, small, theme.ink if known else theme.soft)
    for shown, edge in zip(alike, (columns.last, columns.best), strict=True):
        yield words(edge, y, shown, small, theme.soft, align="right")
    change = is_real_change(line, record, before) if before is not None else 0
    if change:
        x = (columns.this + columns.word) / 2
        yield draw_change(x, y - body * 0.36, small * 0.34, change, theme)


def _in_short(reason: str) -> str:
    """Why there is no number, up to the first detail."""
    first = re.split(r"[;:]| \(", reason)[0]
    return first.removesuffix(" in what was asked for").removesuffix(" of the figure")


def _values_alike(
    line: LedgerLine, record: PassRecord, others: tuple[PassRecord | None, PassRecord | None]
) -> list[str]:
    """The same measure of the other passes, printed; "" where it was not that, or not at all."""
    return [_value_alike(line, record, other) if other else "" for other in others]


def _value_alike(line: LedgerLine, record: PassRecord, other: PassRecord) -> str:
    here, there = read_line(line, record), read_line(line, other)
    if there.found.value is None or here.path not in ("", there.path):
        return ""
    alike = not here.path or are_fingered_alike(here.path, record, other)
    return line.show(there.found).split(" ")[0] if alike else ""


def draw_change(x: float, y: float, size: float, change: int, theme: Theme) -> Shape:
    """A triangle: up for better, down for worse."""
    tip = -change * size
    return Shape(((x - size, y - tip), (x + size, y - tip), (x, y + tip)), theme.ink)


def _pass_before(view: View, record: PassRecord) -> PassRecord | None:
    alike = [
        r
        for r in view.snapshot.passes
        if r.number < record.number
        and r.hands == record.hands
        and r.span == record.span
        and r.instrument == record.instrument
    ]
    return alike[-1] if alike else None


#: Lines a slip's sentence may take.
_MOST_LINES = 3


def _slips(
    view: View, record: PassRecord, theme: Theme, parts: Parts, box: Box
) -> tuple[list[DrawOp], float]:
    """The slips in words, as many as there is room for, and where they end."""
    size = parts.type.body
    y = box.y + size
    lines = slips_in_words(view.snapshot.arrangement, record)
    if not lines:
        return [words(box.x, y, "No slips.", size, theme.ink, "serif")], y + size * 0.5
    step, rest = size * 1.3, len(lines)
    label_w = max(text_width(f"bar {where}  ", "bold", size) for where, _ in lines)
    ops: list[DrawOp] = []
    for where, text in lines:
        fitting = int((box.bottom - y) / step) + 1 - (1 if rest > 1 else 0)
        broken = wrap(text, "serif", size, box.w - label_w, _MOST_LINES)
        if len(broken) > fitting:
            break
        ops.append(words(box.x, y, f"bar {where}", size, theme.slip, "bold"))
        for part in broken:
            ops.append(words(box.x + label_w, y, part, size, theme.ink, "serif"))
            y += step
        rest -= 1
    if rest and y <= box.bottom:
        text = (
            f"and {rest} more, on the page" if rest < len(lines) else f"{rest} slips, on the page"
        )
        ops.append(words(box.x, y, text, parts.type.small, theme.soft, "serif-italic"))
        y += step
    return ops, y - step + size * 0.5


def _advice(view: View, record: PassRecord, parts: Parts, box: Box) -> list[str]:
    text = advise(view.snapshot.arrangement, record, view.snapshot.passes)
    return wrap(text, "serif-italic", parts.type.body, box.w, 3) if text else []
