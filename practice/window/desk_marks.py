"""The marks on the Desk: what is heard while playing, what a pass says afterwards.

Heads are never touched. A mark stands beside its head: a small tick for heard (never a dot, which
would lengthen the note); after the pass the tick stands left or right by how early or late the
note came (an arrow beyond 60 ms); square brackets round what was left out; a lozenge at the
height played for a wrong note, a cross for one too many, its name near it.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from functools import lru_cache
from typing import Protocol

from practice.engraving.system import Head
from practice.window.desk import Place, find_places
from practice.window.faces import words
from practice.window.marks import FURTHEST_MS, SlipMark, TimingMark, read_marks
from practice.window.ops import Box, Colour, DrawOp, Line, Shape, Words
from practice.window.page import Page
from practice.window.parts import Parts, page_text_px
from practice.window.theme import Theme
from practice.window.view import View

#: Spaces: from the head's edge to a mark on time, and from there to one 60 ms off.
NEAR, REACH = 0.34, 1.15
_HEARD, _TICK, _LOZENGE = 0.3, 0.5, 0.62
#: A note displaced by less is heard as on time (Friberg & Sundberg 1995: 6 ms in fast notes), and
#: gets the plain small tick.
ON_TIME_MS = 6.0


class Spot(Protocol):
    """Where marks are drawn: a line on the screen, or a sample in the help."""

    @property
    def px(self) -> float:
        """Pixels a staff space."""
        ...

    @property
    def slot(self) -> Box:
        """What marks must stay inside."""
        ...

    def at(self, x: float, y: float) -> tuple[float, float]:
        """Pixels of a point in spaces."""
        ...


def compose_marks(view: View, theme: Theme, parts: Parts) -> list[DrawOp]:
    """The ticks: what was heard so far, or how early and late the notes of a pass were."""
    page = view.page
    if page is None or view.performing or not view.page_fits:
        return []
    places = find_places(view, parts)
    if view.playing:
        if view.preferences.marks_while_playing == "none" or view.snapshot.run_through:
            return []
        return [op for at in places for op in _heard(page, at, view.heard, theme, parts)]
    if not view.averaged:
        return []
    timing = read_marks(page.arrangement, view.averaged).timing
    return [op for at in places for op in _timing_marks(page, at, timing, theme, parts)]


def compose_slips(view: View, theme: Theme, parts: Parts) -> list[DrawOp]:
    """The marks of what was left out, struck instead, or too many, after a pass."""
    page = view.page
    if page is None or view.performing or view.playing or not view.averaged:
        return []
    if not view.page_fits:
        return []
    slips = read_marks(page.arrangement, view.averaged).slips
    return [
        op for at in find_places(view, parts) for op in _slip_marks(page, at, slips, theme, parts)
    ]


def compose_place(view: View, theme: Theme, parts: Parts) -> list[DrawOp]:
    """The place now heard: a tick over and under the staves, broken where there is doubt."""
    place_q = view.snapshot.place_q
    if view.page is None or not view.page_fits:
        return []
    if view.fingered is not None:
        return _fingered(view.page, view.fingered, find_places(view, parts), theme, parts)
    if place_q is None or view.snapshot.state not in ("playing", "listening"):
        return []
    if view.snapshot.run_through:
        return []  # nothing moves while the whole form is played
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


def _fingered(
    page: Page, note: int, places: Sequence[Place], theme: Theme, parts: Parts
) -> list[DrawOp]:
    """A frame round the head whose fingering is being set."""
    head, line = page.head(note), page.line_of_bar(page.arrangement.notes[note].bar)
    thick = max(2.0, 2 * parts.unit)
    ops: list[DrawOp] = []
    for place in places:
        if head is not None and place.line == line:
            left, top = place.at(head.x - 1.0, head.y - 0.9)
            right, bottom = place.at(head.x + 1.0, head.y + 0.9)
            frame = ((left, top), (right, top), (right, bottom), (left, bottom), (left, top))
            ops.append(Line(frame, theme.heard, thick))
    return ops


def _heard(
    page: Page, place: Place, heard: frozenset[int], theme: Theme, parts: Parts
) -> Iterator[DrawOp]:
    for note in page.notes_of(place.line):
        head = page.head(note) if note in heard else None
        if head is not None:
            yield draw_heard(place, head, theme, parts)


def draw_heard(place: Spot, head: Head, theme: Theme, parts: Parts) -> DrawOp:
    """The mark of a note that was heard, or that was on time."""
    x, y = place.at(head.right + NEAR, head.y)
    return _tick(x, y, _HEARD * place.px, theme.heard, max(2.0, 2 * parts.unit))


@lru_cache(maxsize=1024)
def _tick(x: float, y: float, tall: float, colour: Colour, width: float) -> Line:
    """The same tick is the same object, so that frames are told apart quickly."""
    return Line(((x, y - tall), (x, y + tall)), colour, width)


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
    place: Spot, head: Head, deviation_ms: float, theme: Theme, parts: Parts
) -> Iterator[DrawOp]:
    """The mark of one right note."""
    if math.isnan(deviation_ms) or abs(deviation_ms) < ON_TIME_MS:
        yield draw_heard(place, head, theme, parts)
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
    names: list[tuple[Box, str]] = []
    for mark in marks:
        note = page.arrangement.notes[mark.score]
        head = page.head(mark.score)
        if head is None or not place.line.from_bar <= note.bar <= place.line.to_bar:
            continue
        if mark.kind == "missing":
            shape = draw_missing(place, head, theme, parts)
        else:
            shape = draw_elsewhere(place, head, mark, theme, parts)
        ops += shape
        often = f" {mark.times} of {mark.out_of}" if mark.out_of > 1 else ""
        names.append((shape[-1].box, (mark.name + often).strip()))
    taken = Taken()
    for box in (*(box for box, _ in names), *head_boxes(page, place)):
        taken.add(box)
    return ops + _place_names(place, names, taken, theme, parts)


class Taken:
    """Boxes already in use, kept by column so that looking one up stays quick."""

    _WIDE = 64

    def __init__(self) -> None:
        self._columns: dict[int, list[Box]] = {}

    def add(self, box: Box) -> None:
        """Use a box."""
        for column in self._over(box):
            self._columns.setdefault(column, []).append(box)

    def meets(self, box: Box) -> bool:
        """Whether it shares any area with one in use."""
        return any(
            box.meets(other)
            for column in self._over(box)
            for other in self._columns.get(column, ())
        )

    def _over(self, box: Box) -> range:
        return range(int(box.x // self._WIDE), int(box.right // self._WIDE) + 1)


def head_boxes(page: Page, place: Place) -> Iterator[Box]:
    """What names must not cover: the heads of the line, with their accidentals."""
    for head in place.system.heads.values():
        x, y = place.at(head.left, head.y - 0.5)
        yield Box(x, y, (head.right - head.left) * place.px, place.px)


def draw_missing(place: Spot, head: Head, theme: Theme, parts: Parts) -> list[DrawOp]:
    """Square brackets round a note that was left out."""
    left, top = place.at(head.left - 0.28, head.y - 0.82)
    right, bottom = place.at(head.right + 0.28, head.y + 0.82)
    arm, thick = 0.35 * place.px, max(1.8, 2 * parts.unit)
    return [
        Line(((left + arm, top), (left, top), (left, bottom), (left + arm, bottom)),
             theme.slip, thick),
        Line(((right - arm, top), (right, top), (right, bottom), (right - arm, bottom)),
             theme.slip, thick),
    ]  # fmt: skip


def draw_elsewhere(
    place: Spot, head: Head, mark: SlipMark, theme: Theme, parts: Parts
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
    names: Sequence[tuple[Box, str]],
    taken: Taken,
    theme: Theme,
    parts: Parts,
) -> list[DrawOp]:
    """Names near their marks where there is room; one that would cover anything is left out."""
    ops: list[DrawOp] = []
    for box, text in names:
        if not text:
            continue
        size = page_text_px(parts, place.px)
        for label in _candidates(box, text, theme, size):
            if place.slot.holds(label.box) and not taken.meets(label.box):
                ops += _leader(box, label, theme)
                ops.append(label)
                taken.add(label.box)
                break
    return ops


def _candidates(box: Box, text: str, theme: Theme, size: int) -> Iterator[Words]:
    """Where a name may stand: beside its mark, over or under it, then further off."""
    gap = size * 0.25
    middle = box.y + box.h / 2 + size * 0.36
    ground = theme.paper
    yield words(box.right + gap, middle, text, size, theme.slip, "bold", ground=ground)
    yield words(box.x - gap, middle, text, size, theme.slip, "bold", "right", ground)
    x = box.x + box.w / 2
    for step in range(7):
        up = box.y - gap - step * size * 0.6
        yield words(x, up, text, size, theme.slip, "bold", "centre", ground)
        down = box.bottom + size * 0.8 + gap + step * size * 0.6
        yield words(x, down, text, size, theme.slip, "bold", "centre", ground)
        # at the end of a line only what lies to the left is free
        yield words(box.right, up, text, size, theme.slip, "bold", "right", ground)
        yield words(box.right, down, text, size, theme.slip, "bold", "right", ground)


def _leader(box: Box, label: Words, theme: Theme) -> Iterator[DrawOp]:
    """A thin line from a mark to its name where the two stand apart."""
    x = box.x + box.w / 2
    near = label.size * 0.7
    if label.box.bottom < box.y - near:
        yield Line(((x, label.box.bottom), (x, box.y)), theme.slip, 1.0)
    elif label.box.y > box.bottom + near:
        yield Line(((x, box.bottom), (x, label.box.y)), theme.slip, 1.0)
