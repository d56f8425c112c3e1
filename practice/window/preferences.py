"""The window's preferences to and from the settings file: plain data, anything wrong left aside."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, get_args

from engine.drill.sheet import Gesture
from practice.window.keys import BY_NAME, can_bind
from practice.window.view import Preferences

SMALLEST_SCALE, LARGEST_SCALE, SCALE_STEP = 0.75, 2.0, 0.125


def clamp_scale(scale: float) -> float:
    """A scale the window can have."""
    return min(max(scale, SMALLEST_SCALE), LARGEST_SCALE)


def read_preferences(data: object) -> Preferences:
    """Preferences from what was kept; what cannot be used takes its default."""
    kept: Mapping[str, Any] = data if isinstance(data, Mapping) else {}
    plain = Preferences()

    def choice(name: str, allowed: tuple[object, ...]) -> Any:
        value = kept.get(name)
        return value if value in allowed else getattr(plain, name)

    scale, average = kept.get("scale"), kept.get("average_of")
    keys = kept.get("keys")
    return Preferences(
        scale=clamp_scale(float(scale)) if isinstance(scale, int | float) else plain.scale,
        theme=choice("theme", ("light", "dark")),
        marks_while_playing=choice("marks_while_playing", ("quiet", "none")),
        see_pulse=choice("see_pulse", (True, False)),
        average_of=min(max(average, 2), 20) if isinstance(average, int) else plain.average_of,
        again_by=choice("again_by", get_args(Gesture)),
        keys=_usable_keys(keys if isinstance(keys, Mapping) else {}),
    )


def _usable_keys(keys: Mapping[Any, Any]) -> dict[str, str]:
    return {
        action: key
        for action, key in keys.items()
        if action in BY_NAME and isinstance(key, str) and can_bind(key)
    }


def write_preferences(preferences: Preferences) -> dict[str, Any]:
    """The preferences as plain data for the settings."""
    return {
        "scale": preferences.scale,
        "theme": preferences.theme,
        "marks_while_playing": preferences.marks_while_playing,
        "see_pulse": preferences.see_pulse,
        "average_of": preferences.average_of,
        "again_by": preferences.again_by,
        "keys": dict(preferences.keys),
    }
