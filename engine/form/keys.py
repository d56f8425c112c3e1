"""Which key the music is in, moment by moment, as a path along the line of fifths.

A hidden Markov model over (tonic, mode): each key struck is likelier or less in each key, a change
of key costs more the farther it goes along the line, and far keys cost a little all the time, so
that a long stay is written on the simpler side of the circle and a short one is not (common
practice). Two paths are found: a slow one, which settles flats or sharps, and a quick one beside
it, which follows passing keys. Beside the one best path stands how likely each key is at each
moment, all paths taken together.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from engine.form.spelling_weights import PROFILE

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

#: Places reckoned with, relative to a tonic.
LOWEST, HIGHEST = -11, 13
TONICS = np.arange(-13, 14)
MAJOR, MINOR = 0, 1
_TONIC = np.tile(TONICS, 2)
_MODE = np.repeat([MAJOR, MINOR], len(TONICS))
#: The key signature of each state, in fifths.
_SIGNATURE = _TONIC - 3 * _MODE

#: Share of the profile that is spread over all notes, so that none is impossible.
FLOOR = 0.05
#: Cost a note of writing in a signature of so many signs: 5, 6, 7, 8, 9 and 16.
SIGNS = (0.0, 5.0, 6.0, 7.0, 8.0, 9.0, 16.0)
SIGNS_COST = (0.0, 0.001, 0.002, 0.02, 0.16, 0.3, 0.9)
#: Cost a note of each fifth away from home, from the third to the sixth.
HOME_COST = 0.025
#: Cost a note of a signature nine fifths from home or more: that is the other side of the circle.
OTHER_SIDE = 0.5
#: Cost of going over to the other side of the circle (five sharps for seven flats).
ENHARMONIC = 14.0
#: Cost of each fifth between home and the last key.
ENDING = 12.0
#: Cost of another home than the key signature says.
NOT_GIVEN = 20.0
SLOW_CHANGE, SLOW_STEP = 40.0, 1.5
QUICK_CHANGE, QUICK_STEP = 7.0, 0.55
#: Where the page changes its signature: cost of going over to its keys, and of each fifth from it.
ENTERING, ENTERING_STEP = 1.0, 0.3
#: Two readings of how likely each key is: as ready to change as the quick path, and readier.
READINGS = ((QUICK_CHANGE, QUICK_STEP), (3.0, 0.5))
#: Cost a note, in the quick path, of each fifth away from the slow one.
TETHER = 0.1
#: The compass of most keyboards before 1770 (common practice): C2 to C6.
EARLY_COMPASS = (36, 84)
#: Music that looks early has at least so many notes, and octaves at less than this share of onsets.
EARLY_NOTES, EARLY_OCTAVES = 300, 0.08


@dataclass(frozen=True, slots=True)
class KeyPath:
    """The key at each moment.

    Attributes:
        tonic, mode: shape (moments,), the quick path: place of the tonic, MAJOR or MINOR.
        broad_tonic, broad_mode: the slow path.
        home: the key signature in force, in fifths: as given, or the same throughout.
        shares: for each of `READINGS` how likely each state is, shape (moments, states).
    """

    tonic: Ints
    mode: Ints
    broad_tonic: Ints
    broad_mode: Ints
    home: Ints
    shares: tuple[Floats, ...]

    @property
    def signature(self) -> Ints:
        """The quick path's key signatures, in fifths."""
        return np.asarray(self.tonic - 3 * self.mode)

    @property
    def broad_signature(self) -> Ints:
        """The slow path's key signatures, in fifths."""
        return np.asarray(self.broad_tonic - 3 * self.broad_mode)


