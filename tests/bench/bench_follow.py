"""The follower beside the best open libraries, on the same files in one run.

    python -m tests.bench.bench_follow [--quick]

Needs the folder of recordings (the variable UNDERSONG_DATA_SETS, or `shared/data` beside the
project) and the extra `bench`. Figures as usual in note alignment (see `tests.bench.takes`):
match F over pairs of played and score note, and in rehearsals the share of notes given the right
written note. What is random is seeded.
"""

from __future__ import annotations

import argparse
import sys
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from engine.arrangement import Arrangement
from engine.findings import Finding
from engine.follow import Follower, align, find_passes
from engine.read import read_arrangement
from practice.player import CHARACTERS
from tests.bench.disagreements import all_cases, report
from tests.bench.growth import long_arrangement, long_take, measure_cost
from tests.bench.libraries import matchers, run_matcher, score_array
from tests.bench.open_places import open_places
from tests.bench.takes import (
    ORNAMENT,
    Scores,
    Take,
    f_of,
    keep_hand,
    one_key_names,
    plant_slips,
    recorded_take,
    score_findings,
    simulated_take,
    splice_rehearsal,
    with_loudness,
)
from tests.conftest import ROOT, data_sets_folder

HAND_CORRECTED = ("mozart-k331", "chopin-op10-3")
STEADY = ("bach-bwv846", "beethoven-8-2", "chopin-op25-1", "chopin-op57", "schubert-d899-3")
#: How loud a pianist strikes a note again, MIDI steps (sd of one stroke): rms 6 between two
#: playings of K. 331's repeats (Vienna 4x22), divided by the root of two.
STROKE_SD = 4.2
CORPUS = (
    "mozart/k545/movement1_exposition.mxl",
    "schumann_clara/polonaise_op1n1.mxl",
    "schumann_clara/polonaise_op1n3.mxl",
    "joplin/maple_leaf_rag.mxl",
    "beach/prayer_of_a_tired_child.musicxml",
)


def follow_live(arrangement: Arrangement, take: Take) -> list[Finding]:
    """The findings that stood when they became final: one a note in order, then missing."""
    follower = Follower(arrangement)
    said = [f for n in take.notes for f in follower.hear(n)] + follower.finish()
    stands = {f.played: f for f in said if f.played is not None}
    return [stands[n.index] for n in take.notes] + [f for f in said if f.played is None]


class Room:
    """A folder of recordings: its score, its names, its takes."""

    def __init__(self, folder: Path) -> None:
        self.name = folder.name
        self.score_path = folder / "score.musicxml"
        self.arrangement = read_arrangement(self.score_path)
        self.names = one_key_names(folder)
        self.takes = [recorded_take(m, self.arrangement) for m in sorted(folder.glob("*.mid"))]

    def score(self, take: Take, findings: list[Finding]) -> Scores:
        """Figures of one answer."""
        return score_findings(take, findings, self.arrangement, self.names)


