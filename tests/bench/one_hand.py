"""One hand removed from the (n)ASAP recordings: ours, the libraries' best, and ours where it does
not matter which stroke of a written-out trill a stroke was.

    python -m tests.bench.one_hand

The truth had the other hand's time to tell strokes of a trill apart; one hand alone has not.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence

import numpy as np

from engine.arrangement import Arrangement, whole_span
from engine.findings import Finding
from engine.follow import align
from engine.follow.scoremap import heard_onsets, leaders, written_trills
from tests.bench.bench_follow import HAND_CORRECTED, Room, follow_live, straight_takes
from tests.bench.libraries import matchers, run_matcher, score_array
from tests.bench.takes import Take, keep_hand
from tests.conftest import data_sets_folder

Trills = dict[int, tuple[int, int]]


def trills_of(arrangement: Arrangement) -> Trills:
    """Notes of written-out trills, to which trill and key they are."""
    chosen, q = leaders(arrangement, whole_span(arrangement), "both"), heard_onsets(arrangement)
    pitch = arrangement.table["pitch"]
    order = chosen[np.lexsort((pitch[chosen], q[chosen]))]
    runs = written_trills(arrangement.table, order)
    return {int(k): (i, int(pitch[k])) for i, run in enumerate(runs) for k in run}


def whichever_stroke(take: Take, said: Sequence[Finding], trills: Trills) -> list[Finding]:
    """The findings, with any stroke of the right trill and key put right."""
    out = {f.played: f for f in said if f.played is not None}
    for note, label in zip(take.notes, take.truth, strict=True):
        told = out[note.index].score
        if label in trills and told is not None and trills.get(told) == trills[label]:
            out[note.index] = Finding(note.index, label, "right")
    return list(out.values())


def main() -> int:
    """Run it; exit status 1 where the recordings are missing."""
    folder = data_sets_folder()
    if folder is None:
        print("no folder of recordings: set UNDERSONG_DATA_SETS", file=sys.stderr)
        return 1
    rooms = [Room(d) for d in sorted(folder.iterdir()) if d.is_dir()]
    libraries, rows = matchers(), []
    for room, arrangement, take in straight_takes(
        [r for r in rooms if r.name not in HAND_CORRECTED]
    ):
        trills, sheet = trills_of(arrangement), score_array(room.score_path)
        for right in (False, True):
            one = keep_hand(take, arrangement, right)
            row = []
            for kind, say in (("whole", lambda a, t: align(a, t.notes)), ("live", follow_live)):
                said = say(arrangement, one)
                theirs = [
                    room.score(one, run_matcher(m, sheet, one.notes, arrangement)[0]).match_f
                    for m in libraries[kind].values()
                ]
                easy = room.score(one, whichever_stroke(one, said, trills)).match_f
                row += [room.score(one, said).match_f, easy, max(theirs)]
            rows.append(row)
            hand = "right" if right else "left"
            print(f"  {take.name:22s} {hand:5s} " + "  ".join(f"{x:.4f}" for x in row), flush=True)
    print("  whole, any stroke of a trill, library; live, any stroke, library")
    for name, values in (("mean", np.mean(rows, axis=0)), ("worst", np.min(rows, axis=0))):
        print(f"  {name:28s} " + "  ".join(f"{x:.4f}" for x in values))
    return 0


if __name__ == "__main__":
    sys.exit(main())
