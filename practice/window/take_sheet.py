"""The sheet of kept takes: the list to choose from, with what is marked to be heard."""

from __future__ import annotations

from practice.listen.take_list import TakeRow
from practice.window.faces import words
from practice.window.ops import Box, DrawOp
from practice.window.overlay_rows import draw_foot, draw_row, draw_title
from practice.window.parts import Parts
from practice.window.theme import Theme
from practice.window.view import View

_ROW_STEP = 1.65
_KEYS = "↑ ↓ choose    enter hear    space mark, two are heard in turn    escape done"


def compose_takes(view: View, theme: Theme, parts: Parts, box: Box) -> list[DrawOp]:
    """The list round the chosen row."""
    size, takes = parts.type.body, view.takes
    title, top = draw_title("Hear a kept take", theme, parts, box)
    ops: list[DrawOp] = [title, draw_foot(_KEYS, theme, parts, box)]
    if not takes.rows:
        said = takes.trouble or ("Reading the takes …" if takes.rows is None else _NONE)
        return [*ops, words(box.x, top, said, size, theme.soft, "serif")]
    step = size * _ROW_STEP
    count = max(int((box.bottom - parts.type.small * 2 - top + size * 0.5) // step), 1)
    start = min(max(view.row - count // 2, 0), max(len(takes.rows) - count, 0))
    for k, row in enumerate(takes.rows[start : start + count]):
        at = Box(box.x, top - size * 0.5 + k * step, box.w, step)
        ops += draw_row(_say(row, takes.marked), row.told, start + k == view.row, theme, parts, at,
                        changes=False)  # fmt: skip
    said = f"{view.row + 1} of {len(takes.rows)}"
    return [*ops, words(box.right, box.bottom, said, parts.type.small, theme.soft, align="right")]


_NONE = "No take of this page is kept yet: the one you play is listed once it is over."


def _say(row: TakeRow, marked: tuple[int, ...]) -> str:
    mark = f"{marked.index(row.number) + 1}.  " if row.number in marked else ""
    return f"{mark}Take {row.number}   {row.when}   {row.length}"
