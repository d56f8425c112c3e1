"""Choosing kept takes to be heard again: what is on their sheet, and what each key does. Pure."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from practice.listen.take_list import TakeRow

if TYPE_CHECKING:
    from practice.window.view import View

#: So many can be heard one after the other.
MOST_MARKED = 2
#: They delete nothing here, nor what they do elsewhere.
DELETES = ("delete", "backspace")
_STEPS = {"up": -1, "down": 1, "page up": -8, "page down": 8, "home": -10_000, "end": 10_000}


@dataclass(frozen=True, slots=True)
class TakeChoice:
    """What the sheet of takes shows; its chosen row is `View.row`.

    Attributes:
        wanted: the list is to be read. rows: it, newest first; None before it is there.
        trouble: why it cannot be had.
        marked: takes to be heard one after the other. hear: those to be read and played now.
    """

    wanted: bool = False
    rows: tuple[TakeRow, ...] | None = None
    trouble: str = ""
    marked: tuple[int, ...] = ()
    hear: tuple[int, ...] = ()


def open_takes(view: View) -> View:
    """The sheet of takes, which is then read; or away, where it is open."""
    if view.overlay == "takes":
        return replace(view, overlay="", takes=TakeChoice())
    return replace(view, overlay="takes", row=0, takes=TakeChoice(wanted=True))


def press_takes(view: View, key: str) -> View | None:
    """What a key does on the sheet; None where it means what it means elsewhere."""
    rows = view.takes.rows or ()
    if key in _STEPS:
        row = view.row + _STEPS[key]
        return replace(view, row=min(max(row, 0), max(len(rows) - 1, 0)))
    if key in DELETES:
        return replace(view, note=_say_delete(view))
    if key not in ("space", "return"):
        return None
    if view.row >= len(rows):
        return view
    number = rows[view.row].number
    if key == "space":
        return replace(view, takes=replace(view.takes, marked=_mark(view.takes.marked, number)))
    heard = TakeChoice(hear=view.takes.marked or (number,))
    return replace(view, overlay="", takes=heard, note="Reading the take …")


def _say_delete(view: View) -> str:
    """A take is all there is of an evening: it is deleted where its number has to be typed."""
    rows = view.takes.rows or ()
    if view.row >= len(rows):
        return "There is no take to delete"
    return f"In a terminal: undersong takes --delete {rows[view.row].number}"


def _mark(marked: tuple[int, ...], number: int) -> tuple[int, ...]:
    """With one more, or without it; the newest marks count."""
    if number in marked:
        return tuple(m for m in marked if m != number)
    return (*marked, number)[-MOST_MARKED:]
