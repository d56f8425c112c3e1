"""Fit the weights of `engine.form.spelling` to spelled scores and write them as a module.

    python tests/bench/fit_spelling.py SCORES.pkl ... --out engine/form/spelling_weights.py

Each pickle is a list of (name, rows, key signatures): rows of (onset in quarters, MIDI pitch,
duration, place on the line of fifths, part) and (onset, fifths), as `read_spelled.py` writes them.
The profile of the keys is found by Viterbi training from the spelled notes; the weights by
pseudo-likelihood with an L2 penalty (Besag 1975), names of the surrounding notes taken as read.
"""

from __future__ import annotations

import argparse
import pickle
from pathlib import Path

import numpy as np
from scipy.optimize import minimize
from scipy.sparse import csr_matrix
from scipy.special import logsumexp

from engine.form import keys, spelling
from engine.form.neighbourhood import PAIR_KINDS

PENALTY = 3.0
SINGLES = {name: int(np.prod(shape)) for name, shape in spelling.SINGLE_SHAPES.items()}
STARTS = dict(zip(SINGLES, np.cumsum([0, *SINGLES.values()]).tolist(), strict=False))
PAIR_START = sum(SINGLES.values())
SIZE = PAIR_START + int(np.prod(spelling.PAIR_SHAPE))


def on_their_side(tonic, truth):
    """Tonics moved by whole circles to the side on which the score is written around them."""
    window = 15
    total = np.cumsum(np.r_[0, truth])
    low = np.maximum(0, np.arange(len(truth)) - window)
    high = np.minimum(len(truth), np.arange(len(truth)) + window + 1)
    mean = (total[high] - total[low]) / (high - low)
    return tonic + 12 * np.round((mean - (tonic + 1)) / 12).astype(int)


def prepared(rows, signatures):
    """The choices of one score, its keys on the right side, and the right places."""
    rows = sorted(rows, key=lambda r: (r[0], r[1]))
    truth = np.array([r[3] for r in rows])
    fifths = signatures[0][1] if signatures else None
    choices = spelling.list_choices([r[1] for r in rows], [r[0] for r in rows], fifths)
    moment, path = choices.around.moment, choices.keys
    sided = keys.KeyPath(
        on_their_side(path.tonic[moment], truth), path.mode[moment],
        on_their_side(path.broad_tonic[moment], truth), path.broad_mode[moment], path.home,
    )  # fmt: skip
    places = (
        truth[:, None]
        - 12 * np.round((truth - (sided.tonic + 2)) / 12).astype(int)[:, None]
        + np.array([-12, 0, 12])
    )
    return spelling.Choices(places, choices.around, sided), truth


def feature_rows(choices, truth, start):
    """(row, column) pairs of the feature matrix: row is 3 * note + candidate."""
    around = choices.around
    n = np.arange(len(truth))
    for name, index in indices_by_note(choices).items():
        for k in range(3):
            yield 3 * (start + n) + k, STARTS[name] + index[:, k]
    for k in range(3):
        step = truth[around.second] - choices.places[around.first, k]
        yield from pair_rows(choices, step, 3 * (start + around.first) + k)
        step = choices.places[around.second, k] - truth[around.first]
        yield from pair_rows(choices, step, 3 * (start + around.second) + k)


def pair_rows(choices, step, rows):
    near = np.abs(step) <= spelling.REACH
    yield rows[near], PAIR_START + spelling.pair_index(choices, step)[near]


def indices_by_note(choices):
    """`spelling.single_indices` for a key path that is given note by note."""
    around = choices.around
    numbered = type(around)(
        around.pitches, np.arange(len(around.pitches)), around.coming, around.leaving,
        around.first, around.second, around.kind, around.semitones,
    )  # fmt: skip
    return spelling.single_indices(spelling.Choices(choices.places, numbered, choices.keys))


def fit(scores, rounds=60):
    """The weights as one vector."""
    rows, columns, right, count = [], [], [], 0
    for _, notes, signatures in scores:
        choices, truth = prepared(notes, signatures)
        for r, c in feature_rows(choices, truth, count):
            rows.append(r)
            columns.append(c)
        right.append(np.argmax(choices.places == truth[:, None], axis=1))
        count += len(truth)
    matrix = csr_matrix(
        (np.ones(sum(map(len, rows)), np.float32), (np.concatenate(rows), np.concatenate(columns))),
        shape=(3 * count, SIZE),
    )
    return maximise(matrix, np.concatenate(right), rounds)


