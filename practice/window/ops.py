"""Drawing operations: what `compose` says and the painter does. Lengths in pixels, y downwards."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

Colour = tuple[int, int, int]
Point = tuple[float, float]
Face = Literal["text", "bold", "serif", "serif-bold", "serif-italic", "music"]
Align = Literal["left", "centre", "right"]

#: What a line of text covers of its size, above and below its baseline.
ASCENT, DESCENT = 0.76, 0.24


@dataclass(frozen=True, slots=True)
class Box:
    """An upright rectangle."""

    x: float
    y: float
    w: float
    h: float

    @property
    def right(self) -> float:
        """The right edge."""
        return self.x + self.w

    @property
    def bottom(self) -> float:
        """The lower edge."""
        return self.y + self.h

    @property
    def middle(self) -> Point:
        """The centre."""
        return self.x + self.w / 2, self.y + self.h / 2

    def inset(self, across: float, down: float | None = None) -> Box:
        """Smaller by `across` on the left and right and by `down` above and below."""
        down = across if down is None else down
        return Box(self.x + across, self.y + down, self.w - 2 * across, self.h - 2 * down)

    def holds(self, other: Box, slack: float = 0.5) -> bool:
        """Whether the other lies inside."""
        return (
            other.x >= self.x - slack
            and other.y >= self.y - slack
            and other.right <= self.right + slack
            and other.bottom <= self.bottom + slack
        )

    def meets(self, other: Box) -> bool:
        """Whether the two share any area."""
        return (
            self.x < other.right
            and other.x < self.right
            and self.y < other.bottom
            and other.y < self.bottom
        )

    def has(self, point: Point) -> bool:
        """Whether a point lies inside."""
        return self.x <= point[0] < self.right and self.y <= point[1] < self.bottom


@dataclass(frozen=True, slots=True)
class Fill:
    """A filled rectangle."""

    box: Box
    colour: Colour


@dataclass(frozen=True, slots=True)
class Line:
    """A polyline of even width; `dash` 0 is unbroken, else the length of a dash."""

    points: tuple[Point, ...]
    colour: Colour
    width: float = 1.0
    dash: float = 0.0

    @property
    def box(self) -> Box:
        """What it covers."""
        return box_of(self.points, self.width / 2)


@dataclass(frozen=True, slots=True)
class Shape:
    """A filled polygon."""

    points: tuple[Point, ...]
    colour: Colour

    @property
    def box(self) -> Box:
        """What it covers."""
        return box_of(self.points)


@dataclass(frozen=True, slots=True)
class Disc:
    """A disc, or a ring where `line` is over 0 (the width of the line, drawn inside the radius)."""

    x: float
    y: float
    radius: float
    colour: Colour
    line: float = 0.0

    @property
    def box(self) -> Box:
        """What it covers."""
        return Box(self.x - self.radius, self.y - self.radius, 2 * self.radius, 2 * self.radius)


@dataclass(frozen=True, slots=True)
class Words:
    """One line of text. `x` is its left, middle or right by `align`; `y` its baseline.

    `width` is what it takes, measured when it was composed. `ground` is painted round its letters
    where it stands on notation, so that both stay legible.
    """

    x: float
    y: float
    text: str
    size: int
    colour: Colour
    face: Face = "text"
    align: Align = "left"
    width: float = 0.0
    ground: Colour | None = None

    @property
    def box(self) -> Box:
        """What it covers, from the tops of capitals to the ends of descenders."""
        left = {"left": self.x, "centre": self.x - self.width / 2, "right": self.x - self.width}
        top = self.y - ASCENT * self.size
        return Box(left[self.align], top, self.width, (ASCENT + DESCENT) * self.size)


@dataclass(frozen=True, slots=True)
class Picture:
    """Part of an engraved system: columns [from_x, to_x) of its picture, in staff spaces.

    Attributes:
        x, y: where the upper left corner of the *whole* system would be.
        from_y, to_y: rows of its picture, in spaces.
        px: pixels a staff space.
        tint: which inks: (right hand, left hand, all else).
    """

    system: int
    x: float
    y: float
    from_x: float
    to_x: float
    from_y: float
    to_y: float
    px: float
    tint: tuple[Colour, Colour, Colour]

    @property
    def box(self) -> Box:
        """What it covers."""
        return Box(
            self.x + self.from_x * self.px,
            self.y + self.from_y * self.px,
            (self.to_x - self.from_x) * self.px,
            (self.to_y - self.from_y) * self.px,
        )


DrawOp = Fill | Line | Shape | Disc | Words | Picture


@dataclass(frozen=True, slots=True)
class Layer:
    """The operations of one part, in order; nothing in them lies outside `box`."""

    part: str
    box: Box
    ops: tuple[DrawOp, ...]


def box_of(points: Iterable[Point], grow: float = 0.0) -> Box:
    """The smallest box round points, grown on all sides."""
    xs, ys = zip(*points, strict=True)
    x, y = min(xs) - grow, min(ys) - grow
    return Box(x, y, max(xs) + grow - x, max(ys) + grow - y)
