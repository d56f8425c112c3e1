"""The sheet of drills: the list to choose from, the numbers of one, the name it is saved under."""

from __future__ import annotations

from dataclasses import dataclass

from practice.drill import dash, name_span
from practice.drills.kept_sheets import PLANNED
from practice.drills.offers import Group, Offer
from practice.drills.sheet_fields import Field
from practice.drills.sheet_words import say_sheet
from practice.listen.prompts import say_hands
from practice.window.drill_choice import DrillChoice
from practice.window.faces import words, wrap
from practice.window.ops import Box, DrawOp, Face, Line
from practice.window.overlay_rows import draw_foot, draw_row, draw_title
from practice.window.parts import Parts
from practice.window.theme import Theme
from practice.window.view import View

_HEADS: dict[Group, str] = {
    "kinds": "Of the bars and hands chosen", "kept": "Kept, and planned for today",
    "places": "A tempo ladder of one place",
}  # fmt: skip
#: What is said of the chosen row has so many lines at the most.
_TOLD_LINES = 3
#: From row to row, in sizes of the text: of the long list, and of the numbers.
_ROW_STEP, _WIDE_STEP = 1.65, 2.0


@dataclass(frozen=True, slots=True)
class _Row:
    """A line of the list: a head, or an offer with its number."""

    head: str = ""
    offer: Offer | None = None
    number: int = -1


def compose_drills(view: View, theme: Theme, parts: Parts, box: Box) -> list[DrawOp]:
    """What the sheet shows now."""
    stage = {"list": _list, "numbers": _numbers, "name": _name}[view.drills.stage]
    return stage(view, theme, parts, box)


