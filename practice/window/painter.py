"""The thin painter: drawing operations onto a pygame surface.

Upright lines and boxes are painted on whole pixels, so that they stay sharp; everything slanted
or round is drawn several times as large and scaled down, and kept, since the same few marks
come again and again.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from functools import lru_cache

import pygame

from practice.window.faces import load_font, runs
from practice.window.ops import (
    Box,
    Colour,
    Disc,
    DrawOp,
    Face,
    Fill,
    Line,
    Picture,
    Point,
    Shape,
    Words,
)
from practice.window.sheet import Sheet

#: How much larger small and large things are drawn before they are scaled down.
_FINE, _COARSE, _LARGE_PX = 4, 2, 160
#: What is no larger is a mark, and comes again and again.
_MARK_PX = 40
#: A text of so many letters is no sentence.
_WORD = 16
#: The rim round text on notation, a share of its size: the notation goes on right beside it.
_RIM = 0.14
#: Places are rounded to this share of a pixel before a drawn mark is looked up again.
_STEPS = 4


class Painter:
    """Paints operations. `sheet` has the engraved systems."""

    def __init__(self, sheet: Sheet) -> None:
        self.sheet = sheet
        #: A system was not ready: what was painted is not whole yet.
        self.waiting = False

    def paint(self, target: pygame.Surface, ops: Iterable[DrawOp], origin: Point = (0, 0)) -> None:
        """Paint operations whose point `origin` is the target's upper left corner."""
        for op in ops:
            if isinstance(op, Words):
                paint_words(target, op, origin)
            elif isinstance(op, Line):
                paint_line(target, op, origin)
            elif isinstance(op, Disc):
                _paint_disc(target, op, origin)
            elif isinstance(op, Fill):
                target.fill(op.colour, _rect(op.box, origin))
            elif isinstance(op, Picture):
                self._paint_picture(target, op, origin)
            else:
                _paint_shape(target, op, origin)

    def _paint_picture(self, target: pygame.Surface, op: Picture, origin: Point) -> None:
        surface = self.sheet.surface(op.system, op.tint, op.px)
        if surface is None:
            self.waiting = True
            return
        left, right = round(op.from_x * op.px), round(op.to_x * op.px)
        top, bottom = round(op.from_y * op.px), round(op.to_y * op.px)
        area = pygame.Rect(left, top, right - left, bottom - top)
        at = (round(op.x - origin[0]) + left, round(op.y - origin[1]) + top)
        target.blit(surface, at, area)


def _rect(box: Box, origin: Point) -> pygame.Rect:
    x, y = round(box.x - origin[0]), round(box.y - origin[1])
    w, h = round(box.right - origin[0]) - x, round(box.bottom - origin[1]) - y
    return pygame.Rect(x, y, max(w, 1), max(h, 1))


def draw_text(text: str, face: Face, size: int, colour: Colour) -> tuple[pygame.Surface, float]:
    """A text as a surface with a clear ground, and its baseline from the top."""
    draw = _draw_word if len(text) <= _WORD else _draw_sentence
    return draw(text, face, size, colour)


def _draw_text_anew(
    text: str, face: Face, size: int, colour: Colour
) -> tuple[pygame.Surface, float]:
    parts = [
        (load_font(f, s).render(part, True, colour), load_font(f, s).get_ascent() + rise)
        for part, f, s, rise in runs(text, face, size)
    ]
    if len(parts) == 1:
        return parts[0]
    base = max((up for _, up in parts), default=0.0)
    below = max((s.get_height() - up for s, up in parts), default=0.0)
    width = sum(s.get_width() for s, _ in parts)
    whole = pygame.Surface((max(1, width), max(1, math.ceil(base + below))), pygame.SRCALPHA, 32)
    x = 0
    for surface, up in parts:
        whole.blit(surface, (x, round(base - up)))
        x += surface.get_width()
    return whole, base


# Words and numbers come again and again; sentences are many, and large.
_draw_word = lru_cache(maxsize=128)(_draw_text_anew)
_draw_sentence = lru_cache(maxsize=32)(_draw_text_anew)


def paint_words(target: pygame.Surface, op: Words, origin: Point) -> None:
    """One line of text, with a rim of its ground round the letters if it has one."""
    if not op.text:
        return
    surface, base = draw_text(op.text, op.face, op.size, op.colour)
    shift = {"left": 0.0, "centre": 0.5, "right": 1.0}[op.align]
    x = round(op.x - origin[0] - shift * surface.get_width())
    if op.ground is not None:
        rim = _rim_px(op.size)
        under = _draw_rim(op.text, op.face, op.size, op.ground)
        target.blit(under, (x - rim, round(op.y - origin[1] - base) - rim))
    target.blit(surface, (x, round(op.y - origin[1] - base)))


def _rim_px(size: int) -> int:
    return max(2, round(size * _RIM))


@lru_cache(maxsize=256)
def _draw_rim(text: str, face: Face, size: int, ground: Colour) -> pygame.Surface:
    """A text widened on all sides, in the colour of what it stands on."""
    surface, _ = draw_text(text, face, size, ground)
    rim = _rim_px(size)
    out = pygame.Surface(
        (surface.get_width() + 2 * rim, surface.get_height() + 2 * rim), pygame.SRCALPHA, 32
    )
    out.fill((*ground, 0))
    for dx in range(-rim, rim + 1):
        for dy in range(-rim, rim + 1):
            if dx * dx + dy * dy <= rim * rim + 1:
                out.blit(surface, (rim + dx, rim + dy))
    return out


