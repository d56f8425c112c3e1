"""What is painted bit by bit is what is painted at once."""

from __future__ import annotations

from itertools import permutations

import pygame
import pytest

from practice.window.canvas import Canvas
from practice.window.compose import parts_for
from practice.window.gestures import Press, press_key
from practice.window.overlays import overlay_box
from practice.window.painter import Painter
from practice.window.sheet import Sheet
from practice.window.view import View
from tests.pictures import SHOTS

SIZE = (1280, 720)
#: Their keys lead from one sheet straight to the next.
SHEETS = {"help": "f1", "settings": "f12", "drills": "c", "takes": "r", "progress": "m"}


def canvas_of(view: View) -> Canvas:
    sheet = Sheet(at_once=True)
    sheet.use(view.page.score if view.page else None)
    return Canvas(Painter(sheet))


def painted(canvas: Canvas, surface: pygame.Surface, view: View) -> bytes:
    canvas.draw(surface, view)
    return pygame.image.tobytes(surface, "RGB")


@pytest.mark.parametrize(("first", "then"), list(permutations(SHEETS, 2)))
def test_of_a_sheet_nothing_stays_under_the_next_one(first: str, then: str) -> None:
    view = SHOTS["after-pass"].make(SIZE)
    assert view is not None
    opened = press_key(view, Press(SHEETS[first])).view
    other = press_key(opened, Press(SHEETS[then])).view
    assert other.overlay in (first, then)  # a list is closed to some keys
    surface, canvas = pygame.Surface(SIZE), canvas_of(view)
    painted(canvas, surface, view)
    painted(canvas, surface, opened)
    fresh = painted(canvas_of(other), pygame.Surface(SIZE), other)
    assert painted(canvas, surface, other) == fresh


@pytest.mark.parametrize("sheet", ["drills", "takes"])
def test_what_is_said_in_the_heading_is_seen_over_a_list(sheet: str) -> None:
    view = SHOTS["after-pass"].make(SIZE)
    assert view is not None
    parts = parts_for(view, SIZE)
    assert overlay_box(parts, sheet).y >= parts.heading.bottom
