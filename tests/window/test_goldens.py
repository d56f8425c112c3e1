"""A handful of pictures compared with kept ones, loosely: fonts and SDL differ a little by build.

Made anew on purpose by `python -m tests.pictures --goldens`, after looking.
"""

from __future__ import annotations

import numpy as np
import pygame
import pytest

from tests.pictures import GOLDEN_SHOTS, GOLDENS, golden

#: Share of pixels that may differ by more than a shade (of 255).
SHADE, DIFFERENT = 48, 0.004


def difference(one: pygame.Surface, other: pygame.Surface) -> float:
    """The share of pixels that differ by more than a shade."""
    a, b = (pygame.surfarray.array3d(s).astype(int) for s in (one, other))
    return float((np.abs(a - b).max(axis=2) > SHADE).mean())


@pytest.mark.parametrize("name", GOLDEN_SHOTS)
def test_pictures_are_as_they_were(name: str):
    now = golden(name)
    kept = pygame.image.load(str(GOLDENS / f"{name}.png"))
    assert now.get_size() == kept.get_size()
    assert difference(now, kept) < DIFFERENT


def test_the_comparison_sees_a_part_that_moved():
    kept = pygame.image.load(str(GOLDENS / "after-pass.png"))
    moved = kept.copy()
    moved.scroll(dx=3)
    assert difference(moved, kept) > DIFFERENT
