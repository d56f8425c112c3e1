"""Spelling figures: bare keys with and without a key signature, and one name hidden at a time.

    python tests/bench/bench_spelling.py [--scores SCORES.pkl] [--folds 4] [FILE ...]

FILEs are scores as the reader takes them: spelled bare, with partitura's PS13s1 beside where it is
installed, and each of their notes named from all others (double accidentals apart). SCORES.pkl is
what `read_spelled.py` writes: the network is fitted to all composers but some and tried on those.
"""

from __future__ import annotations

import argparse
import pickle
import time
from collections import Counter
from collections.abc import Iterable
from pathlib import Path

import numpy as np

from engine.form.fifths import place_of
from engine.form.naming import Page, name_notes
from engine.form.spelling import choose_places, list_choices, spell_pitches
from engine.read import read_arrangement
from tests.bench.fit_spelling import columns, fit_network_to

Rows = list[tuple[float, int, float, int, int]]
Score = tuple[str, Rows, list[tuple[float, int]]]


def rows_of(path: Path) -> tuple[str, Rows, list[tuple[float, int]]]:
    """(name, rows, key signatures) of a score file."""
    page = read_arrangement(path)
    rows = [
        (float(n.onset_q), n.pitch, float(n.duration_q), place_of(n.step, n.alter), 0)
        for n in page.notes
        if n.time == 1
    ]
    keys = [(float(m.onset_q), m.value) for m in page.marks if m.kind == "key"]
    return f"{path.parent.name}/{path.stem}", sorted(rows), keys or [(0.0, page.fifths)]


def bare(rows: Rows, fifths: list[tuple[float, int]] | None) -> np.ndarray:
    names = spell_pitches([r[1] for r in rows], [r[0] for r in rows], fifths)
    return np.array([place_of(step, alter) for step, alter, _ in names])


def ps13(rows: Rows) -> np.ndarray | None:
    """partitura's PS13s1 (Meredith 2006), or None where partitura is not installed."""
    try:
        from partitura.musicanalysis import estimate_spelling
    except ImportError:
        return None
    fields = [("onset_beat", "f4"), ("duration_beat", "f4"), ("pitch", "i4")]
    notes = np.array([(r[0], max(r[2], 0.01), r[1]) for r in rows], dtype=fields)
    return np.array([place_of(s["step"], int(s["alter"])) for s in estimate_spelling(notes)])


def hidden_one_by_one(rows: Rows, keys: list[tuple[float, int]]) -> np.ndarray:
    columns = [np.array(c) for c in zip(*[(r[1], r[3], r[0]) for r in rows], strict=True)]
    page = Page(columns[0], columns[1], columns[2].astype(float), keys)
    return name_notes(page, range(len(rows)))


def report_files(paths: Iterable[Path]) -> None:
    total = dict.fromkeys(("notes", "free", "given", "hidden", "ps13", "double", "double right"), 0)
    print(f"{'score':44}{'notes':>7}{'free':>8}{'given':>8}{'ps13s1':>8}{'hidden':>8}{'s':>6}")
    for path in paths:
        name, rows, keys = rows_of(path)
        truth = np.array([r[3] for r in rows])
        start = time.perf_counter()
        free, given = bare(rows, None), bare(rows, keys)
        took_s = time.perf_counter() - start
        hidden, other = hidden_one_by_one(rows, keys), ps13(rows)
        double = (truth <= -9) | (truth >= 13)
        right = {
            "notes": len(rows),
            "free": int((free == truth).sum()),
            "given": int((given == truth).sum()),
            "hidden": int((hidden == truth).sum()),
            "ps13": int((other == truth).sum()) if other is not None else 0,
            "double": int(double.sum()),
            "double right": int((double & (hidden == truth)).sum()),
        }
        total = {k: total[k] + v for k, v in right.items()}
        n = len(rows)
        shares = [right[k] / n for k in ("free", "given", "ps13", "hidden")]
        print(f"{name:44}{n:7}" + "".join(f"{s:8.4f}" for s in shares) + f"{took_s:6.2f}")
    n = max(1, total["notes"])
    shares = [total[k] / n for k in ("free", "given", "ps13", "hidden")]
    print(f"{'all':44}{n:7}" + "".join(f"{s:8.4f}" for s in shares))
    print(f"double accidentals named while hidden: {total['double right']} of {total['double']}")


def report_folds(scores: list[Score], folds: int) -> None:
    """Composers are dealt out to the folds, the largest first to the smallest fold."""
    fold_of = deal_out(scores, folds)
    right, notes = {True: 0, False: 0}, 0
    for fold in range(folds):
        known = [s for s in scores if fold_of[composer(s)] != fold]
        network = fit_network_to(known)
        here = {True: 0, False: 0}
        count = 0
        for _, rows, keys in [s for s in scores if fold_of[composer(s)] == fold]:
            onsets, pitches, truth = columns(rows)
            count += len(rows)
            for given in (True, False):
                choices = list_choices(pitches, onsets, keys if given and keys else None)
                here[given] += int((choose_places(choices, network) == truth).sum())
        names = ", ".join(sorted(c for c in fold_of if fold_of[c] == fold))
        print(f"{here[True] / count:.4f} {here[False] / count:.4f}  {count:7}  {names}", flush=True)
        right = {k: right[k] + here[k] for k in right}
        notes += count
    print(f"{len(scores)} scores, no composer on both sides, {notes} notes: with the key ", end="")
    print(f"signature {right[True] / notes:.4f}, without {right[False] / notes:.4f}")


def composer(score: Score) -> str:
    return score[0].split("/")[0]


def deal_out(scores: list[Score], folds: int) -> dict[str, int]:
    sizes = Counter[str]()
    for score in scores:
        sizes[composer(score)] += len(score[1])
    held = [0] * folds
    out = {}
    for name, size in sizes.most_common():
        out[name] = held.index(min(held))
        held[out[name]] += size
    return out


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("files", nargs="*", type=Path)
    parser.add_argument("--scores", type=Path)
    parser.add_argument("--folds", type=int, default=4)
    given = parser.parse_args()
    if given.files:
        report_files(given.files)
    if given.scores:
        report_folds(pickle.loads(given.scores.read_bytes()), given.folds)


if __name__ == "__main__":
    main()
