"""Frozen dataclasses as plain columns for JSON, and back, driven by their type hints.

A tuple of dataclasses becomes one list a field, so that thousands of notes are rebuilt by `map`
and not one by one. Exact fractions are written once each, in a table, and referred to by number.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from fractions import Fraction
from functools import cache
from typing import Any, get_args, get_origin, get_type_hints

_Coder = Callable[[Any], Any]


@cache
def _fields(kind: type) -> tuple[tuple[str, Any], ...]:
    """(name, type) of the fields of a dataclass, in order."""
    hints = get_type_hints(kind)
    return tuple((f.name, hints[f.name]) for f in dataclasses.fields(kind))


def _is_row(hint: Any) -> bool:
    """Whether a type is a tuple of any number of dataclasses."""
    args = get_args(hint)
    return (
        get_origin(hint) is tuple
        and len(args) == 2
        and args[1] is Ellipsis
        and dataclasses.is_dataclass(args[0])
    )


class Packer:
    """Turns values into what JSON can hold; `fractions` is the table it fills."""

    def __init__(self) -> None:
        self.fractions: list[tuple[int, int]] = []
        self._numbers: dict[Fraction, int] = {}

    def pack(self, value: Any, hint: Any) -> Any:
        """`value`, of the type `hint`, as lists, objects, numbers and text."""
        if _is_row(hint):
            kind = get_args(hint)[0]
            return {
                name: [self.pack(getattr(row, name), inner) for row in value]
                for name, inner in _fields(kind)
            }
        if dataclasses.is_dataclass(hint):
            return {n: self.pack(getattr(value, n), h) for n, h in _fields(hint)}  # type: ignore[arg-type]
        if isinstance(value, Fraction):
            return self._number(value)
        if isinstance(value, tuple):
            return [self.pack(v, h) for v, h in zip(value, _inner(hint, len(value)), strict=True)]
        return value

    def _number(self, value: Fraction) -> int:
        if value not in self._numbers:
            self._numbers[value] = len(self.fractions)
            self.fractions.append((value.numerator, value.denominator))
        return self._numbers[value]


def _inner(hint: Any, length: int) -> list[Any]:
    args = get_args(hint)
    if len(args) == 2 and args[1] is Ellipsis:
        return [args[0]] * length
    return list(args)


class Unpacker:
    """The way back; `fractions` is the table that the packer filled."""

    def __init__(self, fractions: list[list[int]]) -> None:
        self.fractions = [Fraction(above, below) for above, below in fractions]

    def unpack(self, value: Any, hint: Any) -> Any:
        """The value of type `hint` that was packed."""
        coder = self._coder(hint)
        return value if coder is None else coder(value)

    def _coder(self, hint: Any) -> _Coder | None:
        """How to rebuild a type; None where the plain value is the thing itself."""
        if _is_row(hint):
            return lambda columns: self._rows(columns, get_args(hint)[0])
        if dataclasses.is_dataclass(hint):
            return lambda table: hint(*(self.unpack(table[n], h) for n, h in _fields(hint)))  # type: ignore[arg-type,operator]
        if hint is Fraction:
            return self.fractions.__getitem__
        if get_origin(hint) is tuple:
            return self._tuple_coder(get_args(hint))
        return None

    def _tuple_coder(self, args: tuple[Any, ...]) -> _Coder:
        coders = [self._coder(arg) for arg in args if arg is not Ellipsis]
        if all(coder is None for coder in coders):
            return tuple
        if args[-1] is Ellipsis:
            inner = coders[0]
            assert inner is not None
            return lambda values: tuple(map(inner, values))
        return lambda values: tuple(
            value if coder is None else coder(value)
            for value, coder in zip(values, coders, strict=True)
        )

    def _rows(self, columns: dict[str, list[Any]], kind: type) -> tuple[Any, ...]:
        ready = []
        for name, hint in _fields(kind):
            coder = self._coder(hint)
            column = columns[name]
            ready.append(column if coder is None else map(coder, column))
        return tuple(map(kind, *ready))
