"""The Wheel: one turn is one cell of the figure, each note at its real angle.

The first place is at the top and time runs clockwise. The radius is loudness. The last pass is
bright, earlier ones faint; outside the notes each place has its mean and the mean's 95 %
interval, and a band as wide as the just noticeable difference round where it is written.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import Any

from engine.arrangement import Figure, Span
from engine.findings import Estimate
from practice.snapshot import PassRecord
from practice.window.cells_played import (
    PlayedCells,
    figure_in,
    nominal_turns,
    read_cells,
)
from practice.window.faces import text_width, words
from practice.window.ops import Disc, DrawOp, Line, Point, Shape
from practice.window.parts import Parts
from practice.window.theme import Theme
from practice.window.view import View

#: Earlier passes shown behind the last.
OLDER_PASSES = 4
#: Velocities at the inner and the outer edge, and where these edges are (shares of the radius).
_SOFTEST, _LOUDEST = 10, 110
_SOFT, _LOUD = 0.34, 0.86
#: The ring of the just noticeable difference, and of the means that stand over it.
_RING_IN, _RING_OUT, _MEANS = 0.90, 1.0, 0.95
#: How wide words in the middle may be, a share of the radius.
_MIDDLE = 0.85


def least_noticeable_ms(interval_ms: float) -> float:
    """Least displacement heard in an even row: 6 ms, or 2.5 % of intervals over 240 ms.

    Friberg & Sundberg 1995, J Acoust Soc Am 98:2524-31.
    """
    return 6.0 if interval_ms < 240.0 else 0.025 * interval_ms


def compose_wheel(view: View, theme: Theme, parts: Parts) -> list[DrawOp]:
    """The Wheel of the figure in the span; nothing where there is none (see `has_wheel`)."""
    snapshot = view.snapshot
    figure = figure_in(snapshot.arrangement, snapshot.span, snapshot.hands)
    if figure is None:
        return []
    box = parts.wheel.inset(parts.gap, parts.gap * 0.5)
    label = parts.type.small * 1.5
    radius = min(box.w, box.h - label) / 2 - parts.type.small * 1.1
    centre = (box.x + box.w / 2, box.y + label + (box.h - label) / 2)
    shown = [r for r in snapshot.passes if r.number <= (view.looked_at or math.inf)]
    shown = [r for r in shown if r.hands in ("both", figure.hand)]
    shown = [r for r in shown if _shares_bars(r.span, snapshot.span)]
    ops = _face(view, theme, parts, figure, centre, radius)
    cells = [
        (r, read_cells(snapshot.arrangement, figure, snapshot.span, r.notes, r.findings))
        for r in shown[-1 - OLDER_PASSES :]
    ]
    cells = [(r, c) for r, c in cells if c.notes]
    for _, older in cells[:-1]:
        ops += _notes(older, centre, radius, theme.older, max(1.5, 0.010 * radius), ring=True)
    if cells:
        record, last = cells[-1]
        ops += _noticeable(figure, last, view, theme, centre, radius)
        ops += _notes(last, centre, radius, theme.heard, max(2.2, 0.016 * radius))
        ops += _means(record, figure, last, view, theme, parts, centre, radius)
        ops += _numbers(record, last, theme, parts, centre, radius)
    else:
        small = parts.type.small
        for line, text in enumerate(("not", "played yet") if not shown else ("no whole", "cell")):
            y = centre[1] + small * (0.1 + 1.2 * line - 0.35)
            ops.append(words(centre[0], y, text, small, theme.soft, "serif-italic", "centre"))
    title = f"{figure.hand} hand, one turn a cell of {figure.places}"
    ops.append(words(box.x, box.y + parts.type.small, title, parts.type.small, theme.soft))
    return ops


def has_wheel(view: View) -> bool:
    """Whether there is a figure in the span to draw."""
    snapshot = view.snapshot
    return figure_in(snapshot.arrangement, snapshot.span, snapshot.hands) is not None


def on_wheel(centre: Point, radius: float, turn: float) -> Point:
    """The point at a turn (0 at the top, clockwise) and radius."""
    angle = 2 * math.pi * turn
    return centre[0] + radius * math.sin(angle), centre[1] - radius * math.cos(angle)


def velocity_radius(velocity: float, radius: float) -> float:
    """The radius at which a loudness stands."""
    share = (min(max(velocity, _SOFTEST), _LOUDEST) - _SOFTEST) / (_LOUDEST - _SOFTEST)
    return radius * (_SOFT + (_LOUD - _SOFT) * share)


def arc_points(centre: Point, radius: float, from_turn: float, to_turn: float) -> tuple[Point, ...]:
    """Points along an arc, close enough to look round."""
    count = max(2, math.ceil(abs(to_turn - from_turn) * 2 * math.pi * radius / 4) + 1)
    step = (to_turn - from_turn) / (count - 1)
    return tuple(on_wheel(centre, radius, from_turn + k * step) for k in range(count))


def _face(
    view: View, theme: Theme, parts: Parts, figure: Figure, centre: Point, radius: float
) -> list[DrawOp]:
    """Spokes where the places are written, numbers outside, and two rings of loudness."""
    ops: list[DrawOp] = [
        Disc(*centre, velocity_radius(v, radius), theme.rule, max(1.0, parts.unit * 0.8))
        for v in (40, 80)
    ]
    turns = nominal_turns(view.snapshot.arrangement, figure)
    size = parts.type.small
    every = _label_step(turns, radius, size)
    for place, turn in enumerate(turns):
        inner = on_wheel(centre, radius * _SOFT, turn)
        ops.append(Line((inner, on_wheel(centre, radius * _RING_OUT, turn)), theme.rule, 1.0))
        if place % every == 0:
            x, y = on_wheel(centre, radius + size * 0.75, turn)
            ops.append(words(x, y + size * 0.36, str(place + 1), size, theme.soft, align="centre"))
    return ops


def _label_step(turns: Sequence[float], radius: float, size: int) -> int:
    """Every how many places carry a number, so that numbers keep apart."""
    room = 2 * math.pi * radius / len(turns)
    return next((k for k in (1, 2, 4, 8) if room * k > size * 1.9), 16)


def _notes(
    cells: PlayedCells, centre: Point, radius: float, colour: Any, dot: float, ring: bool = False
) -> Iterator[DrawOp]:
    for note in cells.notes:
        x, y = on_wheel(centre, velocity_radius(note.velocity, radius), note.turn)
        yield Disc(x, y, dot, colour, max(1.0, dot * 0.4) if ring else 0.0)


def _noticeable(
    figure: Figure, cells: PlayedCells, view: View, theme: Theme, centre: Point, radius: float
) -> Iterator[DrawOp]:
    """A band on the rim round each place: within it the ear hears nothing amiss."""
    half = least_noticeable_ms(cells.cell_ms / figure.places) / cells.cell_ms
    for turn in nominal_turns(view.snapshot.arrangement, figure):
        outer = arc_points(centre, radius * _RING_OUT, turn - half, turn + half)
        inner = arc_points(centre, radius * _RING_IN, turn - half, turn + half)
        yield Shape((*outer, *reversed(inner)), theme.rule)
        for radius_share in (_RING_IN, _RING_OUT):
            arc = arc_points(centre, radius * radius_share, turn - half, turn + half)
            yield Line(arc, theme.older, 1.0)


def _means(
    record: PassRecord,
    figure: Figure,
    cells: PlayedCells,
    view: View,
    theme: Theme,
    parts: Parts,
    centre: Point,
    radius: float,
) -> list[DrawOp]:
    """For each place its mean turn as a tick, the 95 % interval as an arc; and their outline."""
    turns = nominal_turns(view.snapshot.arrangement, figure)
    thick = max(1.6, 1.8 * parts.unit)
    ops: list[DrawOp] = []
    outline: list[Point] = []
    for place, turn in enumerate(turns):
        late = _place_estimate(record, cells, place)
        heard = [n.velocity for n in cells.notes if n.place == place]
        if late.value is None or not heard:
            continue
        at = turn + late.value / cells.cell_ms
        outline.append(on_wheel(centre, velocity_radius(sum(heard) / len(heard), radius), at))
        if late.low is not None and late.high is not None:
            low, high = turn + late.low / cells.cell_ms, turn + late.high / cells.cell_ms
            ops.append(Line(arc_points(centre, radius * _MEANS, low, high), theme.ink, thick))
        ends = (on_wheel(centre, radius * (_RING_IN - 0.02), at),
                on_wheel(centre, radius * (_RING_OUT + 0.02), at))  # fmt: skip
        ops.append(Line(ends, theme.ink, thick * 1.2))
    if len(outline) > 2:
        ops.insert(0, Line((*outline, outline[0]), theme.ink, max(1.0, 1.2 * parts.unit)))
    return ops


def _place_estimate(record: PassRecord, cells: PlayedCells, place: int) -> Estimate:
    """The habit of a place: as measured, or from the notes themselves where nothing was."""
    for measured in getattr(getattr(record.measures, "evenness", None), "places", ()):
        if measured.place == place + 1:
            found: Estimate = measured.deviation_ms
            return found
    late = [n.late_ms for n in cells.notes if n.place == place]
    if not late:
        return Estimate(None, unit="ms", reason="this place was not heard")
    return Estimate(sum(late) / len(late), n=len(late), unit="ms")


def _shares_bars(one: Span, other: Span) -> bool:
    return one.from_bar <= other.to_bar and other.from_bar <= one.to_bar


def _numbers(
    record: PassRecord,
    cells: PlayedCells,
    theme: Theme,
    parts: Parts,
    centre: Point,
    radius: float,
) -> Iterator[DrawOp]:
    """Standard deviation in the middle, and from how many cells; without one, only these.

    The number is the Account's: it is not worked out here where that says too few were heard.
    """
    even = getattr(record.measures, "evenness", None)
    value = getattr(getattr(even, "sd_ms", None), "value", None)
    x, y = centre
    size, small = parts.type.large, parts.type.small
    count = f"{cells.cells} cell{'s' if cells.cells != 1 else ''}"
    if value is None:
        for line, text in enumerate((count, "too few", "to say")):
            at = y + small * (0.36 + 1.2 * (line - 1))
            yield words(x, at, text, small, theme.soft, "serif-italic", "centre")
        return
    base = y + size * 0.36
    yield words(x, base, f"{value:.0f} ms", size, theme.ink, "bold", "centre")
    for at, text in ((base - size * 1.05, "uneven by"), (base + small * 1.45, count)):
        # on a small Wheel it would lie across the notes; the Account says it too
        if text_width(text, "text", small) <= _MIDDLE * radius:
            yield words(x, at, text, small, theme.soft, align="centre")
