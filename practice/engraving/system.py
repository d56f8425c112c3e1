"""One engraved system as positions: where its staves, bars and note heads are.

All lengths are in staff spaces (the distance between two staff lines), measured from the
upper left corner of the system's picture; y grows downwards.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True, slots=True)
class Head:
    """A note head.

    Attributes:
        x, y: its middle.
        left, right: the outer edges of what belongs to it: accidentals before, dots behind.
        half: half its own width.
        staff: index of the staff it stands on, 0 for the upper.
        stem: -1 the stem goes up, 1 down, 0 there is none.
    """

    x: float
    y: float
    left: float
    right: float
    half: float
    staff: int
    stem: int


@dataclass(frozen=True, slots=True)
class Staff:
    """A staff's outer lines."""

    top: float
    bottom: float


@dataclass(frozen=True, slots=True)
class EngravedBar:
    """A bar of the written score: its place in the document and its left and right barline."""

    written: int
    left: float
    right: float


@dataclass(frozen=True, slots=True)
class EngravedSystem:
    """A system: size, staves, bars in order, heads by note id; rests by id as (x, y)."""

    index: int
    width: float
    height: float
    staves: tuple[Staff, ...]
    bars: tuple[EngravedBar, ...]
    heads: Mapping[str, Head]
    rests: Mapping[str, tuple[float, float]]


def as_json(system: EngravedSystem) -> dict[str, Any]:
    """The system as plain lists and numbers, rounded to a thousandth of a space."""

    def short(*values: float) -> list[float]:
        return [round(v, 3) for v in values]

    return {
        "index": system.index,
        "size": short(system.width, system.height),
        "staves": [short(s.top, s.bottom) for s in system.staves],
        "bars": [[b.written, *short(b.left, b.right)] for b in system.bars],
        "heads": {
            i: [*short(h.x, h.y, h.left, h.right, h.half), h.staff, h.stem]
            for i, h in system.heads.items()
        },
        "rests": {i: short(*at) for i, at in system.rests.items()},
    }


def from_json(data: Mapping[str, Any]) -> EngravedSystem:
    """The inverse of `as_json`.

    Raises:
        KeyError, TypeError, ValueError: the data is not what `as_json` writes.
    """
    return EngravedSystem(
        int(data["index"]),
        float(data["size"][0]),
        float(data["size"][1]),
        tuple(Staff(*s) for s in data["staves"]),
        tuple(EngravedBar(int(w), left, right) for w, left, right in data["bars"]),
        {i: Head(*h) for i, h in data["heads"].items()},
        {i: (x, y) for i, (x, y) in data["rests"].items()},
    )
