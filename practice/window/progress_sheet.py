"""The progress sheet: every section and hand over the days, as `undersong progress` tells it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import takewhile

from practice.progress.changes import Claim
from practice.progress.progress import HandProgress, Progress, SectionProgress
from practice.progress.progress_text import SPARK_DAYS, say_progress
from practice.window.faces import shorten, words, wrap
from practice.window.form_map import draw_stage
from practice.window.ops import Box, Disc, DrawOp, Face, Line
from practice.window.parts import Parts
from practice.window.theme import Theme
from practice.window.view import View

#: Columns: their heads, and where they begin, as shares of the width.
_COLUMNS: tuple[tuple[str, float], ...] = (
    ("", 0.0), ("stage", 0.075), ("good", 0.24), ("fastest good", 0.34),
    ("figure within", 0.455), ("cold, after nights", 0.62), ("notes right by day, 80–100 %", 0.79),
)  # fmt: skip
#: The curve's lower and upper edge: shares of notes right; what is below lies on the edge.
LEAST_SHARE, MOST_SHARE = 0.80, 1.0
#: At the end of the sheet so many rows stay to be seen.
LAST_ROWS = 4


@dataclass(frozen=True, slots=True)
class SheetRow:
    """A row: a section's name, a hand's columns, or a line that is said of the hand over it."""

    section: SectionProgress | None = None
    hand: HandProgress | None = None
    text: str = ""
    claimed: bool = False


def list_rows(progress: Progress) -> list[SheetRow]:
    """Everything the sheet says, from top to bottom."""
    rows: list[SheetRow] = []
    for section in progress.sections:
        rows.append(SheetRow(section=section))
        for hand in (h for h in section.hands if h.days):
            rows.append(SheetRow(hand=hand))
            rows += [SheetRow(text=hand.standing.reason)] if hand.standing.reason else []
            rows += [SheetRow(text=say_claim(claim), claimed=True) for claim in hand.claims]
    kinds = [line for line in say_progress(progress, False) if line.startswith("Slips in ")]
    return rows + [SheetRow(text=line) for line in kinds]


def scroll_progress(view: View, step: int) -> int:
    """The first row shown after moving by so many, for `View.row`."""
    last = len(list_rows(view.progress)) - LAST_ROWS if view.progress else 0
    return min(max(view.row + step, 0), max(last, 0))


def compose_progress(view: View, theme: Theme, parts: Parts, box: Box) -> list[DrawOp]:
    """The sheet on its paper, from the row scrolled to."""
    large, body, small = parts.type.large, parts.type.body, parts.type.small
    y = box.y + large
    ops: list[DrawOp] = [
        words(box.x, y, "Progress", large, theme.ink, "serif-bold"),
        words(box.x, box.bottom, "↑ ↓ further    escape done", small, theme.soft),
    ]
    y += body * 1.7
    if view.progress is None:
        said = view.progress_trouble or "Reading the days …"
        said = shorten(said, "serif", body, box.w)
        return [*ops, words(box.x, y, said, body, theme.soft, "serif")]
    for line in takewhile(bool, say_progress(view.progress, False)):
        for text in wrap(line, "serif", body, box.w, 2):
            ops.append(words(box.x, y, text, body, theme.ink, "serif"))
            y += body * 1.4
    ops += _heads(theme, parts, Box(box.x, y, box.w, 0))
    y += small * 0.9
    room = Box(box.x, y, box.w, box.bottom - small * 1.9 - y)
    return ops + _table(list_rows(view.progress)[view.row :], theme, parts, room, box.bottom)


def _table(
    rows: list[SheetRow], theme: Theme, parts: Parts, room: Box, foot: float
) -> list[DrawOp]:
    """The rows that fit, and at the foot how many there are beyond."""
    shown = list(_rows(rows, theme, parts, room))
    left = len(rows) - sum(isinstance(op, _Ended) for op in shown)
    ops: list[DrawOp] = [op for op in shown if not isinstance(op, _Ended)]
    if left:
        text = f"{left} line{'s' * (left != 1)} more"
        ops.append(words(room.right, foot, text, parts.type.small, theme.soft, align="right"))
    return ops


@dataclass(frozen=True, slots=True)
class _Ended:
    """A row has been drawn whole."""


def _heads(theme: Theme, parts: Parts, at: Box) -> Iterator[DrawOp]:
    small = parts.type.small
    for (name, _), box in zip(_COLUMNS, _column_boxes(at), strict=True):
        text = shorten(name, "text", small, box.w - small)
        yield words(box.x, at.y + small * 0.3, text, small, theme.soft)
    rule = at.y + small * 0.8
    yield Line(((at.x, rule), (at.right, rule)), theme.rule, 1.0)


def _column_boxes(at: Box) -> list[Box]:
    starts = [at.x + at.w * share for _, share in _COLUMNS]
    return [Box(a, at.y, b - a, at.h) for a, b in zip(starts, [*starts[1:], at.right], strict=True)]


def _rows(rows: list[SheetRow], theme: Theme, parts: Parts, room: Box) -> Iterator[DrawOp | _Ended]:
    """Rows as long as they fit, each followed by its end."""
    small, body = parts.type.small, parts.type.body
    y = room.y
    for row in rows:
        tall = body * 1.75 if row.section else small * 1.5
        if y + tall > room.bottom:
            return
        y += tall
        at = Box(room.x, y, room.w, tall)
        if row.section is not None:
            yield from _section(row.section, theme, parts, at)
        elif row.hand is not None:
            yield from _hand(row.hand, theme, parts, at)
        else:
            left = room.w * _COLUMNS[1][1]
            text = shorten(row.text, "serif-italic", small, room.w - left)
            colour = theme.ink if row.claimed else theme.soft
            yield words(room.x + left, y, text, small, colour, "serif-italic")
        yield _Ended()


def _section(section: SectionProgress, theme: Theme, parts: Parts, at: Box) -> Iterator[DrawOp]:
    body, small = parts.type.body, parts.type.small
    again = f", comes {1 + len(section.also)} times" if section.also else ""
    one = section.from_bar == section.to_bar
    bars = f"bar {section.from_bar}" if one else f"bars {section.from_bar}–{section.to_bar}"
    played = any(hand.days for hand in section.hands)
    where = f"{bars}{again}{'' if played else ': unplayed'}"
    name = shorten(section.name, "serif-bold", body, at.w * 0.5)
    title = words(at.x, at.y, name, body, theme.ink, "serif-bold")
    yield title
    x = title.box.right + body * 0.8
    yield words(x, at.y, shorten(where, "text", small, at.right - x), small, theme.soft)


def _hand(hand: HandProgress, theme: Theme, parts: Parts, at: Box) -> Iterator[DrawOp]:
    small = parts.type.small
    columns = _column_boxes(at)
    texts = (
        hand.hands, hand.standing.stage, f"{hand.standing.good} of {hand.standing.passes}",
        say_fastest(hand), say_figure(hand), say_cold(hand), "",
    )  # fmt: skip
    for number, (text, box) in enumerate(zip(texts, columns, strict=True)):
        x = box.x
        if number == 1:
            swatch = Box(x, at.y - small * 0.8, small * 1.6, small * 0.9)
            yield from draw_stage(hand.standing.stage, swatch, theme, parts)
            x = swatch.right + small * 0.5
        face: Face = "bold" if number == 0 else "text"
        text = shorten(text, face, small, box.right - x - small * 0.5)
        yield words(x, at.y, text, small, theme.ink, face)
    curve = columns[-1]
    yield from _curve(hand, theme, parts, Box(curve.x, at.y - small * 0.9, curve.w, small * 1.05))


def say_claim(claim: Claim) -> str:
    """A change with the days it rests on; which test it passed is told by the command."""
    said, _, test = claim.words.partition(";")
    return f"{said})" if test else said


def say_fastest(hand: HandProgress) -> str:
    """The fastest good pass, in percent of the marked tempo."""
    shares = [day.tempo_share for day in hand.days if day.tempo_share]
    return f"{max(shares):.0%}".replace("%", " %") if shares else ""


def say_figure(hand: HandProgress) -> str:
    """How even the figure was on the last day it could be told, with its interval."""
    told = [d.evenness_ms for d in hand.days if d.evenness_ms.value is not None]
    if not told:
        return ""
    last = told[-1]
    if last.low is None or last.high is None:
        return f"{last.value:.0f} ms"
    return f"{last.value:.0f} ms ({last.low:.0f} to {last.high:.0f})"


def say_cold(hand: HandProgress) -> str:
    """How much was right when last heard cold, and after how many nights."""
    if not hand.retention:
        return ""
    last = hand.retention[-1]
    return f"{last.cold * 100:.0f} %, {last.nights} night{'s' * (last.nights != 1)}"


def _curve(hand: HandProgress, theme: Theme, parts: Parts, at: Box) -> Iterator[DrawOp]:
    """Share of notes right on the last days, each a point; a rule at all of them right."""
    days = hand.days[-SPARK_DAYS:]
    yield Line(((at.x, at.y), (at.right, at.y)), theme.rule, 1.0)
    step = at.w / max(SPARK_DAYS - 1, 1)
    points = []
    for number, day in enumerate(days):
        share = min(max(day.right_share, LEAST_SHARE), MOST_SHARE)
        up = (share - LEAST_SHARE) / (MOST_SHARE - LEAST_SHARE)
        points.append((at.x + number * step, at.bottom - up * at.h))
    if len(points) > 1:
        yield Line(tuple(points), theme.ink, max(1.0, 1.2 * parts.unit))
    radius = max(1.5, 1.8 * parts.unit)
    for x, y in points:
        yield Disc(min(x, at.right - radius), y, radius, theme.ink)
