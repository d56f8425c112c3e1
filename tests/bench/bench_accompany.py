"""How near the following hand comes to the recorded one: `python -m tests.bench.bench_accompany`.

From each recording one hand is taken away; the companion hears the other, note by note, and its
notes are compared with what the hand that was taken away had played. Only notes that fall *between*
the player's own count, where nothing can be echoed. Two baselines: holding the tempo of the last
two beats, and waiting for the player's next note. Beside them a bound: even division between the
player's onset before and the one *after*, which nobody playing along can know.

Options: --live (the live follower says where the player is, not the truth table), --warm (one other
recording of the piece, by another player, is remembered), --by-gap, --json FILE. --oracle adds what
hindsight could tell: the random curve of `engine.accompany.timing` through *all* of the player's
onsets, those to come as well; no one who hears only that hand, and hears it only as it comes, can
be expected to come nearer.
"""

from __future__ import annotations

import argparse
import csv
import json
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from engine.accompany.companion import Companion, Cue
from engine.accompany.remembered import Remembered, remember
from engine.accompany.timing import Timing
from engine.arrangement import Arrangement, Hand, Span, whole_span
from engine.follow import Follower
from engine.performance import PlayedNote
from engine.read import read_arrangement
from practice.store.recording import read_recording
from tests.conftest import data_sets_folder

Errors = dict[str, np.ndarray]


@dataclass(frozen=True)
class Played:
    """A recording with its truth: for each matched note its score index, onset, velocity."""

    piece: str
    take: str
    score: np.ndarray
    onset_s: np.ndarray
    pitch: np.ndarray
    velocity: np.ndarray


def read_played(arrangement: Arrangement, folder: Path, take: str) -> Played:
    """Notes that answer to a written note, by time."""
    notes = read_recording(str(folder / f"{take}.mid")).notes
    rows = []
    with (folder / f"{take}.truth.tsv").open(newline="") as file:
        for row in csv.DictReader(file, delimiter="\t"):
            score = arrangement.index_of.get((row["score_id"] or "").strip())
            if score is not None and not arrangement.notes[score].grace:
                note = notes[int(row["played_index"])]
                rows.append((float(row["onset_ms"]) / 1000, score, note.pitch, note.velocity))
    rows.sort()
    at, score, pitch, velocity = (np.array(x) for x in zip(*rows, strict=True))
    return Played(folder.name, take, score, at, pitch, velocity)


def between(arrangement: Arrangement, played: Played, hand: Hand) -> tuple[np.ndarray, np.ndarray]:
    """(rows of `played` that count, places of the player's own onsets) with `hand` playing."""
    table = arrangement.table
    mine = (table["hand"][played.score] == 1) == (hand == "right")
    own_q = np.unique(table["onset_q"][played.score[mine]])
    q = table["onset_q"][played.score]
    inside = (q > own_q[0]) & (q < own_q[-1]) & ~np.isin(q, own_q)
    return np.flatnonzero(~mine & inside), own_q


def own_onsets(
    arrangement: Arrangement, played: Played, hand: Hand
) -> tuple[np.ndarray, np.ndarray]:
    """(places, first onset at each) of the hand that plays."""
    table = arrangement.table
    mine = (table["hand"][played.score] == 1) == (hand == "right")
    q, first = np.unique(table["onset_q"][played.score[mine]], return_index=True)
    return q, played.onset_s[mine][first]


def hear_truth(arrangement: Arrangement, played: Played, hand: Hand) -> Iterator[tuple[int, int]]:
    """(row, score index) of the notes the player's hand played."""
    for row, score in enumerate(played.score):
        if arrangement.notes[score].hand == hand:
            yield row, int(score)


def hear_live(arrangement: Arrangement, played: Played, hand: Hand) -> Iterator[tuple[int, int]]:
    """The same as the live follower says at each note, before it knows any better."""
    follower = Follower(arrangement, whole_span(arrangement), hand)
    rows = [r for r, score in enumerate(played.score) if arrangement.notes[score].hand == hand]
    for k, row in enumerate(rows):
        note = PlayedNote(k, int(played.pitch[row]), int(played.velocity[row]), played.onset_s[row])
        for finding in follower.hear(note):
            told = finding.score if finding.what == "right" else finding.stands_for
            if finding.played == k and told is not None and finding.what in ("right", "wrong"):
                yield row, told
                break


