"""What overlays are made of: a title, rows of which one is chosen, a line of keys at the foot."""

from __future__ import annotations

from practice.window.faces import shorten, text_width, words
from practice.window.ops import Box, DrawOp, Fill
from practice.window.parts import Parts
from practice.window.theme import Theme


def draw_title(text: str, theme: Theme, parts: Parts, box: Box) -> tuple[DrawOp, float]:
    """The title at the top, and where what comes under it begins."""
    size = parts.type.large
    return words(box.x, box.y + size, text, size, theme.ink, "serif-bold"), box.y + size * 2.1


def draw_foot(text: str, theme: Theme, parts: Parts, box: Box) -> DrawOp:
    """The line of keys at the bottom."""
    size = parts.type.small
    return words(box.x, box.bottom, shorten(text, "text", size, box.w), size, theme.soft)


def draw_row(
    label: str,
    value: str,
    chosen: bool,
    theme: Theme,
    parts: Parts,
    at: Box,
    *,
    changes: bool = True,
    idle: bool = False,
) -> list[DrawOp]:
    """A row with its value at the right; the chosen one on a ground of its own.

    `changes`: the value of the chosen row is stepped through. `idle`: the row is of no use now.
    """
    size = parts.type.body
    base = at.y + at.h * 0.5 + size * 0.36
    ops: list[DrawOp] = []
    if chosen:
        ops.append(Fill(Box(at.x - size * 0.6, at.y, at.w + size * 1.2, at.h), theme.shade))
        ops.append(Fill(Box(at.x - size * 0.6, at.y, max(3.0, size * 0.2), at.h), theme.heard))
    label = shorten(label, "text", size, at.w)
    ops.append(words(at.x, base, label, size, theme.soft if idle else theme.ink))
    room = at.w - text_width(label, "text", size) - size
    value = shorten(f"‹ {value} ›" if chosen and changes else value, "text", size, room)
    ops.append(words(at.right, base, value, size, theme.ink if chosen else theme.soft,
                     "bold" if chosen else "text", "right"))  # fmt: skip
    return ops
