"""The window's tests need no screen: SDL's dummy driver, and the fonts once."""

from __future__ import annotations

import os

os.environ.setdefault("SDL_VIDEODRIVER", "dummy")
os.environ.setdefault("PYGAME_HIDE_SUPPORT_PROMPT", "1")

import pygame
import pytest

from tests.window.staging import prepare_fonts


@pytest.fixture(scope="session", autouse=True)
def _fonts() -> None:
    pygame.display.init()
    pygame.display.set_mode((64, 64))
    prepare_fonts()