def play_along(
    arrangement: Arrangement, played: Played, hand: Hand, remembered: Remembered | None,
    heard: Callable[[Arrangement, Played, Hand], Iterator[tuple[int, int]]],
) -> dict[int, float]:  # fmt: skip
    """When the companion plays each note of the other hand, seconds."""
    span: Span = whole_span(arrangement)
    companion = Companion(arrangement, span, hand, remembered=remembered)
    done: dict[int, float] = {}
    pending: list[Cue] = []
    for row, score in heard(arrangement, played, hand):
        now_s = float(played.onset_s[row])
        at_q = float(arrangement.table["onset_q"][score])
        done.update((cue.score, cue.time_s) for cue in pending if cue.time_s <= now_s)
        overdue = [cue.score for cue in pending if cue.time_s > now_s]
        pending = companion.hear(at_q, now_s, int(played.pitch[row]), int(played.velocity[row]))
        cued = {cue.score for cue in pending}
        done.update((i, now_s) for i in overdue if i not in cued)  # left out: counts from here
    done.update((cue.score, cue.time_s) for cue in pending)
    return done


def compare(
    arrangement: Arrangement, played: Played, hand: Hand, remembered: Remembered | None, live: bool
) -> Errors:
    """Signed errors in seconds (positive: late) of the companion, the baselines and the bound."""
    rows, _ = between(arrangement, played, hand)
    if not len(rows):
        return {}
    q, s = own_onsets(arrangement, played, hand)
    at_q, truth_s = arrangement.table["onset_q"][played.score[rows]], played.onset_s[rows]
    k = np.searchsorted(q, at_q) - 1
    from_q = q[k] - 2.0 * _beat_q(arrangement, q[k])
    back = np.maximum(np.searchsorted(q, from_q, side="right") - 1, 0)
    first = 60.0 / arrangement.tempo[0].qpm
    with np.errstate(invalid="ignore", divide="ignore"):
        tempo = np.where(back < k, (s[k] - s[back]) / (q[k] - q[back]), first)
    share = (at_q - q[k]) / (q[k + 1] - q[k])
    heard = hear_live if live else hear_truth
    done = play_along(arrangement, played, hand, remembered, heard)
    stands = arrangement.table["unison"][played.score[rows]]
    both = zip(played.score[rows].tolist(), stands.tolist(), strict=True)
    mine = np.array([done.get(i, done.get(unison, np.nan)) for i, unison in both])
    return {
        "companion": mine - truth_s,
        "hold": s[k] + tempo * (at_q - q[k]) - truth_s,
        "wait": s[k + 1] - truth_s,
        "knowing": s[k] + share * (s[k + 1] - s[k]) - truth_s,
        "oracle": look_back(arrangement, q, s, at_q) - truth_s,
        "gap_q": q[k + 1] - q[k],
    }


def look_back(
    arrangement: Arrangement, q: np.ndarray, s: np.ndarray, at_q: np.ndarray
) -> np.ndarray:
    """When notes belong by a smooth curve through the player's onsets on both sides, seconds."""
    bar = arrangement.bars[0]
    timing = Timing(4.0 * bar.beats / bar.beat_unit, 60.0 / arrangement.tempo[0].qpm)
    k = np.searchsorted(q, at_q) - 1
    out = np.empty(len(at_q))
    for here in np.unique(k):
        near = slice(max(here - AROUND, 0), here + AROUND)
        out[k == here] = timing.smooth(q[near], s[near], at_q[k == here])
    return out


def _beat_q(arrangement: Arrangement, at_q: np.ndarray) -> np.ndarray:
    return np.array([float(arrangement.tempo_at(q).beat_unit_q) for q in at_q])


def say(errors: np.ndarray) -> str:
    """Median and 90th percentile of the distance, share within 90 ms; notes not played are far."""
    far = np.where(np.isnan(errors), np.inf, np.abs(errors)) * 1000
    return f"{np.median(far):6.0f} {np.percentile(far, 90):6.0f} {np.mean(far <= 90):6.1%}"


