"""What a note's name may depend on, as one row of numbers for each note.

Everything is relative: to the note itself (what sounds with it, before and after, where its voice
comes from and goes), to the key of the moment, and of that key to the home key. So what is learnt
in one key holds in all others.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from engine.form.keys import Floats, Ints, KeyPath, candidate_shares
from engine.form.neighbourhood import BASS, PAIR_KINDS, Neighbourhood

#: Stretches before and after a note in which its surroundings are counted, quarters.
SPANS_Q = (1.0, 2.5, 6.0, 16.0)
#: Keys are told apart up to so many fifths; semitone steps in a row are counted up to `RUN`.
KEYS_APART, RUN = 8, 4


def describe_notes(
    around: Neighbourhood, keys: KeyPath, times_q: Floats, places: Ints, shift: Ints
) -> Floats:
    """The rows, shape (notes, numbers).

    Args:
        around: the notes, in order. keys: at each moment. times_q: of each moment, quarters.
        places: candidate names, (notes, 3). shift: see `candidate_shares`.
    """
    columns = [
        *_of_keys(around, keys, places, shift),
        *_of_surroundings(around, times_q),
        *_of_voices(around),
        *_of_chord(around),
    ]
    return np.hstack([np.asarray(c, np.float32) for c in columns])


def _one_of(index: Ints, count: int) -> Floats:
    return np.asarray(np.eye(count)[np.clip(index, 0, count - 1)])


def _of_keys(around: Neighbourhood, keys: KeyPath, places: Ints, shift: Ints) -> Iterator[Floats]:
    """The note in the quick, the slow and the home key, and how far these are apart."""
    moment, own = around.moment, 7 * around.pitches % 12
    quick, broad, home = (x[moment] for x in (keys.signature, keys.broad_signature, keys.home))
    for signature in (quick, broad, home):
        yield _one_of((own - signature) % 12, 12)
    yield _one_of(keys.mode[moment], 2)
    yield _one_of(keys.broad_mode[moment], 2)
    yield _one_of(home - (quick + shift) + KEYS_APART, 2 * KEYS_APART + 1)
    yield _one_of(broad - quick + KEYS_APART, 2 * KEYS_APART + 1)
    for worth in candidate_shares(keys, moment, places, shift):
        yield worth / 2


def _of_surroundings(around: Neighbourhood, times_q: Floats) -> Iterator[Floats]:
    """What sounds above each note, modulo octaves: at its moment, the two beside, and in spans."""
    moment, own = around.moment, around.pitches % 12
    struck = np.zeros((len(times_q), 12))
    np.add.at(struck, (moment, own), 1.0)
    above = (own[:, None] + np.arange(12)) % 12
    for way in (0, 1, -1, 2, -2):
        yield np.minimum(_moved(struck, way)[moment[:, None], above], 1.0)
    struck = np.minimum(struck, 1.5)
    so_far = np.vstack([np.zeros(12), np.cumsum(struck, axis=0)])
    here = np.arange(len(times_q))
    for span_q in SPANS_Q:
        first = np.searchsorted(times_q, times_q - span_q - 1e-6, "left")
        last = np.searchsorted(times_q, times_q + span_q + 1e-6, "right")
        for count in (so_far[here] - so_far[first], so_far[last] - so_far[here + 1]):
            share = np.sqrt(count / np.maximum(1.0, count.sum(axis=1, keepdims=True)))
            yield share[moment[:, None], above]


def _moved(rows: Floats, way: int) -> Floats:
    """Rows moved down (`way` above 0) or up, empty ones filled in."""
    out = np.zeros(rows.shape)
    if way == 0:
        return rows
    if way > 0:
        out[way:] = rows[:-way]
    else:
        out[:way] = rows[-way:]
    return out


def _of_voices(around: Neighbourhood) -> Iterator[Floats]:
    """Steps into and out of the note and its neighbours in the voice; semitones in a row."""
    to, back = around.goes_to, around.comes_from
    then = np.where(to >= 0, around.leaving[to], 0)
    before = np.where(back >= 0, around.coming[back], 0)
    for step in (around.coming, around.leaving, then, before):
        yield _one_of(step + 2, 5)
    for way in (1, -1):
        order = range(len(to))
        yield _one_of(_in_a_row(around.coming == way, back, order), RUN + 1)
        yield _one_of(_in_a_row(around.leaving == way, to, order[::-1]), RUN + 1)
    for beside in (to, back):
        far = np.where(beside >= 0, beside[beside], -1)
        apart = around.pitches[far] - around.pitches
        yield np.where((far >= 0)[:, None], _one_of(apart + 4, 9), 0.0)


def _in_a_row(step: np.ndarray, beside: Ints, order: range) -> Ints:
    """How many such steps in a row lead to each note, or away from it."""
    run = [0] * len(step)
    steps, neighbours = step.tolist(), beside.tolist()
    for i in order:
        if steps[i]:
            run[i] = min(RUN, run[neighbours[i]] + 1)
    return np.array(run, np.int64)


def _of_chord(around: Neighbourhood) -> Iterator[Floats]:
    """The bass below the note, and whether it is itself the lowest, the highest, or alone."""
    moment = around.moment
    with_bass = around.kind == PAIR_KINDS.index(BASS)
    note, bass = around.second[with_bass], around.first[with_bass]
    apart = np.zeros((len(moment), 12))
    apart[note] = _one_of((around.pitches[bass] - around.pitches[note]) % 12, 12)
    yield apart
    first = np.searchsorted(moment, moment, "left")
    last = np.searchsorted(moment, moment, "right") - 1
    here = np.arange(len(moment))
    yield np.stack([here == first, here == last, first == last], axis=1)
