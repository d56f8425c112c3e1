"""Two sets of colours, a light page and a dark room, and the arithmetic that keeps them legible.

Meaning never rests on colour alone: early and late differ by side, kinds of mark by shape,
stages by hatching. Colours only help.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from practice.window.ops import Colour

ThemeName = Literal["light", "dark"]


@dataclass(frozen=True, slots=True)
class Theme:
    """Colours by what they say.

    Attributes:
        paper: the ground. ink: text and notation. soft: lesser text.
        rule: thin lines that part one thing from another and carry no meaning.
        shade: ground of an overlay's chosen row and of changed bars.
        dim: notation outside the span. silent: the hand that rests.
        heard: marks beside heads, and the place now heard.
        early, late: deviations. slip: what went otherwise. older: earlier passes.
    """

    name: ThemeName
    paper: Colour
    ink: Colour
    soft: Colour
    rule: Colour
    shade: Colour
    dim: Colour
    silent: Colour
    heard: Colour
    early: Colour
    late: Colour
    slip: Colour
    older: Colour


LIGHT = Theme(
    name="light",
    paper=(250, 248, 242),
    ink=(29, 27, 24),
    soft=(95, 88, 78),
    rule=(214, 207, 194),
    shade=(238, 232, 219),
    dim=(142, 137, 128),
    silent=(140, 138, 134),
    heard=(11, 98, 110),
    early=(36, 84, 166),
    late=(168, 78, 8),
    slip=(122, 8, 204),
    older=(136, 130, 120),
)

DARK = Theme(
    name="dark",
    paper=(23, 24, 27),
    ink=(226, 221, 209),
    soft=(165, 159, 147),
    rule=(62, 62, 64),
    shade=(40, 41, 45),
    dim=(108, 107, 104),
    silent=(110, 110, 110),
    heard=(104, 196, 199),
    early=(134, 176, 244),
    late=(240, 160, 84),
    slip=(196, 96, 255),
    older=(122, 119, 112),
)

THEMES: dict[ThemeName, Theme] = {"light": LIGHT, "dark": DARK}


def luminance(colour: Colour) -> float:
    """Relative luminance, 0 to 1 (WCAG 2.1, "relative luminance")."""

    def linear(value: int) -> float:
        share = value / 255
        return share / 12.92 if share <= 0.04045 else float(((share + 0.055) / 1.055) ** 2.4)

    red, green, blue = (linear(v) for v in colour)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: Colour, other: Colour) -> float:
    """Contrast ratio, 1 to 21 (WCAG 2.1, "contrast ratio")."""
    lighter, darker = sorted((luminance(one), luminance(other)), reverse=True)
    return (lighter + 0.05) / (darker + 0.05)
