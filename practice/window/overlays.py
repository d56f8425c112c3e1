"""What lies over the parts when asked for: settings, help, progress, and the first start."""

from __future__ import annotations

from dataclasses import dataclass

from engine.pitch_names import pitch_name, printed
from practice.window.drill_sheet import compose_drills
from practice.window.faces import shorten, text_width, words, wrap
from practice.window.keys import ACTIONS, BY_NAME, key_of, show_key
from practice.window.legend import MARKS, compose_legend
from practice.window.ops import Box, DrawOp, Face, Fill, Line, Words
from practice.window.overlay_rows import draw_foot, draw_row, draw_title
from practice.window.parts import Parts
from practice.window.progress_sheet import compose_progress
from practice.window.take_sheet import compose_takes
from practice.window.theme import Theme
from practice.window.view import View

_GROUP_TITLES = {
    "play": "Playing", "span": "What to practise", "look": "The page", "window": "The window",
}  # fmt: skip
#: Care in two lines, on the help page where everyone comes by.
CARE = (
    "If it hurts, stop. Rest a few minutes in every half hour. For pain that stays, see a "
    "clinician who knows musicians; nothing shown here is a diagnosis."
)


_AGAIN_BY = {
    "off": "by keys of the computer", "soft-pedal": "soft pedal", "lowest-key": "lowest key",
}  # fmt: skip
_PIANO_AND_MOUSE = (
    "The letters a to ’ are a small piano from C4; z and x move it by an octave. A click on a "
    "section of the Map or on a bar chooses it; drag for several, shift and click to widen."
)


@dataclass(frozen=True, slots=True)
class SettingRow:
    """One setting: its name, its value in words."""

    name: str
    label: str
    value: str


def setting_rows(view: View) -> list[SettingRow]:
    """The settings in order, as the overlay shows them and the keys move through them."""
    set_to = view.preferences
    marks = {"quiet": "a tick beside each head", "none": "none"}
    port = view.snapshot.port or "computer keys"
    return [
        SettingRow("port", "Keyboard", port),
        SettingRow("theme", "Colours", {"light": "light page", "dark": "dark room"}[set_to.theme]),
        SettingRow("scale", "Size", f"{set_to.scale * 100:.0f} %"),
        SettingRow("marks", "Marks while playing", marks[set_to.marks_while_playing]),
        SettingRow("see_pulse", "Strict pulse to be seen", _yes(set_to.see_pulse)),
        SettingRow("average_of", "“Usually” means the last", f"{set_to.average_of} passes"),
        SettingRow("again_by", "“Again”, hands on the keys", _AGAIN_BY[set_to.again_by]),
        SettingRow("keys", "Key (enter to change)", _key_choice(view)),
    ]


def _key_choice(view: View) -> str:
    action = ACTIONS[view.bind_choice]
    return f"{action.words}: {show_key(key_of(action.name, view.preferences.keys))}"


def _yes(value: bool) -> str:
    return "yes" if value else "no"


def overlay_box(parts: Parts, overlay: str) -> Box:
    """The sheet an overlay is written on."""
    whole, text = parts.whole, parts.type
    if overlay == "help":
        w, h = min(whole.w, 80 * text.body), min(whole.h, 35 * text.body)
    elif overlay == "progress":
        w, h = min(whole.w, 80 * text.body), min(whole.h, 46 * text.body)
    elif overlay in ("drills", "takes"):
        room = whole.h - 2 * parts.heading.bottom  # what is said stands in the heading
        w, h = min(whole.w, 58 * text.body), min(room, 42 * text.body)
    elif overlay == "settings":
        w, h = min(whole.w, 46 * text.body), min(whole.h, 23 * text.body)
    else:
        w, h = min(whole.w, 44 * text.body), min(whole.h, 21 * text.body)
    return Box(round((whole.w - w) / 2), round((whole.h - h) / 2), w, h)


def compose_overlay(view: View, theme: Theme, parts: Parts) -> list[DrawOp]:
    """The overlay that is open, if one is."""
    if not view.overlay:
        return []
    box = overlay_box(parts, view.overlay)
    frame = ((box.x, box.y), (box.right, box.y), (box.right, box.bottom), (box.x, box.bottom))
    thick = max(1.0, 1.5 * parts.unit)
    edge = box.inset(thick)
    frame = ((edge.x, edge.y), (edge.right, edge.y), (edge.right, edge.bottom),
             (edge.x, edge.bottom))  # fmt: skip
    ops: list[DrawOp] = [Fill(box, theme.paper), Line((*frame, frame[0]), theme.ink, thick)]
    draw = {
        "settings": _settings, "help": _help, "welcome": _welcome, "progress": compose_progress,
        "drills": compose_drills, "takes": compose_takes,
    }[view.overlay]  # fmt: skip
    return ops + draw(view, theme, parts, box.inset(parts.type.body * 1.6, parts.type.body * 1.3))


