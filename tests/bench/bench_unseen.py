"""Proof on pages that no rule was made with: quartets, trios and chorales put on two staves.

    python -m tests.bench.bench_unseen SET DIR

SET "piano": what music21 has for piano beside its corpus, in the tests of its own readers: a few
bars of Moussorgsky's Promenade, the piano of Ives' Spring Song, Sousa's Stars and Stripes Forever.
The piano scores of its corpus itself are all in `bench_proof`. So its other scores by eight
composers, each composer's in an order by chance (seed 20261126), are taken in turns: SET 1 is the
first twenty, 2 the next, 3 the next. music21 puts the parts on two staves and writes them to DIR.
Every remark is printed; of these sets, those on what hands cannot reach are only counted. What a
person found stands in `engine/proof/README.md`.
"""

from __future__ import annotations

import argparse
import random  # noqa: TID251 (this order was drawn with it; it must stay)
import warnings
from collections import Counter
from collections.abc import Iterator
from importlib import import_module
from pathlib import Path

from engine.proof import find_remarks
from engine.read import read_arrangement
from tests.bench.bench_proof import CORPUS

SEED, SIZE = 20261126, 20
COMPOSERS = (
    "bach", "beethoven", "corelli", "haydn", "johnson_j_r", "mozart", "schumann_robert",
    "schumann_clara",
)  # fmt: skip
HANDS = ("stretch", "two places", "keyboard")


def drawn(folder: Path, count: int) -> list[str]:
    """Names of scores in the order in which they are taken."""
    rng, queues = random.Random(SEED), []
    for who in COMPOSERS:
        found = [p for p in (folder / who).rglob("*") if p.suffix in (".mxl", ".xml", ".musicxml")]
        names = sorted(str(p.relative_to(folder)) for p in found)
        names = [n for n in names if n not in CORPUS]
        rng.shuffle(names)
        queues.append(names)
    order: list[str] = []
    while len(order) < count and any(queues):
        order += [queue.pop() for queue in queues if queue]
    return order[:count]


def on_two_staves(source: Path, out: Path) -> None:
    """The upper half of the parts on one staff, the lower half on the other."""
    from music21 import converter, instrument

    score = converter.parse(source)
    count = len(score.parts)
    half = (count + 1) // 2
    if count > 2:
        halves = [list(range(half)), list(range(half, count))]
        score = score.partsToVoices(halves, permitOneVoicePerPart=True)
    for part in score.parts:
        for old in list(part.recurse().getElementsByClass("Instrument")):
            if old.activeSite is not None:
                old.activeSite.remove(old)
        part.insert(0, instrument.Piano())
    score.write("musicxml", out)


def on_paper(which: str, folder: Path) -> Iterator[tuple[str, Path]]:
    """Names and files of a set, written to a folder one after another."""
    from music21 import common
    from music21.exceptions21 import Music21Exception

    if which == "piano":
        yield from _for_piano(folder)
        return
    corpus = Path(common.getCorpusFilePath())
    for name in drawn(corpus, int(which) * SIZE)[-SIZE:]:
        out = folder / f"{name.replace('/', '_').rsplit('.', 1)[0]}.musicxml"
        try:
            on_two_staves(corpus / name, out)
        except Music21Exception as error:
            print(f"{name}: music21 cannot write it down: {error}")
            continue
        yield name, out


def _for_piano(folder: Path) -> Iterator[tuple[str, Path]]:
    from music21 import converter

    kern = import_module("music21.humdrum.testFiles")
    musicxml = import_module("music21.musicxml.testFiles")
    promenade = folder / "promenade.musicxml"
    promenade.write_text(musicxml.moussorgskyPromenade, encoding="utf-8")
    yield "promenade", promenade
    for name in ("ivesSpring", "sousaStars"):
        out = folder / f"{name}.musicxml"
        converter.parse(getattr(kern, name), format="humdrum").write("musicxml", out)
        yield name, out


def main() -> None:

    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("set", choices=("piano", "1", "2", "3"))
    parser.add_argument("folder", type=Path)
    given = parser.parse_args()
    warnings.simplefilter("ignore")
    bars, kinds = 0, Counter[str]()
    for name, path in on_paper(given.set, given.folder):
        page = read_arrangement(path)
        bars += len({b.written for b in page.bars})
        for remark in find_remarks(page):
            kinds[remark.kind] += 1
            if given.set == "piano" or remark.kind not in HANDS:
                print(f"{name}: bar {remark.bar}, {remark.beat}: {remark.kind}: {remark.why}")
    print(f"{bars} bars; {dict(kinds)}")


if __name__ == "__main__":
    main()
