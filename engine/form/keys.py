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
_FLATTEST, _SIGNATURES = int(_SIGNATURE.min()), int(np.ptp(_SIGNATURE)) + 1

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
#: Likelihoods are scaled each so many moments, before they run out of numbers: in one they lose at
#: most what the dearest change costs, and then what their own notes do.
SCALE_EACH = 8
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
    shares = _shares(cost, home)
    return KeyPath(_TONIC[quick], _MODE[quick], _TONIC[broad], _MODE[broad], home, shares)


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
    home, beforehand = (np.array(x) for x in zip(*homes, strict=True))
    entrances = [_entrances(h, changes) for h in home]
    best = 0
    if len(home) > 1:
        last, total = _cheapest_ends(cost, count, home, entrances)
        total += beforehand + _ending_cost(last, home[:, -1])
        best = int(total.argmin())
    here = cost + count * _away(home[best])
    path, _ = _cheapest(here, changes, _beginning_cost(home[best, 0]), entrances[best])
    return home[best], path


def _cheapest_ends(
    cost: Floats, count: Floats, home: Ints, entrances: Sequence[Mapping[int, Floats]]
) -> tuple[Ints, Floats]:
    """For each of some homes (homes, moments) where the cheapest slow path ends, and its cost.

    All homes are reckoned at once, and no path is kept: many times as fast as each by itself.
    """
    homes, which = np.unique(home, return_inverse=True)
    which = which.reshape(home.shape)
    away, cost = _by_signature(_away(homes)), _by_signature(cost)
    arrive = _Arrival(SLOW_CHANGE, SLOW_STEP, len(home))
    total = _by_signature(_beginning_cost(home[:, 0])) + (cost[0] + count[0] * away[which[:, 0]])
    for k in range(1, len(cost)):
        entered = [(h, _by_state(total[h])) for h, there in enumerate(entrances) if k in there]
        arrive(total)
        for h, before in entered:
            total[h] = _by_signature((before[:, None] + entrances[h][k]).min(axis=0))
        total += cost[k] + count[k] * away[which[:, k]]
    ends = _by_state(total)
    return ends.argmin(axis=1), ends.min(axis=1)


def _by_signature(values: Floats) -> Floats:
    """(..., states) as (..., mode, signature): what is no state costs without end."""
    out = np.full((*values.shape[:-1], 2, _SIGNATURES), np.inf)
    out[..., _MODE, _SIGNATURE - _FLATTEST] = values
    return out


def _by_state(values: Floats) -> Floats:
    """What `_by_signature` took, again by state."""
    return np.asarray(values[..., _MODE, _SIGNATURE - _FLATTEST])


class _Arrival:
    """The least cost of arriving in each state, of all ways that `_changes` has a cost for.

    What a change costs grows by a step for each fifth between two signatures, or between one and
    the other's on the other side of the circle. So the signatures are gone through once from each
    side, as in a distance transform (Felzenszwalb and Huttenlocher 2012), not each with each.
    """

    def __init__(self, change: float, step: float, rows: int) -> None:
        self._change, self._parallel = change, change + 1.5 * step
        #: Twelve more signatures on either side, which nothing comes from.
        self._wide = np.full((rows, 2, _SIGNATURES + 24), np.inf)
        self._slope = step * np.arange(_SIGNATURES + 24)

    def __call__(self, total: Floats) -> None:
        """From the cost of being in each state (rows, mode, signature) to the next moment's."""
        wide = self._wide
        np.minimum(total, total[:, ::-1] + 0.3, out=wide[:, :, 12:-12])
        below = np.minimum.accumulate(wide - self._slope, axis=2)
        above = np.minimum.accumulate((wide + self._slope)[:, :, ::-1], axis=2)[:, :, ::-1]
        below += self._slope
        above -= self._slope
        near = np.minimum(below, above, out=below)
        across = np.minimum(near[:, :, :-24], near[:, :, 24:])
        across += ENHARMONIC
        changed = np.minimum(near[:, :, 12:-12], across, out=across)
        changed += self._change
        # major and minor on one tonic are three signatures apart
        major, minor = total[:, 0, 3:], total[:, 1, :-3]
        from_minor, from_major = minor + self._parallel, major + self._parallel
        np.minimum(total, changed, out=total)
        np.minimum(major, from_minor, out=major)
        np.minimum(minor, from_major, out=minor)