def find_keys(
    pitches: Sequence[int], moment: Ints, fifths: Ints | None = None, sure: bool = False
) -> KeyPath:
    """Follow the key through some notes.

    Args:
        pitches: MIDI numbers. moment: for each, the number of its onset, from 0, ascending.
        fifths: the key signature at each moment, None where unknown. sure: it is the page's own,
            and no other is tried.
    """
    told = _told_by_notes(np.asarray(pitches), moment)
    count = np.bincount(moment)[:, None].astype(float)
    far = count * np.interp(np.abs(_SIGNATURE), SIGNS, SIGNS_COST)
    home, broad = _find_broad(told + far, count, _homes(pitches, moment, fifths, sure))
    tether = TETHER * np.clip(np.abs(_SIGNATURE - _SIGNATURE[broad][:, None]) - 1, 0, 8)
    cost = told + far + count * tether
    changes = _changes(QUICK_CHANGE, QUICK_STEP)
    quick, _ = _cheapest(cost, changes, np.zeros(len(_TONIC)), _entrances(home, changes))
    shares = tuple(_shares(cost, matrix, _entrances(home, matrix)) for matrix in _readings())
    return KeyPath(_TONIC[quick], _MODE[quick], _TONIC[broad], _MODE[broad], home, shares)


def _readings() -> list[Floats]:
    return [_changes(*reading) for reading in READINGS]


def _homes(
    pitches: Sequence[int], moment: Ints, fifths: Ints | None, sure: bool
) -> Iterator[tuple[Ints, float]]:
    """The signatures that may be the whole's, moment by moment, and what each costs beforehand.

    One that is given is believed unless another fits far better (it may hold for the start only).
    Six flats and six sharps are equally simple. Which was written is a matter of practice:
    sharps in contrapuntal music for the old keyboards, flats in later piano music.
    """
    if fifths is not None:
        yield fifths, 0.0
    if sure:
        return
    avoided = -6 if _looks_early(pitches, moment) else 6
    for h in range(-6, 7):
        beforehand = NOT_GIVEN if fifths is not None else 0.1 * abs(h) + 50.0 * (h == avoided)
        yield np.full(int(moment[-1]) + 1, h), beforehand


def _looks_early(pitches: Sequence[int], moment: Ints) -> bool:
    """Many notes inside the old compass, and hardly two of them struck an octave apart."""
    inside = min(pitches) >= EARLY_COMPASS[0] and max(pitches) <= EARLY_COMPASS[1]
    if not inside or len(pitches) < EARLY_NOTES:
        return False
    struck = {(m, p) for m, p in zip(moment.tolist(), pitches, strict=True)}
    octaves = sum((m, p + 12) in struck for m, p in struck)
    return octaves < EARLY_OCTAVES * (int(moment[-1]) + 1)


def _find_broad(
    cost: Floats, count: Floats, homes: Iterable[tuple[Ints, float]]
) -> tuple[Ints, Ints]:
    """The likeliest home at each moment, and the slow path beside it."""
    changes = _changes(SLOW_CHANGE, SLOW_STEP)
    found: list[tuple[float, int, Ints, Ints]] = []
    for home, beforehand in homes:
        away = np.abs(_SIGNATURE - home[:, None])
        here = cost + count * (HOME_COST * np.clip(away - 2, 0, 4) + OTHER_SIDE * (away >= 9))
        start = 0.3 * np.minimum(away[0], 6)
        path, total = _cheapest(here, changes, start, _entrances(home, changes))
        total += beforehand + _ending_cost(int(path[-1]), int(home[-1]))
        found.append((total, len(found), home, path))
    _, _, home, path = min(found, key=lambda f: f[:2])
    return home, path


def _ending_cost(state: int, home: int) -> float:
    """Music ends at home, or in the major of its minor (common practice)."""
    signature = int(_SIGNATURE[state])
    parallel = signature + (3 if _MODE[state] == MINOR else -3)
    return ENDING * min(abs(signature - home), abs(parallel - home) + 0.25, 3.0)


def profile() -> Floats:
    """Share of the notes at each place, relative to the tonic: (mode, LOWEST to HIGHEST)."""
    places = np.arange(LOWEST, HIGHEST + 1)
    spread = np.exp(-0.35 * np.abs(places - 1.0))
    return np.asarray((1 - FLOOR) * np.array(PROFILE) + FLOOR * spread / spread.sum())


def _told_by_notes(pitches: Ints, moment: Ints) -> Floats:
    """Cost (negative log likelihood) of the notes at each moment in each state."""
    by_class = np.zeros((2, 12))
    for place, share in zip(range(LOWEST, HIGHEST + 1), profile().T, strict=True):
        by_class[:, 7 * place % 12] += share
    told = -np.log(by_class)[_MODE, (np.arange(12)[:, None] - 7 * _TONIC) % 12]
    out = np.zeros((int(moment[-1]) + 1, len(_TONIC)))
    np.add.at(out, moment, told[pitches % 12])
    return out


