"""Chord names against Roman-numeral analyses of Bach chorales: agreement, and the rest sorted.

python tests/bench/bench_harmony.py [--last 20]
"""

from __future__ import annotations

import argparse
from collections import Counter

import music21

from engine.form.fifths import place_from_text
from engine.form.harmony import QUALITIES, find_harmonies
from tests.form.pages import page
from tests.outside.test_harmony_references import read_chorale, read_roots

#: Analyses that do not belong to the score music21 gives for their number.
OTHERS = {11: "33 bars against 39", 14: "in G, the score in D", 17: "in E minor, the score in F#"}


def why(root: int, harmony: object) -> str:
    """How the analyst's root stands to our chord."""
    ours = 7 * place_from_text(harmony.root) % 12
    chord = {7 * (place_from_text(harmony.root) + p) % 12 for p in QUALITIES[harmony.quality][0]}
    if ours == root:
        return "same root"
    if root in chord:
        return "their root is our third, fifth or seventh"
    return "another chord"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--last", type=int, default=20)
    given = parser.parse_args()
    sorts: Counter[str] = Counter()
    qualities: Counter[str] = Counter()
    for number in range(1, given.last + 1):
        written = read_chorale(number)
        if written is None or number in OTHERS:
            continue
        harmonies = find_harmonies(page(left=written), ())
        for onset, root, quality in read_roots(number):
            here = next((h for h in harmonies if h.from_q <= onset < h.to_q), None)
            if here is None:
                continue
            reason = why(root, here)
            if reason != "same root" and here.from_q < onset:
                reason += ", changing inside our region"
            sorts[reason] += 1
            if reason == "same root":
                same = here.quality.split(" ")[0].replace("dominant", "major")
                qualities[f"{quality} called {same}"] += 1
    total = sum(sorts.values())
    print(f"music21 {music21.__version__}: {total} numerals")
    for reason, n in sorts.most_common():
        print(f"{n / total:7.3f}  {n:5}  {reason}")
    print("with the same root:")
    for reason, n in qualities.most_common(8):
        print(f"{n:5}  {reason}")


if __name__ == "__main__":
    main()
