"""Spelling for keys that have none: names from pitch, moment and, if given, the key signatures.

Each key has three candidate names, twelve fifths apart, on the side of the circle on which the key
of the moment lies (`engine.form.keys`). Which of them is written is told by a small network from
what surrounds the note (`engine.form.context`): it was fitted to spelled scores
(`tests/bench/fit_spelling.py`). Octaves struck together are named alike.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cache

import numpy as np

from engine.form.context import describe_notes
from engine.form.fifths import spell
from engine.form.keys import Floats, Ints, KeyPath, find_keys
from engine.form.neighbourhood import Neighbourhood, find_neighbourhood
from engine.form.spelling_weights import read_network

Moment = Fraction | float
#: Key signatures: one for all, or each with the moment (quarters) from which it holds.
Signatures = int | Sequence[tuple[Moment, int]]
#: The middle of a key's notes lies so many fifths above its tonic.
MIDDLE = 2


@dataclass(frozen=True)
class Network:
    """One hidden layer, rectified, and a straight way past it: numbers to candidates.

    Attributes:
        inward: (numbers, hidden). bias: (hidden,). outward: (hidden, 3).
        past: (numbers, 3). base: (3,).
    """

    inward: Floats
    bias: Floats
    outward: Floats
    past: Floats
    base: Floats

    def worth(self, rows: Floats) -> Floats:
        """What each candidate is worth (logarithms), shape (notes, 3)."""
        hidden = np.maximum(rows @ self.inward + self.bias, 0.0)
        return np.asarray(hidden @ self.outward + rows @ self.past + self.base)


@dataclass(frozen=True)
class Choices:
    """What is to be chosen, and all that the choice may depend on.

    Attributes:
        places: candidate places, shape (notes, 3), ascending.
        around: how the notes stand to each other. rows: see `describe_notes`.
    """

    places: Ints
    around: Neighbourhood
    rows: Floats


def spell_pitches(
    pitches: Sequence[int], onsets_q: Sequence[Moment], fifths: Signatures | None = None
) -> list[tuple[str, int, int]]:
    """Letter, alteration and octave for each of some keys.

    Args:
        pitches: MIDI numbers. onsets_q: quarters, same length, in any order.
        fifths: the key signature (-7 to 7), or each with the moment from which it holds; None
            where unknown.

    Raises:
        ValueError: not as many onsets as pitches.
    """
    if len(pitches) != len(onsets_q):
        raise ValueError(f"{len(pitches)} pitches but {len(onsets_q)} onsets")
    if not pitches:
        return []
    order = sorted(range(len(pitches)), key=lambda i: (onsets_q[i], pitches[i]))
    found = choose_places(
        list_choices([pitches[i] for i in order], [float(onsets_q[i]) for i in order], fifths)
    )
    places = dict(zip(order, found.tolist(), strict=True))
    return [spell(pitch, places[i]) for i, pitch in enumerate(pitches)]


def list_choices(
    pitches: Sequence[int], onsets_q: Sequence[float], fifths: Signatures | None
) -> Choices:
    """The candidates for each of some keys, which are in order of onset, then pitch.

    One signature may be a file's default; several were written by somebody, and are believed.
    """
    around = find_neighbourhood(np.asarray(pitches), np.asarray(onsets_q, dtype=float))
    times_q = moment_times(around, onsets_q)
    several = not isinstance(fifths, int | None) and len({value for _, value in fifths}) > 1
    keys = find_keys(pitches, around.moment, signatures_at(times_q, fifths), sure=several)
    return choices_in(around, keys, times_q, np.zeros(len(pitches), np.int64))


def choices_in(around: Neighbourhood, keys: KeyPath, times_q: Floats, shift: Ints) -> Choices:
    """Candidates round the key of each note, written `shift` fifths away from it."""
    middle = keys.tonic[around.moment] + shift + MIDDLE
    base = 7 * around.pitches % 12
    nearest = base + 12 * np.round((middle - base) / 12).astype(np.int64)
    places = nearest[:, None] + np.array([-12, 0, 12])
    return Choices(places, around, describe_notes(around, keys, times_q, places, shift))


def moment_times(around: Neighbourhood, onsets_q: Sequence[float] | Floats) -> Floats:
    """When each moment is, quarters."""
    times = np.zeros(int(around.moment[-1]) + 1)
    times[around.moment] = onsets_q
    return times


def signatures_at(times_q: Floats, fifths: Signatures | None) -> Ints | None:
    """The key signature in force at each moment; the first one holds from the beginning."""
    if fifths is None or (not isinstance(fifths, int) and not fifths):
        return None
    changes = [(0.0, fifths)] if isinstance(fifths, int) else sorted(fifths)
    starts = np.array([float(q) for q, _ in changes])
    index = np.searchsorted(starts, times_q + 1e-6, side="right") - 1
    return np.array([value for _, value in changes], np.int64)[np.maximum(0, index)]


def choose_places(choices: Choices, network: Network | None = None) -> Ints:
    """The best candidate of each note: places on the line of fifths, shape (notes,)."""
    worth = (network or fitted_network()).worth(choices.rows)
    worth = _with_octaves(choices, worth)
    return np.asarray(choices.places[np.arange(len(worth)), worth.argmax(axis=1)])


def _with_octaves(choices: Choices, worth: Floats) -> Floats:
    """Notes an octave apart at one moment share what each is worth: they are written alike."""
    around = choices.around
    key = around.moment * 12 + around.pitches % 12
    _, same = np.unique(key, return_inverse=True)
    if len(worth) == int(same.max()) + 1:
        return worth
    total = np.zeros((int(same.max()) + 1, 3))
    np.add.at(total, same, worth)
    return np.asarray(total[same])


@cache
def fitted_network() -> Network:
    """The network that comes with the project."""
    return Network(*read_network())
