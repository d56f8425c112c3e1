"""The Map: sections in order of playing, wide as their bars, a row for each hand and both.

Stage is hatching: empty is unplayed, then ever denser lines, crossed when up to tempo, solid when
secure. The span is bracketed, and under each section stands when it was last heard cold.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from engine.arrangement import Arrangement, Hands, Section
from practice.snapshot import MapCell, Stage
from practice.window.faces import shorten, text_width, words
from practice.window.ops import Box, DrawOp, Fill, Line, Point
from practice.window.parts import Parts
from practice.window.theme import Theme
from practice.window.view import View

ROWS: tuple[Hands, ...] = ("right", "left", "both")
#: Spacing of the hatching in units; 0 is solid, None is none. The last says whether crossed.
HATCHING: dict[Stage, tuple[float | None, bool]] = {
    "unplayed": (None, False),
    "reading": (11.0, False),
    "steady": (5.5, False),
    "up to tempo": (5.5, True),
    "secure": (0.0, False),
}


@dataclass(frozen=True, slots=True)
class MapPlace:
    """A section on the Map: its box over all rows, bars [from_bar, to_bar)."""

    number: int
    section: Section
    box: Box


def sections_of(arrangement: Arrangement) -> tuple[Section, ...]:
    """The sections found, or the whole as one."""
    whole = Section("all", "", 0, len(arrangement.bars))
    return arrangement.form.sections or (whole,)


def map_places(view: View, parts: Parts) -> list[MapPlace]:
    """Every section's place."""
    arrangement = view.snapshot.arrangement
    rows = rows_box(parts)
    a_bar = rows.w / max(1, len(arrangement.bars))
    return [
        MapPlace(k, s, Box(rows.x + s.from_bar * a_bar, rows.y,
                           (s.to_bar - s.from_bar) * a_bar, rows.h))
        for k, s in enumerate(sections_of(arrangement))
    ]  # fmt: skip


def rows_box(parts: Parts) -> Box:
    """Where the three rows stand."""
    box, small = parts.map, parts.type.small
    left = box.x + parts.gap * 1.5 + text_width("right ", "text", small)
    top = box.y + small * 1.55
    return Box(left, top, box.right - parts.gap * 1.5 - left, box.bottom - small * 1.35 - top)


def bar_on_map(view: View, parts: Parts, point: Point) -> int | None:
    """The bar under a point of the Map, None beside it."""
    rows = rows_box(parts)
    if not Box(rows.x, parts.map.y, rows.w, parts.map.h).has(point):
        return None
    count = len(view.snapshot.arrangement.bars)
    return min(count - 1, int((point[0] - rows.x) / rows.w * count))


def compose_map(view: View, theme: Theme, parts: Parts) -> list[DrawOp]:
    """The Map."""
    small = parts.type.small
    rows = rows_box(parts)
    row_h = rows.h / len(ROWS)
    ops: list[DrawOp] = [
        Line(((parts.map.x, parts.map.y), (parts.map.right, parts.map.y)), theme.rule, 1.0)
    ]
    size = min(small, int(row_h * 0.95)) if row_h >= small * 0.9 else small
    for k, hands in enumerate(ROWS):
        y = rows.y + (k + 0.5) * row_h + small * 0.36
        ops.append(words(rows.x - small * 0.5, y, hands, size, theme.soft, align="right"))
    cells = {(c.section, c.hands): c for c in view.snapshot.cells}
    newest = max((c.last_cold for c in view.snapshot.cells), default="")
    for place in map_places(view, parts):
        ops += _section(place, cells, newest, theme, parts, row_h)
    return ops


def compose_map_marks(view: View, theme: Theme, parts: Parts) -> list[DrawOp]:
    """The span's bracket and the place now heard, over the Map."""
    rows = rows_box(parts)
    return [*_span_bracket(view, theme, parts, rows), *_place_now(view, theme, parts, rows)]


