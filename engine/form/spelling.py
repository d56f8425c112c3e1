"""Spelling for keys that have none: names from pitch, moment and, if given, the key signature.

Each key has three candidate names, twelve fifths apart. What each is worth depends on the key of
the moment (`engine.form.keys`), on where the voice comes from and goes, and on how it stands to
the notes around it: struck with it, just before, just after. The weights are a log-linear model
fitted to spelled scores (`tests/bench/fit_spelling.py`); the best set of names is found by mean
field, all notes at once, a fixed number of rounds.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from engine.form.fifths import spell
from engine.form.keys import HIGHEST, LOWEST, Floats, Ints, KeyPath, find_keys
from engine.form.neighbourhood import PAIR_KINDS, Neighbourhood, find_neighbourhood
from engine.form.spelling_weights import PAIRS, SINGLES

Moment = Fraction | float
#: Pairs of names are judged up to so many fifths apart; farther ones cost `TOO_FAR`.
REACH = 14
TOO_FAR = -6.0
ROUNDS = 10
#: What a double sharp costs beside what the model says: chromatic lines avoid it (common
#: practice), and the scores the model was fitted to seldom go where it would arise.
DOUBLE_SHARP, FIRST_DOUBLE_SHARP = 1.5, 13
PLACES = HIGHEST - LOWEST + 1
#: Shapes of the tables for single notes: (mode, place, what moves where).
SINGLE_SHAPES = {
    "quick": (2, PLACES),
    "broad": (2, PLACES),
    "leaving": (2, PLACES, 5),
    "coming": (2, PLACES, 5),
    "passing": (2, PLACES, 9),
    "home": (30, 5),
}
PAIR_SHAPE = (len(PAIR_KINDS), 12, 2 * REACH + 1)


@dataclass(frozen=True)
class Weights:
    """The model: a table for each name in `SINGLE_SHAPES`, and one of `PAIR_SHAPE`."""

    singles: dict[str, Floats]
    pairs: Floats


@dataclass(frozen=True)
class Choices:
    """What is to be chosen, and all that the choice may depend on.

    Attributes:
        places: candidate places, shape (notes, 3), ascending.
        around: how the notes stand to each other.
        keys: the key at each moment.
    """

    places: Ints
    around: Neighbourhood
    keys: KeyPath


def spell_pitches(
    pitches: Sequence[int], onsets_q: Sequence[Moment], fifths: int | None = None
) -> list[tuple[str, int, int]]:
    """Letter, alteration and octave for each of some keys.

    Args:
        pitches: MIDI numbers. onsets_q: quarters, same length, in any order.
        fifths: the key signature (-7 to 7), None where unknown.

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


def list_choices(pitches: Sequence[int], onsets_q: Sequence[float], fifths: int | None) -> Choices:
    """The candidates for each of some keys, which are in order of onset, then pitch."""
    around = find_neighbourhood(np.asarray(pitches), np.asarray(onsets_q, dtype=float))
    keys = find_keys(pitches, around.moment, fifths)
    middle = keys.tonic[around.moment] + 2
    base = 7 * around.pitches % 12
    nearest = base + 12 * np.round((middle - base) / 12).astype(np.int64)
    return Choices(nearest[:, None] + np.array([-12, 0, 12]), around, keys)


def choose_places(choices: Choices, weights: Weights | None = None) -> Ints:
    """The best candidate of each note: places on the line of fifths, shape (notes,)."""
    weights = weights or fitted_weights()
    alone = sum(
        weights.singles[name].ravel()[index] for name, index in single_indices(choices).items()
    )
    alone = np.asarray(alone, dtype=float) - DOUBLE_SHARP * (choices.places >= FIRST_DOUBLE_SHARP)
    first, second = choices.around.first, choices.around.second
    worth = _pair_worth(choices, weights.pairs)
    belief = _softmax(alone)
    for _ in range(ROUNDS):
        total = alone.copy()
        np.add.at(total, first, np.einsum("pab,pb->pa", worth, belief[second]))
        np.add.at(total, second, np.einsum("pab,pa->pb", worth, belief[first]))
        belief = 0.4 * belief + 0.6 * _softmax(total)
    return np.asarray(choices.places[np.arange(len(belief)), belief.argmax(axis=1)])


def single_indices(choices: Choices) -> dict[str, Ints]:
    """Index into each flattened table of `SINGLE_SHAPES`, for each note's candidates (notes, 3)."""
    around, keys = choices.around, choices.keys
    mode, broad_mode = keys.mode[around.moment], keys.broad_mode[around.moment]
    quick = _within(choices.places - keys.tonic[around.moment][:, None])
    broad = _within(choices.places - keys.broad_tonic[around.moment][:, None])
    broad_row = broad_mode[:, None] * PLACES + broad
    quick_row = mode[:, None] * PLACES + quick
    home = np.clip(choices.places - keys.home + 12, 0, 29)
    return {
        "quick": quick_row,
        "broad": broad_row,
        "leaving": broad_row * 5 + around.leaving[:, None] + 2,
        "coming": broad_row * 5 + around.coming[:, None] + 2,
        "passing": quick_row * 9 + around.passing[:, None],
        "home": home * 5 + around.leaving[:, None] + 2,
    }


def pair_index(choices: Choices, steps: Ints) -> Ints:
    """Index into the flattened pair table, for some steps in fifths (pairs first)."""
    kind, semitones = choices.around.kind, choices.around.semitones
    shape = (len(kind),) + (1,) * (steps.ndim - 1)
    row = (kind * 12 + semitones).reshape(shape)
    return np.asarray(row * PAIR_SHAPE[2] + np.clip(steps + REACH, 0, 2 * REACH))


def _pair_worth(choices: Choices, table: Floats) -> Floats:
    """What each pair of candidates is worth: (pairs, first's candidate, second's)."""
    places = choices.places
    steps = places[choices.around.second][:, None, :] - places[choices.around.first][:, :, None]
    return pair_worth(choices, steps, table)


def pair_worth(choices: Choices, steps: Ints, table: Floats) -> Floats:
    """What steps in fifths from the first note of each pair to the second are worth."""
    worth = table.ravel()[pair_index(choices, steps)]
    return np.asarray(np.where(np.abs(steps) <= REACH, worth, TOO_FAR))


def _within(places: Ints) -> Ints:
    return np.clip(places - LOWEST, 0, PLACES - 1)


def _softmax(score: Floats) -> Floats:
    raised = np.exp(score - score.max(axis=1, keepdims=True))
    return np.asarray(raised / raised.sum(axis=1, keepdims=True))


def fitted_weights() -> Weights:
    """The weights that come with the project."""
    singles = {name: np.array(SINGLES[name]).reshape(s) for name, s in SINGLE_SHAPES.items()}
    pairs = np.zeros(PAIR_SHAPE)
    for kind, rows in PAIRS.items():
        for semitones, row in enumerate(rows):
            for step, worth in row.items():
                pairs[PAIR_KINDS.index(kind), semitones, step + REACH] = worth
    return Weights(singles, pairs)
