"""Lengths of time as values that can be printed: type, dots, tuplet, tied together where needed."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

_TYPES = (
    "long", "breve", "whole", "half", "quarter", "eighth", "16th", "32nd", "64th", "128th", "256th",
)  # fmt: skip
_LONGEST_Q = Fraction(16)
_DOTS = (Fraction(7, 4), Fraction(3, 2), Fraction(1))


@dataclass(frozen=True, slots=True)
class NoteValue:
    """A printable value: `length_q` quarters as a type with dots, `actual` in place of `normal`."""

    length_q: Fraction
    type: str
    dots: int = 0
    actual: int = 1
    normal: int = 1


def printable_values(length_q: Fraction) -> list[NoteValue]:
    """The fewest values, longest first, that tied together last `length_q` quarters.

    A length with an odd number in its denominator is a tuplet of that number in the place of the
    next lower power of two. What is shorter than the shortest type is left off.
    """
    odd = length_q.denominator
    while odd % 2 == 0:
        odd //= 2
    normal = 1 << (odd.bit_length() - 1)
    rest_q = length_q * odd / normal
    values: list[NoteValue] = []
    while rest_q > 0:
        value = _longest_value(rest_q)
        if value is None:
            break
        face_q, name, dots = value
        values.append(NoteValue(face_q * normal / odd, name, dots, odd, normal))
        rest_q -= face_q
    return values


def _longest_value(length_q: Fraction) -> tuple[Fraction, str, int] | None:
    """(length, type, dots) of the longest value that fits."""
    face_q = _LONGEST_Q
    for name in _TYPES:
        for dots, factor in zip((2, 1, 0), _DOTS, strict=True):
            if face_q * factor <= length_q:
                return face_q * factor, name, dots
        face_q /= 2
    return None
