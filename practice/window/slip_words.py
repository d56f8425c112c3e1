"""The slips of a pass in words, most telling first, each with its bar."""

from __future__ import annotations

import re

from engine.arrangement import Arrangement
from engine.findings import Slip
from engine.pitch_names import printed
from practice.snapshot import PassRecord
from practice.window.marks import nearest_right

#: Kinds that say most about what to do come first; the rest follow in order of playing.
_TELLING = (
    "twin", "accidental", "anticipation", "late", "octave", "other hand", "neighbour", "left out",
)  # fmt: skip
#: The place at the head of a slip's sentence; the Account has it in a column of its own.
_PLACE = re.compile(r"^bar [^:]*: ")


def slips_in_words(arrangement: Arrangement, record: PassRecord) -> list[tuple[str, str]]:
    """(bar number, sentence) for each slip, like ones told once."""
    return [
        (bar, text if len(alike) == 1 else f"{text.rstrip('.')} ({len(alike)} times).")
        for (bar, text), alike in slips_alike(arrangement, record).items()
    ]


def slips_alike(arrangement: Arrangement, record: PassRecord) -> dict[tuple[str, str], list[int]]:
    """Indices of the slips that are told in one line, by (bar number, sentence), in their order."""
    slips = sorted(enumerate(record.slips), key=lambda one: (_rank(one[1]), -one[1].certainty))
    alike: dict[tuple[str, str], list[int]] = {}
    for index, slip in slips:
        told = (_bar_of(arrangement, record, slip), _sentence(slip))
        alike.setdefault(told, []).append(index)
    return alike


def _rank(slip: Slip) -> int:
    return next((k for k, word in enumerate(_TELLING) if word in slip.kind), len(_TELLING))


def _sentence(slip: Slip) -> str:
    if slip.words:
        text = _PLACE.sub("", slip.words)
        return text[:1].upper() + text[1:]
    heard, expected = printed(slip.heard), printed(slip.expected)
    if heard and expected:
        return f"{heard} for {expected}."
    return f"{heard} added." if heard else f"{expected} left out."


def _bar_of(arrangement: Arrangement, record: PassRecord, slip: Slip) -> str:
    if slip.score is not None:
        return arrangement.bars[arrangement.notes[slip.score].bar].number
    if slip.played is None or not record.notes:
        return ""
    near = nearest_right(record, slip.played)
    return "" if near is None else arrangement.bars[arrangement.notes[near].bar].number
