"""How long reading takes, and how much quicker a kept arrangement opens again.

    python -m tests.bench.bench_reading [SCORE ...]

Without scores: every score of the shared data sets (see tests/conftest.py) and of exercises/.
Prints, for each: size, notes, milliseconds to read the notes, to read with the form found, to
open again from the cache, and how many times quicker that is than reading. Median of five
(reading: of three). What is opened again is checked to be equal.

Then how the time to find the form grows with the page: seconds for 5,000, 20,000 and 60,000
notes, of random music for one hand and for two, and of a figure under a melody. The last column is
the power of the length that the time grew with from first to last (1 is linear).
"""

from __future__ import annotations

import sys
import tempfile
import time
from fractions import Fraction
from math import log
from pathlib import Path
from statistics import median

import numpy as np

from engine.arrangement import Arrangement, Bar, ScoreNote, TempoMark
from engine.form import find_form
from engine.pitch_names import midi_number
from engine.read import read_arrangement, score_file
from practice.library import open_arrangement
from tests.bench.growth import long_arrangement
from tests.conftest import ROOT, data_sets_folder

COUNTS = (5_000, 20_000, 60_000)
#: Lengths of random notes, quarters; lowest octave of each hand.
LENGTHS_Q = (Fraction(1, 4), Fraction(1, 3), Fraction(1, 2), Fraction(3, 4), Fraction(1))
OCTAVE = {"left": 2, "right": 4}


def milliseconds(call, times):
    """Median of some timings of a call, and its last result."""
    taken = []
    for _ in range(times):
        begun = time.perf_counter()
        result = call()
        taken.append(1000 * (time.perf_counter() - begun))
    return median(taken), result


def without_form(path):
    """Read the notes only."""
    whole = score_file._with_form
    score_file._with_form = lambda arrangement, *_: arrangement
    try:
        return read_arrangement(path)
    finally:
        score_file._with_form = whole


def scores():
    folder = data_sets_folder()
    found = sorted(folder.glob("*/score.musicxml")) if folder else []
    return found + sorted((ROOT / "exercises").glob("*.musicxml"))


def report(path):
    """One line of the table for one score."""
    with tempfile.TemporaryDirectory() as kept:
        notes_ms, _ = milliseconds(lambda: without_form(path), 3)
        whole_ms, arrangement = milliseconds(lambda: read_arrangement(path), 3)
        open_arrangement(path, kept)
        again_ms, again = milliseconds(lambda: open_arrangement(path, kept), 5)
    assert again == arrangement
    name = "/".join(Path(path).parts[-2:])
    size = Path(path).stat().st_size // 1024
    times = f"{notes_ms:9.1f} {whole_ms:9.1f} {again_ms:9.1f}"
    return f"{name:40s} {size:6d} {len(arrangement.notes):6d} {times} {whole_ms / again_ms:7.0f}x"


def random_notes(count, hands, seed=1):
    """About `count` notes of any white key and any length, the same number for each hand."""
    rng = np.random.default_rng(seed)
    notes = [n for hand in hands for n in _random_hand(count // len(hands), hand, rng)]
    notes.sort(key=lambda n: (n.onset_q, n.pitch))
    bars = range(notes[-1].bar + 1)
    return Arrangement(
        f"{count} random notes", "0" * 64, tuple(notes),
        tuple(Bar(b, str(b + 1), b, 1, Fraction(4 * b), Fraction(4), 4, 4) for b in bars),
        (TempoMark(Fraction(0), 100.0),),
    )  # fmt: skip


def _random_hand(count, hand, rng):
    at = Fraction(0)
    for k in range(count):
        step, octave = "CDEFGAB"[rng.integers(7)], OCTAVE[hand] + int(rng.integers(2))
        length = LENGTHS_Q[rng.integers(len(LENGTHS_Q))]
        yield ScoreNote(
            f"{hand[0]}{k}", 1, at, length, midi_number(step, 0, octave), step, 0, octave,
            hand, 1 if hand == "right" else 2, "1", int(at // 4),
        )  # fmt: skip
        at += length


def growth():
    """One line for each kind of page: seconds by number of notes, and the power."""
    pages = {
        "random, one hand": lambda n: random_notes(n, ["right"]),
        "random, two hands": lambda n: random_notes(n, ["left", "right"]),
        "a figure under a melody": long_arrangement,
    }
    yield f"{'form of':40s}" + "".join(f"{n:>10,d}" for n in COUNTS) + f"{'power':>8s}"
    for name, made in pages.items():
        took = []
        for count in COUNTS:
            arrangement = made(count)
            took.append(milliseconds(lambda page=arrangement: find_form(page), 1)[0] / 1000)
        power = log(took[-1] / took[0]) / log(COUNTS[-1] / COUNTS[0])
        yield f"{name:40s}" + "".join(f"{s:9.2f}s" for s in took) + f"{power:8.2f}"


def main(paths):
    columns = f"{'kB':>6s} {'notes':>6s} {'notes ms':>9s} {'whole ms':>9s} {'again ms':>9s}"
    print(f"{'score':40s} {columns} {'quicker':>8s}")
    for path in paths or scores():
        print(report(path))
    if not paths:
        print()
        for line in growth():
            print(line, flush=True)


if __name__ == "__main__":
    main(sys.argv[1:])
