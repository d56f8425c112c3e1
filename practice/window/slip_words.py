"""The slips of a pass in words, most telling first, each with its bar."""

from __future__ import annotations

import re
from collections import Counter

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
    slips = sorted(record.slips, key=lambda s: (_rank(s), -s.certainty))
    said: Counter[tuple[str, str]] = Counter()
    for slip in slips:
        said[(_bar_of(arrangement, record, slip), _sentence(slip))] += 1
    return [
        (bar, text if times == 1 else f"{text.rstrip('.')} ({times} times).")
        for (bar, text), times in said.items()
    ]


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
