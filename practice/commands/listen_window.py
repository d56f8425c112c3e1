"""`undersong listen` in the window: the page follows what sounds, keys begin and end it."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from practice.environment import Environment, Places

if TYPE_CHECKING:
    from engine.arrangement import Arrangement
    from practice.listen.hearing import PageHeard
    from practice.listen.kept_hearing import KeptHearing
    from practice.sound.partner import SecondPiano


@dataclass(frozen=True, slots=True)
class Listened:
    """What is heard: the page (what of it) or takes, of an arrangement whose score is at `path`."""

    arrangement: Arrangement
    path: str
    page: PageHeard | None
    takes: tuple[KeptHearing, ...]
    times: int


def show_listening(
    what: Listened, env: Environment, places: Places, output: str | None, font: str
) -> bool:
    """Play it and show the page until the window is left; False where none can be opened.

    Raises:
        UndersongError: there is nothing to be heard on.
    """
    os.environ.setdefault("PYGAME_HIDE_SUPPORT_PROMPT", "1")
    import pygame

    from engine.arrangement import whole_span
    from practice.interruptible import interruptible
    from practice.listen.hearing import Hearing, PageHeard
    from practice.listen.take_list import TakeShelf
    from practice.settings import load_settings, save_settings
    from practice.snapshot import Command
    from practice.window.screen import run_window

    settings, _ = load_settings(places.settings)
    partner = _seat(what, env, places, settings.output if output is None else output, font)
    page = what.page or PageHeard(whole_span(what.arrangement))
    hearing = Hearing(
        what.arrangement, page, what.takes, env.clock, partner.notice,
        lambda: partner.problem, what.times,
    )  # fmt: skip
    hearing.tell(Command("again"))

    def save() -> None:
        save_settings(places.settings, settings)

    try:
        with interruptible():
            run_window(
                hearing, settings, cache_dir=places.cache, score_path=Path(what.path),
                takes=TakeShelf(places.store), save=save,
            )  # fmt: skip
    except pygame.error as error:
        env.say(f"The window cannot be opened ({error}): going on without it.")
        return False
    except KeyboardInterrupt:
        env.say("Stopped.")
    finally:
        partner.close()
    return True


def _seat(what: Listened, env: Environment, places: Places, port: str, font: str) -> SecondPiano:
    """The partner, on an instrument that is open before the window is."""
    from practice.commands.sound_options import find_latency_s, open_instrument
    from practice.settings import load_settings
    from practice.sound.partner import PartnerSettings, SecondPiano

    settings, _ = load_settings(places.settings)
    latency_s = find_latency_s(settings, port)
    instrument = open_instrument(port, places, env.clock, latency_s, font or settings.sound_font)
    silent = PartnerSettings(click=False)
    return SecondPiano(what.arrangement, lambda: instrument, env.clock, silent, at_once=True)
