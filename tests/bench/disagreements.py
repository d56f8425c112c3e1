"""Where the follower and an automatically made truth differ, to be read against page and recording.

    python -m tests.bench.disagreements [--count 50] [--seed 1]

Draws played notes of the (n)ASAP recordings that the whole-take alignment and the truth tie to
different written notes, one seed, one list. For each: the bar, the two written notes with when each
was due, told only by neighbours on which both agree (a line through the four nearest moments on
either side), and the order of the strokes around it. The verdict is mechanical: whoever's note was
due nearer to the stroke, by more than `CLEARLY_S`; a stroke that one of the two leaves unmatched is
judged by whether a written note of its key was due there and is not taken by another stroke.
"""

from __future__ import annotations

import argparse
import sys
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from engine.arrangement import Arrangement
from engine.findings import Finding
from engine.follow import align
from engine.follow.timemap import TimeMap
from engine.read import read_arrangement
from tests.bench.takes import ORNAMENT, Take, one_key_names, recorded_take
from tests.conftest import data_sets_folder

HAND_CORRECTED = ("mozart-k331", "chopin-op10-3")
#: Nearer by less than this decides nothing; a note due further off than this was not due there.
CLEARLY_S, DUE_S = 0.03, 0.25


@dataclass(frozen=True, slots=True)
class Case:
    """One played note, two answers (note index, -1 for none), and how far off each was due."""

    name: str
    bar: str
    time_s: float
    pitch: int
    theirs: int
    ours: int
    theirs_off_s: float
    ours_off_s: float
    optional: bool
    said: str
    verdict: str


def disagreements(
    arrangement: Arrangement, take: Take, findings: Sequence[Finding], names: dict[str, str]
) -> Iterator[Case]:
    """All of one take."""
    told = {f.played: f for f in findings if f.played is not None}
    same = {k: _one_key(arrangement, names, k) for k in range(len(arrangement.notes))}
    pairs = [
        (n, t, -1 if told[n.index].score is None else int(told[n.index].score or 0))
        for n, t in zip(take.notes, take.truth, strict=True)
        if t != ORNAMENT
    ]
    q = arrangement.table["onset_q"]
    agreed = [(q[t], n.onset_s) for n, t, o in pairs if t >= 0 and o >= 0 and same[t] == same[o]]
    table = np.array(agreed)
    clock = TimeMap(table[:, 0], table[:, 1])
    taken_by_us, taken_by_them = (
        {same[o] for _, _, o in pairs if o >= 0},
        {same[t] for _, t, _ in pairs if t >= 0},
    )
    for n, t, o in pairs:
        if (t < 0 and o < 0) or (t >= 0 and o >= 0 and same[t] == same[o]):
            continue
        off = [_off_s(clock, q, k, n.onset_s) for k in (t, o)]
        spare = (o >= 0 and same[o] in taken_by_them, t >= 0 and same[t] in taken_by_us)
        where = arrangement.notes[o if o >= 0 else t]
        yield Case(
            take.name, arrangement.bars[where.bar].number, n.onset_s, n.pitch, t, o, *off,
            where.optional or bool(where.grace), told[n.index].what, _verdict(t, o, off, spare),
        )  # fmt: skip


def _one_key(arrangement: Arrangement, names: dict[str, str], k: int) -> str:
    leader = arrangement.notes[int(arrangement.table["unison"][k])]
    return f"{names.get(leader.note_id, leader.note_id)}@{leader.time}"


def _off_s(clock: TimeMap, q: np.ndarray, note: int, time_s: float) -> float:
    """How far from the stroke the note was due: the nearest of what came before, after, both."""
    if note < 0:
        return float("nan")
    due, _, _ = clock.due(np.array([q[note]]))
    return float(np.nanmin(np.abs(due[:, 0] - time_s)))


def _verdict(theirs: int, ours: int, off: Sequence[float], spare: tuple[bool, bool]) -> str:
    if theirs >= 0 and ours >= 0:
        if abs(off[0] - off[1]) <= CLEARLY_S:
            return "open"
        return "truth" if off[0] < off[1] else "ours"
    if ours >= 0:
        if off[1] > DUE_S:
            return "truth"
        return "open" if spare[0] else "ours"
    if off[0] > DUE_S:
        return "ours"
    return "open" if spare[1] else "truth"


def all_cases(folder: Path) -> list[Case]:
    """Of every (n)ASAP recording, in order."""
    out: list[Case] = []
    for room in sorted(d for d in folder.iterdir() if d.is_dir()):
        if room.name in HAND_CORRECTED:
            continue
        arrangement = read_arrangement(room / "score.musicxml")
        for midi in sorted(room.glob("*.mid")):
            take = recorded_take(midi, arrangement)
            found = align(arrangement, take.notes)
            out.extend(disagreements(arrangement, take, found, one_key_names(room)))
    return out


def report(cases: Sequence[Case], count: int, seed: int) -> None:
    """The drawn ones, line by line, then counts by kind for these and for all."""
    rng = np.random.default_rng(seed)
    drawn = sorted(rng.choice(len(cases), min(count, len(cases)), replace=False).tolist())
    print(f"{len(cases)} disagreements in all; {len(drawn)} drawn with seed {seed}")
    for i in drawn:
        c = cases[i]
        print(
            f"  {c.name:20s} bar {c.bar:>3s} {c.time_s:8.2f} s key {c.pitch:3d}  "
            f"{_answer(c.theirs, c.theirs_off_s, 'truth')}  {_answer(c.ours, c.ours_off_s, c.said)}"
            f"  {'small print' if c.optional else '':11s}  {c.verdict}"
        )
    for label, some in (("drawn", [cases[i] for i in drawn]), ("all", cases)):
        by = Counter((kind_of(c), c.verdict) for c in some)
        print(f"{label}: " + ", ".join(f"{k}/{v} {n}" for (k, v), n in sorted(by.items())))


def kind_of(case: Case) -> str:
    """What kind of difference it is."""
    small = "small print, " if case.optional else ""
    if case.theirs >= 0 and case.ours >= 0:
        return small + "another note"
    return small + ("left unlabelled by truth" if case.theirs < 0 else "called nothing by us")


def _answer(note: int, off_s: float, who: str) -> str:
    return f"{who}: none{'':14s}" if note < 0 else f"{who}: due {off_s * 1e3:5.0f} ms off"


def main(argv: Sequence[str] | None = None) -> int:
    """Run it; exit status 1 where the recordings are missing."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--count", type=int, default=50)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args(argv)
    folder = data_sets_folder()
    if folder is None:
        print("no folder of recordings: set UNDERSONG_DATA_SETS", file=sys.stderr)
        return 1
    report(all_cases(folder), options.count, options.seed)
    return 0


if __name__ == "__main__":
    sys.exit(main())
