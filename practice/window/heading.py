"""The heading: the title, what is practised and how, what to do now, and the keyboard."""

from __future__ import annotations

from practice.window.faces import shorten, text_width, words
from practice.window.ops import Box, DrawOp, Fill, Line
from practice.window.parts import Parts
from practice.window.phrases import describe_keyboard, describe_state, describe_task
from practice.window.theme import Theme
from practice.window.view import View

#: A title cut shorter than this says nothing and is left out.
_LEAST_TITLE = 12


def compose_heading(view: View, theme: Theme, parts: Parts) -> list[DrawOp]:
    """One line over everything; warnings take the place of the state."""
    box, text = parts.heading, parts.type
    base = box.y + box.h * 0.62
    left, right = box.x + parts.gap * 1.5, box.right - parts.gap * 1.5
    ops: list[DrawOp] = [Line(((box.x, box.bottom), (box.right, box.bottom)), theme.rule, 1.0)]
    keyboard = shorten(describe_keyboard(view), "text", text.small, box.w * 0.2)
    ops.append(words(right, base, keyboard, text.small, theme.soft, align="right"))
    right -= text_width(keyboard, "text", text.small) + parts.gap * 1.5
    doing = describe_state(view) if view.fingered is not None else ""
    said = view.snapshot.message or doing or view.note or describe_state(view)
    warned = bool(view.snapshot.message)
    room = box.w * (0.62 if warned else 0.45)
    sizes = (text.large, text.body, text.small)
    size = next((s for s in sizes if text_width(said, "serif", s) <= room), text.small)
    said = shorten(said, "serif", size, room)
    colour = theme.slip if warned else theme.ink
    ops.append(words(right, base, said, size, colour, "serif", "right"))
    if warned:
        x = right - text_width(said, "serif", size) - size * 0.7
        ops.append(words(x, base, "!", size, theme.slip, "bold"))
    room = right - text_width(said, "serif", size) - parts.gap * 3 - left
    return ops + _title(view, theme, parts, left, base, room)


def _title(
    view: View, theme: Theme, parts: Parts, left: float, base: float, room: float
) -> list[DrawOp]:
    """The title and the task; the task gives way last, for it is what the player chose."""
    size = parts.type.body
    task = shorten(describe_task(view), "text", size, room)
    task_w = text_width(task, "text", size)
    gap = parts.gap * 1.5
    title = view.snapshot.arrangement.title
    title = shorten(title, "serif-bold", size, room - task_w - gap)
    ops: list[DrawOp] = []
    if len(title) >= min(_LEAST_TITLE, len(view.snapshot.arrangement.title)):
        ops.append(words(left, base, title, size, theme.ink, "serif-bold"))
        left += text_width(title, "serif-bold", size) + gap
    ops.append(words(left, base, task, size, theme.soft))
    return ops


def compose_pulse(view: View, theme: Theme, parts: Parts) -> list[DrawOp]:
    """The strict pulse to be seen: a stroke a beat under the heading, the one now full height."""
    beat = view.snapshot.beat
    if beat is None or not view.preferences.see_pulse:
        return []
    now, beats = beat
    box = pulse_box(parts)
    step = box.w / max(beats, 1)
    ops: list[DrawOp] = []
    for k in range(beats):
        tall = box.h if k + 1 == now else box.h * 0.3
        colour = theme.heard if k + 1 == now else theme.dim
        ops.append(Fill(Box(box.x + k * step, box.y, step - 6, tall), colour))
    return ops


def pulse_box(parts: Parts) -> Box:
    """Where the pulse is seen: along the top of the Desk."""
    return Box(parts.desk.x, parts.heading.bottom + 1, parts.desk.w, max(6.0, 9 * parts.unit))
