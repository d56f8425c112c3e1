"""What the page would call a key: its name from the spelling of everything around it.

The network that spells bare keys (`engine.form.spelling`) is asked for one note; how that note's
name would stand to the names around it, pair by pair, is weighed beside it, and so is what the
page itself has called that key, over the same harmony first of all.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections import Counter, defaultdict
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cache, cached_property

import numpy as np

from engine.arrangement import Arrangement, Hand, ScoreNote
from engine.form.fifths import place_of, places_for, spell
from engine.form.function import harmony_at
from engine.form.keys import Floats, Ints, find_keys
from engine.form.neighbourhood import OCTAVE, PAIR_KINDS, find_neighbourhood
from engine.form.spelling import (
    Choices,
    Network,
    Signatures,
    choices_in,
    fitted_network,
    moment_times,
    signatures_at,
)
from engine.form.spelling_weights import NETWORK_SHARE, PAIRS
from engine.pitch_names import SIGNS

Moment = Fraction | float
#: How far the page is looked at, in quarters either way.
REACH_Q = 24.0
#: Notes either way by which the side of the circle (flats or sharps) is told.
SIDE_NOTES = 15
#: Weight of the page's own habit against the model, over the same harmony and anywhere.
SAME_HARMONY, ANYWHERE = 2.0, 0.2
#: Pairs of names are judged up to so many fifths apart; farther ones cost `TOO_FAR`.
REACH, TOO_FAR = 14, -6.0
PAIR_SHAPE = (len(PAIR_KINDS), 12, 2 * REACH + 1)
#: What another name than its octave's costs a note, and the same name earns it.
OCTAVE_WORTH = 4.0


@dataclass(frozen=True)
class Page:
    """Spelled notes in order of onset, then pitch.

    Attributes:
        pitches, places: MIDI numbers and places on the line of fifths, shape (notes,).
        onsets_q: quarters. fifths: the key signature, or each with the moment it holds from.
    """

    pitches: Ints
    places: Ints
    onsets_q: Floats
    fifths: Signatures


@dataclass(frozen=True)
class NamingWeights:
    """The network, its share beside the pairs, and what pairs of names are worth (`PAIR_SHAPE`)."""

    network: Network
    share: float
    pairs: Floats


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
    habit = PageHabits(arrangement).of(pitch, onset_q, hidden)
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
    return Page(pitches, places, onsets, signatures_of(arrangement))


def signatures_of(arrangement: Arrangement) -> list[tuple[Moment, int]]:
    """The page's key signatures, each with the moment from which it holds."""
    changes: list[tuple[Moment, int]] = [
        (m.onset_q, m.value) for m in arrangement.marks if m.kind == "key"
    ]
    return changes or [(Fraction(0), arrangement.fifths)]


@dataclass(frozen=True)
class PageHabits:
    """How a page names each key, over each harmony and anywhere; a moment's octaves count once."""

    arrangement: Arrangement

    @cached_property
    def _counts(self) -> tuple[Floats, dict[tuple[str, str], Floats]]:
        """Moments by place, -15 to 19: anywhere, and over each harmony; shape (35,)."""
        anywhere = np.zeros(35)
        over: dict[tuple[str, str], Floats] = {}
        for onset_q, place in self._named:
            anywhere[place + 15] += 1
            here = self.harmony(onset_q)
            if here is not None:
                over.setdefault(here, np.zeros(35))[place + 15] += 1
        return anywhere, over

    @cached_property
    def _named(self) -> dict[tuple[Moment, int], int]:
        """How many notes have a name at a moment."""
        return dict(Counter(key for n in self.arrangement.notes if (key := _name_key(n))))

    def harmony(self, onset_q: Moment) -> tuple[str, str] | None:
        """Root and quality of the harmony at a moment."""
        harmonies = self.arrangement.form.harmonies
        k = harmony_at(harmonies, onset_q)
        return (harmonies[k].root, harmonies[k].quality) if k >= 0 else None

    def of(self, pitch: int, onset_q: Moment, hidden: Collection[int] = ()) -> Floats:
        """How much the page's own names for a key speak for each place from -15 to 19."""
        anywhere, over = self._counts
        here = self.harmony(onset_q)
        mine = np.array([7 * p % 12 == pitch % 12 for p in range(-15, 20)])
        anywhere = anywhere * mine
        same = over[here] * mine if here in over else np.zeros(35)
        gone = Counter(key for i in hidden if (key := _name_key(self.arrangement.notes[i])))
        for key, count in gone.items():
            if self._named[key] == count:  # no other note of that name is struck then
                anywhere[key[1] + 15] -= mine[key[1] + 15]
                same[key[1] + 15] -= mine[key[1] + 15] and self.harmony(key[0]) == here
        return SAME_HARMONY * _log_share(same) + ANYWHERE * _log_share(anywhere)


def _name_key(note: ScoreNote) -> tuple[Moment, int] | None:
    place = place_of(note.step, note.alter)
    return (note.onset_q, place) if -15 <= place <= 19 else None


