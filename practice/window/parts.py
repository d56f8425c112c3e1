"""Where the parts stand: Desk, Wheel, Account and Map, the heading over them, and the type sizes.

Everything grows with the window (a unit is a pixel of a 1920 by 1080 window) and with the
player's own scale; text never falls below fourteen pixels at scale 1.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from practice.window.ops import Box

FULL_WIDTH, FULL_HEIGHT = 1920, 1080
SMALLEST_TEXT_PX = 14
#: Nine millimetres on a 24-inch screen of 1920 by 1080 (92 pixels an inch) are 33 pixels,
#: so a space is a quarter of that; whole pixels keep staff lines sharp.
SPACE_UNITS = 33 / 4
SMALLEST_SPACE_PX = 7
#: A column narrower than this share of the window is left to the Desk's side.
_WIDEST_COLUMN = 0.40


@dataclass(frozen=True, slots=True)
class Type:
    """Text sizes in pixels."""

    small: int
    body: int
    large: int
    huge: int


@dataclass(frozen=True, slots=True)
class Parts:
    """The boxes of all parts for one window.

    `stacked`: the window is too small for the scale to hold all at once; Wheel and Account
    then take the Desk's place when they are asked for.
    """

    unit: float
    type: Type
    gap: float
    space_px: int
    whole: Box
    heading: Box
    desk: Box
    wheel: Box
    account: Box
    map: Box
    stacked: bool


def find_unit(size: tuple[int, int], scale: float) -> float:
    """Pixels a unit."""
    return min(size[0] / FULL_WIDTH, size[1] / FULL_HEIGHT) * scale


def type_sizes(unit: float, scale: float) -> Type:
    """The text sizes for a unit."""
    least = SMALLEST_TEXT_PX * scale

    def at(units: float, floor: float) -> int:
        return max(math.ceil(least * floor), round(units * unit))

    return Type(at(17, 1.0), at(20, 1.08), at(27, 1.3), at(54, 2.2))


#: Text beside notation, in spaces: about as high as a head with the lines round it.
_PAGE_TEXT = 2.1


def page_text_px(parts: Parts, px: float) -> int:
    """The size of text that stands on the page, whose spaces have `px` pixels.

    It grows with the player's scale only as far as the notation does: names larger than the staff
    they stand at would cover it.
    """
    return min(parts.type.small, max(SMALLEST_TEXT_PX, round(_PAGE_TEXT * px)))


def arrange_parts(size: tuple[int, int], scale: float = 1.0, wide_desk: bool = False) -> Parts:
    """The parts' places in a window of (width, height) pixels.

    Args:
        size: of the window.
        scale: the player's own, 0.75 to 2.
        wide_desk: Wheel and Account put away, the page over the whole width.
    """
    width, height = size
    unit = find_unit(size, scale)
    text = type_sizes(unit, scale)
    gap = max(8.0, round(16 * unit))
    heading_h = round(text.large * 1.9)
    map_h = round(text.small * 2.2 + 3 * text.small * 1.05 + gap)
    column = round(max(430 * unit, 23 * text.body))
    stacked = column > width * _WIDEST_COLUMN
    if stacked or wide_desk:
        column = 0
    middle = Box(0, heading_h, width, max(1, height - heading_h - map_h))
    desk = Box(0, middle.y, width - column, middle.h)
    side = desk if column == 0 else Box(desk.right, middle.y, column, middle.h)
    wheel, account = _split_side(side, stacked or wide_desk, text)
    return Parts(
        unit=unit,
        type=text,
        gap=gap,
        space_px=max(math.ceil(SMALLEST_SPACE_PX * min(scale, 1)), math.ceil(SPACE_UNITS * unit)),
        whole=Box(0, 0, width, height),
        heading=Box(0, 0, width, heading_h),
        desk=desk,
        wheel=wheel,
        account=account,
        map=Box(0, middle.bottom, width, map_h),
        stacked=stacked,
    )


def _split_side(side: Box, across: bool, text: Type) -> tuple[Box, Box]:
    if across:
        wheel_w = min(side.h, side.w * 0.42)
        return (
            Box(side.x, side.y, wheel_w, side.h),
            Box(side.x + wheel_w, side.y, side.w - wheel_w, side.h),
        )
    account_h = 24.5 * text.body
    wheel_h = max(side.h * 0.3, min(side.w, side.h - account_h))
    return (
        Box(side.x, side.y, side.w, wheel_h),
        Box(side.x, side.y + wheel_h, side.w, side.h - wheel_h),
    )