def _section(
    place: MapPlace,
    cells: dict[tuple[int, Hands], MapCell],
    newest: str,
    theme: Theme,
    parts: Parts,
    row_h: float,
) -> Iterator[DrawOp]:
    small, box = parts.type.small, place.box
    room = box.w - small * 0.4
    name = shorten(_name(place.section), "text", small, room)
    if name and name != "…":
        yield words(box.x, box.y - small * 0.45, name, small, theme.ink)
    colds = []
    for k, hands in enumerate(ROWS):
        cell = cells.get((place.number, hands))
        row = Box(box.x, box.y + k * row_h, max(2.0, box.w - 3), row_h - 3)
        yield from draw_stage(cell.stage if cell else "unplayed", row, theme, parts)
        colds += [cell.last_cold] if cell and cell.last_cold else []
    if colds:
        date = short_date(max(colds), newest)
        text = shorten(f"cold {date}", "text", small, room)
        if text.endswith("…"):
            text = shorten(date, "text", small, room)
        if text and not text.endswith("…"):
            yield words(box.x, box.bottom + small * 1.0, text, small, theme.soft)


def _name(section: Section) -> str:
    return section.name if section.name else section.letter


def short_date(text: str, newest: str = "") -> str:
    """An ISO date or moment as "12 Nov"; as "Nov 2030" where the newest is of another year."""
    months = ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"]
    try:
        year, month, day = (int(part) for part in text[:10].split("-"))
        if newest and newest[:4] != text[:4]:
            return f"{months[month - 1]} {year}"
        return f"{day} {months[month - 1]}"
    except (ValueError, IndexError):
        return text


def draw_stage(stage: Stage, box: Box, theme: Theme, parts: Parts) -> Iterator[DrawOp]:
    """A box hatched for a stage."""
    spacing, crossed = HATCHING[stage]
    if spacing == 0.0:
        yield Fill(box, theme.ink)
        return
    outline = ((box.x, box.y), (box.right, box.y), (box.right, box.bottom), (box.x, box.bottom))
    if spacing is not None:
        step = max(3.0, spacing * max(parts.unit, 0.7))
        width = max(1.0, parts.unit)
        yield from hatch(box, step, width, theme, rising=True)
        if crossed:
            yield from hatch(box, step, width, theme, rising=False)
    yield Line((*outline, outline[0]), theme.dim, max(1.0, parts.unit * 0.8))


def hatch(box: Box, step: float, width: float, theme: Theme, rising: bool) -> Iterator[Line]:
    """Slanted lines at 45 degrees that fill a box, cut at its edges."""
    at = box.x - box.h + step / 2
    while at < box.right:
        x0, x1 = max(at, box.x), min(at + box.h, box.right)
        if x1 > x0:
            y0, y1 = box.bottom - (x0 - at), box.bottom - (x1 - at)
            if not rising:
                y0, y1 = box.y + (x0 - at), box.y + (x1 - at)
            yield Line(((x0, y0), (x1, y1)), theme.ink, width)
        at += step


def _span_bracket(view: View, theme: Theme, parts: Parts, rows: Box) -> Iterator[DrawOp]:
    count = max(1, len(view.snapshot.arrangement.bars))
    span = view.snapshot.span
    left = rows.x + rows.w * span.from_bar / count - 1
    right = rows.x + rows.w * (span.to_bar + 1) / count - 2
    thick = max(2.0, 2.4 * parts.unit)
    top, bottom, reach = rows.y - 4, rows.bottom + 1, max(4.0, 6 * parts.unit)
    for x, inward in ((left, reach), (right, -reach)):
        yield Line(((x + inward, top), (x, top), (x, bottom), (x + inward, bottom)),
                   theme.heard, thick)  # fmt: skip
    if view.anchor_bar is not None:
        x = rows.x + rows.w * view.anchor_bar / count
        yield Line(((x, top), (x, bottom)), theme.heard, thick, dash=4.0)


def _place_now(view: View, theme: Theme, parts: Parts, rows: Box) -> Iterator[DrawOp]:
    snapshot = view.snapshot
    if snapshot.place_q is None or snapshot.state not in ("playing", "listening"):
        return
    bar = snapshot.arrangement.bar_at(snapshot.place_q).index
    x = rows.x + rows.w * (bar + 0.5) / max(1, len(snapshot.arrangement.bars))
    thick = max(3.0, 3 * parts.unit)
    for colour, width in ((theme.paper, thick + 4), (theme.heard, thick)):  # seen on black too
        yield Line(((x, rows.y - 2), (x, rows.bottom - 1)), colour, width)
