"""Could the other hand's moments be learnt? `python -m tests.bench.accompany_learned`.

A bound beside `bench_accompany`, needing scikit-learn (which nothing else here does): boosted
trees, absolute error, learn by how far the missing hand lay from a first guess, from what is
written and what the other hand did. *Two-sided*: the first guess is hindsight's curve, and the
player's onsets to come are told; *as it comes*: the companion's own guess, and only what was heard.
Learnt with the piece held out, and with only the recording held out (another's playing of the piece
is then known, where there is one).
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from engine.arrangement import Arrangement, Hand
from engine.read import read_arrangement
from tests.bench.bench_accompany import Played, between, compare, own_onsets, read_played
from tests.conftest import data_sets_folder

Numbers = np.ndarray
#: Player's onsets on either side by which the tempo is told.
AROUND, NEAR = 20, (1, 2, 4, 8)


@dataclass(frozen=True)
class Rows:
    """Notes of a missing hand: truth and two first guesses, s; pace, s a quarter; what is known."""

    truth_s: Numbers
    hindsight_s: Numbers
    companion_s: Numbers
    pace: Numbers
    two_sided: Numbers
    as_it_comes: Numbers


def gather(arrangement: Arrangement, played: Played, hand: Hand) -> Rows | None:
    """All notes between the player's own onsets, `hand` being the player's."""
    rows, _ = between(arrangement, played, hand)
    if not len(rows):
        return None
    errors = compare(arrangement, played, hand, None, live=False)
    at_q, truth_s = arrangement.table["onset_q"][played.score[rows]], played.onset_s[rows]
    guess = {name: errors[name] + truth_s for name in ("companion", "oracle", "hold", "knowing")}
    q, s = own_onsets(arrangement, played, hand)
    k = np.searchsorted(q, at_q) - 1

    def pace(first: Numbers, last: Numbers) -> Numbers:
        first, last = np.maximum(first, 0), np.minimum(last, len(q) - 1)
        return (s[last] - s[first]) / np.maximum(q[last] - q[first], 1e-6)

    lately, around = pace(k - AROUND, k), pace(k - AROUND, k + AROUND)
    written = _written(arrangement, played, rows, at_q - q[k], hand)
    before = [pace(k - n, k) for n in NEAR]
    after = [pace(k, k + 1), *(pace(k + 1, k + n) for n in NEAR[1:])]
    comes = [*(p / lately for p in before), lately, (guess["hold"] - guess["companion"]) / lately]
    sides = [
        *(p / around for p in (*before, *after)),
        around,
        q[k + 1] - q[k],
        (at_q - q[k]) / (q[k + 1] - q[k]),
        *((guess[name] - guess["oracle"]) / around for name in ("knowing", "hold")),
        (guess["oracle"] - s[k]) / around,
        (s[k + 1] - guess["oracle"]) / around,
    ]
    return Rows(
        truth_s, guess["oracle"], guess["companion"], around,
        np.column_stack([*written, *sides]), np.column_stack([*written, *comes]),
    )  # fmt: skip


def _written(
    arrangement: Arrangement, played: Played, rows: Numbers, since_q: Numbers, hand: Hand
) -> list[Numbers]:
    table = arrangement.table
    at_q = table["onset_q"][played.score[rows]]
    bar_q = np.array([float(arrangement.bar_at(q).onset_q) for q in at_q])
    mine = np.flatnonzero((table["hand"][played.score] == 1) == (hand == "right"))
    last = np.searchsorted(played.onset_s[mine], played.onset_s[rows] - 1e-9) - 1
    moments = np.unique(at_q)
    return [
        since_q,
        at_q - bar_q,
        at_q % 1.0,
        table["pitch"][played.score[rows]],
        np.full(len(rows), float(hand == "left")),
        np.searchsorted(moments, at_q) - np.searchsorted(moments, at_q - since_q, side="right"),
        played.velocity[mine][np.maximum(last, 0)],
    ]


def learn(known: Numbers, guess_s: Numbers, rows: Rows, groups: Numbers) -> Numbers:
    """Moments as learnt from all other groups, seconds."""
    from sklearn.ensemble import HistGradientBoostingRegressor

    heard = ~np.isnan(guess_s)
    target = np.clip((rows.truth_s - guess_s) / rows.pace, -1.0, 1.0)
    out = guess_s.copy()
    for group in np.unique(groups):
        trees = HistGradientBoostingRegressor(
            loss="absolute_error", max_iter=200, learning_rate=0.06, min_samples_leaf=40,
            l2_regularization=1.0, random_state=1,
        )  # fmt: skip
        here = groups == group
        trees.fit(known[~here & heard], target[~here & heard])
        out[here] += trees.predict(known[here]) * rows.pace[here]
    return out


def say(name: str, at_s: Numbers, truth_s: Numbers) -> None:
    """Median distance and the share within 90 ms."""
    far_ms = np.where(np.isnan(at_s), np.inf, np.abs(at_s - truth_s)) * 1000
    print(f"{name:42} {np.median(far_ms):5.1f} ms {np.mean(far_ms <= 90):6.1%}", flush=True)


def _takes(folder: Path) -> Iterator[tuple[str, Arrangement, Played]]:
    for piece in sorted(p for p in folder.iterdir() if p.is_dir()):
        arrangement = read_arrangement(piece / "score.musicxml")
        for truth in sorted(piece.glob("p*.truth.tsv")):
            yield piece.name, arrangement, read_played(arrangement, piece, truth.name.split(".")[0])


def main() -> int:
    """The table."""
    folder = data_sets_folder()
    if folder is None:
        print("no folder of recordings: set UNDERSONG_DATA_SETS", file=sys.stderr)
        return 1
    hands: tuple[Hand, ...] = ("left", "right")
    found = [
        (piece, f"{piece} {played.take}", rows)
        for piece, arrangement, played in _takes(folder)
        for hand in hands
        if (rows := gather(arrangement, played, hand)) is not None
    ]
    fields = Rows.__dataclass_fields__
    rows = Rows(**{f: np.concatenate([getattr(r, f) for _, _, r in found]) for f in fields})
    counts = [len(one.truth_s) for _, _, one in found]
    pieces, takes = (np.repeat([f[i] for f in found], counts) for i in (0, 1))
    print(f"{len(rows.truth_s)} notes")
    say("companion", rows.companion_s, rows.truth_s)
    say("hindsight", rows.hindsight_s, rows.truth_s)
    for held_out, groups in (("piece", pieces), ("recording", takes)):
        for way, known, guess in (
            ("two-sided", rows.two_sided, rows.hindsight_s),
            ("as it comes", rows.as_it_comes, rows.companion_s),
        ):
            say(f"{way}, {held_out} held out", learn(known, guess, rows, groups), rows.truth_s)
    return 0


if __name__ == "__main__":
    sys.exit(main())
