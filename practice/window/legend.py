"""What the marks, the hatching and the arrows mean, drawn as they are drawn, for the help."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import get_args

from practice.engraving.system import Head
from practice.snapshot import Stage
from practice.window.account import draw_change
from practice.window.desk import draw_fork, draw_like
from practice.window.desk_marks import (
    draw_elsewhere,
    draw_heard,
    draw_missing,
    draw_timing,
)
from practice.window.faces import shorten, words
from practice.window.form_map import draw_stage
from practice.window.marks import SlipMark
from practice.window.ops import Box, DrawOp, Line
from practice.window.parts import Parts
from practice.window.theme import Theme

#: SMuFL 1.4, table "Noteheads": black.
_BLACK_HEAD = "\ue0a4"
_SAMPLE = Head(0.0, 0.0, -0.63, 0.63, 0.63, 0, 0)


@dataclass(frozen=True, slots=True)
class _Sample:
    """A place for one head."""

    x: float
    y: float
    px: float
    slot: Box

    def at(self, x: float, y: float) -> tuple[float, float]:
        return self.x + x * self.px, self.y + y * self.px


Draw = Callable[[_Sample, Theme, Parts], list[DrawOp]]


def _lozenge(at: _Sample, theme: Theme, parts: Parts) -> list[DrawOp]:
    mark = SlipMark("wrong", 0, 1, "")
    return draw_elsewhere(at, _SAMPLE, mark, theme, parts)


def _cross(at: _Sample, theme: Theme, parts: Parts) -> list[DrawOp]:
    mark = SlipMark("extra", 0, 0, "")
    return draw_elsewhere(at, _SAMPLE, mark, theme, parts)


def _late(ms: float) -> Draw:
    return lambda at, theme, parts: list(draw_timing(at, _SAMPLE, ms, theme, parts))


def _pedal(at: _Sample, theme: Theme, parts: Parts) -> list[DrawOp]:
    (x0, y), (x1, _) = at.at(-1.6, 0.4), at.at(1.6, 0.4)
    up = y - 0.5 * at.px
    return [Line(((x0, up), (x0, y), (x1, y), (x1, up)), theme.heard, max(1.6, 1.8 * parts.unit))]


#: (meaning, drawing, whether a head stands by it)
MARKS: tuple[tuple[str, Draw, bool], ...] = (
    ("heard; on time", lambda at, t, p: [draw_heard(at, _SAMPLE, t, p)], True),
    ("early, by so much", _late(-40.0), True),
    ("late; furthest is 60 ms", _late(40.0), True),
    ("later still", _late(90.0), True),
    ("left out", lambda at, t, p: draw_missing(at, _SAMPLE, t, p), True),
    ("another key struck, where it lies", _lozenge, True),
    ("one too many", _cross, True),
    ("a passage begins alike", lambda at, t, p: draw_like(at.x, at.y, at.px, t, p), False),
    ("unlike the passage that began alike", lambda at, t, p: draw_fork(at.x, at.y, at.px, t, p),
     False),
    ("damper down", _pedal, False),
)  # fmt: skip


def compose_legend(theme: Theme, parts: Parts, box: Box, step: float) -> list[DrawOp]:
    """The legend from the top of a box, a line each `step` pixels."""
    small, body = parts.type.small, parts.type.body
    px = small * 0.58
    left = 5.6 * px
    ops: list[DrawOp] = [
        words(box.x, box.y, "On the page, after a pass", body, theme.ink, "serif-bold")
    ]
    y = box.y + step * 1.15
    for meaning, draw, with_head in MARKS:
        middle = y - small * 0.36
        at = _Sample(box.x + 2.2 * px, middle, px, Box(box.x, middle - step / 2, left, step))
        if with_head:
            x = at.x - _SAMPLE.half * px
            ops.append(words(x, middle, _BLACK_HEAD, round(4 * px), theme.ink, "music"))
        ops += draw(at, theme, parts)
        text = shorten(meaning, "text", small, box.right - box.x - left)
        ops.append(words(box.x + left, y, text, small, theme.ink))
        y += step
    y += step * 0.5
    ops.append(words(box.x, y, "On the Map", body, theme.ink, "serif-bold"))
    y += step * 1.15
    for stage in get_args(Stage):
        swatch = Box(box.x, y - small * 0.85, left - small * 0.8, small)
        ops += draw_stage(stage, swatch, theme, parts)
        ops.append(words(box.x + left, y, stage, small, theme.ink))
        y += step
    return ops + _changes(theme, parts, Box(box.x, y + step * 0.5, box.w, 0), left, step)


def _changes(theme: Theme, parts: Parts, box: Box, left: float, step: float) -> list[DrawOp]:
    """The Account's arrows."""
    small, y = parts.type.small, box.y
    title = words(box.x, y, "In the Account", parts.type.body, theme.ink, "serif-bold")
    ops: list[DrawOp] = [title]
    y += step * 1.15
    for change, meaning in ((1, "better than the last, beyond chance"), (-1, "less good")):
        ops.append(draw_change(box.x + left * 0.4, y - small * 0.36, small * 0.34, change, theme))
        text = shorten(meaning, "text", small, box.w - left)
        ops.append(words(box.x + left, y, text, small, theme.ink))
        y += step
    return ops
