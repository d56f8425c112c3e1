"""The Desk: the engraved page in slots, the span bracketed, the rest dimmed, what the form says."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

from practice.engrave import PageLayout
from practice.engraving.system import EngravedSystem
from practice.window.faces import text_width, words
from practice.window.ops import Align, Box, Colour, DrawOp, Fill, Line, Picture, Shape
from practice.window.page import Page, PageLine
from practice.window.parts import Parts, page_text_px
from practice.window.theme import Theme
from practice.window.view import View

MOST_SLOTS = 6
#: Systems have room round them: slots may be a little lower than the tallest one.
_OVERLAP = 1.06
SMALLEST_FITTING_PX = 4
#: A short piece is engraved larger where that makes a difference, up to a limit.
_LEAST_GROWTH, _MOST_GROWTH = 1.15, 1.5
#: Rehearsal marks and words begin left of the barline they belong to: where a bar has one, the
#: span's edge over the staff (from so many spaces up) is set back by half the text's width: so
#: many spaces, and so many more a letter.
_OVER_STAFF, _TEXT_REACH, _LETTER_REACH = 0.7, 1.0, 0.53
_WORDY = ("rehearsal", "words", "segno", "coda")
Tint = tuple[Colour, Colour, Colour]


@dataclass(frozen=True, slots=True)
class Place:
    """A line of the page where it stands on the screen: (0, 0) of its system, pixels a space."""

    line: PageLine
    system: EngravedSystem
    slot: Box
    x: float
    y: float
    px: float

    def at(self, x: float, y: float) -> tuple[float, float]:
        """Pixels of a point given in spaces of the system."""
        return self.x + x * self.px, self.y + y * self.px

    @property
    def top(self) -> float:
        """The upper staff's top line, pixels."""
        return self.y + self.system.staves[0].top * self.px

    @property
    def bottom(self) -> float:
        """The lower staff's bottom line, pixels."""
        return self.y + self.system.staves[-1].bottom * self.px


def page_box(parts: Parts, performing: bool) -> Box:
    """Where the page stands: the Desk, or the whole window in the performance view."""
    box = parts.whole if performing else parts.desk
    return box.inset(parts.gap, parts.gap * 0.5)


