"""Colours: contrast by arithmetic, and told apart by those who see fewer of them."""

from __future__ import annotations

import itertools

import numpy as np
import pygame
import pytest

from practice.window.theme import DARK, LIGHT, Theme, contrast, luminance
from tests.pictures import VISION, seen_by

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


def test_simulated_grey_stays_grey():
    # rows of the matrices add up to 1 (Machado, Oliveira & Fernandes 2009): greys do not change
    for vision in VISION:
        assert np.abs(_seen((120, 120, 120), vision) - 120).max() <= 1


def test_no_two_kinds_share_a_colour():
    for one, other in itertools.combinations(KINDS, 2):
        assert getattr(LIGHT, one) != getattr(LIGHT, other)
