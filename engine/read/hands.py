"""Whose hand a written note is: the hand of its voice's home staff.

A voice that wanders to the other staff for a few notes keeps its hand. Some programs use the
same voice number for two voices, one on each staff; such a number says nothing, and then each
run of notes (between two backups) goes by the staff where most of it stands.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from fractions import Fraction

from engine.read.written import WrittenBar, WrittenNote

#: A voice within its part.
_Voice = tuple[int, str]


def _voice(note: WrittenNote) -> _Voice:
    return note.part, note.voice


def assign_hands(bars: list[WrittenBar], left_staves: frozenset[int]) -> None:
    """Set `hand` of every note. `left_staves`: the numbers of the staves read by the left hand."""
    shared = _shared_voices(bars)
    home = _home_staves(bars, shared)
    for bar in bars:
        runs: dict[tuple[_Voice, int], Counter[int]] = defaultdict(Counter)
        for note in bar.notes:
            runs[_voice(note), note.line][note.staff] += 1
        for note in bar.notes:
            staff = home.get(_voice(note)) or _most(runs[_voice(note), note.line])
            note.hand = "left" if staff in left_staves else "right"


def _most(counts: Counter[int]) -> int:
    """The staff with most notes; of equals the one that came first."""
    return max(counts, key=lambda staff: counts[staff])


def _home_staves(bars: list[WrittenBar], shared: set[_Voice]) -> dict[_Voice, int]:
    counts: dict[_Voice, Counter[int]] = defaultdict(Counter)
    for bar in bars:
        for note in bar.notes:
            if _voice(note) not in shared:
                counts[_voice(note)][note.staff] += 1
    return {voice: _most(staves) for voice, staves in counts.items()}


def _shared_voices(bars: list[WrittenBar]) -> set[_Voice]:
    """Voice numbers under which two staves sound at once, in separate runs, in some bar."""
    shared: set[_Voice] = set()
    for bar in bars:
        voices: dict[_Voice, list[WrittenNote]] = defaultdict(list)
        for note in bar.notes:
            if _voice(note) not in shared and not note.grace:
                voices[_voice(note)].append(note)
        shared.update(voice for voice, notes in voices.items() if _overlaps_itself(notes))
    return shared


def _overlaps_itself(notes: list[WrittenNote]) -> bool:
    if len({n.staff for n in notes}) < 2:
        return False
    last: dict[int, WrittenNote] = {}
    for note in sorted(notes, key=lambda n: n.at_q):
        for other in last.values():
            apart = other.staff != note.staff and other.line != note.line
            if apart and note.at_q < _end(other):
                return True
        before = last.get(note.staff)
        if before is None or _end(note) >= _end(before):
            last[note.staff] = note
    return False


def _end(note: WrittenNote) -> Fraction:
    return note.at_q + note.duration_q
