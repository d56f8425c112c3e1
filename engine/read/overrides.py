"""The player's word over the page: a sidecar's hands and fingering applied to an arrangement."""

from __future__ import annotations

from dataclasses import replace
from functools import cached_property

import numpy as np
import numpy.typing as npt

from engine.arrangement import Arrangement, Bar, Problem
from engine.read.note_places import find_places, is_place
from engine.read.sidecar import HandRule, Sidecar, Stretch


def bars_of(stretch: Stretch, bars: tuple[Bar, ...]) -> tuple[Bar, ...]:
    """The unfolded bars of a stretch; empty if it names a bar that is not there."""
    first = [b.written for b in bars if b.number == stretch.first.bar]
    last = [b.written for b in bars if b.number == stretch.last.bar]
    if not first or not last:
        return ()
    time = stretch.first.time
    within = range(min(first), max(last) + 1)
    return tuple(b for b in bars if b.written in within and (time is None or b.time == time))


def apply_sidecar(arrangement: Arrangement, sidecar: Sidecar) -> Arrangement:
    """The arrangement with the player's hands and fingering. Later rules win over earlier ones.

    Ids and bars that the score does not have become problems of the arrangement.
    """
    problems = list(_unknown(arrangement, sidecar))
    notes = list(arrangement.notes)
    places = _Places(arrangement)
    hands = {i: rule.hand for rule in sidecar.hands for i in places.taken(rule)}
    fingering = fingering_by_id(arrangement, sidecar)
    for i, note in enumerate(notes):
        if i in hands or note.note_id in fingering:
            fingers = fingering.get(note.note_id, note.fingering)
            notes[i] = replace(note, hand=hands.get(i, note.hand), fingering=fingers)
    return replace(arrangement, notes=tuple(notes), problems=(*arrangement.problems, *problems))


def fingering_by_id(arrangement: Arrangement, sidecar: Sidecar) -> dict[str, str]:
    """The sidecar's fingering by note id; notes named by their place are looked up."""
    found = {k: finger for k, finger in sidecar.fingering.items() if not is_place(k)}
    for key, note_id in find_places(arrangement, sidecar.fingering).items():
        if note_id is not None:
            found[note_id] = sidecar.fingering[key]
    return found


class _Places:
    """Where each note stands, as arrays over the notes: hundreds of rules may ask for them."""

    def __init__(self, arrangement: Arrangement) -> None:
        self._notes, self._bars = arrangement.notes, arrangement.bars

    @cached_property
    def _bar(self) -> npt.NDArray[np.int64]:
        return np.array([n.bar for n in self._notes], np.int64)

    @cached_property
    def _staff(self) -> npt.NDArray[np.int64]:
        return np.array([n.staff for n in self._notes], np.int64)

    @cached_property
    def _voice(self) -> npt.NDArray[np.str_]:
        return np.array([n.voice for n in self._notes], np.str_)

    @cached_property
    def _beat(self) -> npt.NDArray[np.float64]:
        return np.array([float(self._bars[n.bar].beat_at(n.onset_q)) for n in self._notes])

    def taken(self, rule: HandRule) -> list[int]:
        """Indices of the notes that a rule speaks of."""
        if rule.stretch is None:
            return [i for i, n in enumerate(self._notes) if n.note_id in rule.notes]
        inside = np.zeros(len(self._bars), bool)
        inside[[b.index for b in bars_of(rule.stretch, self._bars)]] = True
        taken = inside[self._bar]
        if rule.staff is not None:
            taken &= self._staff == rule.staff
        if rule.voice is not None:
            taken &= self._voice == rule.voice
        first, last = rule.stretch.first, rule.stretch.last
        if first.beat is not None:
            taken &= ~self._numbered(first.bar) | (self._beat >= float(first.beat))
        if last.beat is not None:  # a whole beat is meant to its end
            whole = last.beat.denominator == 1
            until = self._beat < float(last.beat + 1) if whole else self._beat <= float(last.beat)
            taken &= ~self._numbered(last.bar) | until
        return np.flatnonzero(taken).tolist()

    def _numbered(self, number: str) -> npt.NDArray[np.bool_]:
        """Which notes stand in bars of a printed number."""
        return np.array([b.number == number for b in self._bars])[self._bar]


def _unknown(arrangement: Arrangement, sidecar: Sidecar) -> list[Problem]:
    known = {head for note in arrangement.notes for head in note.heads}
    by_id = {key for key in sidecar.fingering if not is_place(key)}
    named = by_id | {n for rule in sidecar.hands for n in rule.notes}
    gone = sorted(named - known) + _lost_places(arrangement, sidecar)
    problems = []
    if gone:
        lost = ", ".join(gone[:10])
        problems.append(Problem("", f"the sidecar names notes that the score has not: {lost}"))
    for stretch in _stretches(sidecar):
        if not bars_of(stretch, arrangement.bars):
            what = f"the sidecar's bars {stretch.first.bar} to {stretch.last.bar} are not there"
            problems.append(Problem(stretch.first.bar, what))
    return problems


def _lost_places(arrangement: Arrangement, sidecar: Sidecar) -> list[str]:
    """Places that name no note, as they are printed (without what their bars held)."""
    found = find_places(arrangement, sidecar.fingering)
    return [key.partition(" ~")[0] for key, note_id in found.items() if note_id is None]


def _stretches(sidecar: Sidecar) -> list[Stretch]:
    hands = [rule.stretch for rule in sidecar.hands if rule.stretch is not None]
    sections = [rule.stretch for rule in sidecar.sections]
    return [*hands, *sections, *sidecar.phrases, *(rule.stretch for rule in sidecar.figures)]
