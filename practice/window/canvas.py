"""What is on the screen already, and the least that must be painted anew for a view.

Each part is composed again only when something it depends on has changed. A part on its own ground
is kept as a surface; marks over it are compared with those painted before, and only where they
differ is anything repainted.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Hashable
from dataclasses import dataclass, field
from functools import lru_cache

import pygame

from practice.window.compose import Part, parts_for, shown_parts
from practice.window.ops import Box, DrawOp
from practice.window.painter import Painter
from practice.window.parts import Parts
from practice.window.theme import THEMES, Theme
from practice.window.view import View

#: More separate places than this are painted as one.
_MOST_PLACES = 24
#: After so much of a frame, parts that can wait are composed in the next one: at the end of a
#: pass they all change at once.
SHARE_S = 0.005
CAN_WAIT = ("desk pedal", "desk marks", "desk slips", "wheel", "account", "map")


@dataclass
class _Kept:
    """A part as it was last drawn."""

    key: Hashable = None
    ops: tuple[DrawOp, ...] = ()
    ground: pygame.Surface | None = None


@dataclass
class Canvas:
    """Paints views onto a surface, frame by frame."""

    painter: Painter
    clock_s: Callable[[], float] | None = None
    #: The last part that could not be drawn, and why; "" while all is well.
    fault: str = ""
    _frame: Hashable = None
    _kept: dict[str, _Kept] = field(default_factory=dict)
    _parts: Parts | None = None
    _parts_key: Hashable = None
    _until_s: float = math.inf

    def parts(self, view: View, size: tuple[int, int]) -> Parts:
        """Where the parts stand for a view, worked out only when it changes."""
        s = view.snapshot
        key = (
            size,
            view.preferences.scale,
            view.wide_desk,
            s.span,
            s.hands,
            id(s.arrangement.form),
        )
        if key != self._parts_key or self._parts is None:
            self._parts, self._parts_key = parts_for(view, size), key
        return self._parts

    def draw(self, target: pygame.Surface, view: View) -> list[pygame.Rect]:
        """Bring the target up to date; the places that were painted."""
        if self.clock_s is not None:
            self._until_s = self.clock_s() + SHARE_S
        size = target.get_size()
        theme, parts = THEMES[view.preferences.theme], self.parts(view, size)
        shown = shown_parts(view, parts)
        # a sheet is no larger than it must be: under the next one a larger one would stay
        frame = (size, theme.name, parts, tuple(p.name for p in shown), view.overlay)
        if frame != self._frame:
            self._frame = frame
            self._kept.clear()
            target.fill(theme.paper)
        dirty: list[pygame.Rect] = []
        for group in _groups(shown, view, parts):
            over_dirty = group[0].name == "overlay" and bool(dirty)
            dirty += self._draw_group(target, view, theme, parts, group, over_dirty)
        return dirty

    def start_over(self) -> None:
        """Paint everything anew: the window has been resized or uncovered."""
        self._frame = None

    def _out_of_time(self) -> bool:
        return self.clock_s is not None and self.clock_s() >= self._until_s

    def _draw_group(
        self,
        target: pygame.Surface,
        view: View,
        theme: Theme,
        parts: Parts,
        group: list[Part],
        must: bool,
    ) -> list[pygame.Rect]:
        """Draw parts that stand on the same ground."""
        box = _whole_pixels(group[0].box(view, parts))
        ground_new = self._compose(group[0], view, theme, parts) or must
        before = [op for p in group[1:] for op in self._kept.get(p.name, _Kept()).ops]
        may_wait = not ground_new  # marks of the page before must not stay on a new one
        changed = [self._compose(p, view, theme, parts, may_wait) for p in group[1:]]
        if not ground_new and not any(changed):
            return []
        ground = self._ground(group[0], box, theme, ground_new)
        if ground is None:
            return []
        over = [op for p in group[1:] for op in self._kept[p.name].ops]
        rects = [box] if ground_new else _differences(before, over, box)
        for rect in rects:
            target.set_clip(rect)
            target.blit(ground, rect, rect.move(-box.x, -box.y))
            self.painter.paint(target, [op for op in over if _touches(op, rect)])
        target.set_clip(None)
        return rects

    def _compose(
        self, part: Part, view: View, theme: Theme, parts: Parts, may_wait: bool = True
    ) -> bool:
        """Compose a part anew if what it depends on has changed; whether it has.

        Once a frame has taken its share of time, what can wait is left to the next one.
        """
        key = part.key(view)
        kept = self._kept.get(part.name)
        if kept is not None and kept.key == key:
            return False
        if kept and may_wait and part.name in CAN_WAIT and self._out_of_time():
            return False
        try:
            ops = tuple(part.draw(view, theme, parts))
        except Exception as error:  # a fault in drawing must not end the practising
            self.fault = f"the {part.name} cannot be drawn ({type(error).__name__}: {error})"
            ops = kept.ops if kept else ()
        self._kept[part.name] = _Kept(key, ops, kept.ground if kept else None)
        return True

    def _ground(
        self, part: Part, box: pygame.Rect, theme: Theme, new: bool
    ) -> pygame.Surface | None:
        """The part's own surface; None while systems for a new one are still being made.

        What is on the screen then stays, so that a page that turns never shows an empty slot.
        """
        kept = self._kept[part.name]
        first = kept.ground is None or kept.ground.get_size() != box.size
        if not new and not first:
            return kept.ground
        fresh = pygame.Surface(box.size)
        fresh.fill(theme.paper)
        self.painter.waiting = False
        self.painter.paint(fresh, kept.ops, box.topleft)
        if self.painter.waiting:
            kept.key = None  # not whole yet: drawn again in the next frame
            if not first:
                return None
        kept.ground = fresh
        return fresh


def _groups(shown: list[Part], view: View, parts: Parts) -> list[list[Part]]:
    """Parts gathered by the ground they stand on, each group led by the ground."""
    groups: list[list[Part]] = []
    for part in shown:
        if part.covers or part.name == "overlay" or not groups:
            groups.append([part])
        else:
            groups[-1].append(part)
    return groups


def _whole_pixels(box: Box) -> pygame.Rect:
    x, y = math.floor(box.x), math.floor(box.y)
    return pygame.Rect(x, y, math.ceil(box.right) - x, math.ceil(box.bottom) - y)


def _differences(before: list[DrawOp], after: list[DrawOp], box: pygame.Rect) -> list[pygame.Rect]:
    old_ids, new_ids = {id(op) for op in before}, {id(op) for op in after}
    old = {op for op in before if id(op) not in new_ids}
    new = {op for op in after if id(op) not in old_ids}
    places = [_grown(op).clip(box) for op in old ^ new]
    places = [p for p in places if p.w and p.h]
    if not places:
        return []
    if len(places) > _MOST_PLACES:
        return [places[0].unionall(places[1:])]
    merged: list[pygame.Rect] = []
    for place in places:
        hit = place.collidelist(merged)
        if hit >= 0:
            merged[hit] = merged[hit].union(place)
        else:
            merged.append(place)
    return merged


@lru_cache(maxsize=2048)
def _grown(op: DrawOp) -> pygame.Rect:
    return _whole_pixels(op.box).inflate(8, 8)


def _touches(op: DrawOp, rect: pygame.Rect) -> bool:
    return bool(_grown(op).colliderect(rect))
