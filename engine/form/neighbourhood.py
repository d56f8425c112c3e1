"""How notes stand to each other in time: what is struck together, and where a voice moves.

No voices are known: a note is taken to go on to the first note within a whole tone among the
next few onsets, unless its own key is struck again first.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from engine.form.keys import Ints

#: Onsets that a step of a voice may span, and quarters.
STEP_ONSETS, STEP_Q = 3, 2.01
#: Quarters for which a pitch class is remembered, and for which it colours other notes.
AGAIN_Q, NEAR_Q = 4.0, 3.0

#: Pairs of notes, by how they stand: with the bass; one onset apart; the same pitch class again;
#: near in time; a step into a note, and out of it, by where that note goes on to (or came from)
#: -2 to 2 semitones; struck together; struck together some octaves apart.
BASS, NEXT, AGAIN, NEAR, WITH, OCTAVE = "bass", "next", "again", "near", "with", "octave"
INTO = tuple(f"into {k}" for k in range(-2, 3))
OUT = tuple(f"out {k}" for k in range(-2, 3))
PAIR_KINDS = (BASS, NEXT, AGAIN, NEAR, *INTO, *OUT, WITH, OCTAVE)


@dataclass(frozen=True)
class Neighbourhood:
    """Notes in order of onset and how they stand to each other.

    Attributes:
        pitches, moment: shape (notes,): MIDI number, number of the onset.
        comes_from, goes_to: the notes a voice moves between, -1 for none.
        coming, leaving: the step into and out of each note, -2 to 2 semitones, 0 for none.
        first, second: indices of the two notes of each pair, shape (pairs,).
        kind: index into `PAIR_KINDS`. semitones: from first to second, modulo 12 (for "again"
            the time between them, in half quarters, at most 11).
    """

    pitches: Ints
    moment: Ints
    comes_from: Ints
    goes_to: Ints
    coming: Ints
    leaving: Ints
    first: Ints
    second: Ints
    kind: Ints
    semitones: Ints


@dataclass
class _Pairs:
    """Collects pairs."""

    pitches: list[int]
    rows: list[tuple[int, int, int, int]] = field(default_factory=list)

    def add(self, kind: str, first: int, second: int) -> None:
        semitones = (self.pitches[second] - self.pitches[first]) % 12
        if semitones:
            self.rows.append((first, second, PAIR_KINDS.index(kind), semitones))


def find_neighbourhood(
    pitches: Ints, onsets_q: np.ndarray[tuple[int], np.dtype[np.float64]]
) -> Neighbourhood:
    """Notes in order of onset, then pitch; onsets in quarters."""
    times, moment = np.unique(np.round(onsets_q, 4), return_inverse=True)
    notes = _Notes(pitches.tolist(), moment.tolist(), times.tolist())
    goes_to, comes_from = notes.steps(1), notes.steps(-1)
    leaving = [0 if j < 0 else notes.pitches[j] - notes.pitches[i] for i, j in enumerate(goes_to)]
    coming = [0 if j < 0 else notes.pitches[i] - notes.pitches[j] for i, j in enumerate(comes_from)]
    pairs = _Pairs(notes.pitches)
    _pair_moments(notes, pairs)
    for i, j in enumerate(comes_from):
        if j >= 0:
            pairs.add(INTO[leaving[i] + 2], j, i)
    for i, j in enumerate(goes_to):
        if j >= 0:
            pairs.add(OUT[coming[i] + 2], i, j)
    first, second, kind, semitones = np.array(pairs.rows, np.int64).reshape(-1, 4).T
    voices = [np.array(x, np.int64) for x in (comes_from, goes_to, coming, leaving)]
    return Neighbourhood(
        np.asarray(pitches, np.int64), np.asarray(moment, np.int64),
        voices[0], voices[1], voices[2], voices[3], first, second, kind, semitones,
    )  # fmt: skip


class _Notes:
    """Plain lists, and where each moment's notes begin."""

    def __init__(self, pitches: list[int], moment: list[int], times: list[float]) -> None:
        self.pitches, self.moment, self.times = pitches, moment, times
        self.starts = np.searchsorted(moment, np.arange(len(times) + 1)).tolist()

    def at(self, moment: int) -> range:
        """Indices of the notes of a moment."""
        return range(self.starts[moment], self.starts[moment + 1])

    def steps(self, way: int) -> list[int]:
        """For each note the one it goes to (`way` 1) or comes from (-1); -1 for none."""
        return [self._step(i, way) for i in range(len(self.pitches))]

    def _step(self, i: int, way: int) -> int:
        last = len(self.times) - 1
        for k in range(1, STEP_ONSETS + 1):
            moment = self.moment[i] + way * k
            if not 0 <= moment <= last:
                return -1
            if abs(self.times[moment] - self.times[self.moment[i]]) > STEP_Q:
                return -1
            notes = self.at(moment)
            for j in notes if way > 0 else reversed(notes):
                step = self.pitches[j] - self.pitches[i]
                if step == 0:
                    return -1
                if abs(step) <= 2:
                    return j
        return -1


def _pair_moments(notes: _Notes, pairs: _Pairs) -> None:
    """Pairs within a moment, with the next one, with the bass, and with what was just heard."""
    heard: dict[int, tuple[int, float]] = {}  # pitch class: note, when
    bass = 0
    for moment, now in enumerate(notes.times):
        here = notes.at(moment)
        bass = _bass(notes, bass, here[0])
        follows = moment + 1 < len(notes.times) and notes.times[moment + 1] - now <= 2
        for i in here:
            for j in range(i + 1, here.stop):
                pairs.add(WITH, i, j)
                if (notes.pitches[j] - notes.pitches[i]) % 12 == 0:
                    pairs.rows.append((i, j, PAIR_KINDS.index(OCTAVE), 0))
            for j in notes.at(moment + 1) if follows else ():
                pairs.add(NEXT, i, j)
            if i != bass:
                pairs.add(BASS, bass, i)
        _pair_with_heard(notes, pairs, here, now, heard)
        heard.update({notes.pitches[i] % 12: (i, now) for i in here})


def _bass(notes: _Notes, bass: int, lowest: int) -> int:
    """The bass goes on until a note about as low is struck, or two quarters have gone."""
    gone = notes.times[notes.moment[lowest]] - notes.times[notes.moment[bass]]
    new = notes.pitches[lowest] <= notes.pitches[bass] + 4 or gone >= 2
    return lowest if new else bass


def _pair_with_heard(
    notes: _Notes,
    pairs: _Pairs,
    here: range,
    now: float,
    heard: dict[int, tuple[int, float]],
) -> None:
    seen: set[int] = set()
    for i in here:
        own = notes.pitches[i] % 12
        if own in heard and now - heard[own][1] <= AGAIN_Q:
            j, then = heard[own]
            pairs.rows.append((j, i, PAIR_KINDS.index(AGAIN), min(11, int(2 * (now - then)))))
        if own in seen:
            continue
        seen.add(own)
        for other, (j, then) in heard.items():
            if other != own and now - then <= NEAR_Q:
                pairs.add(NEAR, j, i)
