"""The confusion table of slips: what the simulated pianist did, against what it was called.

    python -m tests.bench.bench_slips [--found] [--seeds 3] [SCORE ...]

Without `--found` the findings are the pianist's own truth, so that only the naming is judged; with
it they come from the whole-take alignment. Scores are the exercises unless named. Each kind is
planted alone, in 3 % of the notes that allow it (every parting for twins). A second table sets
apart the slips whose key two kinds would leave (`slip_readings.py`).
"""

from __future__ import annotations

import argparse
from collections import Counter
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from engine.arrangement import Arrangement
from engine.findings import Finding
from engine.follow import align
from engine.performance import pair_notes
from engine.read import read_arrangement
from engine.slips import KINDS, name_slips
from practice.player import Character, Performance, SlipShares, Truth, perform_with_truth
from practice.player.slips import KIND_OF
from tests.bench.slip_readings import Readings

ROOT = Path(__file__).resolve().parents[2]
SHARE = 0.03


def play(arrangement: Arrangement, share: str, seed: int) -> Performance:
    shares = SlipShares(**{share: 0.5 if share == "twin" else SHARE})
    character = Character(slips=shares, finger_sd_ms=6.0, timekeeper_sd_ms=8.0, level_sd=4.0)
    return perform_with_truth(arrangement, character, np.random.default_rng(seed))


def true_findings(performance: Performance) -> list[Finding]:
    """The pianist's own account, as the follower would put it."""
    findings = []
    for t in performance.truth:
        stands = t.stands_for if t.what == "wrong" else t.ornament_of
        findings.append(Finding(t.played, t.score, t.what, stands))
    return [*findings, *(Finding(None, i, "missing") for i in performance.missing)]


@dataclass(frozen=True)
class Planted:
    """A slip as planted and as named ("" where one is lacking); the kinds it may be by its key."""

    kind: str
    named: str
    may_be: frozenset[str]


def named(arrangement: Arrangement, performance: Performance, found: bool) -> list[Planted]:
    """Every slip planted, then those named where none was planted."""
    notes = pair_notes(list(performance.events)).notes
    findings = align(arrangement, notes, None, None) if found else true_findings(performance)
    slips = name_slips(arrangement, notes, findings)
    by_played = {s.played: s.kind for s in slips if s.played is not None}
    by_score = Counter({s.score: 1 for s in slips if s.played is None})
    readings = Readings(arrangement)
    rows = []
    for t in performance.truth:
        if t.kind:
            key = notes[t.played].pitch
            kind = planted_kind(arrangement, performance, t, key)
            may = may_be(readings, performance, t, kind, key)
            rows.append(Planted(kind, by_played.pop(t.played, ""), may))
    for i in performance.missing:
        rows.append(Planted("left out", "left out" if by_score[i] else "", frozenset(["left out"])))
        by_score[i] = 0
    return [*rows, *(Planted("", kind, frozenset()) for kind in by_played.values())]


def may_be(
    readings: Readings, performance: Performance, truth: Truth, kind: str, key: int
) -> frozenset[str]:
    """The kinds that leave such a key there; how it was struck tells some from all others.

    "unclear" is among them where the kind planted would not leave it, by what it means: the pianist
    takes the other hand's note also where its own chord has that letter.
    """
    if kind in ("doubled strike", "brushed"):
        return frozenset([kind])
    if truth.what == "wrong" and truth.stands_for is not None:
        found = readings.of_wrong(truth.stands_for, key)
        return frozenset({kind} | found | (set() if kind in found else {"unclear"}))
    before = [t for t in performance.truth if t.played < truth.played and t.score is not None]
    last = max(before, key=lambda t: t.played, default=None)
    if last is None or last.score is None:
        return frozenset([kind])
    return frozenset({kind} | readings.of_extra(last.score, key))


OF_WHOLE_OCTAVES = (
    "accidental missed", "neighbour key", "anticipation", "late change", "other hand's note",
)  # fmt: skip


def planted_kind(arrangement: Arrangement, performance: Performance, truth: Truth, key: int) -> str:
    """The kind planted; one note of an octave a key or two off is a split octave.

    The pianist plays note by note. A person who misreads a sign, misses a place by a key, or is in
    thought at the next chord, is so in both notes of an octave: with one right and one a key or
    two off, it was split.
    """
    if truth.kind not in OF_WHOLE_OCTAVES or truth.stands_for is None:
        return truth.kind
    note = arrangement.notes[truth.stands_for]
    if abs(key - note.pitch) > 2:
        return truth.kind
    right = {t.score for t in performance.truth if t.what == "right"}
    for i, other in enumerate(arrangement.notes):
        octave = other.hand == note.hand and abs(other.pitch - note.pitch) == 12
        if octave and other.onset_q == note.onset_q and i in right:
            return "octave split"
    return truth.kind


def table(pairs: list[tuple[str, str]]) -> list[str]:
    """Rows planted, columns named; then how often a kind was named so, and a name was right.

    "right": of those planted. "told": of those not called unclear. "true": of those called so.
    """
    columns = [*KINDS, ""]
    heads = [k[:9] if k else "nothing" for k in columns]
    lines = [" " * 20 + " ".join(f"{h:>9}" for h in (*heads, "right", "told", "true"))]
    count = Counter(pairs)
    for row in [*KIND_OF.values(), ""]:
        cells = [count[row, c] for c in columns]
        named = sum(count[r, row] for r in [*KIND_OF.values(), ""])
        shares = [
            f"{count[row, row] / n:9.3f}" if n and row else " " * 9
            for n in (sum(cells), sum(cells) - count[row, "unclear"], named)
        ]
        lines.append(f"{row or 'nothing':20}" + " ".join([*(f"{c:9}" for c in cells), *shares]))
    return lines


def decidable(rows: list[Planted]) -> list[str]:
    """Of each kind: planted, open (another kind leaves that key, or this one does not), as named.

    "fits": of the open ones, called unclear or by a kind that their key may be.
    """
    heads = ("planted", "open", "decidable", "right", "unclear", "other", "recall", "fits")
    lines = [" " * 20 + "".join(f"{h:>10}" for h in heads)]
    for kind in KIND_OF.values():
        mine = [r for r in rows if r.kind == kind]
        clear = [r for r in mine if len(r.may_be) == 1]
        open_ = [r for r in mine if len(r.may_be) > 1]
        right = sum(r.named == kind for r in clear)
        unclear = sum(r.named == "unclear" for r in clear)
        fits = sum(r.named in r.may_be | {"unclear"} for r in open_)
        counts = (len(mine), len(open_), len(clear), right, unclear, len(clear) - right - unclear)
        shares = [f"{a / b:10.3f}" if b else " " * 10 for a, b in
                  ((right, len(clear)), (fits, len(open_)))]  # fmt: skip
        lines.append(f"{kind:20}" + "".join([*(f"{c:10}" for c in counts), *shares]))
    return lines


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("scores", nargs="*", type=Path)
    parser.add_argument("--found", action="store_true")
    parser.add_argument("--seeds", type=int, default=3)
    given = parser.parse_args()
    scores = given.scores or sorted((ROOT / "exercises").glob("*.musicxml"))
    rows: list[Planted] = []
    for path in scores:
        arrangement = read_arrangement(path)
        for share in KIND_OF:
            for seed in range(given.seeds):
                rows += named(arrangement, play(arrangement, share, seed), given.found)
    print("\n".join(table([(r.kind, r.named) for r in rows])))
    print("\n".join(["", *decidable(rows)]))


if __name__ == "__main__":
    main()
