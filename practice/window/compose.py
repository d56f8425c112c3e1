"""From a view to drawing operations: pure, part by part, so that only what changed is made anew."""

from __future__ import annotations

from collections.abc import Callable, Hashable
from dataclasses import dataclass, replace

from practice.window.account import compose_account
from practice.window.desk import compose_page, hidden_from, page_box
from practice.window.desk_marks import compose_marks, compose_place, compose_slips
from practice.window.desk_pedal import compose_pedal
from practice.window.form_map import compose_map, compose_map_marks
from practice.window.heading import compose_heading, compose_pulse, pulse_box
from practice.window.ops import Box, DrawOp, Fill, Layer
from practice.window.overlays import compose_overlay, overlay_box
from practice.window.parts import Parts, arrange_parts
from practice.window.theme import Theme
from practice.window.view import View
from practice.window.wheel import compose_wheel, has_wheel

Compose = Callable[[View, Theme, Parts], list[DrawOp]]


@dataclass(frozen=True, slots=True)
class Part:
    """One layer of the window: where it stands, what it depends on, what it draws.

    `key` returns everything the drawing depends on besides theme and parts; while it is equal,
    what was drawn still holds. `covers`: it stands on a ground of its own.
    """

    name: str
    box: Callable[[View, Parts], Box]
    key: Callable[[View], Hashable]
    draw: Compose
    covers: bool = True


def side_shown(view: View, parts: Parts) -> bool:
    """Whether Wheel and Account are on the screen."""
    if parts.stacked or view.wide_desk:
        return view.side_open
    return True


def desk_shown(view: View, parts: Parts) -> bool:
    """Whether the page is on the screen."""
    return view.performing or not ((parts.stacked or view.wide_desk) and view.side_open)


def parts_for(view: View, size: tuple[int, int]) -> Parts:
    """The parts' places; where there is no figure the Account takes the Wheel's room too."""
    parts = arrange_parts(size, view.preferences.scale, view.wide_desk)
    if has_wheel(view):
        return parts
    wheel, account = parts.wheel, parts.account
    if wheel.x == account.x:
        whole = Box(wheel.x, wheel.y, wheel.w, wheel.h + account.h)
    else:
        whole = Box(wheel.x, wheel.y, wheel.w + account.w, wheel.h)
    return replace(parts, account=whole, wheel=Box(wheel.x, wheel.y, 0, 0))


def _page_key(view: View) -> Hashable:
    s = view.snapshot
    return (
        id(view.page), view.slots, s.span, s.hands, view.changed_bars, view.rescue_bars,
        hidden_from(view), view.performing, view.note if view.page is None else "",
        id(s.arrangement),
    )  # fmt: skip


def _marks_key(view: View) -> Hashable:
    s = view.snapshot
    shown = view.heard if view.playing else (
        view.looked_at, view.looking, view.preferences.average_of, len(s.passes))  # fmt: skip
    return (
        id(view.page), view.slots, view.playing, shown, view.performing,
        view.preferences.marks_while_playing,
    )  # fmt: skip


def _place_key(view: View) -> Hashable:
    s = view.snapshot
    return s.place_q, s.doubt, s.state, id(view.page), view.slots, view.fingered


def _pulse_key(view: View) -> Hashable:
    return view.snapshot.beat, view.preferences.see_pulse


def _heading_key(view: View) -> Hashable:
    s = view.snapshot
    return (
        s.message, s.state_text, s.heard, s.state, view.fingered, s.port, s.connected, s.span,
        s.hands, s.pulse_kind, s.rate, view.note, id(s.arrangement), s.reason, s.from_memory,
    )  # fmt: skip


def _passes_key(view: View) -> Hashable:
    s = view.snapshot
    return (
        len(s.passes), view.looked_at, view.looking, view.preferences.average_of, s.span, s.hands,
        id(s.arrangement),
    )  # fmt: skip


def _map_key(view: View) -> Hashable:
    return id(view.snapshot.cells), id(view.snapshot.arrangement)


def _map_marks_key(view: View) -> Hashable:
    s = view.snapshot
    bar = s.arrangement.bar_at(s.place_q).index if s.place_q is not None else None
    return s.span, bar, s.state, view.anchor_bar, id(s.arrangement)


def _overlay_key(view: View) -> Hashable:
    s = view.snapshot
    return (
        view.overlay, view.row, view.ports, view.preferences.scale, str(view.preferences), s.port,
        view.heard_test, view.rebinding, view.bind_choice, id(view.progress),
        view.progress_trouble, (view.drills, view.note) if view.overlay == "drills" else view.takes,
    )  # fmt: skip


def _desk_box(view: View, parts: Parts) -> Box:
    return parts.whole if view.performing else parts.desk


PARTS: tuple[Part, ...] = (
    Part("heading", lambda v, p: p.heading, _heading_key, compose_heading),
    Part("desk", _desk_box, _page_key, compose_page),
    Part("desk pedal", _desk_box, _marks_key, compose_pedal, covers=False),
    Part("desk marks", _desk_box, _marks_key, compose_marks, covers=False),
    Part("desk slips", _desk_box, _marks_key, compose_slips, covers=False),
    Part("desk place", _desk_box, _place_key, compose_place, covers=False),
    Part("pulse", lambda v, p: pulse_box(p), _pulse_key, compose_pulse, covers=False),
    Part("wheel", lambda v, p: p.wheel, _passes_key, compose_wheel),
    Part("account", lambda v, p: p.account, _passes_key, compose_account),
    Part("map", lambda v, p: p.map, _map_key, compose_map),
    Part("map marks", lambda v, p: p.map, _map_marks_key, compose_map_marks, covers=False),
    Part("overlay", lambda v, p: overlay_box(p, v.overlay), _overlay_key, compose_overlay,
         covers=False),
)  # fmt: skip


def shown_parts(view: View, parts: Parts) -> list[Part]:
    """The parts on the screen, from the ground up."""
    hidden: set[str] = set()
    if not desk_shown(view, parts):
        hidden |= {"desk", "desk pedal", "desk marks", "desk slips", "desk place", "pulse"}
    if not side_shown(view, parts):
        hidden |= {"wheel", "account"}
    if parts.wheel.w <= 0:
        hidden.add("wheel")
    if view.performing:
        hidden = {p.name for p in PARTS} - {"desk", "overlay"}
    if not view.overlay:
        hidden.add("overlay")
    return [p for p in PARTS if p.name not in hidden]


def compose_layers(view: View, theme: Theme, size: tuple[int, int]) -> list[Layer]:
    """All layers of a window of (width, height) pixels, from the ground up."""
    parts = parts_for(view, size)
    ground = Layer("ground", parts.whole, (Fill(parts.whole, theme.paper),))
    return [
        ground,
        *(
            Layer(p.name, p.box(view, parts), tuple(p.draw(view, theme, parts)))
            for p in shown_parts(view, parts)
        ),
    ]


def compose(view: View, theme: Theme, size: tuple[int, int]) -> list[DrawOp]:
    """All operations that draw a view, in order. Pure: the same in, the same out."""
    return [op for layer in compose_layers(view, theme, size) for op in layer.ops]


__all__ = ["PARTS", "Part", "compose", "compose_layers", "page_box", "parts_for", "shown_parts"]