def compare(rooms: Sequence[Room], rehearsals: bool) -> None:
    """File by file: ours, and every library's best."""
    libraries = matchers()
    figure = "anywhere" if rehearsals else "match_f"
    print(f"\n{'rehearsals' if rehearsals else 'straight'} ({figure}): ours beside the libraries")
    rows: dict[str, list[tuple[float, float, float, float]]] = defaultdict(list)
    for room in rooms:
        sheet = score_array(room.score_path)
        for take in room.takes:
            if ("rehearsal" in take.name) != rehearsals:
                continue
            ours = [
                getattr(room.score(take, said), figure)
                for said in (
                    align(room.arrangement, take.notes),
                    follow_live(room.arrangement, take),
                )
            ]
            theirs = {}
            for kind, named in libraries.items():
                scored = {
                    name: getattr(
                        room.score(take, run_matcher(m, sheet, take.notes, room.arrangement)[0]),
                        figure,
                    )
                    for name, m in named.items()
                }
                name = max(scored, key=lambda n: scored[n])
                theirs[kind] = (name, scored[name])
            print(
                f"  {take.name:28s} whole {ours[0]:.4f} | {theirs['whole'][0]} "
                f"{theirs['whole'][1]:.4f}   live {ours[1]:.4f} | {theirs['live'][0]} "
                f"{theirs['live'][1]:.4f}"
            )
            group = "hand-corrected" if room.name in HAND_CORRECTED else "(n)ASAP"
            rows[group].append((ours[0], theirs["whole"][1], ours[1], theirs["live"][1]))
    for group, values in rows.items():
        mean, worst = np.mean(values, axis=0), np.min(values, axis=0)
        table = np.array(values)
        print(
            f"  {group}: whole {mean[0]:.4f}/{worst[0]:.4f} (theirs {mean[1]:.4f}/{worst[1]:.4f}, "
            f"at least as good on {(table[:, 0] >= table[:, 1]).sum()} of {len(table)}), live "
            f"{mean[2]:.4f}/{worst[2]:.4f} (theirs {mean[3]:.4f}/{worst[3]:.4f}, on "
            f"{(table[:, 2] >= table[:, 3]).sum()} of {len(table)})"
        )


def both_ways(
    takes: Iterator[tuple[Room | None, Arrangement, Take]], label: str, figure: str
) -> None:
    """Mean, worst and pooled F over extra notes of a group of takes, whole and live."""
    values, extras = [], []
    for room, arrangement, take in takes:
        names = room.names if room else {}
        both = [
            score_findings(take, said, arrangement, names)
            for said in (align(arrangement, take.notes), follow_live(arrangement, take))
        ]
        values.append([getattr(s, figure) for s in both])
        extras.append([s.extra for s in both])
    table, pooled = np.array(values), np.array(extras).sum(axis=0)
    print(
        f"  {label:44s} n={len(table):3d} whole {table[:, 0].mean():.4f}/{table[:, 0].min():.4f} "
        f"extra F {f_of(*pooled[0].tolist()):.3f}   live {table[:, 1].mean():.4f}/"
        f"{table[:, 1].min():.4f} extra F {f_of(*pooled[1].tolist()):.3f}"
    )


def revisited(rooms: Sequence[Room]) -> None:
    """The rehearsals live, with loudness as spliced, as a pianist varies it, and with none; and
    how many of their notes are open when they become final, whoever listens."""
    print("\nrehearsals live: loudness as recorded / varied as a pianist does / all alike")
    table = []
    for room in rooms:
        for take in room.takes:
            if "rehearsal" not in take.name:
                continue
            rng = np.random.default_rng(3)
            kinds = (
                take,
                with_loudness(take, rng, sd=STROKE_SD),
                with_loudness(take, rng, sd=None),
            )
            got = [room.score(t, follow_live(room.arrangement, t)).anywhere for t in kinds]
            known = open_places(take, room.arrangement, room.names)
            table.append(got)
            print(
                f"  {take.name:28s} {got[0]:.4f} / {got[1]:.4f} / {got[2]:.4f}   open "
                f"{known.still_open} of {known.notes}, guessed blindly {known.blind:.4f}"
            )
    if table:
        mean, worst = np.mean(table, axis=0), np.min(table, axis=0)
        print("  mean " + " / ".join(f"{x:.4f}" for x in mean), end="")
        print("   worst " + " / ".join(f"{x:.4f}" for x in worst))


def steady_figures(rooms: Sequence[Room]) -> None:
    """Worst of the steady-figure pieces, and the longest stretch without a right note."""
    values, longest = [], 0
    for room, arrangement, take in straight_takes([r for r in rooms if r.name in STEADY]):
        both = (align(arrangement, take.notes), follow_live(arrangement, take))
        values.append([room.score(take, said).match_f for said in both])
        longest = max(longest, _longest_lost(arrangement, take, both[1]))
    if values:
        worst = np.min(values, axis=0)
        print(
            f"\nsteady figures: worst whole {worst[0]:.4f}, live {worst[1]:.4f}; most notes in a "
            f"row tied to another place than the truth, live: {longest}"
        )


