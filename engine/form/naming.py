"""What the page would call a key: its name from the spelling of everything around it.

The same model that spells bare keys (`engine.form.spelling`) is asked for one note, with the names
of all others taken from the page; and what the page itself has called that key, over the same
harmony first of all, counts beside it.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

import numpy as np

from engine.arrangement import Arrangement, Hand
from engine.form.fifths import place_of, places_for, spell
from engine.form.function import harmony_at
from engine.form.keys import Floats, Ints, KeyPath, find_keys
from engine.form.neighbourhood import Neighbourhood, find_neighbourhood
from engine.form.spelling import (
    Choices,
    Weights,
    fitted_weights,
    pair_worth,
    single_indices,
)
from engine.pitch_names import SIGNS

Moment = Fraction | float
#: How far the page is looked at, in quarters either way.
REACH_Q = 24.0
#: Notes either way by which the side of the circle (flats or sharps) is told.
SIDE_NOTES = 15
#: Weight of the page's own habit against the model, over the same harmony and anywhere.
SAME_HARMONY, ANYWHERE = 2.0, 0.2


@dataclass(frozen=True)
class Page:
    """Spelled notes in order of onset, then pitch.

    Attributes:
        pitches, places: MIDI numbers and places on the line of fifths, shape (notes,).
        onsets_q: quarters. fifths: the key signature.
    """

    pitches: Ints
    places: Ints
    onsets_q: Floats
    fifths: int


def name_in_context(arrangement: Arrangement, pitch: int, onset_q: Moment, hand: Hand) -> str:
    """The name ("Bbb4") of a key struck at a moment, from the page's spelling around it.

    `hand` is whose it was; names do not depend on it, voices are told by where notes move.
    """
    del hand
    step, alter, octave = spell(pitch, place_in_context(arrangement, pitch, onset_q))
    return f"{step}{SIGNS[alter]}{octave}"


def place_in_context(
    arrangement: Arrangement, pitch: int, onset_q: Moment, hidden: Collection[int] = ()
) -> int:
    """The same, as a place on the line of fifths; notes in `hidden` (indices) are not looked at."""
    onsets = arrangement.table["onset_q"]
    first = bisect_left(onsets, float(onset_q) - REACH_Q)
    last = bisect_right(onsets, float(onset_q) + REACH_Q)
    near = [i for i in range(first, last) if i not in hidden]
    if not near:
        return min(places_for(pitch), key=lambda p: abs(p - arrangement.fifths - 2))
    page = _with_note(arrangement, near, pitch, float(onset_q))
    k = int(np.flatnonzero(page.places == UNKNOWN)[0])
    habit = page_habit(arrangement, pitch, onset_q, hidden)
    return int(name_notes(page, [k], habit[None, :])[0])


#: Stands for the place that is asked for.
UNKNOWN = 99


def _with_note(arrangement: Arrangement, near: Sequence[int], pitch: int, onset_q: float) -> Page:
    rows = [
        (float(n.onset_q), n.pitch, place_of(n.step, n.alter))
        for n in (arrangement.notes[i] for i in near)
    ]
    rows = sorted([*rows, (onset_q, pitch, UNKNOWN)])
    onsets, pitches, places = (np.array(column) for column in zip(*rows, strict=True))
    fifths = _signature_at(arrangement, onset_q)
    return Page(pitches, places, onsets, fifths)


def _signature_at(arrangement: Arrangement, onset_q: float) -> int:
    fifths = arrangement.fifths
    for mark in arrangement.marks:
        if mark.kind == "key" and mark.onset_q <= onset_q:
            fifths = mark.value
    return fifths


def page_habit(
    arrangement: Arrangement, pitch: int, onset_q: Moment, hidden: Collection[int] = ()
) -> Floats:
    """How much the page's own names for a key speak for each place from -15 to 19; shape (35,)."""
    harmonies = arrangement.form.harmonies
    k = harmony_at(harmonies, onset_q)
    here = (harmonies[k].root, harmonies[k].quality) if k >= 0 else None
    same, anywhere = np.zeros(35), np.zeros(35)
    seen: set[tuple[Fraction, int]] = set()
    for i in np.flatnonzero(arrangement.table["pitch"] % 12 == pitch % 12).tolist():
        note = arrangement.notes[i]
        place = place_of(note.step, note.alter)
        if i in hidden or (note.onset_q, place) in seen or not -15 <= place <= 19:
            continue
        seen.add((note.onset_q, place))
        anywhere[place + 15] += 1
        j = harmony_at(harmonies, note.onset_q)
        if here is not None and j >= 0 and (harmonies[j].root, harmonies[j].quality) == here:
            same[place + 15] += 1
    return SAME_HARMONY * _log_share(same) + ANYWHERE * _log_share(anywhere)