def _away(home: Ints) -> Floats:
    """Cost a note of each state so far from home: (homes, states)."""
    away = np.abs(_SIGNATURE - home[..., None])
    return np.asarray(HOME_COST * np.clip(away - 2, 0, 4) + OTHER_SIDE * (away >= 9))


def _beginning_cost(home: Ints) -> Floats:
    """Music begins near home (common practice): (homes, states)."""
    return np.asarray(0.3 * np.minimum(np.abs(_SIGNATURE - home[..., None]), 6))


def _ending_cost(state: Ints, home: Ints) -> Floats:
    """Music ends at home, or in the major of its minor (common practice)."""
    signature = _SIGNATURE[state]
    parallel = signature + np.where(_MODE[state] == MINOR, 3, -3)
    apart = np.minimum(np.abs(signature - home), np.abs(parallel - home) + 0.25)
    return np.asarray(ENDING * np.minimum(apart, 3.0))


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
    into = changes.T.copy()  # the least of each row is found twice as fast as of each column
    entered = {k: there.T for k, there in (entrances or {}).items()}
    total = start + cost[0]
    came_from = np.zeros(cost.shape, np.int64)
    columns = np.arange(cost.shape[1])
    for k in range(1, len(cost)):
        via = total + entered.get(k, into)
        came_from[k] = via.argmin(axis=1)
        total = via[columns, came_from[k]] + cost[k]
    path = np.zeros(len(cost), np.int64)
    path[-1] = total.argmin()
    for k in range(len(cost) - 1, 0, -1):
        path[k - 1] = came_from[k, path[k]]
    return path, float(total.min())


def _shares(cost: Floats, home: Ints) -> tuple[Floats, ...]:
    """How likely each state is at each moment, over all paths, in each of `READINGS`.

    Forward and backward, both ways and all readings in one go through the moments.
    """
    changes = [_changes(*reading) for reading in READINGS]
    entrances = [_entrances(home, there) for there in changes]
    n, readings = len(cost), len(READINGS)
    usual = _both_ways(changes)
    told = np.exp(cost.min(axis=1, keepdims=True) - cost)
    now = np.ones((2 * readings, cost.shape[1]))
    ahead, back = np.empty((2, n, readings, cost.shape[1]))
    for k in range(n):
        if k:
            likely = usual
            if k in entrances[0] or n - k in entrances[0]:
                then = [e.get(k, c) for e, c in zip(entrances, changes, strict=True)]
                before = [e.get(n - k, c) for e, c in zip(entrances, changes, strict=True)]
                likely = _both_ways(then, before)
            now = np.matmul(now[:, None, :], likely)[:, 0]
        back[n - 1 - k] = now[readings:]
        now[:readings] *= told[k]
        now[readings:] *= told[n - 1 - k]
        ahead[k] = now[:readings]
        if k % SCALE_EACH == 0:
            now /= now.sum(axis=1, keepdims=True)
    share = ahead * back
    share /= share.sum(axis=2, keepdims=True)
    return tuple(share[:, reading] for reading in range(readings))


def _both_ways(forward: Sequence[Floats], backward: Sequence[Floats] | None = None) -> Floats:
    """How likely each change is: for each reading forward, then backward."""
    there = np.exp(-np.array(forward))
    again = there if backward is None else np.exp(-np.array(backward))
    return np.concatenate([there, again.transpose(0, 2, 1)])


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
