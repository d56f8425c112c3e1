"""Keys: every action, its name, its key; and the computer's keys as a small piano.

Key names are pygame's ("space", "f1", "["). Actions on letters would clash with the small piano,
so letters play and everything else acts; with a keyboard connected nothing changes.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Action:
    """Something a key does. `group` sorts the help."""

    name: str
    key: str
    words: str
    group: str


ACTIONS: tuple[Action, ...] = (
    Action("again", "space", "again from the start of the span", "play"),
    Action("stop", "return", "end the pass now", "play"),
    Action("listen", "f6", "play the span to me; again to hush", "play"),
    Action("hear-again", "/", "play the pass shown again, as it was", "play"),
    Action("pulse", "f4", "strict pulse or free", "play"),
    Action("slower", "-", "strict pulse slower", "play"),
    Action("faster", "=", "strict pulse faster", "play"),
    Action("drills", "c", "choose a drill, change it, save it", "play"),
    Action("next", "end", "on to the drill’s next task", "play"),
    Action("keep", "f7", "mark the last pass as one to keep", "play"),
    Action("page-wrong", ",", "first slip told: the page is wrong", "play"),
    Action("meant-that", ".", "first slip told: I meant that", "play"),
    Action("unsay", "delete", "take back what was said of a slip", "play"),
    Action("hands", "f3", "right hand, left hand, both", "span"),
    Action("span-left", "left", "move the span a section back", "span"),
    Action("span-right", "right", "move the span a section on", "span"),
    Action("span-shorter", "down", "shorten the span by a bar", "span"),
    Action("span-longer", "up", "lengthen the span by a bar", "span"),
    Action("span-slip", "f8", "make a span round the first slip", "span"),
    Action("span-all", "home", "the whole piece", "span"),
    Action("pass-before", "[", "marks of the pass before", "look"),
    Action("pass-after", "]", "marks of the pass after", "look"),
    Action("average", "\\", "what usually happens here", "look"),
    Action("peek", "backspace", "from memory: show the page, or hide it", "look"),
    Action("takes", "r", "hear kept takes again, one or two", "look"),
    Action("progress", "m", "progress over the days", "look"),
    Action("page-back", "page up", "page back", "look"),
    Action("page-on", "page down", "page on", "look"),
    Action("side", "tab", "Wheel and Account away or back", "look"),
    Action("perform", "f5", "performance view, pages only", "look"),
    Action("rescue", "f9", "rescue point at this bar, or away", "look"),
    Action("finger", "f10", "set fingering by numbers 1 to 5", "look"),
    Action("theme", "f2", "light page or dark room", "window"),
    Action("smaller", "[-]", "smaller", "window"),
    Action("larger", "[+]", "larger", "window"),
    Action("fullscreen", "f11", "full screen", "window"),
    Action("settings", "f12", "settings", "window"),
    Action("help", "f1", "this help", "window"),
    Action("leave", "escape", "back; in the main view, quit", "window"),
)  # fmt: skip
BY_NAME: dict[str, Action] = {a.name: a for a in ACTIONS}
GROUPS = ("play", "span", "look", "window")

#: The small piano: two rows of keys as they lie on most keyboards, from C4 (MIDI 60) up.
PIANO_KEYS: dict[str, int] = {
    key: 60 + step
    for step, key in enumerate(
        ("a", "w", "s", "e", "d", "f", "t", "g", "y", "h", "u", "j", "k", "o", "l", "p", ";", "'")
    )
}
#: These move the small piano by an octave.
OCTAVE_DOWN, OCTAVE_UP = "z", "x"


def bind(changed: Mapping[str, str]) -> dict[str, str]:
    """Key name to action name, with the player's own changes (action to key) in force.

    A changed key wins over a default on the same key; the action that stood there has none then.
    """
    bound = {a.key: a.name for a in ACTIONS if a.name not in changed}
    return bound | {key: name for name, key in changed.items() if name in BY_NAME and key}


def key_of(action: str, changed: Mapping[str, str]) -> str:
    """The key an action is on, "" if none."""
    return next((key for key, name in bind(changed).items() if name == action), "")


def can_bind(key: str) -> bool:
    """Whether a key may carry an action: not the small piano's, nor numbers for fingering."""
    return key not in PIANO_KEYS and key not in (OCTAVE_DOWN, OCTAVE_UP) and key not in "0123456789"


_SHOWN = {
    "[-]": "keypad −", "[+]": "keypad +", "return": "enter", "page up": "page up", "-": "−",
    "left": "←", "right": "→", "up": "↑", "down": "↓",
    ",": "comma", ".": "full stop", "/": "slash",
}  # fmt: skip


def show_key(key: str) -> str:
    """A key's name as printed."""
    if not key:
        return "–"
    return _SHOWN.get(key, key.upper() if key.startswith("f") and key[1:].isdigit() else key)