def _log_share(count: Floats) -> Floats:
    return np.asarray(np.log((count + 0.5) / (count.sum() + 0.5)))


def name_notes(
    page: Page,
    asked: Sequence[int],
    habit: Floats | None = None,
    weights: Weights | None = None,
) -> Ints:
    """The name of each note asked for, from the names of all others.

    Args:
        page: the notes; the place of a note that is asked for is not looked at.
        asked: indices. habit: shape (asked, 35), see `page_habit`.
        weights: of the model, the fitted ones if not given.

    Returns:
        Places on the line of fifths, shape (asked,).
    """
    weights = weights or fitted_weights()
    around = find_neighbourhood(page.pitches, page.onsets_q)
    keys = find_keys(page.pitches.tolist(), around.moment, page.fifths)
    choices = _choices(page, around, keys)
    score = _alone(choices, weights) + _among_names(choices, page, weights)
    best = []
    for row, i in enumerate(asked):
        total = score[i].copy()
        if habit is not None:
            total += habit[row][np.clip(choices.places[i] + 15, 0, 34)]
        best.append(int(choices.places[i][int(total.argmax())]))
    return np.array(best)


def _choices(page: Page, around: Neighbourhood, keys: KeyPath) -> Choices:
    """Candidates round the key of each note, on the side on which the page is written there.

    The keys are given note by note: each note has a moment of its own in the choices.
    """
    shift = _sides(page, keys.tonic[around.moment])
    sided = KeyPath(
        keys.tonic[around.moment] + shift,
        keys.mode[around.moment],
        keys.broad_tonic[around.moment] + _sides(page, keys.broad_tonic[around.moment]),
        keys.broad_mode[around.moment],
        keys.home,
    )
    base = 7 * page.pitches % 12
    nearest = base + 12 * np.round((sided.tonic + 2 - base) / 12).astype(np.int64)
    own = replace(around, moment=np.arange(len(page.pitches)))
    return Choices(nearest[:, None] + np.array([-12, 0, 12]), own, sided)


def _sides(page: Page, tonic: Ints) -> Ints:
    """Whole circles to add to each tonic, by the mean place of the other notes around."""
    known = page.places != UNKNOWN
    places = np.where(known, page.places, 0)
    total, count = np.cumsum(np.r_[0, places]), np.cumsum(np.r_[0, known.astype(int)])
    n = np.arange(len(places))
    low, high = np.maximum(0, n - SIDE_NOTES), np.minimum(len(places), n + SIDE_NOTES + 1)
    others = count[high] - count[low] - known
    mean = (total[high] - total[low] - places) / np.maximum(others, 1)
    shift = 12 * np.round((mean - (tonic + 1)) / 12).astype(np.int64)
    return np.asarray(np.where(others > 0, shift, 0))


def _alone(choices: Choices, weights: Weights) -> Floats:
    total = np.zeros(choices.places.shape)
    for name, index in single_indices(choices).items():
        total += weights.singles[name].ravel()[index]
    return total


def _among_names(choices: Choices, page: Page, weights: Weights) -> Floats:
    """What each candidate is worth beside the names of the notes it is paired with."""
    around = choices.around
    total = np.zeros(choices.places.shape)
    for mine, other, sign in ((around.first, around.second, 1), (around.second, around.first, -1)):
        steps = sign * (page.places[other][:, None] - choices.places[mine])
        worth = pair_worth(choices, steps, weights.pairs)
        worth[page.places[other] == UNKNOWN] = 0.0
        np.add.at(total, mine, worth)
    return total