@dataclass(frozen=True)
class PageNames:
    """A page whose notes are asked about one after the other: keys and pairs are found once."""

    arrangement: Arrangement

    @cached_property
    def habits(self) -> PageHabits:
        """The page's own names."""
        return PageHabits(self.arrangement)

    @cached_property
    def page(self) -> Page:
        """All notes as played."""
        notes = self.arrangement.notes
        return Page(
            np.array([n.pitch for n in notes], np.int64),
            np.array([place_of(n.step, n.alter) for n in notes], np.int64),
            np.array([float(n.onset_q) for n in notes]),
            signatures_of(self.arrangement),
        )

    @cached_property
    def _choices(self) -> Choices:
        return list_named(self.page)

    @cached_property
    def _alone(self) -> Floats:
        weights = fitted_weights()
        return weights.share * weights.network.worth(self._choices.rows)

    @cached_property
    def _pairs_of(self) -> dict[int, list[int]]:
        """The pairs each note is in."""
        found: dict[int, list[int]] = defaultdict(list)
        around = self._choices.around
        for k, (i, j) in enumerate(zip(around.first.tolist(), around.second.tolist(), strict=True)):
            found[i].append(k)
            found[j].append(k)
        return found

    def place(self, index: int, hidden: Collection[int] = ()) -> int:
        """What the rest of the page would call one of its notes; `hidden` is not looked at."""
        around, candidates = self._choices.around, self._choices.places[index]
        total = self._alone[index].copy()
        for k in self._pairs_of[index]:
            i, j = int(around.first[k]), int(around.second[k])
            other, sign = (j, 1) if i == index else (i, -1)
            if other not in hidden:
                steps = sign * (int(self.page.places[other]) - candidates)
                row = fitted_weights().pairs[around.kind[k], around.semitones[k]]
                near = np.abs(steps) <= REACH
                total += np.where(near, row[np.clip(steps + REACH, 0, 2 * REACH)], TOO_FAR)
        note = self.arrangement.notes[index]
        habit = self.habits.of(note.pitch, note.onset_q, hidden)
        total += habit[np.clip(candidates + 15, 0, 34)]
        return int(candidates[int(total.argmax())])


def _log_share(count: Floats) -> Floats:
    return np.asarray(np.log((count + 0.5) / (count.sum() + 0.5)))


def name_notes(
    page: Page,
    asked: Sequence[int],
    habit: Floats | None = None,
    weights: NamingWeights | None = None,
) -> Ints:
    """The name of each note asked for, from the names of all others.

    Args:
        page: the notes; the place of a note that is asked for is not looked at.
        asked: indices. habit: shape (asked, 35), see `PageHabits`.
        weights: of the model, the fitted ones if not given.

    Returns:
        Places on the line of fifths, shape (asked,).
    """
    weights = weights or fitted_weights()
    choices = list_named(page)
    score = weights.share * weights.network.worth(choices.rows)
    score += _among_names(choices, page, weights.pairs)
    best = []
    for row, i in enumerate(asked):
        total = score[i].copy()
        if habit is not None:
            total += habit[row][np.clip(choices.places[i] + 15, 0, 34)]
        best.append(int(choices.places[i][int(total.argmax())]))
    return np.array(best)


def list_named(page: Page) -> Choices:
    """Candidates for each note, on the side of the circle on which the page is written there."""
    around = find_neighbourhood(page.pitches, page.onsets_q)
    times_q = moment_times(around, page.onsets_q)
    fifths = signatures_at(times_q, page.fifths)
    keys = find_keys(page.pitches.tolist(), around.moment, fifths, sure=True)
    return choices_in(around, keys, times_q, _sides(page, keys.tonic[around.moment]))


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


def _among_names(choices: Choices, page: Page, table: Floats) -> Floats:
    """What each candidate is worth beside the names of the notes it is paired with."""
    around = choices.around
    total = np.zeros(choices.places.shape)
    for mine, other, sign in ((around.first, around.second, 1), (around.second, around.first, -1)):
        steps = sign * (page.places[other][:, None] - choices.places[mine])
        worth = pair_worth(choices, steps, table)
        worth[page.places[other] == UNKNOWN] = 0.0
        np.add.at(total, mine, worth)
    return total


def pair_index(choices: Choices, steps: Ints) -> Ints:
    """Index into the flattened pair table, for some steps in fifths (pairs first)."""
    kind, semitones = choices.around.kind, choices.around.semitones
    shape = (len(kind),) + (1,) * (steps.ndim - 1)
    row = (kind * 12 + semitones).reshape(shape)
    return np.asarray(row * PAIR_SHAPE[2] + np.clip(steps + REACH, 0, 2 * REACH))


def pair_worth(choices: Choices, steps: Ints, table: Floats) -> Floats:
    """What steps in fifths from the first note of each pair to the second are worth."""
    worth = table.ravel()[pair_index(choices, steps)]
    return np.asarray(np.where(np.abs(steps) <= REACH, worth, TOO_FAR))


@cache
def fitted_weights() -> NamingWeights:
    """The weights that come with the project."""
    pairs = np.zeros(PAIR_SHAPE)
    for kind, rows in PAIRS.items():
        for semitones, row in enumerate(rows):
            for step, worth in row.items():
                pairs[PAIR_KINDS.index(kind), semitones, step + REACH] = worth
    octave = pairs[PAIR_KINDS.index(OCTAVE), 0]
    octave[[REACH - 12, REACH, REACH + 12]] = -OCTAVE_WORTH, OCTAVE_WORTH, -OCTAVE_WORTH
    return NamingWeights(fitted_network(), NETWORK_SHARE, pairs)
