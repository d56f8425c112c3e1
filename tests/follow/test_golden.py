"""All that is said of twelve takes, as it was when last looked at.

Where following is changed on purpose: look at what differs, then `python -m tests.follow.golden`.
"""

from __future__ import annotations

import json
import re

import pytest

from tests.follow.golden import FOLDER, TAKES, said_of

RENEW = "on purpose? look, then python -m tests.follow.golden"
NUMBER = re.compile(r"-?\d+\.\d+")


def is_like(kept: str, now: str) -> bool:
    """The same words and whole numbers; decimals within their rounding."""
    if NUMBER.sub("#", kept) != NUMBER.sub("#", now):
        return False
    pairs = zip(NUMBER.findall(kept), NUMBER.findall(now), strict=True)
    return all(abs(float(a) - float(b)) < 2e-4 for a, b in pairs)


@pytest.mark.parametrize("name", sorted(TAKES))
def test_nothing_changed_unseen(name: str) -> None:
    kept = json.loads((FOLDER / f"{name}.json").read_text())
    now = said_of(name)
    assert kept.keys() == now.keys()
    for part, lines in kept.items():
        assert len(lines) == len(now[part]), f"{part}: more or fewer lines; {RENEW}"
        for line, found in zip(lines, now[part], strict=True):
            assert is_like(line, found), f"{part}: {line!r} was kept, {found!r} is found; {RENEW}"