def maximise(matrix, right, rounds):
    transposed, n = matrix.T.tocsr(), len(right)

    def loss(weights):
        score = (matrix @ weights).reshape(n, 3)
        log_sum = logsumexp(score, axis=1, keepdims=True)
        share = np.exp(score - log_sum)
        value = -(score[np.arange(n), right] - log_sum[:, 0]).sum()
        share[np.arange(n), right] -= 1
        slope = transposed @ share.ravel() + PENALTY * weights
        return value + 0.5 * PENALTY * (weights @ weights), slope

    start = np.zeros(SIZE)
    options = {"maxiter": rounds}
    return minimize(loss, start, jac=True, method="L-BFGS-B", options=options).x


def weights_from(vector):
    """The vector cut into the model's tables."""
    singles = {
        name: vector[STARTS[name] : STARTS[name] + size].reshape(spelling.SINGLE_SHAPES[name])
        for name, size in SINGLES.items()
    }
    return spelling.Weights(singles, vector[PAIR_START:].reshape(spelling.PAIR_SHAPE))


def fit_profile(scores, rounds=3):
    """Share of the notes at each place relative to the tonic, by Viterbi training."""
    profile = np.array(keys.PROFILE)
    for _ in range(rounds):
        count = np.full(profile.shape, 0.5)
        for _, notes, _ in scores:
            notes = sorted(notes, key=lambda r: (r[0], r[1]))
            truth = np.array([r[3] for r in notes])
            _, moment = np.unique(np.round([r[0] for r in notes], 4), return_inverse=True)
            state = spelled_path(truth, moment, profile)[moment]
            place = truth - keys._TONIC[state]
            near = (place >= keys.LOWEST) & (place <= keys.HIGHEST)
            np.add.at(count, (keys._MODE[state][near], place[near] - keys.LOWEST), 1)
        profile = count / count.sum(axis=1, keepdims=True)
    return profile


def spelled_path(truth, moment, profile):
    place = truth[:, None] - keys._TONIC[None, :]
    near = (place >= keys.LOWEST) & (place <= keys.HIGHEST)
    inside = np.clip(place - keys.LOWEST, 0, spelling.PLACES - 1)
    cost = np.where(near, -np.log(profile)[keys._MODE, inside], 14.0)
    told = np.zeros((moment[-1] + 1, cost.shape[1]))
    np.add.at(told, moment, cost)
    return keys._cheapest(told, keys._changes(4.0, 0.55), np.zeros(cost.shape[1]))[0]


def as_module(weights, profile):
    """The weights as Python text; two decimals are enough (checked by the benchmark)."""
    lines = [
        '"""Weights of the spelling model. Written by `tests/bench/fit_spelling.py`; do not edit.',
        "", "Fitted to 138 scores of music21's corpus: Bach, Haydn, Mozart, Beethoven, Schubert,",
        "Robert and Clara Schumann and others.", '"""', "",
        "# ruff: noqa", "# fmt: off", "",
        f"PROFILE = {[[round(float(x), 5) for x in row] for row in profile]}", "",
        "SINGLES = {",
    ]  # fmt: skip
    for name, size in SINGLES.items():
        part = weights[STARTS[name] : STARTS[name] + size]
        lines.append(f'    "{name}": {[round(float(x), 2) for x in part]},')
    lines += ["}", "", "PAIRS = {"]
    pairs = weights[PAIR_START:].reshape(spelling.PAIR_SHAPE)
    for kind, table in zip(PAIR_KINDS, pairs, strict=True):
        rows = [
            {k - spelling.REACH: round(float(x), 2) for k, x in enumerate(row) if abs(x) >= 0.005}
            for row in table
        ]
        lines.append(f'    "{kind}": {rows},')
    return "\n".join([*lines, "}", ""])


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("scores", nargs="+", type=Path)
    parser.add_argument("--out", type=Path, required=True)
    given = parser.parse_args()
    scores = [s for path in given.scores for s in pickle.loads(path.read_bytes())]
    keys.PROFILE = np.clip(keys.PROFILE, 1e-6, None)
    profile = fit_profile(scores)
    keys.PROFILE = profile
    given.out.write_text(as_module(fit(scores), profile))


if __name__ == "__main__":
    main()
