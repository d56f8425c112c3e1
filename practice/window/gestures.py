"""Keys and mouse to actions: what is pressed where, for the view as it is. Pure."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import get_args

from engine.arrangement import Span
from engine.drill.sheet import Gesture
from practice.snapshot import Command
from practice.window.actions import (
    Outcome,
    act_on,
    choose_span,
    go_to_rescue,
    move_finger,
    section_span,
)
from practice.window.compose import desk_shown
from practice.window.desk import find_places
from practice.window.drill_choice import STILL, press_drills
from practice.window.form_map import bar_on_map
from practice.window.keys import (
    ACTIONS,
    OCTAVE_DOWN,
    OCTAVE_UP,
    PIANO_KEYS,
    bind,
    can_bind,
)
from practice.window.ops import Point
from practice.window.overlays import overlay_box, port_rows, row_boxes, setting_rows
from practice.window.parts import Parts
from practice.window.preferences import SCALE_STEP, clamp_scale
from practice.window.progress_sheet import scroll_progress
from practice.window.take_choice import press_takes
from practice.window.view import View

#: Velocity of the small piano: its keys cannot tell loud from soft.
KEY_VELOCITY = 72


@dataclass(frozen=True, slots=True)
class Press:
    """A key of the computer: pygame's name, and whether shift is down."""

    key: str
    shift: bool = False


def press_key(view: View, press: Press) -> Outcome:
    """A key goes down (the small piano is asked first, see `piano_pitch`)."""
    if view.rebinding:
        return _rebind(view, press.key)
    if view.overlay == "drills":
        return _in_drills(view, press.key)
    if view.overlay == "takes":
        return _in_takes(view, press.key)
    if view.overlay in ("settings", "welcome") and press.key in _ROW_KEYS:
        return _in_overlay(view, press.key)
    if view.overlay == "progress" and press.key in SCROLL_KEYS:
        return Outcome(replace(view, row=scroll_progress(view, SCROLL_KEYS[press.key])))
    if view.fingered is not None and (press.key in "012345" or press.key in ("left", "right")):
        return _finger(view, press.key)
    if view.performing and press.key in "123456789":
        return go_to_rescue(view, int(press.key))
    action = bind(view.preferences.keys).get(press.key, "")
    if view.performing and action in ("again", "span-right"):
        action = "page-on"
    if view.performing and action == "span-left":
        action = "page-back"
    return act_on(view, action)


def _in_drills(view: View, key: str) -> Outcome:
    done = press_drills(view, key)
    if done is not None:
        return Outcome(*done)
    action = bind(view.preferences.keys).get(key, "")
    return act_on(view, action) if action in STILL else Outcome(view)


def _in_takes(view: View, key: str) -> Outcome:
    """Likewise: what lies behind the list is not changed unseen."""
    chosen = press_takes(view, key)
    if chosen is not None:
        return Outcome(chosen)
    action = bind(view.preferences.keys).get(key, "")
    return act_on(view, action) if action in (*STILL, "takes", "leave") else Outcome(view)


def piano_pitch(view: View, key: str, octave: int) -> int | None:
    """The pitch a computer key plays, None where it plays nothing now."""
    if view.overlay in ("settings", "drills", "takes") or view.rebinding or key not in PIANO_KEYS:
        return None
    pitch = PIANO_KEYS[key] + 12 * octave
    return pitch if 21 <= pitch <= 108 else None


def octave_step(key: str) -> int:
    """How a key moves the small piano: -1, 0 or 1 octaves."""
    return (key == OCTAVE_UP) - (key == OCTAVE_DOWN)


#: Keys that move the progress sheet, by how many rows.
SCROLL_KEYS = {"up": -1, "down": 1, "page up": -8, "page down": 8, "home": -10_000, "end": 10_000}
_ROW_KEYS = ("up", "down", "left", "right", "return", "space")


def _in_overlay(view: View, key: str) -> Outcome:
    count = len(setting_rows(view)) if view.overlay == "settings" else len(port_rows(view))
    if key in ("up", "down"):
        step = 1 if key == "down" else -1
        return Outcome(replace(view, row=(view.row + step) % count))
    if view.overlay == "welcome":
        return _choose_port(view) if key in ("return", "space") else Outcome(view)
    return change_setting(view, -1 if key == "left" else 1, key == "return")


def _choose_port(view: View) -> Outcome:
    """Enter chooses the keyboard; once a note of it was heard, it ends the first start."""
    name = port_rows(view)[view.row]
    name = "" if name == "computer keys" else name
    done = replace(view, overlay="", row=0)
    if view.heard_test and name == view.snapshot.port:
        return Outcome(done, (Command("stop"),))  # the note that checked is no part of a pass
    if not name:
        return Outcome(done)
    return Outcome(replace(view, heard_test=0), (Command("port", name=name),))


