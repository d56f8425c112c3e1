"""Engraved systems as surfaces: loaded, tinted and scaled, ahead of time where it can be.

A picture on disk holds three kinds of ink in its three colours (see `practice.engraving.svg`);
tinting turns each into the colour it shall have on the screen. That takes some milliseconds, so
it is done on a thread of its own, and a page that is not ready yet is left out for a frame.
"""

from __future__ import annotations

import queue
import threading
from collections import OrderedDict
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pygame

from practice.engrave import EngravedScore
from practice.window.ops import Colour

Tint = tuple[Colour, Colour, Colour]
Wanted = tuple[Path, int, Tint, float]
#: Tinted systems kept: about three screens of them.
KEPT = 40


def tint_system(
    coverage: npt.NDArray[np.uint8], alpha: npt.NDArray[np.uint8], tint: Tint
) -> tuple[npt.NDArray[np.uint8], npt.NDArray[np.uint8]]:
    """Colours and alpha of a system whose inks are (right hand, left hand, page).

    Args:
        coverage: shape (width, height, 3), the share of each ink as red, green, blue.
        alpha: shape (width, height).

    Returns:
        Arrays of the same shapes.
    """
    if tint[0] == tint[1] == tint[2]:
        flat = np.empty_like(coverage)
        flat[:] = tint[0]
        return flat, alpha
    shares = coverage.astype(np.float32)
    total = shares.sum(axis=2, keepdims=True)
    np.maximum(total, 1.0, out=total)
    mixed = (shares / total) @ np.array(tint, np.float32)
    return mixed.astype(np.uint8), alpha


class Sheet:
    """Keeps tinted systems; asks a thread for those it has not, or makes them on the spot.

    Args:
        at_once: make a missing system at once instead of leaving it out (for pictures and tests).
    """

    def __init__(self, at_once: bool = False) -> None:
        self._at_once = at_once
        self._score: EngravedScore | None = None
        self._ready: OrderedDict[Wanted, pygame.Surface] = OrderedDict()
        self._asked: set[Wanted] = set()
        self._wanted: queue.SimpleQueue[Wanted | None] = queue.SimpleQueue()
        self._made: queue.SimpleQueue[tuple[Wanted, pygame.Surface | None]] = queue.SimpleQueue()
        self._thread: threading.Thread | None = None

    def use(self, score: EngravedScore | None) -> None:
        """The engraving that systems are numbered in."""
        self._score = score

    def surface(self, system: int, tint: Tint, px: float) -> pygame.Surface | None:
        """A system's surface, None while it is being made."""
        if self._score is None:
            return None
        wanted = (self._score.folder, system, tint, round(px / self._score.layout.space_px, 4))
        found = self._ready.get(wanted)
        if found is not None:
            self._ready.move_to_end(wanted)
            return found
        if self._at_once:
            self._keep(wanted, make_surface(wanted))
            return self._ready.get(wanted)
        self._ask(wanted)
        return None

    def collect(self) -> bool:
        """Take in what the thread has made; whether there was anything."""
        came = False
        while True:
            try:
                wanted, surface = self._made.get_nowait()
            except queue.Empty:
                return came
            self._asked.discard(wanted)
            self._keep(wanted, surface)
            came = True

    def close(self) -> None:
        """End the thread."""
        if self._thread is not None:
            self._wanted.put(None)

    def _ask(self, wanted: Wanted) -> None:
        if wanted in self._asked:
            return
        if self._thread is None:
            self._thread = threading.Thread(target=self._work, daemon=True)
            self._thread.start()
        self._asked.add(wanted)
        self._wanted.put(wanted)

    def _work(self) -> None:
        while (wanted := self._wanted.get()) is not None:
            try:
                self._made.put((wanted, make_surface(wanted)))
            except Exception:  # a system that is not drawn; the others are
                self._made.put((wanted, None))

    def _keep(self, wanted: Wanted, surface: pygame.Surface | None) -> None:
        if surface is None:
            return
        self._ready[wanted] = surface
        while len(self._ready) > KEPT:
            self._ready.popitem(last=False)


def make_surface(wanted: Wanted) -> pygame.Surface:
    """Load, tint and scale one system.

    Raises:
        OSError, pygame.error: its picture is not there or not whole.
    """
    folder, system, tint, zoom = wanted
    drawn = pygame.image.load(str(folder / f"{system:03d}.png"))
    coverage, alpha = pygame.surfarray.array3d(drawn), pygame.surfarray.array_alpha(drawn)
    colours, alpha = tint_system(coverage, alpha, tint)
    surface = pygame.Surface(drawn.get_size(), pygame.SRCALPHA, 32)
    pygame.surfarray.blit_array(surface, colours)
    pixels = pygame.surfarray.pixels_alpha(surface)
    pixels[:] = alpha
    del pixels
    if zoom != 1.0:
        width, height = surface.get_size()
        surface = pygame.transform.smoothscale(
            surface, (max(1, round(width * zoom)), max(1, round(height * zoom)))
        )
    return surface