def _changes(change: float, step: float) -> Floats:
    """Cost of going from each state to each other."""
    apart = _SIGNATURE[:, None] - _SIGNATURE[None, :]
    across = np.minimum(np.abs(apart + 12), np.abs(apart - 12))
    cost = change + np.minimum(step * np.abs(apart), step * across + ENHARMONIC)
    cost += 0.3 * (_MODE[:, None] != _MODE[None, :])
    parallel = (_TONIC[:, None] == _TONIC[None, :]) & (_MODE[:, None] != _MODE[None, :])
    cost[parallel] = np.minimum(cost[parallel], change + 1.5 * step)
    np.fill_diagonal(cost, 0.0)
    return np.asarray(cost)


def _entrances(home: Ints, changes: Floats) -> dict[int, Floats]:
    """Where the page's own signature changes: to go over to its keys costs hardly anything."""
    out = {}
    for k in (np.flatnonzero(np.diff(home)) + 1).tolist():
        away = np.minimum(np.abs(_SIGNATURE - home[k]), 6)
        out[k] = np.minimum(changes, ENTERING + ENTERING_STEP * away)
    return out


def _cheapest(
    cost: Floats, changes: Floats, start: Floats, entrances: Mapping[int, Floats] | None = None
) -> tuple[Ints, float]:
    """The cheapest path through the states (Viterbi), and what it costs.

    `entrances`: the costs of a change at some moments, in place of `changes`.
    """
    entrances = entrances or {}
    total = start + cost[0]
    came_from = np.zeros(cost.shape, np.int64)
    columns = np.arange(cost.shape[1])
    for k in range(1, len(cost)):
        via = total[:, None] + entrances.get(k, changes)
        came_from[k] = via.argmin(axis=0)
        total = via[came_from[k], columns] + cost[k]
    path = np.zeros(len(cost), np.int64)
    path[-1] = total.argmin()
    for k in range(len(cost) - 1, 0, -1):
        path[k - 1] = came_from[k, path[k]]
    return path, float(total.min())


def _shares(cost: Floats, changes: Floats, entrances: Mapping[int, Floats]) -> Floats:
    """How likely each state is at each moment, over all paths (forward and backward)."""
    usual = np.exp(-changes)
    likely = {k: np.exp(-there) for k, there in entrances.items()}
    ahead, back = -cost, np.zeros(cost.shape)
    for k in range(1, len(cost)):
        ahead[k] += _log_sum(ahead[k - 1], likely.get(k, usual))
    for k in range(len(cost) - 2, -1, -1):
        back[k] = _log_sum(back[k + 1] - cost[k + 1], likely.get(k + 1, usual).T)
    both = ahead + back
    share = np.exp(both - both.max(axis=1, keepdims=True))
    return np.asarray(share / share.sum(axis=1, keepdims=True))


def _log_sum(weight: Floats, likely: Floats) -> Floats:
    """Logarithms of the weights after a change of key, the largest taken out first."""
    most = weight.max()
    return np.asarray(np.log(np.exp(weight - most) @ likely + 1e-300) + most)


def candidate_shares(keys: KeyPath, moment: Ints, places: Ints, shift: Ints) -> list[Floats]:
    """What the keys say of some candidate names, for each reading: logarithms, the best 0.

    Args:
        moment: of each note. places: shape (notes, candidates).
        shift: fifths by which the page is written away from the keys as found, (notes,).
    """
    likely = np.vstack([profile() + 1e-6, np.full((1, HIGHEST - LOWEST + 1), 1e-6)])
    out = []
    for shares in keys.shares:
        worth = np.zeros(places.shape)
        for c in range(places.shape[1]):
            step = (places[:, c] - shift)[:, None] - _TONIC[None, :] - LOWEST
            inside = (step >= 0) & (step <= HIGHEST - LOWEST)
            each = likely[np.where(inside, _MODE, 2), np.where(inside, step, 0)]
            worth[:, c] = np.log((shares[moment] * each).sum(axis=1) + 1e-9)
        out.append(np.maximum(worth - worth.max(axis=1, keepdims=True), -8.0))
    return out
