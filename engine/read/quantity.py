"""Numbers as score files write them, read exactly and without being led into huge ones."""

from __future__ import annotations

import re
from fractions import Fraction
from functools import lru_cache

_DECIMAL = re.compile(r"[+-]?\d{1,12}(?:\.\d{0,12})?|[+-]?\.\d{1,12}")
#: Characters of the longest number believed.
_LONGEST = 26
_DIGITS = re.compile(r"\d{1,9}")


def read_decimal(text: str | None) -> Fraction | None:
    """The number written, exactly; None where there is none or it is absurdly long."""
    number = (text or "").strip()
    return _decimal(number) if len(number) <= _LONGEST else None


@lru_cache(maxsize=4096)
def _decimal(number: str) -> Fraction | None:
    # Scores write the same few numbers thousands of times.
    return Fraction(number.rstrip(".")) if _DECIMAL.fullmatch(number) else None


def read_integer(text: str | None) -> int | None:
    """The whole number written; None where there is none."""
    value = read_decimal(text)
    return int(value) if value is not None and value.denominator == 1 else None


def read_first_number(text: str | None) -> float | None:
    """The first number in a text such as "c. 72" or "60-66"."""
    found = re.search(r"\d{1,6}(?:[.,]\d{1,6})?", text or "")
    return float(found[0].replace(",", ".")) if found else None


def read_numbers(text: str | None) -> frozenset[int]:
    """All whole numbers in a list such as "1, 2" or "1-3"; a dash between two means a range."""
    numbers: set[int] = set()
    for first, last in re.findall(r"(\d{1,4})(?:\s*-\s*(\d{1,4}))?", text or ""):
        low, high = int(first), int(last or first)
        numbers.update(range(low, min(high, low + 1000) + 1))
    return frozenset(numbers)
