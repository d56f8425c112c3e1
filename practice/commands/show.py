"""How `undersong play` shows itself: in a window where there is a screen, else in the terminal."""

from __future__ import annotations

import importlib
import os
import sys
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, TextIO

if TYPE_CHECKING:
    from pathlib import Path

    from engine.arrangement import Arrangement
    from practice.environment import Places
    from practice.listen.sitting import Sitting
    from practice.progress.progress import Progress
    from practice.settings import Settings


def has_screen(variables: Mapping[str, str], platform: str = sys.platform) -> bool:
    """A window can be opened and seen: told by the system, or by the driver SDL was given."""
    driver = variables.get("SDL_VIDEODRIVER")
    if driver:
        return driver not in ("dummy", "offscreen")
    if platform in ("win32", "darwin"):
        return True
    return any(variables.get(name) for name in ("DISPLAY", "WAYLAND_DISPLAY"))


@dataclass(frozen=True, slots=True)
class Showing:
    """What showing a sitting needs.

    Attributes:
        sitting: what is shown. path: the score's file.
        places: where things are kept. settings: the window keeps its own in them.
        say: prints a line. stdin: keys in the terminal, None for none.
        list_ports: names of the keyboards there are.
        first_start: nothing was ever set.
    """

    sitting: Sitting
    path: Path
    places: Places
    settings: Settings
    say: Callable[[str], None]
    stdin: TextIO | None
    list_ports: Callable[[], list[str]]
    first_start: bool


def load_show(window: bool) -> None:
    """Load what showing needs, before the port is opened: while modules load the interpreter is
    held for long, and some drivers drop what a callback does not take in time."""
    if window:
        os.environ.setdefault("PYGAME_HIDE_SUPPORT_PROMPT", "1")
        importlib.import_module("practice.window.screen")
    importlib.import_module("practice.listen.terminal")


def show_window(showing: Showing) -> bool:
    """Show the window until it is left; False where it cannot be opened."""
    import pygame

    from practice.drills.drill_shelf import DrillShelf
    from practice.listen.take_list import TakeShelf
    from practice.settings import save_settings
    from practice.window.screen import run_window

    places, settings = showing.places, showing.settings

    def save() -> None:
        save_settings(places.settings, settings)

    def progress_of(arrangement: Arrangement) -> Progress:
        from practice.progress.progress import read_progress
        from practice.store.store import Store

        with Store(places.store) as store:  # of its own: one belongs to one thread
            return read_progress(store, arrangement)

    try:
        run_window(
            showing.sitting.listener,
            settings,
            cache_dir=places.cache,
            score_path=showing.path,
            list_ports=showing.list_ports,
            progress_of=progress_of,
            drills=DrillShelf(places),
            takes=TakeShelf(places.store),
            first_start=showing.first_start,
            save=save,
        )
    except pygame.error as error:
        showing.say(f"The window cannot be opened ({error}): going on without it.")
        return False
    return True


def show_terminal(showing: Showing) -> None:
    """Tell the sitting in lines until it ends."""
    from practice.listen.terminal import Terminal, read_keys

    sitting = showing.sitting
    terminal = Terminal(sitting.listener, showing.say)
    if showing.stdin is not None and showing.stdin.isatty():
        showing.say("Return: again. q and Return: done.")
        read_keys(showing.stdin, sitting.listener)
    try:
        terminal.run()
    finally:
        sitting.finish()
        terminal.look()
