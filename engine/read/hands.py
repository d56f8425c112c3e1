"""Whose hand a written note is: the hand of its voice's home staff.

A voice that wanders to the other staff for a few notes keeps its hand. Some programs use the
same voice number for two voices, one on each staff; such a number says nothing, and then each
run of notes (between two backups) goes by the staff where most of it stands.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from fractions import Fraction

from engine.read.written import WrittenBar, WrittenNote


def assign_hands(bars: list[WrittenBar], left_staves: frozenset[int]) -> None:
    """Set `hand` of every note. `left_staves`: the numbers of the staves read by the left hand."""
    shared = _shared_voices(bars)
    home = _home_staves(bars, shared)
    for bar in bars:
        runs: dict[tuple[str, int], Counter[int]] = defaultdict(Counter)
        for note in bar.notes:
            runs[note.voice, note.line][note.staff] += 1
        for note in bar.notes:
            staff = home.get(note.voice) or _most(runs[note.voice, note.line])
            note.hand = "left" if staff in left_staves else "right"


def _most(counts: Counter[int]) -> int:
    return max(counts, key=lambda staff: (counts[staff], -staff))


def _home_staves(bars: list[WrittenBar], shared: set[str]) -> dict[str, int]:
    counts: dict[str, Counter[int]] = defaultdict(Counter)
    for bar in bars:
        for note in bar.notes:
            if note.voice not in shared:
                counts[note.voice][note.staff] += 1
    return {voice: _most(staves) for voice, staves in counts.items()}


def _shared_voices(bars: list[WrittenBar]) -> set[str]:
    """Voice numbers under which two staves sound at once, in separate runs, in some bar."""
    shared: set[str] = set()
    for bar in bars:
        voices: dict[str, list[WrittenNote]] = defaultdict(list)
        for note in bar.notes:
            if note.voice not in shared and not note.grace:
                voices[note.voice].append(note)
        shared.update(voice for voice, notes in voices.items() if _overlaps_itself(notes))
    return shared


def _overlaps_itself(notes: list[WrittenNote]) -> bool:
    if len({n.staff for n in notes}) < 2:
        return False
    ends: dict[tuple[int, int], Fraction] = {}
    for note in sorted(notes, key=lambda n: n.at_q):
        for (staff, line), end_q in ends.items():
            if staff != note.staff and line != note.line and note.at_q < end_q:
                return True
        key = (note.staff, note.line)
        end_q = note.at_q + note.duration_q
        ends[key] = max(ends.get(key, end_q), end_q)
    return False