def row_boxes(view: View, parts: Parts) -> list[Box]:
    """The rows of the open overlay that can be chosen, for keys and mouse alike."""
    box = overlay_box(parts, view.overlay).inset(parts.type.body * 1.6, parts.type.body * 1.3)
    step = parts.type.body * 1.9
    if view.overlay == "settings":
        top = box.y + parts.type.large * 1.7
        return [Box(box.x, top + k * step, box.w, step) for k in range(len(setting_rows(view)))]
    if view.overlay == "welcome":
        top = box.y + parts.type.large * 1.7 + parts.type.body * 3.4
        return [Box(box.x, top + k * step, box.w, step) for k in range(len(port_rows(view)))]
    return []


def port_rows(view: View) -> list[str]:
    """The keyboards to choose from, the computer's own keys last."""
    return [*view.ports[:5], "computer keys"]


def _settings(view: View, theme: Theme, parts: Parts, box: Box) -> list[DrawOp]:
    title, _ = draw_title("Settings", theme, parts, box)
    ops: list[DrawOp] = [title]
    for k, (row, at) in enumerate(zip(setting_rows(view), row_boxes(view, parts), strict=True)):
        ops += draw_row(row.label, row.value, k == view.row, theme, parts, at)
    if view.rebinding:
        text = f"Press the new key for “{BY_NAME[view.rebinding].words}”; escape leaves it"
    else:
        text = "↑ ↓ choose    ← → change    escape done"
    return [*ops, draw_foot(text, theme, parts, box)]


def _help(view: View, theme: Theme, parts: Parts, box: Box) -> list[DrawOp]:
    """Keys in two columns, the legend of the marks in a third, care at the foot."""
    title, top = draw_title("Help", theme, parts, box)
    size = parts.type.small
    gap = size * 1.6
    column = (box.w - 2 * gap) / 3
    foot = _help_foot(theme, parts, box)
    step = min(size * 1.55, (foot[0].box.y - size - top) / (_tallest_column() + 1.5))
    ops: list[DrawOp] = [title, *foot]
    for k, groups in enumerate(_HELP_COLUMNS):
        y = top
        for group in groups:
            at = Box(box.x + k * (column + gap), y, column, 0)
            ops += _help_group(view, group, theme, parts, at, step)
            y += step * (sum(a.group == group for a in ACTIONS) + 1.65)
    legend = Box(box.x + 2 * (column + gap), top, column, box.bottom - top)
    return ops + compose_legend(theme, parts, legend, step)


_HELP_COLUMNS = (("play", "span"), ("look", "window"))


def _tallest_column() -> float:
    """Lines of the tallest column of keys, headings included."""
    keys = (sum(a.group in groups for a in ACTIONS) + 1.65 * 2 for groups in _HELP_COLUMNS)
    return max(*keys, len(MARKS) + 12)


def _help_group(
    view: View, group: str, theme: Theme, parts: Parts, at: Box, step: float
) -> list[DrawOp]:
    size, y = parts.type.small, at.y
    key_w = max(text_width(show_key(a.key), "bold", size) for a in ACTIONS) + size * 0.7
    title = words(at.x, y, _GROUP_TITLES[group], parts.type.body, theme.ink, "serif-bold")
    ops: list[DrawOp] = [title]
    y += step * 1.15
    for action in (a for a in ACTIONS if a.group == group):
        key = show_key(key_of(action.name, view.preferences.keys))
        ops.append(words(at.x, y, key, size, theme.heard, "bold"))
        text = shorten(action.words, "text", size, at.w - key_w)
        ops.append(words(at.x + key_w, y, text, size, theme.ink))
        y += step
    return ops


def _help_foot(theme: Theme, parts: Parts, box: Box) -> list[Words]:
    size = parts.type.small
    lines: list[tuple[str, Face]] = [
        *((text, "text") for text in wrap(_PIANO_AND_MOUSE, "text", size, box.w, 3)),
        *((text, "serif-italic") for text in wrap(CARE, "serif-italic", size, box.w, 3)),
    ]
    step = size * 1.4
    top = box.bottom - step * (len(lines) - 1)
    return [
        words(box.x, top + step * k, text, size, theme.soft, face)
        for k, (text, face) in enumerate(lines)
    ]


def _welcome(view: View, theme: Theme, parts: Parts, box: Box) -> list[DrawOp]:
    title, top = draw_title("Choose your keyboard", theme, parts, box)
    size = parts.type.body
    ops: list[DrawOp] = [title]
    said = "Then play one note to check. The computer’s own keys will do to look round."
    if not view.ports:
        said = (
            "No keyboard is connected. Plug one in and switch it on: it will appear here. "
            "The computer’s own keys will do to look round."
        )
    for k, text in enumerate(wrap(said, "serif", size, box.w, 2)):
        ops.append(words(box.x, top + size * 1.4 * k, text, size, theme.soft, "serif"))
    for k, (name, at) in enumerate(zip(port_rows(view), row_boxes(view, parts), strict=True)):
        now = "in use" if name == (view.snapshot.port or "computer keys") else ""
        ops += draw_row(name, now or "choose", k == view.row, theme, parts, at)
    y = row_boxes(view, parts)[-1].bottom + size * 2.2
    heard = "Play one note …"
    if view.heard_test:
        heard = f"Heard {printed(pitch_name(view.heard_test))}. Enter, and you are done."
    ops.append(words(box.x, y, heard, parts.type.large, theme.heard, "serif"))
    return [*ops, draw_foot("↑ ↓ choose    enter done    escape later", theme, parts, box)]