def _longest_lost(arrangement: Arrangement, take: Take, findings: Sequence[Finding]) -> int:
    onset_q = arrangement.table["onset_q"]
    longest = here = 0
    for label, said in zip(take.truth, findings, strict=False):
        if label < 0:
            continue
        near = said.score is not None and abs(onset_q[said.score] - onset_q[label]) < 4.0
        here = 0 if near else here + 1
        longest = max(longest, here)
    return longest


def straight_takes(rooms: Sequence[Room]) -> Iterator[tuple[Room, Arrangement, Take]]:
    """All recordings played straight through."""
    for room in rooms:
        for take in room.takes:
            if "rehearsal" not in take.name:
                yield room, room.arrangement, take


def made_from(rooms: Sequence[Room], quick: bool) -> None:
    """Planted slips, one hand, rehearsals of our own."""
    fine = [r for r in rooms if r.name in HAND_CORRECTED]
    print("\nmade from the recordings (match F, mean/worst)")
    for share in (0.01, 0.03):
        rng = np.random.default_rng(7)
        planted = (
            (r, a, plant_slips(t, rng, wrong=share, extra=share, left_out=share))
            for r, a, t in straight_takes(fine)
        )
        both_ways(planted, f"{share:.0%} each wrong, extra, left out", "match_f")
    for group, some in (("hand-corrected", fine), ("(n)ASAP", [r for r in rooms if r not in fine])):
        one = (
            (r, a, keep_hand(t, a, right))
            for r, a, t in straight_takes(some)
            for right in (False, True)
        )
        both_ways(one, f"one hand removed, {group}", "match_f")
    print("\nrehearsals of our own splicing (right anywhere, mean/worst)")
    for share in (0.0, 0.05) if quick else (0.0, 0.02, 0.05, 0.1):
        both_ways(_spliced(rooms, share), f"recordings, {share:.0%} slips", "anywhere")
        both_ways(_rummaged(share), f"simulated, corpus, {share:.0%} slips", "anywhere")


def _spliced(rooms: Sequence[Room], share: float) -> Iterator[tuple[Room, Arrangement, Take]]:
    for room, arrangement, take in straight_takes(rooms):
        if take.name.endswith(("p1", "p4")):
            rng = np.random.default_rng(7)
            spliced = splice_rehearsal(take, arrangement, rng, parts=8)
            yield (
                room,
                arrangement,
                plant_slips(spliced, rng, wrong=share / 2, extra=share / 4, left_out=share / 4),
            )


def _rummaged(share: float) -> Iterator[tuple[None, Arrangement, Take]]:
    player = replace(CHARACTERS["rummaging"], slips=CHARACTERS["steady"].slips)
    for arrangement in corpus_scores():
        rng = np.random.default_rng(5)
        take = simulated_take(arrangement.title, arrangement, player, rng)
        yield (
            None,
            arrangement,
            plant_slips(take, rng, wrong=share / 2, extra=share / 4, left_out=share / 4),
        )


def corpus_scores() -> Iterator[Arrangement]:
    """Piano scores of music21's corpus, and the exercises."""
    import music21

    for name in CORPUS:
        yield read_arrangement(Path(music21.__file__).parent / "corpus" / name)
    for path in sorted((ROOT / "exercises").glob("*.musicxml")):
        yield read_arrangement(path)


def false_alarms(rooms: Sequence[Room]) -> None:
    """Right notes called wrong, extra or unclear, and played notes called missing, per 1,000."""
    print("\nfalse alarms per 1,000 notes")
    recorded = list(straight_takes([r for r in rooms if r.name in HAND_CORRECTED]))
    simulated = [
        (None, a, simulated_take("", a, CHARACTERS["steady"], np.random.default_rng(1)))
        for a in corpus_scores()
    ]
    for label, takes in (("twelve recordings", recorded), ("perfect simulated", simulated)):
        counts = np.zeros(3)
        for _, arrangement, take in takes:
            for k, said in enumerate(
                (align(arrangement, take.notes), follow_live(arrangement, take))
            ):
                counts[k] += _alarms(arrangement, take, said)
            counts[2] += len(take.notes)
        whole, live, notes = counts.tolist()
        print(f"  {label:20s} whole {whole / notes * 1e3:.2f}   live {live / notes * 1e3:.2f}")