def change_setting(view: View, step: int, enter: bool = False) -> Outcome:
    """Change the chosen setting by a step."""
    row, was = setting_rows(view)[view.row], view.preferences
    if row.name == "port":
        names = [*view.ports, ""]
        at = names.index(view.snapshot.port) if view.snapshot.port in names else -1
        return Outcome(view, (Command("port", name=names[(at + step) % len(names)]),))
    if row.name == "keys":
        if enter:
            return Outcome(replace(view, rebinding=ACTIONS[view.bind_choice].name))
        return Outcome(replace(view, bind_choice=(view.bind_choice + step) % len(ACTIONS)))
    changed = {
        "theme": lambda: replace(was, theme="dark" if was.theme == "light" else "light"),
        "scale": lambda: replace(was, scale=clamp_scale(was.scale + step * SCALE_STEP)),
        "marks": lambda: replace(
            was, marks_while_playing="none" if was.marks_while_playing == "quiet" else "quiet"
        ),
        "see_pulse": lambda: replace(was, see_pulse=not was.see_pulse),
        "average_of": lambda: replace(was, average_of=min(max(was.average_of + step, 2), 20)),
        "again_by": lambda: replace(was, again_by=_next_gesture(was.again_by, step)),
    }[row.name]()
    commands = (Command("gesture", name=changed.again_by),) if row.name == "again_by" else ()
    return Outcome(replace(view, preferences=changed), commands)


def _next_gesture(now: Gesture, step: int) -> Gesture:
    known: tuple[Gesture, ...] = get_args(Gesture)
    return known[(known.index(now) + step) % len(known)]


def _rebind(view: View, key: str) -> Outcome:
    if key == "escape":
        return Outcome(replace(view, rebinding=""))
    if not can_bind(key):
        return Outcome(view)  # letters and digits stay what they are; wait for another key
    keys = {a: k for a, k in view.preferences.keys.items() if k != key}
    keys[view.rebinding] = key
    preferences = replace(view.preferences, keys=keys)
    return Outcome(replace(view, preferences=preferences, rebinding=""))


def _finger(view: View, key: str) -> Outcome:
    if key in ("left", "right"):
        return Outcome(move_finger(view, 1 if key == "right" else -1))
    assert view.fingered is not None
    note = view.snapshot.arrangement.notes[view.fingered]
    text = "" if key == "0" else key
    command = Command("fingering", extra={"note_id": note.note_id, "fingering": text})
    return Outcome(move_finger(view, 1), (command,))


def turn_wheel(view: View, up: int) -> Outcome:
    """The mouse's wheel, `up` steps away from the player: the page, or what lies over it."""
    if view.overlay == "drills":
        return _in_drills(view, "up" if up > 0 else "down")
    if view.overlay == "takes":
        return Outcome(press_takes(view, "up" if up > 0 else "down") or view)
    if view.overlay == "progress":
        return Outcome(replace(view, row=scroll_progress(view, -3 * up)))
    return act_on(view, "page-back" if up > 0 else "page-on")


def press_mouse(view: View, parts: Parts, point: Point, shift: bool = False) -> Outcome:
    """The left button goes down: a span begins, or a row of an overlay is chosen."""
    if view.overlay:
        return _press_overlay(view, parts, point)
    bar = bar_under(view, parts, point)
    if bar is None:
        return Outcome(view)
    if view.fingered is not None:
        return _finger_nearest(view, parts, point)
    if shift:
        span = view.snapshot.span
        return choose_span(view, Span(min(span.from_bar, bar), max(span.to_bar, bar)))
    return Outcome(replace(view, anchor_bar=bar))


def release_mouse(view: View, parts: Parts, point: Point) -> Outcome:
    """The left button comes up: a click on the Map is a section, on the Desk a bar."""
    if view.anchor_bar is None:
        return Outcome(view)
    bar = bar_under(view, parts, point)
    if bar is None:
        return Outcome(replace(view, anchor_bar=None))
    if bar == view.anchor_bar and parts.map.has(point):
        return choose_span(view, section_span(view, bar))
    return choose_span(view, Span(min(bar, view.anchor_bar), max(bar, view.anchor_bar)))


def bar_under(view: View, parts: Parts, point: Point) -> int | None:
    """The unfolded bar under a point of the Map or the Desk."""
    if parts.map.has(point) and not view.performing:
        return bar_on_map(view, parts, point)
    if view.page is None or not view.page_fits or not desk_shown(view, parts):
        return None
    for place in find_places(view, parts):
        if place.slot.has(point):
            return view.page.bar_under(place.line, (point[0] - place.x) / place.px)
    return None


def _finger_nearest(view: View, parts: Parts, point: Point) -> Outcome:
    assert view.page is not None
    best: tuple[float, int] | None = None
    for place in find_places(view, parts):
        for note in view.page.notes_of(place.line):
            head = view.page.head(note)
            if head is not None:
                x, y = place.at(head.x, head.y)
                far = (x - point[0]) ** 2 + (y - point[1]) ** 2
                best = min(best or (far, note), (far, note))
    return Outcome(replace(view, fingered=best[1])) if best else Outcome(view)


def _press_overlay(view: View, parts: Parts, point: Point) -> Outcome:
    if not overlay_box(parts, view.overlay).has(point):
        return act_on(view, "leave")
    for number, box in enumerate(row_boxes(view, parts)):
        if box.has(point):
            chosen = replace(view, row=number)
            if view.overlay == "welcome":
                return _choose_port(chosen)
            return change_setting(chosen, -1 if point[0] < box.x + box.w * 0.6 else 1,
                                  enter=number == view.row)  # fmt: skip
    return Outcome(view)
