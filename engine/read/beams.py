"""Beams and tuplet brackets over the notes of a voice, beat by beat."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from engine.read.note_values import NoteValue

_FLAGS = {"eighth": 1, "16th": 2, "32nd": 3, "64th": 4, "128th": 5, "256th": 6}


def beat_groups(places: Sequence[tuple[Fraction, bool]], beat_q: Fraction) -> list[range]:
    """Runs of things that lie in one beat, none of them a rest.

    Args:
        places: (onset in the bar, is a note) one after another. beat_q: length of a beat.
    """
    groups: list[range] = []
    start = 0
    for i in range(len(places) + 1):
        broken = i == len(places) or not places[i][1]
        if i > start and (broken or places[i][0] // beat_q != places[start][0] // beat_q):
            groups.append(range(start, i))
            start = i
        if broken:
            start = i + 1
    return groups


def beam_signs(values: Sequence[NoteValue]) -> list[list[str]]:
    """For each note of a group its beams from the first level up: begin, continue, end, or hooks.

    A note without a flag, or alone, has none.
    """
    flags = [_FLAGS.get(value.type, 0) for value in values]
    return [
        [_sign(flags, i, level) for level in range(1, flags[i] + 1)] if _joined(flags, i, 1) else []
        for i in range(len(flags))
    ]


def _joined(flags: Sequence[int], i: int, level: int) -> bool:
    return _reaches(flags, i - 1, level) or _reaches(flags, i + 1, level)


def _reaches(flags: Sequence[int], i: int, level: int) -> bool:
    return 0 <= i < len(flags) and flags[i] >= level


def _sign(flags: Sequence[int], i: int, level: int) -> str:
    before, after = _reaches(flags, i - 1, level), _reaches(flags, i + 1, level)
    if before and after:
        return "continue"
    if before:
        return "end"
    if after:
        return "begin"
    return "forward hook" if i == 0 else "backward hook"


def tuplet_signs(values: Sequence[NoteValue]) -> list[str]:
    """For each note of a group "start" or "stop" where a tuplet begins or ends, else ""."""
    signs = [""] * len(values)
    for i, value in enumerate(values):
        if value.actual == 1:
            continue
        first = i == 0 or values[i - 1].actual != value.actual
        last = i == len(values) - 1 or values[i + 1].actual != value.actual
        if first != last:
            signs[i] = "start" if first else "stop"
    return signs
