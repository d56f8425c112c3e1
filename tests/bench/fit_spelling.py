"""Fit the weights of `engine.form.spelling` and `naming` to spelled scores, as a module.

    python -m tests.bench.fit_spelling SCORES.pkl [--out engine/form/spelling_weights.py]

The pickle is what `read_spelled.py` writes: a list of (name, rows, key signatures), rows of (onset
in quarters, MIDI pitch, duration, place on the line of fifths, part) and (onset, fifths). The
profile of the keys is found by Viterbi training from the spelled notes; the network by Adam
(Kingma and Ba 2015) with dropout; the pairs by pseudo-likelihood with an L2 penalty (Besag 1975),
names of the surrounding notes taken as read, beside networks that have not seen the composer.
"""

from __future__ import annotations

import argparse
import base64
import pickle
import zlib
from pathlib import Path

import numpy as np
from scipy.optimize import minimize
from scipy.sparse import csr_matrix
from scipy.special import logsumexp

from engine.form import keys, naming
from engine.form.neighbourhood import PAIR_KINDS
from engine.form.spelling import Network, list_choices

HIDDEN, EPOCHS, BATCH, RATE = 48, 5, 256, 2e-3
#: Shares of the inputs and of the hidden units left out at random while learning.
DROP_IN, DROP_HIDDEN = 0.05, 0.2
WEIGHT_PENALTY, PAIR_PENALTY = 3e-5, 3.0
PAIR_SIZE = int(np.prod(naming.PAIR_SHAPE))


def columns(rows):
    """Onsets, pitches and places of some rows, in order."""
    rows = sorted(rows, key=lambda r: (r[0], r[1]))
    return [r[0] for r in rows], [r[1] for r in rows], np.array([r[3] for r in rows])


def bare_choices(rows, signatures):
    """The choices of one score as of bare keys; which is right, -1 where none is."""
    onsets, pitches, truth = columns(rows)
    choices = list_choices(pitches, onsets, signatures or None)
    return choices, right_of(choices, truth)


def right_of(choices, truth):
    hit = choices.places == truth[:, None]
    return np.where(hit.any(axis=1), hit.argmax(axis=1), -1)


class Learning:
    """A network that learns; its five arrays in the order of `Network`."""

    def __init__(self, numbers, seed):
        self.chance = np.random.default_rng(seed)
        draw = self.chance.normal
        self.arrays = [
            draw(0, numbers**-0.5, (numbers, HIDDEN)), np.zeros(HIDDEN), draw(0, 0.1, (HIDDEN, 3)),
            np.zeros((numbers, 3)), np.array([-2.0, 2.0, -2.0]),
        ]  # fmt: skip
        self.arrays = [a.astype(np.float32) for a in self.arrays]
        self.mean = [np.zeros_like(a) for a in self.arrays]
        self.spread = [np.zeros_like(a) for a in self.arrays]
        self.steps = 0

    def slopes(self, rows, right):
        inward, bias, outward, past, base = self.arrays
        rows = rows * (self.chance.random(rows.shape, dtype=np.float32) > DROP_IN)
        reached = rows @ inward + bias
        kept = (self.chance.random(reached.shape, dtype=np.float32) > DROP_HIDDEN) / (
            1 - DROP_HIDDEN
        )
        hidden = np.maximum(reached, 0) * kept
        worth = hidden @ outward + rows @ past + base
        share = np.exp(worth - logsumexp(worth, axis=1, keepdims=True))
        share[np.arange(len(right)), right] -= 1
        share /= len(right)
        back = share @ outward.T * kept * (reached > 0)
        found = [rows.T @ back, back.sum(0), hidden.T @ share, rows.T @ share, share.sum(0)]
        for k in (0, 2, 3):
            found[k] += WEIGHT_PENALTY * self.arrays[k]
        return found

    def step(self, rows, right, rate):
        self.steps += 1
        for array, slope, mean, spread in zip(
            self.arrays, self.slopes(rows, right), self.mean, self.spread, strict=True
        ):
            mean += 0.1 * (slope - mean)
            spread += 0.001 * (slope**2 - spread)
            size = np.sqrt(spread / (1 - 0.999**self.steps)) + 1e-8
            array -= rate * mean / (1 - 0.9**self.steps) / size