def paint_line(target: pygame.Surface, op: Line, origin: Point) -> None:
    """A polyline, broken into dashes where asked for."""
    for start, end in zip(op.points, op.points[1:], strict=False):
        for a, b in _dashes(start, end, op.dash):
            if a[0] == b[0] or a[1] == b[1]:
                _paint_upright(target, a, b, op, origin)
            elif len(op.points) == 2 or op.dash:
                _paint_shape(target, Shape(_thick(a, b, op.width), op.colour), origin)
    slanted = any(
        a[0] != b[0] and a[1] != b[1] for a, b in zip(op.points, op.points[1:], strict=False)
    )
    if slanted and len(op.points) > 2 and not op.dash:
        _paint_polyline(target, op, origin)


def _dashes(start: Point, end: Point, dash: float) -> list[tuple[Point, Point]]:
    length = math.dist(start, end)
    if not dash or length <= dash:
        return [(start, end)]
    along = ((end[0] - start[0]) / length, (end[1] - start[1]) / length)
    out, at = [], 0.0
    while at < length:
        to = min(at + dash, length)
        out.append(
            (
                (start[0] + along[0] * at, start[1] + along[1] * at),
                (start[0] + along[0] * to, start[1] + along[1] * to),
            )
        )
        at += 2 * dash
    return out


def _paint_upright(target: pygame.Surface, a: Point, b: Point, op: Line, origin: Point) -> None:
    w = max(1, round(op.width))
    x0, x1 = sorted((a[0] - origin[0], b[0] - origin[0]))
    y0, y1 = sorted((a[1] - origin[1], b[1] - origin[1]))
    left, top = round(x0 - w / 2), round(y0 - w / 2)
    wide = w if x0 == x1 else round(x1 - w / 2) - left + w
    tall = w if y0 == y1 else round(y1 - w / 2) - top + w
    target.fill(op.colour, pygame.Rect(left, top, wide, tall))


def _thick(a: Point, b: Point, width: float) -> tuple[Point, ...]:
    length = math.dist(a, b) or 1.0
    nx, ny = -(b[1] - a[1]) / length * width / 2, (b[0] - a[0]) / length * width / 2
    return (
        (a[0] + nx, a[1] + ny),
        (b[0] + nx, b[1] + ny),
        (b[0] - nx, b[1] - ny),
        (a[0] - nx, a[1] - ny),
    )


def _paint_polyline(target: pygame.Surface, op: Line, origin: Point) -> None:
    pieces = [_thick(a, b, op.width) for a, b in zip(op.points, op.points[1:], strict=False)]
    _paint_kept(target, tuple(pieces), op.points if op.width > 1.5 else (), op.width / 2,
                op.colour, op.box, origin)  # fmt: skip


def _paint_shape(target: pygame.Surface, op: Shape, origin: Point) -> None:
    _paint_kept(target, (op.points,), (), 0.0, op.colour, op.box, origin)


def _paint_kept(
    target: pygame.Surface,
    polygons: Sequence[Sequence[Point]],
    joints: Sequence[Point],
    radius: float,
    colour: Colour,
    box: Box,
    origin: Point,
) -> None:
    x, y = math.floor(box.x) - 1, math.floor(box.y) - 1
    size = (math.ceil(box.right) - x + 2, math.ceil(box.bottom) - y + 2)
    if size[0] > 8192 or size[1] > 8192:
        return

    def local(points: Sequence[Point]) -> tuple[Point, ...]:
        return tuple(
            (round((px - x) * _STEPS) / _STEPS, round((py - y) * _STEPS) / _STEPS)
            for px, py in points
        )

    draw = _draw_polygons if max(size) <= _MARK_PX else _draw_large_polygons
    surface = draw(tuple(local(p) for p in polygons), local(joints), round(radius, 2), colour, size)
    target.blit(surface, (round(x - origin[0]), round(y - origin[1])))


def _draw_anew(
    polygons: tuple[tuple[Point, ...], ...],
    joints: tuple[Point, ...],
    radius: float,
    colour: Colour,
    size: tuple[int, int],
) -> pygame.Surface:
    times = _COARSE if max(size) > _LARGE_PX else _FINE
    large = pygame.Surface((size[0] * times, size[1] * times), pygame.SRCALPHA, 32)
    large.fill((*colour, 0))
    for points in polygons:
        pygame.draw.polygon(large, colour, [(px * times, py * times) for px, py in points])
    for px, py in joints:
        pygame.draw.circle(large, colour, (px * times, py * times), radius * times)
    return pygame.transform.smoothscale(large, size)


# An evening draws ever new curves: as many marks are kept as a page has, few of what is large.
_draw_polygons = lru_cache(maxsize=128)(_draw_anew)
_draw_large_polygons = lru_cache(maxsize=8)(_draw_anew)


def _paint_disc(target: pygame.Surface, op: Disc, origin: Point) -> None:
    x, y = op.x - origin[0], op.y - origin[1]
    left, top = math.floor(x - op.radius) - 1, math.floor(y - op.radius) - 1
    at = (round((x - left) * _STEPS) / _STEPS, round((y - top) * _STEPS) / _STEPS)
    target.blit(_draw_disc(at, round(op.radius, 1), op.colour, round(op.line, 1)), (left, top))


@lru_cache(maxsize=1024)
def _draw_disc(at: Point, radius: float, colour: Colour, line: float) -> pygame.Surface:
    side = math.ceil(radius * 2) + 4
    times = _COARSE if side > _LARGE_PX else _FINE
    large = pygame.Surface((side * times, side * times), pygame.SRCALPHA, 32)
    large.fill((*colour, 0))
    middle = (at[0] * times, at[1] * times)
    pygame.draw.circle(
        large, colour, middle, radius * times, max(1, round(line * times)) if line else 0
    )
    return pygame.transform.smoothscale(large, (side, side))