def _alarms(arrangement: Arrangement, take: Take, findings: Sequence[Finding]) -> int:
    unison = arrangement.table["unison"]
    struck = {int(unison[k]) for k in take.truth if k >= 0}
    told = {f.played: f.what for f in findings if f.played is not None}
    wrongly = sum(
        (label >= 0 and told[n.index] not in ("right", "ornament"))
        or (label == ORNAMENT and told[n.index] != "ornament")
        for n, label in zip(take.notes, take.truth, strict=True)
    )
    missing = sum(f.what == "missing" and int(unison[f.score or 0]) in struck for f in findings)
    return int(wrongly + missing)


def growth(quick: bool) -> None:
    """Cost of a finding by the length of the score."""
    print("\ncost of a finding, microseconds of the thread's own time")
    print(
        "   notes  median     99 %   99.9 %     most  first half  last half  whole take  "
        "building  memory"
    )
    for count in (1000, 5000) if quick else (1000, 5000, 20000, 60000):
        arrangement = long_arrangement(count)
        c = measure_cost(arrangement, long_take(arrangement))
        print(
            f"  {count:6d} {c.median_us:7.1f} {c.p99_us:8.1f} {c.p999_us:8.1f} {c.most_us:8.1f} "
            f"{c.first_half_us:11.1f} {c.last_half_us:10.1f} {c.whole_s:9.2f} s {c.build_s:7.2f} s "
            f"{c.memory_mb:5.1f} MB"
        )


def pass_lists(rooms: Sequence[Room]) -> None:
    """Three rehearsals as spliced, and as found."""
    print("\npasses: as spliced, and as found")
    for room in rooms[:3]:
        take = next(t for t in room.takes if "rehearsal" not in t.name)
        spliced = splice_rehearsal(take, room.arrangement, np.random.default_rng(21), parts=7)
        print(f"  {take.name}")
        for p in spliced.parts:
            print(
                f"    spliced notes {p.first:5d} to {p.last:5d}  {_place(room, p.from_q)} to "
                f"{_place(room, p.to_q)}"
            )
        for q in find_passes(room.arrangement, spliced.notes):
            print(
                f"    found   notes {q.first:5d} to {q.last:5d}  {_place(room, q.from_q)} to "
                f"{_place(room, q.to_q)}  {q.hands}, {q.tempo_qpm:.0f} quarters a minute"
            )


def _place(room: Room, q: float) -> str:
    bar = room.arrangement.bar_at(q)
    beat = (q - float(bar.onset_q) + float(bar.lead_q)) * bar.beat_unit / 4 + 1
    return f"bar {bar.number:>3s} beat {beat:5.2f}"


def main(argv: Sequence[str] | None = None) -> int:
    """Run it; exit status 1 where the recordings are missing."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("--quick", action="store_true", help="fewer files and shorter scores")
    quick = parser.parse_args(argv).quick
    folder = data_sets_folder()
    if folder is None:
        print("no folder of recordings: set UNDERSONG_DATA_SETS", file=sys.stderr)
        return 1
    rooms = [Room(d) for d in sorted(folder.iterdir()) if d.is_dir()]
    if quick:
        rooms = [r for r in rooms if r.name in (*HAND_CORRECTED, "bach-bwv846", "beethoven-8-2")]
    compare(rooms, rehearsals=False)
    compare(rooms, rehearsals=True)
    revisited(rooms)
    steady_figures(rooms)
    made_from(rooms, quick)
    false_alarms(rooms)
    growth(quick)
    pass_lists(rooms)
    print("\n(n)ASAP: where truth and alignment differ")
    report(all_cases(folder), 10 if quick else 50, seed=1)
    return 0


if __name__ == "__main__":
    sys.exit(main())
