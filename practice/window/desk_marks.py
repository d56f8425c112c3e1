"""The marks on the Desk: what is heard while playing, what a pass says afterwards.

Heads are never touched. A mark stands beside its head: a dot for heard; a tick left or right of
it by how early or late (an arrow beyond 60 ms); square brackets round what was left out; a
lozenge at the height played for a wrong note, a cross for one too many, its name beside it.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from practice.engraving.system import Head
from practice.window.desk import Place, find_places
from practice.window.faces import words
from practice.window.marks import FURTHEST_MS, SlipMark, TimingMark, read_marks
from practice.window.ops import Box, Disc, DrawOp, Line, Shape, Words
from practice.window.page import Page
from practice.window.parts import Parts
from practice.window.theme import Theme
from practice.window.view import View

#: Spaces: from the head's edge to a mark on time, and from there to one 60 ms off.
NEAR, REACH = 0.34, 1.15
_DOT, _TICK, _LOZENGE = 0.2, 0.5, 0.62
_PRINTED_DEVIATION_MS = 1.0


def compose_marks(view: View, theme: Theme, parts: Parts) -> list[DrawOp]:
    """All marks for the lines on the screen."""
    if view.page is None or view.performing:
        return []
    places = find_places(view, parts)
    ops: list[DrawOp] = []
    if view.playing:
        if view.preferences.marks_while_playing != "none":
            for place in places:
                ops += _heard(view.page, place, view.heard, theme)
    elif view.averaged:
        marks = read_marks(view.page.arrangement, view.averaged)
        for place in places:
            ops += _timing_marks(view.page, place, marks.timing, theme, parts)
        for place in places:
            ops += _slip_marks(view.page, place, marks.slips, theme, parts)
    return ops


def compose_place(view: View, theme: Theme, parts: Parts) -> list[DrawOp]:
    """The place now heard: a tick over and under the staves, broken where there is doubt."""
    place_q = view.snapshot.place_q
    if view.page is None or place_q is None or view.snapshot.state not in ("playing", "listening"):
        return []
    line = view.page.line_at(place_q)
    ops: list[DrawOp] = []
    for place in find_places(view, parts):
        if place.line == line:
            x = place.x + view.page.x_at(line, place_q) * place.px
            dash = 3.0 if view.snapshot.doubt else 0.0
            thick = max(2.0, 2.2 * parts.unit)
            for y, to in (
                (place.top - 2.2 * place.px, place.top - 0.7 * place.px),
                (place.bottom + 0.7 * place.px, place.bottom + 2.2 * place.px),
            ):
                ops.append(Line(((x, y), (x, to)), theme.heard, thick, dash))
    return ops


def _heard(page: Page, place: Place, heard: frozenset[int], theme: Theme) -> Iterator[DrawOp]:
    for note in page.notes_of(place.line):
        head = page.head(note) if note in heard else None
        if head is not None:
            x, y = place.at(head.right + NEAR, head.y)
            yield Disc(x, y, max(2.0, _DOT * place.px), theme.heard)


def _timing_marks(
    page: Page, place: Place, marks: Sequence[TimingMark], theme: Theme, parts: Parts
) -> Iterator[DrawOp]:
    line = place.line
    for mark in marks:
        if line.from_bar <= page.arrangement.notes[mark.score].bar <= line.to_bar:
            head = page.head(mark.score)
            if head is not None:
                yield from draw_timing(place, head, mark.deviation_ms, theme, parts)


def draw_timing(
    place: Place, head: Head, deviation_ms: float, theme: Theme, parts: Parts
) -> Iterator[DrawOp]:
    """The mark of one right note."""
    if math.isnan(deviation_ms) or abs(deviation_ms) < _PRINTED_DEVIATION_MS:
        x, y = place.at(head.right + NEAR, head.y)
        yield Disc(x, y, max(2.0, _DOT * place.px), theme.heard)
        return
    late = deviation_ms > 0
    side = 1 if late else -1
    colour = theme.late if late else theme.early
    edge = head.right if late else head.left
    share = min(abs(deviation_ms) / FURTHEST_MS, 1.0)
    x0, y = place.at(edge + side * 0.12, head.y)
    x1, _ = place.at(edge + side * (NEAR + share * REACH), head.y)
    thick = max(1.6, 1.8 * parts.unit)
    yield Line(((x0, y), (x1, y)), colour, max(1.0, thick * 0.6))
    tall = _TICK * place.px
    if abs(deviation_ms) <= FURTHEST_MS:
        yield Line(((x1, y - tall), (x1, y + tall)), colour, thick)
    else:
        tip = x1 + side * tall
        yield Shape(((x1, y - tall), (tip, y), (x1, y + tall)), colour)


def _slip_marks(
    page: Page, place: Place, marks: Sequence[SlipMark], theme: Theme, parts: Parts
) -> list[DrawOp]:
    ops: list[DrawOp] = []
    names: list[tuple[Box, str, str]] = []
    taken: list[Box] = []
    for mark in marks:
        note = page.arrangement.notes[mark.score]
        head = page.head(mark.score)
        if head is None or not place.line.from_bar <= note.bar <= place.line.to_bar:
            continue
        shape = _missing(place, head, theme, parts)
        if mark.kind != "missing":
            shape = _heard_elsewhere(place, head, mark, theme, parts)
        ops += shape
        box = shape[-1].box
        taken.append(box)
        often = f" {mark.times} of {mark.out_of}" if mark.out_of > 1 else ""
        if mark.name or often:
            names.append((box, mark.name + often, mark.kind))
    return ops + _place_names(place, names, taken, theme, parts)


def _missing(place: Place, head: Head, theme: Theme, parts: Parts) -> list[DrawOp]:
    left, top = place.at(head.left - 0.28, head.y - 0.82)
    right, bottom = place.at(head.right + 0.28, head.y + 0.82)
    arm, thick = 0.35 * place.px, max(1.8, 2 * parts.unit)
    return [
        Line(((left + arm, top), (left, top), (left, bottom), (left + arm, bottom)),
             theme.slip, thick),
        Line(((right - arm, top), (right, top), (right, bottom), (right - arm, bottom)),
             theme.slip, thick),
    ]  # fmt: skip


def _heard_elsewhere(
    place: Place, head: Head, mark: SlipMark, theme: Theme, parts: Parts
) -> list[DrawOp]:
    """A lozenge or a cross at the height played; at the slot's edge where that lies beyond."""
    size, thick = _LOZENGE * place.px, max(1.8, 2 * parts.unit)
    x, y = place.at(head.right + 1.15, head.y - mark.steps / 2)
    y = min(max(y, place.slot.y + size + thick), place.slot.bottom - size - thick)
    x = min(x, place.slot.right - size - thick)
    lead: list[DrawOp] = []
    if mark.kind == "wrong":
        start = place.at(head.right + 0.1, head.y)
        lead = [Line((start, (x - size, y)), theme.slip, max(1.0, 1.1 * parts.unit))]
        ring = ((x - size, y), (x, y - size), (x + size, y), (x, y + size), (x - size, y))
        return [*lead, Line(ring, theme.slip, thick)]
    return [
        Line(((x - size, y), (x + size, y)), theme.slip, thick),
        Line(((x, y - size), (x, y + size)), theme.slip, thick),
    ]


def _place_names(
    place: Place,
    names: Sequence[tuple[Box, str, str]],
    taken: list[Box],
    theme: Theme,
    parts: Parts,
) -> list[DrawOp]:
    """Names beside their marks, where there is room; a name that would overlap is left out."""
    ops: list[DrawOp] = []
    for box, text, _ in names:
        for label in _candidates(box, text, theme, parts):
            inside = place.slot.holds(label.box)
            others = (other for other in taken if other is not box)
            if inside and not any(label.box.meets(other) for other in others):
                ops.append(label)
                taken.append(label.box)
                break
    return ops


def _candidates(box: Box, text: str, theme: Theme, parts: Parts) -> Iterator[Words]:
    size = parts.type.small
    gap = size * 0.25
    middle = box.y + box.h / 2 + size * 0.36
    right = words(box.right + gap, middle, text, size, theme.slip, "bold", ground=theme.paper)
    yield right
    x = box.x + box.w / 2
    for y in (box.y - gap, box.bottom + size * 0.8 + gap):
        yield words(x, y, text, size, theme.slip, "bold", "centre", ground=theme.paper)
    yield words(box.x - gap, middle, text, size, theme.slip, "bold", "right", ground=theme.paper)
