"""What the player has set, for a command that only reads it."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from engine.standing import Definitions
    from practice.environment import Environment, Places


def read_definitions(places: Places, env: Environment) -> Definitions:
    """The definitions in force; what cannot be meant is said and left at what is usual."""
    from practice.settings import load_settings

    settings, warnings = load_settings(places.settings)
    for warning in warnings:
        env.warn(warning)
    return settings.definitions
