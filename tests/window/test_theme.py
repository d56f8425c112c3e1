"""Colours: contrast by arithmetic, and told apart by those who see fewer of them."""

from __future__ import annotations

import itertools
from pathlib import Path

import numpy as np
import pygame
import pytest

from practice.window.theme import DARK, LIGHT, Theme, contrast, luminance
from tests.pictures import SHOTS, paint
from tests.window.colour_vision import VISION, seen_by

TEXT = ("ink", "soft", "heard", "early", "late", "slip")
MARKS = ("dim", "silent", "older")
#: Colours that stand side by side as marks of different meaning.
KINDS = ("heard", "early", "late", "slip")


def test_contrast_of_known_pairs():
    # WCAG 2.1: black on white is 21:1; #777777 on white is 4.48:1 (WebAIM's published example)
    assert contrast((0, 0, 0), (255, 255, 255)) == pytest.approx(21.0)
    assert contrast((0x77, 0x77, 0x77), (255, 255, 255)) == pytest.approx(4.48, abs=0.005)


def test_luminance_of_primaries():
    # the coefficients of WCAG 2.1 "relative luminance"
    assert luminance((255, 0, 0)) == pytest.approx(0.2126)
    assert luminance((0, 255, 0)) == pytest.approx(0.7152)


@pytest.mark.parametrize("theme", [LIGHT, DARK], ids=lambda t: t.name)
@pytest.mark.parametrize("name", TEXT)
def test_text_is_legible(theme: Theme, name: str):
    assert contrast(getattr(theme, name), theme.paper) >= 4.5


@pytest.mark.parametrize("theme", [LIGHT, DARK], ids=lambda t: t.name)
def test_text_is_legible_on_a_chosen_row(theme: Theme):
    assert contrast(theme.ink, theme.shade) >= 4.5
    assert contrast(theme.soft, theme.shade) >= 4.5


@pytest.mark.parametrize("theme", [LIGHT, DARK], ids=lambda t: t.name)
@pytest.mark.parametrize("name", MARKS)
def test_marks_are_visible(theme: Theme, name: str):
    assert contrast(getattr(theme, name), theme.paper) >= 3.0


def _seen(colour: tuple[int, int, int], vision: str) -> np.ndarray:
    surface = pygame.Surface((1, 1))
    surface.fill(colour)
    return np.array(seen_by(surface, vision).get_at((0, 0))[:3], float)


@pytest.mark.parametrize("theme", [LIGHT, DARK], ids=lambda t: t.name)
@pytest.mark.parametrize("vision", list(VISION))
def test_early_and_late_differ_for_every_vision(theme: Theme, vision: str):
    assert np.abs(_seen(theme.early, vision) - _seen(theme.late, vision)).max() > 40


@pytest.mark.parametrize("theme", [LIGHT, DARK], ids=lambda t: t.name)
@pytest.mark.parametrize("vision", list(VISION))
def test_marks_stay_legible_for_every_vision(theme: Theme, vision: str):
    paper = tuple(int(v) for v in _seen(theme.paper, vision))
    for name in KINDS:
        seen = tuple(int(v) for v in _seen(getattr(theme, name), vision))
        assert contrast(seen, paper) >= 3.0, name


def _lab(colour: np.ndarray) -> np.ndarray:
    """CIE 1976 L*a*b* under D65 (CIE 15:2004; sRGB primaries of IEC 61966-2-1)."""
    share = colour / 255
    linear = np.where(share <= 0.04045, share / 12.92, ((share + 0.055) / 1.055) ** 2.4)
    to_xyz = np.array(
        ((0.4124, 0.3576, 0.1805), (0.2126, 0.7152, 0.0722), (0.0193, 0.1192, 0.9505))
    )
    ratio = to_xyz @ linear / np.array((0.9505, 1.0, 1.089))
    root = np.where(ratio > 216 / 24389, np.cbrt(ratio), (24389 / 27 * ratio + 16) / 116)
    return np.array((116 * root[1] - 16, 500 * (root[0] - root[1]), 200 * (root[1] - root[2])))


def test_lab_of_known_colours():
    # white is (100, 0, 0) by definition; sRGB red is (53.2, 80.1, 67.2) (from memory)
    assert _lab(np.array((255.0, 255.0, 255.0))) == pytest.approx((100, 0, 0), abs=0.1)
    assert _lab(np.array((255.0, 0.0, 0.0))) == pytest.approx((53.2, 80.1, 67.2), abs=0.3)


@pytest.mark.parametrize("theme", [LIGHT, DARK], ids=lambda t: t.name)
@pytest.mark.parametrize("vision", list(VISION))
def test_slips_stand_out_from_ink_and_other_marks_for_every_vision(theme: Theme, vision: str):
    # differences of over 20 in L*a*b* are large ones (2 is just noticed: common practice)
    slip = _lab(_seen(theme.slip, vision))
    for name in ("ink", "heard", "early", "late", "older"):
        assert np.linalg.norm(slip - _lab(_seen(getattr(theme, name), vision))) > 20, name


@pytest.mark.parametrize("vision", list(VISION))
def test_pictures_as_others_see_them(vision: str, tmp_path: Path):
    shot = SHOTS["after-pass"]
    view = shot.make((1280, 800))
    assert view is not None
    picture = paint(view, (1280, 800))
    file = tmp_path / f"after-pass-{vision}.png"
    pygame.image.save(seen_by(picture, vision), str(file))
    seen = pygame.surfarray.array3d(pygame.image.load(str(file))).astype(int)
    plain = pygame.surfarray.array3d(picture).astype(int)
    slips = (np.abs(plain - np.array(LIGHT.slip)).max(axis=2) == 0).nonzero()
    assert len(slips[0]) > 100
    paper = tuple(int(v) for v in _seen(LIGHT.paper, vision))
    assert {contrast(tuple(int(v) for v in c), paper) >= 4.5 for c in seen[slips]} == {True}


def test_simulated_grey_stays_grey():
    # rows of the matrices add up to 1 (Machado, Oliveira & Fernandes 2009): greys do not change
    for vision in VISION:
        assert np.abs(_seen((120, 120, 120), vision) - 120).max() <= 1


def test_no_two_kinds_share_a_colour():
    for one, other in itertools.combinations(KINDS, 2):
        assert getattr(LIGHT, one) != getattr(LIGHT, other)
