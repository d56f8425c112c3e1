"""Every remark that `proof` makes on scores of others, read by a person and found true or false.

    python -m tests.bench.bench_proof [--all]

The scores: the eight with recordings (see `tests/conftest.py`), and twenty of music21's corpus that
are for piano or have a piano part (it has no more: eleven for piano alone, the piano's part of
eight songs and chamber works, one of these in two files). The readings stand in
`proof_read.tsv`: score, kind, bar, beat, true or false, and why. A remark that is not there is
counted as not read.
"""

from __future__ import annotations

import argparse
import csv
import os
import tempfile
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

from engine.proof import Remark, find_remarks
from engine.read import read_arrangement

ROOT = Path(__file__).resolve().parents[2]
READ = Path(__file__).with_name("proof_read.tsv")
CORPUS = (
    "bach/bwv846.mxl", "joplin/maple_leaf_rag.mxl", "mozart/k545/movement1_exposition.mxl",
    "schoenberg/opus19/movement2.mxl", "schoenberg/opus19/movement6.mxl",
    "schumann_clara/polonaise_op1n1.mxl", "schumann_clara/polonaise_op1n2.mxl",
    "schumann_clara/polonaise_op1n3.mxl", "schumann_clara/polonaise_op1n4.mxl",
    "cpebach/h186.mxl", "chopin/mazurka06-2.krn", "handel/rinaldo/Lascia_chio_pianga.mxl",
    "schubert/Lindenbaum.xml", "schumann_robert/dichterliebe_no2.xml",
    "schumann_robert/opus48no2.mxl", "weber/concertino_clarinet.mxl",
    "beach/prayer_of_a_tired_child.musicxml", "schumann_clara/opus17/movement3.xml",
    "liliuokalani/aloha_oe.mxl", "verdi/laDonnaEMobile.mxl",
)  # fmt: skip


def scores() -> Iterator[tuple[str, Path]]:
    """Name and file of each score that is there."""
    data = Path(os.environ.get("UNDERSONG_DATA_SETS") or ROOT.parent / "shared" / "data")
    for path in sorted(data.glob("*/score.musicxml")):
        yield path.parent.name, path
    try:
        from music21 import common, converter
    except ImportError:
        return
    folder = Path(common.getCorpusFilePath())
    with tempfile.TemporaryDirectory() as scratch:
        for name in CORPUS:
            path = folder / name
            if path.suffix == ".krn":  # read by music21 and written down again as MusicXML
                path = Path(scratch) / f"{path.stem}.musicxml"
                converter.parse(folder / name).write("musicxml", path)
            yield name, path


Key = tuple[str, str, str, str]


def key_of(name: str, remark: Remark) -> Key:
    beat = "" if remark.beat is None else f"{float(remark.beat):g}"
    return name, remark.kind, remark.bar, beat


def readings() -> dict[Key, tuple[str, str]]:
    """What was found of each remark."""
    with READ.open(encoding="utf-8", newline="") as file:
        rows = csv.DictReader(file, delimiter="\t")
        return {(r["score"], r["kind"], r["bar"], r["beat"]): (r["found"], r["why"]) for r in rows}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--all", action="store_true", help="print every remark")
    given = parser.parse_args()
    known = readings()
    bars, found = 0, Counter[str]()
    print(f"{'score':44}{'bars':>6}{'true':>6}{'false':>6}{'not read':>9}")
    for name, path in scores():
        page = read_arrangement(path)
        here = Counter[str]()
        for remark in find_remarks(page):
            what, why = known.get(key_of(name, remark), ("not read", ""))
            here[what] += 1
            if given.all:
                print(f"  {what}: bar {remark.bar}: {remark.kind}: {remark.why} ({why})")
        count = len({b.written for b in page.bars})
        print(f"{name:44}{count:6}{here['true']:6}{here['false']:6}{here['not read']:9}")
        bars += count
        found += here
    alarms = found["false"] + found["not read"]
    print(f"{bars} bars, {sum(found.values())} remarks, {found['true']} true; ", end="")
    print(
        f"false or not read: {alarms}, one in {bars / alarms:.0f} bars" if alarms else "none false"
    )


if __name__ == "__main__":
    main()