def _list(view: View, theme: Theme, parts: Parts, box: Box) -> list[DrawOp]:
    offers = view.drills.offers
    title, top = draw_title("Choose a drill", theme, parts, box)
    ops = [title, _at_right(_say_now(view), theme, parts, box)]
    chosen = offers[view.row] if view.row < len(offers) else None
    told = (chosen.trouble or say_sheet(chosen.sheet)) if chosen else ""
    ops += _told([told], view, theme, parts, box)
    room = _rows_room(parts, box, top)
    step = parts.type.body * _ROW_STEP
    rows = _visible(list_rows(offers), view.row, int(room.h // step))
    for k, row in enumerate(rows):
        at = Box(room.x, room.y + k * step, room.w, step)
        draw = _head if row.head else _offer
        ops += draw(row, view, theme, parts, at)
    own = chosen is not None and _is_own(chosen.name)
    more = " or rename    delete" if own else ""
    keys = f"↑ ↓ choose    enter begin    → numbers    tab save{more}    escape done"
    count = f"{view.row + 1} of {len(offers)}"
    ops.append(words(box.right, box.bottom, count, parts.type.small, theme.soft, align="right"))
    return [*ops, draw_foot(keys, theme, parts, box)]


def _say_now(view: View) -> str:
    """The bars and hands that are chosen in the window."""
    s = view.snapshot
    return f"{name_span(s.arrangement, s.span)}, {say_hands(s.hands)}"


def _is_own(name: str) -> bool:
    """A drill the player has kept: not one without a name, nor the plan's."""
    return bool(name) and not name.startswith(PLANNED)


def list_rows(offers: tuple[Offer, ...]) -> list[_Row]:
    """The list with a head over each group."""
    rows: list[_Row] = []
    for number, offer in enumerate(offers):
        if not number or offers[number - 1].group != offer.group:
            rows.append(_Row(head=_HEADS[offer.group]))
        rows.append(_Row(offer=offer, number=number))
    return rows


def _visible(rows: list[_Row], chosen: int, count: int) -> list[_Row]:
    """As many rows as there is room for, the chosen one among them."""
    at = next((k for k, row in enumerate(rows) if row.number == chosen), 0)
    start = min(max(at - count // 2, 0), max(len(rows) - count, 0))
    return rows[start : start + count]


def _head(row: _Row, _view: View, theme: Theme, parts: Parts, at: Box) -> list[DrawOp]:
    base = at.y + at.h * 0.72
    rule = Line(((at.x, at.bottom - 2), (at.right, at.bottom - 2)), theme.rule, 1.0)
    return [words(at.x, base, row.head, parts.type.small, theme.soft, "serif-italic"), rule]


def _offer(row: _Row, view: View, theme: Theme, parts: Parts, at: Box) -> list[DrawOp]:
    offer = row.offer
    assert offer is not None
    bars = offer.bars or "not here"
    title = offer.title if offer.name else dash(offer.title)  # a name is shown as it is typed
    chosen, idle = row.number == view.row, bool(offer.trouble)
    return draw_row(title, bars, chosen, theme, parts, at, changes=False, idle=idle)


def _numbers(view: View, theme: Theme, parts: Parts, box: Box) -> list[DrawOp]:
    drills = view.drills
    called = drills.title if drills.kept_as else dash(drills.title)
    title, top = draw_title(called, theme, parts, box)
    fields = drills.fields
    ops = [title, *_told(_say_field(fields[view.row]), view, theme, parts, box)]
    room = _rows_room(parts, box, top)
    step = min(parts.type.body * _WIDE_STEP, room.h / len(fields))
    for k, field in enumerate(fields):
        at = Box(room.x, room.y + k * step, room.w, step)
        value, idle = dash(field.value), bool(field.idle)
        ops += draw_row(field.label, value, k == view.row, theme, parts, at, idle=idle)
    keys = "↑ ↓ choose    ← → change    enter begin    tab save    escape back"
    return [*ops, draw_foot(keys, theme, parts, box)]


def _say_field(field: Field) -> list[str]:
    """What it does, and its limits or why it does nothing here."""
    limits = f"From {field.limits}." if field.limits else ""
    idle = f"It changes nothing here: {field.idle}." if field.idle else ""
    return [text for text in (f"{field.why} {limits}".strip(), idle) if text]


def _name(view: View, theme: Theme, parts: Parts, box: Box) -> list[DrawOp]:
    drills, size = view.drills, parts.type.body
    title, y = draw_title("Save the drill", theme, parts, box)
    ops: list[DrawOp] = [title]
    told = say_sheet(drills.sheet) if drills.sheet else ""
    for text in wrap(told, "serif", size, box.w, 3):
        ops.append(words(box.x, y, text, size, theme.soft, "serif"))
        y += size * 1.4
    y += size * 1.6
    ops.append(words(box.x, y, "Its name", parts.type.small, theme.soft, "serif-italic"))
    ops += _written(drills, theme, parts, Box(box.x, y + size * 0.8, box.w, size * 2.2))
    y += size * 5.0
    command = f"undersong play … --drill “{drills.typed.strip() or 'its name'}” plays it too."
    for text in wrap(f"It will stand in this list; {command}", "serif", size, box.w, 3):
        ops.append(words(box.x, y, text, size, theme.soft, "serif"))
        y += size * 1.4
    for text in wrap(view.note, "bold", size, box.w, 3):
        y += size * 1.4
        ops.append(words(box.x, y, text, size, theme.ink, "bold"))
    rename = f"    tab rename “{drills.kept_as}” to this" if _is_own(drills.kept_as) else ""
    return [*ops, draw_foot(f"enter save{rename}    escape back", theme, parts, box)]


def _written(drills: DrillChoice, theme: Theme, parts: Parts, at: Box) -> list[DrawOp]:
    """The name so far on a line, with a stroke where the next letter goes."""
    size = parts.type.large
    base = at.y + size
    name = words(at.x, base, drills.typed, size, theme.ink, "bold")
    x = name.box.right + 2 if drills.typed else at.x
    thick = max(2.0, 2.0 * parts.unit)
    return [
        name,
        Line(((x, base - size * 0.8), (x, base + size * 0.2)), theme.heard, thick),
        Line(((at.x, base + size * 0.4), (at.right, base + size * 0.4)), theme.rule, 1.0),
    ]


def _at_right(text: str, theme: Theme, parts: Parts, box: Box) -> DrawOp:
    y = box.y + parts.type.large
    return words(box.right, y, text, parts.type.body, theme.soft, "serif", "right")


def _rows_room(parts: Parts, box: Box, top: float) -> Box:
    """Where rows stand: under the title, over what is told of the chosen one."""
    y = top - parts.type.body * 0.7
    return Box(box.x, y, box.w, _told_top(parts, box) - parts.type.body * 1.2 - y)


def _told_top(parts: Parts, box: Box) -> float:
    return box.bottom - parts.type.small * 2.2 - parts.type.body * 1.35 * (_TOLD_LINES - 1)


def _told(said: list[str], view: View, theme: Theme, parts: Parts, box: Box) -> list[DrawOp]:
    """What is said of the chosen row; what went wrong or was done takes its place."""
    size, y = parts.type.body, _told_top(parts, box)
    face: Face = "bold" if view.note else "serif"
    lines = [line for text in ([view.note] if view.note else said)
             for line in wrap(text, face, size, box.w, _TOLD_LINES)]  # fmt: skip
    colour = theme.ink if view.note else theme.soft
    return [
        words(box.x, y + size * 1.35 * k, line, size, colour, face)
        for k, line in enumerate(lines[:_TOLD_LINES])
    ]
