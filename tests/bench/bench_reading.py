"""How long reading takes, and how much quicker a kept arrangement opens again.

    python -m tests.bench.bench_reading [SCORE ...]

Without scores: every score of the shared data sets (see tests/conftest.py) and of exercises/.
Prints, for each: size, notes, milliseconds to read the notes, to read with the form found, to
open again from the cache, and how many times quicker that is than reading. Median of five
(reading: of three). What is opened again is checked to be equal.
"""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path
from statistics import median

from engine.read import read_arrangement, score_file
from practice.library import open_arrangement
from tests.conftest import ROOT, data_sets_folder


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


def main(paths):
    columns = f"{'kB':>6s} {'notes':>6s} {'notes ms':>9s} {'whole ms':>9s} {'again ms':>9s}"
    print(f"{'score':40s} {columns} {'quicker':>8s}")
    for path in paths or scores():
        print(report(path))


if __name__ == "__main__":
    main(sys.argv[1:])