def slot_plan(page: Page, parts: Parts, performing: bool) -> tuple[int, float]:
    """How many slots there are, at least two, and how many pixels a space has in them."""
    box = page_box(parts, performing)
    tallest = page.tallest
    fitting = min(page.score.layout.space_px, box.w / page.score.layout.width_spaces)
    px = min(fitting, box.h / 2 / tallest)
    count = int(box.h * _OVERLAP // (tallest * px))
    lines = len(page.lines) if page.score.done else MOST_SLOTS
    return max(2, min(count, lines, MOST_SLOTS)), px


def fitting_layout(page: Page | None, parts: Parts, performing: bool) -> PageLayout:
    """How the page is to be engraved in the Desk's room.

    At the usual size, unless a page engraved so shows that two of its systems do not fit one above
    the other (then smaller), or that all of it would fit larger. A page already made to fit stays.
    """
    box, px = page_box(parts, performing), parts.space_px
    if page is not None and page.score.done:
        if page.score.layout.space_px != px:
            return page.score.layout
        px = _fitting_px(page, box, px)
    return PageLayout(max(40, int(box.w / px // 2) * 2), px)


def _fitting_px(page: Page, box: Box, px: int) -> int:
    two = max(SMALLEST_FITTING_PX, int(box.h / 2 / page.tallest))
    if two < px:
        return two
    # a space larger by f makes systems f times as high, and f times as many of them
    growth = (box.h / (len(page.score.systems) * page.tallest * px)) ** 0.5
    if growth < _LEAST_GROWTH:
        return px
    return min(int(px * min(growth, _MOST_GROWTH)), two)


def find_places(view: View, parts: Parts) -> list[Place]:
    """Every line on the screen, top to bottom."""
    if view.page is None or not view.page.lines:
        return []
    box = page_box(parts, view.performing)
    _, px = slot_plan(view.page, parts, view.performing)
    height = box.h / len(view.slots)
    places = []
    for number, index in enumerate(view.slots):
        if index is None or index >= len(view.page.lines):
            continue
        line = view.page.lines[index]
        system = view.page.system(line)
        slot = Box(box.x, box.y + number * height, box.w, height)
        y = slot.y + max(0.0, (height - system.height * px) / 2)
        places.append(Place(line, system, slot, box.x, round(y), px))
    return places


def compose_page(view: View, theme: Theme, parts: Parts) -> list[DrawOp]:
    """What stays while the player plays on one opening of the page."""
    box = page_box(parts, view.performing)
    if view.page is None or not view.page.lines:
        text = view.note or "The page is being engraved …"
        x, y = box.middle
        return [words(x, y, text, parts.type.body, theme.soft, "serif-italic", "centre")]
    ops: list[DrawOp] = []
    places = find_places(view, parts)
    if not view.page_fits:  # a saved score is on its way: until then the old page, bare
        tint = (theme.ink, theme.ink, theme.ink)
        return [_stretch(place, 0, place.system.width, tint) for place in places]
    for place in places:
        ops += _changed_bars(view, theme, place)
        ops += _inks(view, theme, place)
        ops += _hidden_numbers(view, theme, place, parts)
        if not view.performing:
            ops += _brackets(view, theme, place, parts)
        flags = list(_rescue_flags(view, theme, place, parts))
        label = list(_time_label(theme, place, parts))
        ops += [*label, *flags]
        if not view.performing:
            ops += _form_signs(view, theme, place, parts, [op.box for op in (*label, *flags)])
    return [*ops, *_seams(view, theme, places)]


def _inks(view: View, theme: Theme, place: Place) -> Iterator[Picture]:
    """The system's picture, in up to three stretches: before, in and after the span."""
    lit, dim = tints(view, theme)
    width = place.system.width
    if view.performing:
        yield _stretch(place, 0, width, lit)
        return
    first, last = view.snapshot.span.from_bar, view.snapshot.span.to_bar
    start, end = max(first, place.line.from_bar), min(last, place.line.to_bar)
    if start > end:
        yield _stretch(place, 0, width, dim)
        return
    assert view.page is not None
    left = 0.0 if start == place.line.from_bar else view.page.bar_edges(start)[0]
    right = width if end == place.line.to_bar else view.page.bar_edges(end)[1]
    over = max(0.0, place.system.staves[0].top - _OVER_STAFF)
    back_left, back_right = (_word_reach(view.page, bar) for bar in (start, end + 1))
    hidden = _hidden_stretch(view, place, start, end)
    for top, bottom, share in ((0.0, over, 1.0), (over, place.system.height, 0.0)):
        begin = max(0.0, left - back_left * share)
        stop = right if right == width else max(begin, right - back_right * share)
        for from_x, to_x, tint in ((0.0, begin, dim), (begin, stop, lit), (stop, width, dim)):
            for part_from, part_to in _without(from_x, to_x, hidden):
                yield _stretch(place, part_from, part_to, tint, top, bottom)


def hidden_from(view: View) -> int | None:
    """The first bar that is hidden when playing from memory, None where the page is shown.

    Bars hide ahead of the player and come back as they are played; all of them come back when the
    player is lost or asks, and after the pass.
    """
    snapshot = view.snapshot
    shown = view.peeking or view.performing or not snapshot.from_memory
    if shown or snapshot.state in ("rest", "ended", "listening") or snapshot.doubt:
        return None
    if snapshot.place_q is None or snapshot.state != "playing":
        return snapshot.span.from_bar
    return snapshot.arrangement.bar_at(snapshot.place_q).index + 1


def _hidden_stretch(view: View, place: Place, start: int, end: int) -> tuple[float, float] | None:
    """The hidden bars among [start, end] of a line, from left to right in spaces."""
    first = hidden_from(view)
    if first is None or view.page is None or first > end:
        return None
    return _music_from(view.page, place, max(first, start)), view.page.bar_edges(end)[1]


def _music_from(page: Page, place: Place, bar: int) -> float:
    """Where a bar's music begins: after clef and key, which stay, in the first bar of a line."""
    left, right = page.bar_edges(bar)
    if bar != place.line.from_bar:
        return left
    heads = place.system.heads.values()
    return min((h.left for h in heads if h.left < right), default=left) - 1.2


def _without(
    from_x: float, to_x: float, hidden: tuple[float, float] | None
) -> list[tuple[float, float]]:
    """A stretch less the hidden one."""
    if hidden is None:
        return [(from_x, to_x)] if to_x > from_x else []
    pieces = ((from_x, min(to_x, hidden[0])), (max(from_x, hidden[1]), to_x))
    return [(a, b) for a, b in pieces if b > a]


def _hidden_numbers(view: View, theme: Theme, place: Place, parts: Parts) -> Iterator[DrawOp]:
    """The numbers of hidden bars, and their barlines, so that the place is not lost."""
    first, page = hidden_from(view), view.page
    if first is None or page is None:
        return
    span = view.snapshot.span
    size, y = parts.type.body, (place.top + place.bottom) / 2
    for bar in range(max(first, span.from_bar, place.line.from_bar),
                     min(span.to_bar, place.line.to_bar) + 1):  # fmt: skip
        left = place.x + _music_from(page, place, bar) * place.px
        right = place.x + page.bar_edges(bar)[1] * place.px
        yield Line(((right, place.top), (right, place.bottom)), theme.rule, 1.0)
        number = page.arrangement.bars[bar].number
        yield words((left + right) / 2, y, number, size, theme.soft, "serif-italic", "centre")


def _word_reach(page: Page, bar: int) -> float:
    """How far to the left a bar's words reach over the bar before."""
    marks = (m for m in page.arrangement.marks if m.bar == bar and m.kind in _WORDY)
    return max((_TEXT_REACH + _LETTER_REACH * len(m.text) for m in marks), default=0.0)


def _stretch(
    place: Place, from_x: float, to_x: float, tint: Tint, top: float = 0.0, bottom: float = 0.0
) -> Picture:
    bottom = bottom or place.system.height
    return Picture(place.system.index, place.x, place.y, from_x, to_x, top, bottom, place.px, tint)


def tints(view: View, theme: Theme) -> tuple[Tint, Tint]:
    """The inks inside the span, and outside it."""
    hands = view.snapshot.hands if not view.performing else "both"
    right = theme.silent if hands == "left" else theme.ink
    left = theme.silent if hands == "right" else theme.ink
    return (right, left, theme.ink), (theme.dim, theme.dim, theme.dim)


def _changed_bars(view: View, theme: Theme, place: Place) -> Iterator[DrawOp]:
    assert view.page is not None
    bars = view.page.arrangement.bars
    for bar in range(place.line.from_bar, place.line.to_bar + 1):
        if bars[bar].written in view.changed_bars:
            left, right = view.page.bar_edges(bar)
            x, _ = place.at(left, 0)
            w = (right - left) * place.px
            yield Fill(Box(x, place.slot.y, w, place.slot.h), theme.shade)


def _brackets(view: View, theme: Theme, place: Place, parts: Parts) -> Iterator[DrawOp]:
    """Square brackets round the span, where it begins and where it ends."""
    assert view.page is not None
    span, line = view.snapshot.span, place.line
    thick = max(2.0, 2.4 * parts.unit)
    reach = 0.9 * place.px
    top, bottom = place.top - 0.9 * place.px, place.bottom + 0.9 * place.px
    if line.from_bar <= span.from_bar <= line.to_bar:
        first = span.from_bar == line.from_bar
        back = 1.5 if first else 0.75
        x = place.x + (view.page.bar_edges(span.from_bar)[0] - back) * place.px
        x = max(x, place.slot.x + thick)
        points = ((x + reach, top), (x, top), (x, bottom), (x + reach, bottom))
        yield Line(points, theme.heard, thick)
    if line.from_bar <= span.to_bar <= line.to_bar:
        x = place.x + view.page.bar_edges(span.to_bar)[1] * place.px
        x = min(x + thick, place.slot.right - thick)
        points = ((x - reach, top), (x, top), (x, bottom), (x - reach, bottom))
        yield Line(points, theme.heard, thick)


def _time_label(theme: Theme, place: Place, parts: Parts) -> Iterator[DrawOp]:
    if place.line.time < 2:
        return
    ending = {2: "2nd", 3: "3rd"}.get(place.line.time, f"{place.line.time}th")
    size = page_text_px(parts, place.px)
    # over everything that is engraved there: rehearsal marks stand lower
    y = max(place.slot.y + size, place.y + 0.6 * place.px)
    yield words(place.x, y, f"{ending} time", size, theme.heard, "serif-italic", ground=theme.paper)


def _rescue_flags(view: View, theme: Theme, place: Place, parts: Parts) -> Iterator[DrawOp]:
    """The player's own rescue points: a numbered flag on the bar's left barline."""
    assert view.page is not None
    for number, bar in enumerate(view.rescue_bars, 1):
        if place.line.from_bar <= bar <= place.line.to_bar:
            x = place.x + view.page.bar_edges(bar)[0] * place.px
            size = page_text_px(parts, place.px)
            w = text_width(str(number), "bold", size) + size * 0.7
            h = size * 1.25
            top = max(place.slot.y, place.y + 0.6 * place.px - h)
            yield Shape(
                ((x, top), (x + w, top), (x + w + h / 3, top + h / 2), (x + w, top + h),
                 (x, top + h)), theme.ink,
            )  # fmt: skip
            yield words(x + size * 0.35, top + size, str(number), size, theme.paper, "bold")


def _form_signs(
    view: View, theme: Theme, place: Place, parts: Parts, taken: list[Box]
) -> list[DrawOp]:
    """Twins: a fork over the staff where they part, two strokes where they begin, with the bar.

    `taken` is what stands over the staff already; the signs go beside it.
    """
    assert view.page is not None
    page = view.page
    ops: list[DrawOp] = []
    seen: set[int] = set()
    for sign in page.twin_signs(place.line):
        bar = page.arrangement.bar_at(sign.q).index
        if bar not in seen:
            number = page.arrangement.bar_at(sign.other_q).number
            text = f"unlike bar {number}" if sign.parts else f"like bar {number}"
            x = place.x + page.x_at(place.line, sign.q) * place.px
            drawn = _twin_sign(theme, place, parts, x, sign.parts, text, taken)
            ops += drawn
            seen |= {bar} if drawn else set()
    return ops


def _twin_sign(
    theme: Theme, place: Place, parts: Parts, x: float, fork: bool, text: str, taken: list[Box]
) -> list[DrawOp]:
    """The sign and its words, right or left of it; nothing where they would meet others."""
    size, arm = page_text_px(parts, place.px), 0.55 * place.px
    y = max(place.slot.y + 0.6 * size, place.y + 0.7 * place.px - 0.6 * size)
    box = Box(x - 1.4 * arm, y - 1.4 * arm, 2.8 * arm, 2.8 * arm)
    flag = next((other for other in taken if box.meets(other)), None)
    if flag is not None:  # a rescue flag on the same barline: past its point
        x = flag.right + 3.0 * arm
        box = Box(x - 1.4 * arm, box.y, box.w, box.h)
    if any(box.meets(other) for other in taken):
        return []
    base = y + size * 0.36
    sides: tuple[tuple[float, Align], ...] = ((x + 2.4 * arm, "left"), (x - 2.4 * arm, "right"))
    for at, align in sides:
        label = words(at, base, text, size, theme.soft, "serif-italic", align, theme.paper)
        if place.slot.holds(label.box) and not any(label.box.meets(other) for other in taken):
            taken += [box, label.box]
            draw = draw_fork if fork else draw_like
            return [*draw(x, y, place.px, theme, parts), label]
    return []


def draw_like(x: float, y: float, px: float, theme: Theme, parts: Parts) -> list[DrawOp]:
    """Two level strokes round a middle: the same."""
    arm, thick = 0.5 * px, max(1.5, 1.7 * parts.unit)
    return [
        Line(((x - arm, y + up), (x + arm, y + up)), theme.soft, thick)
        for up in (-0.3 * px, 0.3 * px)
    ]


def draw_fork(x: float, y: float, px: float, theme: Theme, parts: Parts) -> list[DrawOp]:
    """A small fork round a middle: one way in, two ways on."""
    arm, thick = 0.55 * px, max(1.5, 1.7 * parts.unit)
    return [
        Line(((x, y + 1.2 * arm), (x, y), (x - arm, y - 1.2 * arm)), theme.soft, thick),
        Line(((x, y), (x + arm, y - 1.2 * arm)), theme.soft, thick),
    ]


def _seams(view: View, theme: Theme, places: list[Place]) -> Iterator[DrawOp]:
    """A thin rule between two slots where reading does not go on downwards."""
    for upper, lower in pairwise(places):
        if lower.line.index != upper.line.index + 1:
            y = lower.slot.y
            ends = ((lower.slot.x, y), (lower.slot.right, y))
            yield Line(ends, theme.soft, 1.0, dash=6.0)