def fit_network(rows, right, seed=0, epochs=EPOCHS):
    """The network from rows of numbers and which candidate is right (-1: not learnt from)."""
    known = np.flatnonzero(right >= 0)
    learning = Learning(rows.shape[1], seed)
    total = epochs * (len(known) // BATCH)
    for _ in range(epochs):
        order = learning.chance.permutation(known)
        for k in range(len(known) // BATCH):
            batch = order[k * BATCH : (k + 1) * BATCH]
            rate = RATE * (1 - learning.steps / total)
            learning.step(rows[batch].astype(np.float32), right[batch], rate)
    return Network(*learning.arrays)


def fit_network_to(scores, **options):
    """The network from whole scores."""
    found = [bare_choices(rows, signatures) for _, rows, signatures in scores]
    rows = np.vstack([c.rows.astype(np.float16) for c, _ in found])
    return fit_network(rows, np.concatenate([right for _, right in found]), **options)


def named_page(rows, signatures):
    onsets, pitches, truth = columns(rows)
    return naming.Page(np.array(pitches), truth, np.array(onsets, float), signatures or 0)


def pair_features(choices, truth, start):
    """(row, column) of the feature matrix: row is 3 * note + candidate."""
    around = choices.around
    for mine, other, sign in ((around.first, around.second, 1), (around.second, around.first, -1)):
        for k in range(3):
            step = sign * (truth[other] - choices.places[mine, k])
            near = np.abs(step) <= naming.REACH
            yield (3 * (start + mine) + k)[near], naming.pair_index(choices, step)[near]


def fit_pairs(scores, networks, rounds=60):
    """(share of the network, worth of the pairs); each score beside its own network."""
    rows, cols, right, told, count = [], [], [], [], 0
    for (_, notes, signatures), network in zip(scores, networks, strict=True):
        page = named_page(notes, signatures)
        choices = naming.list_named(page)
        for r, c in pair_features(choices, page.places, count):
            rows.append(r)
            cols.append(c)
        right.append(right_of(choices, page.places))
        told.append(network.worth(choices.rows))
        count += len(page.places)
    matrix = csr_matrix(
        (np.ones(sum(map(len, rows)), np.float32), (np.concatenate(rows), np.concatenate(cols))),
        shape=(3 * count, PAIR_SIZE),
    )
    return maximise(matrix, np.vstack(told), np.concatenate(right), rounds)


def maximise(matrix, told, right, rounds):
    transposed, n = matrix.T.tocsr(), len(right)
    known, picked = right >= 0, np.maximum(right, 0)

    def loss(weights):
        score = (matrix @ weights[1:]).reshape(n, 3) + weights[0] * told
        log_sum = logsumexp(score, axis=1, keepdims=True)
        share = np.exp(score - log_sum)
        value = -((score[np.arange(n), picked] - log_sum[:, 0]) * known).sum()
        share[np.arange(n), picked] -= 1
        share *= known[:, None]
        slope = np.r_[(share * told).sum(), transposed @ share.ravel() + PAIR_PENALTY * weights[1:]]
        return value + 0.5 * PAIR_PENALTY * (weights[1:] @ weights[1:]), slope

    start = np.r_[1.0, np.zeros(PAIR_SIZE)]
    options = {"maxiter": rounds}
    found = minimize(loss, start, jac=True, method="L-BFGS-B", options=options).x
    return float(found[0]), found[1:].reshape(naming.PAIR_SHAPE)


def fit_profile(scores, rounds=3):
    """Share of the notes at each place relative to the tonic, by Viterbi training."""
    profile = np.clip(keys.PROFILE, 1e-6, None)
    for _ in range(rounds):
        count = np.full(profile.shape, 0.5)
        for _, notes, _ in scores:
            onsets, _, truth = columns(notes)
            _, moment = np.unique(np.round(onsets, 4), return_inverse=True)
            state = spelled_path(truth, moment, profile)[moment]
            place = truth - keys._TONIC[state]
            near = (place >= keys.LOWEST) & (place <= keys.HIGHEST)
            np.add.at(count, (keys._MODE[state][near], place[near] - keys.LOWEST), 1)
        profile = count / count.sum(axis=1, keepdims=True)
    return profile


def spelled_path(truth, moment, profile):
    place = truth[:, None] - keys._TONIC[None, :]
    near = (place >= keys.LOWEST) & (place <= keys.HIGHEST)
    inside = np.clip(place - keys.LOWEST, 0, keys.HIGHEST - keys.LOWEST)
    cost = np.where(near, -np.log(profile)[keys._MODE, inside], 14.0)
    told = np.zeros((moment[-1] + 1, cost.shape[1]))
    np.add.at(told, moment, cost)
    return keys._cheapest(told, keys._changes(4.0, 0.55), np.zeros(cost.shape[1]))[0]


def halves(scores):
    """0 or 1 for each score, so that no composer is on both sides."""
    return [int(who not in ("bach", "beethoven")) for who in composers(scores)]


def composers(scores):
    return [name.split("/")[0] for name, _, _ in scores]


def as_module(profile, network, share, pairs):
    """All weights as Python text; two decimals and half precision are enough."""
    lines = [
        '"""Weights of the spelling models. Written by `tests/bench/fit_spelling.py`; do not edit.',
        "", "Fitted to 138 scores of music21's corpus: Bach, Haydn, Mozart, Beethoven, Schubert,",
        "Robert and Clara Schumann and others.", '"""', "",
        "# ruff: noqa", "# fmt: off", "",
        "import base64", "import zlib", "", "import numpy as np", "",
        f"PROFILE = {[[round(float(x), 5) for x in row] for row in profile]}", "",
        "#: What the network counts beside the pairs.", f"NETWORK_SHARE = {share:.3f}",
        "", "PAIRS = {",
    ]  # fmt: skip
    for kind, table in zip(PAIR_KINDS, pairs, strict=True):
        rows = [
            {k - naming.REACH: round(float(x), 2) for k, x in enumerate(row) if abs(x) >= 0.005}
            for row in table
        ]
        lines.append(f'    "{kind}": {rows},')
    return "\n".join([*lines, "}", "", *_network_lines(network), ""])


def _network_lines(network):
    arrays = [network.inward, network.bias, network.outward, network.past, network.base]
    raw = b"".join(np.asarray(a, np.float16).tobytes() for a in arrays)
    text = base64.b85encode(zlib.compress(raw, 9)).decode()
    return [
        "#: The arrays of `spelling.Network` in order, half precision, compressed, as text.",
        f"SHAPES = {[a.shape for a in arrays]}", "_NETWORK = (",
        *(f"    {text[k : k + 110]!r}" for k in range(0, len(text), 110)), ")", "", "",
        "def read_network() -> list[np.ndarray]:",
        '    """The arrays of `spelling.Network`."""',
        "    raw = np.frombuffer(zlib.decompress(base64.b85decode(_NETWORK)), np.float16)",
        "    sizes = [int(np.prod(shape)) for shape in SHAPES]",
        "    cuts = np.split(raw.astype(float), np.cumsum(sizes)[:-1])",
        "    return [cut.reshape(shape) for cut, shape in zip(cuts, SHAPES, strict=True)]",
    ]  # fmt: skip


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("scores", type=Path)
    parser.add_argument("--out", type=Path, default=Path("engine/form/spelling_weights.py"))
    given = parser.parse_args()
    scores = pickle.loads(given.scores.read_bytes())
    keys.PROFILE = profile = fit_profile(scores)
    side = halves(scores)
    apart = [fit_network_to([s for s, h in zip(scores, side, strict=True) if h == k])
             for k in (0, 1)]  # fmt: skip
    share, pairs = fit_pairs(scores, [apart[1 - h] for h in side])
    given.out.write_text(as_module(profile, fit_network_to(scores), share, pairs))


if __name__ == "__main__":
    main()