METHODS = ["companion", "hold", "wait", "knowing"]
#: Onsets on either side that hindsight looks at.
AROUND = 40
GAPS_Q = ((0.0, 0.5), (0.5, 1.0), (1.0, 2.0), (2.0, 4.0), (4.0, 99.0))


class Table:
    """Rows printed as they come, and what they come to together."""

    def __init__(self) -> None:
        self.pooled: list[Errors] = []
        self.files: list[dict[str, object]] = []
        print("recording".ljust(36) + "|" + "|".join(name.center(22) for name in METHODS))
        print(
            "hand that plays; notes compared".ljust(36)
            + "|"
            + "|".join([" median  p90 <90 ms    "] * len(METHODS))
        )

    def add(self, piece: str, take: str, rows: dict[str, Errors]) -> None:
        """One recording: errors by the hand that plays."""
        for hand, errors in rows.items():
            self._say(f"{piece} {take} {hand}", errors)
        self.pooled += rows.values()
        if rows:
            medians = {name: _median_ms([e[name] for e in rows.values()]) for name in METHODS}
            self.files.append({"piece": piece, "take": take, **medians})

    def say_pooled(self, by_gap: bool) -> None:
        """All recordings together."""
        together = {n: np.concatenate([e[n] for e in self.pooled]) for n in (*METHODS, "gap_q")}
        self._say("pooled", together)
        better = sum(f["companion"] < min(f["hold"], f["wait"]) for f in self.files)  # type: ignore[type-var, operator]
        print(f"median better than both baselines in {better} of {len(self.files)} recordings")
        for low, high in GAPS_Q if by_gap else ():
            inside = (together["gap_q"] > low) & (together["gap_q"] <= high)
            name = f"player silent for {low:g} to {high:g} quarters"
            self._say(name, {n: together[n][inside] for n in METHODS})

    def _say(self, name: str, errors: Errors) -> None:
        count = len(errors["hold"])
        print(f"{name:30}{count:5} | " + " | ".join(say(errors[n]) for n in METHODS), flush=True)


def _median_ms(errors: list[np.ndarray]) -> float:
    far = np.abs(np.nan_to_num(np.concatenate(errors), nan=np.inf))
    return round(float(np.median(far)) * 1000, 1)


def compare_piece(piece: Path, table: Table, warm: bool, live: bool) -> None:
    """All recordings of a piece."""
    arrangement = read_arrangement(piece / "score.musicxml")
    takes = sorted(f.name.split(".")[0] for f in piece.glob("p*.truth.tsv"))
    performances = {take: read_played(arrangement, piece, take) for take in takes}
    for take, played in performances.items():
        other = next((p for t, p in performances.items() if t != take), None)
        if warm and other is None:
            continue
        remembered = None
        if warm and other is not None:
            remembered = remember([(arrangement.table["onset_q"][other.score], other.onset_s)])
        hands: tuple[Hand, ...] = ("left", "right")
        rows = {h: compare(arrangement, played, h, remembered, live) for h in hands}
        table.add(piece.name, take, {h: e for h, e in rows.items() if e})


def run(argv: list[str]) -> int:
    """The table."""
    parser = argparse.ArgumentParser(description=__doc__)
    for flag in ("--live", "--warm", "--by-gap", "--oracle"):
        parser.add_argument(flag, action="store_true")
    parser.add_argument("--json")
    options = parser.parse_args(argv)
    if options.oracle:
        METHODS.append("oracle")
    folder = data_sets_folder()
    if folder is None:
        print("no folder of recordings: set UNDERSONG_DATA_SETS", file=sys.stderr)
        return 1
    table = Table()
    for piece in sorted(p for p in folder.iterdir() if p.is_dir()):
        compare_piece(piece, table, warm=options.warm, live=options.live)
    table.say_pooled(by_gap=options.by_gap)
    if options.json:
        Path(options.json).write_text(json.dumps(table.files, indent=1))
    return 0


if __name__ == "__main__":
    sys.exit(run(sys.argv[1:]))
