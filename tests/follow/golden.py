"""Takes of which all that is said is kept, so that no change of following goes unseen.

`python -m tests.follow.golden` writes `tests/follow/goldens/*.json` afresh: on purpose, after
looking at what changed. Whether it is *true* is for the other tests and the recordings to say.

Kept of every take: what the whole take comes to, note by note, with certainty and the cost of each
step of the best way through; what is said live, in order, and where the player is told to be after
every note; the passes.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from engine.arrangement import Arrangement
from engine.findings import Finding
from engine.follow import Follower, align, find_passes
from engine.follow.scoremap import map_score
from engine.follow.tracker import Tracker
from engine.performance import PlayedNote
from tests.follow.pages import note, page

FOLDER = Path(__file__).with_name("goldens")
#: Kept to so many decimals.
DECIMALS = 4
SHORT = {"right": "", "wrong": "w", "extra": "x", "missing": "m", "ornament": "o", "unclear": "?"}


@dataclass
class Playing:
    """A player at a page: goes through it stretch by stretch and may slip on the way."""

    arrangement: Arrangement
    seed: int
    now_s: float = 0.5
    s_per_q: float = 0.6
    jitter_s: float = 0.012
    rows: list[tuple[float, int, int]] = field(default_factory=list)

    def stretch(
        self,
        from_q: float,
        to_q: float,
        *,
        pause_s: float = 0.0,
        hand: str = "",
        bend: float = 0.0,
        loud: int = 0,
        slips: dict[int, str] | None = None,
        small_print: bool = True,
    ) -> None:
        """Play [from_q, to_q). `slips`: how the n-th note goes wrong; `loud`: louder than usual."""
        rng = np.random.default_rng(self.seed + len(self.rows))
        start_s = self.now_s + pause_s
        for k, n in enumerate(self._chosen(from_q, to_q, hand, small_print)):
            way_q = float(n.onset_q) - from_q
            due_s = start_s + way_q * self.s_per_q * (1.0 + bend * way_q / (to_q - from_q))
            due_s += float(rng.normal(0.0, self.jitter_s)) - (0.06 if n.grace else 0.0)
            velocity = 40 + n.pitch * 7 % 41 + int(n.onset_q) * 3 % 17 + loud
            self._strike(due_s, n.pitch, velocity, (slips or {}).get(k, ""))
        self.now_s = start_s + (to_q - from_q) * self.s_per_q * (1.0 + bend)

    def _chosen(self, from_q: float, to_q: float, hand: str, small_print: bool) -> list[Any]:
        return [
            n
            for n in self.arrangement.notes
            if from_q <= n.onset_q < to_q
            and hand in ("", n.hand)
            and (small_print or not n.optional)
        ]

    def _strike(self, due_s: float, pitch: int, velocity: int, slip: str) -> None:
        if slip == "left out":
            return
        if slip == "brushed":
            self.rows.append((due_s - 0.05, pitch + 1, 12))
        elif slip == "twice":
            self.rows.append((due_s + 0.09, pitch, velocity - 20))
        elif slip == "added":
            self.rows.append((due_s + 0.21, pitch + 6, velocity))
        elif slip == "late":
            due_s += 0.35
        wrong = {"above": 1, "below": -2, "octave": 12, "third": 3}.get(slip, 0)
        self.rows.append((due_s, pitch + wrong, velocity))

    def sign(self, at_s: float, pitches: Sequence[int], step_s: float = 0.08) -> None:
        """Strokes at an even pace from a moment on."""
        self.rows += [(at_s + k * step_s, p, 60 - k % 3) for k, p in enumerate(pitches)]

    def notes(self) -> list[PlayedNote]:
        """All that was struck, in order."""
        rows = sorted(self.rows)
        return [
            PlayedNote(i, p, min(max(v, 1), 127), s, s + 0.2) for i, (s, p, v) in enumerate(rows)
        ]


def drone_page(bars: int = 14) -> Arrangement:
    """An arpeggio that hardly changes under a melody in octaves; bars 3 to 5 are also 8 to 10."""
    melody = [0, 3, 5, 6, 7, 10, 12, 10, 7, 6, 5, 3]
    rows: list[dict[str, Any]] = []
    for bar in range(bars):
        low = 43 if bar < 11 else 40
        like = bar - 5 if 8 <= bar <= 10 else bar
        rows += [
            note(bar * 4 + k / 2, low + (0, 7, 12, 15, 19, 15, 12, 7)[k], duration=0.5, hand="left")
            for k in range(8)
        ]
        for k in range(4 if like % 3 else 2):
            away = melody[(like * 5 + k * (2 if like % 2 else 3)) % 12]
            rows += [note(bar * 4 + k * (1 if like % 3 else 2), p + away) for p in (67, 79)]
    return page(rows, qpm=96.0)


def usual() -> list[PlayedNote]:
    """From beginning to end, a little slower as it goes on, with a slip of every kind."""
    playing = Playing(drone_page(), 3)
    slips = {9: "above", 17: "left out", 26: "brushed", 38: "twice", 47: "below", 60: "octave",
             71: "left out", 72: "left out", 90: "added", 104: "third", 120: "late"}  # fmt: skip
    playing.stretch(0, 56, bend=0.25, slips=slips)
    return playing.notes()


def rehearsal() -> list[PlayedNote]:
    """Stops, goes back, goes on, jumps with and without a pause, at several tempos."""
    playing = Playing(drone_page(), 5)
    playing.stretch(0, 14, slips={12: "above", 20: "left out"})
    playing.stretch(8, 22, pause_s=2.2, bend=-0.1, slips={3: "twice"})
    playing.stretch(32, 42, pause_s=0.3)
    playing.s_per_q = 0.85
    playing.stretch(40, 50, pause_s=1.1, slips={10: "below", 11: "left out"})
    playing.s_per_q = 0.5
    playing.stretch(0, 9, pause_s=4.0)
    playing.stretch(26, 38, pause_s=0.0, loud=9)
    playing.stretch(44, 56, pause_s=0.8, slips={7: "added", 15: "added", 16: "left out"})
    return playing.notes()


def hands_apart() -> list[PlayedNote]:
    """The right hand, then the left, then both; the left hand leaves off before the end."""
    playing = Playing(drone_page(), 7)
    playing.stretch(0, 16, hand="right", slips={5: "below"})
    playing.stretch(0, 12, pause_s=1.6, hand="left", slips={9: "above"})
    playing.stretch(4, 18, pause_s=2.4)
    playing.stretch(18, 30, hand="right")
    return playing.notes()


def twins() -> list[PlayedNote]:
    """Between like passages, as loud as before each time; a cat on the keys; the end."""
    playing = Playing(drone_page(), 11, jitter_s=0.004)
    playing.stretch(8, 26)
    playing.stretch(32, 48, pause_s=0.9)
    playing.stretch(12, 24, pause_s=1.4)
    playing.stretch(33, 44, pause_s=0.1)
    rng = np.random.default_rng(2)
    playing.sign(playing.now_s + 0.7, rng.integers(30, 96, 40).tolist(), 0.17)
    playing.now_s += 8.5
    playing.stretch(40, 56)
    return playing.notes()


def signs_page() -> Arrangement:
    """Signs, graces, a rolled chord, a trill written out, small print, unequal bars of rests."""
    rows = [note(q, 60 + (q * 5) % 12) for q in range(28)]
    rows[4] = note(4, 72, ornament="trill", duration=2.0)
    rows[9] = note(9, 74, ornament="mordent")
    rows[13] = note(13, 71, ornament="turn")
    rows += [note(q, 40 + q % 7, hand="left", duration=2.0) for q in range(0, 28, 2)]
    rows += [note(7, 81 - i, grace="before") for i in range(2)]
    rows += [note(11, 79, grace="after")]
    rows += [note(16, p, arpeggiated=True, hand="left") for p in (36, 48, 55)]
    rows += [note(18 + k / 8, (84, 86)[k % 2], duration=0.125) for k in range(16)]
    rows += [note(22 + k / 3, 88 + k % 4, duration=1 / 3, optional=True) for k in range(9)]
    return page(rows, qpm=80.0)


def signs() -> list[PlayedNote]:
    """The signs played out, the trill with fewer strokes, small print half left out."""
    playing = Playing(signs_page(), 13, s_per_q=0.72)
    playing.stretch(0, 17, slips={6: "left out"})
    at = {q: 0.5 + q * playing.s_per_q for q in (4, 9, 13)}
    playing.sign(at[4] + 0.09, [74, 72, 74, 72, 74, 72, 71, 72], 0.11)
    playing.sign(at[9] + 0.07, [72, 74], 0.07)
    playing.sign(at[13] - 0.12, [72], 0.07)
    playing.sign(at[13] + 0.09, [69, 71], 0.09)
    playing.stretch(17, 19)
    playing.sign(playing.now_s, [84, 86, 84, 86, 84, 86, 84], 0.1)
    playing.stretch(19.9, 28, small_print=False, bend=0.15)
    return playing.notes()


def repeats_page() -> Arrangement:
    """Bars 1 2 | 3 4 first ending | 1 2 | 5 second ending | 6 7, unfolded."""
    written = [0, 1, 2, 3, 0, 1, 4, 5, 6]
    rows = []
    for bar, w in enumerate(written):
        rows += [
            note(bar * 4 + k, 60 + (w * 5 + k * (3 + w % 2)) % 19, id=f"r{w}{k}") for k in range(4)
        ]
        rows += [
            note(bar * 4 + 2 * k, 45 + (w * 2 + 5 * k) % 9, hand="left", id=f"l{w}{k}")
            for k in range(2)
        ]
    return page(rows, written=written)


def repeats() -> list[PlayedNote]:
    """The repeat left out, then taken, then taken once more than written."""
    playing = Playing(repeats_page(), 17)
    playing.stretch(0, 8)
    playing.stretch(24, 36)
    playing.stretch(0, 16, pause_s=2.6)
    playing.stretch(16, 24)
    playing.stretch(16, 36, slips={11: "below", 14: "left out"})
    return playing.notes()


def scattered() -> list[PlayedNote]:
    """Every fifth note slips: hardly to be followed."""
    playing = Playing(drone_page(), 19, jitter_s=0.03)
    kinds = ["above", "left out", "added", "brushed", "third", "below", "twice", "left out", "late"]
    slips = {k: kinds[k // 3 % len(kinds)] for k in range(0, 150, 3)}
    playing.stretch(4, 44, slips=slips, bend=-0.2)
    return playing.notes()


def wander(arrangement: Arrangement, seed: int, parts: int) -> list[PlayedNote]:
    """Many short stretches from anywhere, with and without pauses, slips, one hand or both."""
    rng = np.random.default_rng(seed)
    playing = Playing(arrangement, seed, jitter_s=0.015)
    end_q = int(arrangement.notes[-1].onset_q)
    kinds = ["above", "left out", "added", "brushed", "third", "octave", "twice", "late"]
    at = 0.0
    for _ in range(parts):
        length = float(rng.integers(5, 14))
        playing.s_per_q = float(rng.choice([0.45, 0.6, 0.8]))
        playing.stretch(
            at,
            min(at + length, end_q + 1.0),
            pause_s=float(rng.choice([0.0, 0.2, 0.7, 1.3, 3.2])),
            hand=str(rng.choice(["", "", "", "left", "right"])),
            slips={int(k): str(rng.choice(kinds)) for k in rng.integers(0, 40, 3)},
            small_print=bool(rng.random() < 0.5),
        )
        back = at + length - float(rng.integers(0, 9))
        at = float(rng.choice([0.0, max(back, 0.0), float(rng.integers(0, end_q - 6))]))
        at = min(at, end_q - 5.0)
    return playing.notes()


def small_page() -> Arrangement:
    """A tune over a figure that is small print, rolled chords at the ends, a hand silent."""
    rows: list[dict[str, Any]] = []
    for bar in range(9):
        if bar not in (4, 5):
            low = 41 + (bar * 5) % 7
            rows += [
                note(bar * 4 + k / 3, low + (0, 7, 12, 7, 15, 12)[k % 6], duration=1 / 3,
                     hand="left", optional=k % 6 != 0)
                for k in range(12)
            ]  # fmt: skip
        rows += [note(bar * 4 + k, 70 + (bar * 3 + k * 5) % 14) for k in range(4)]
        rows += [note(bar * 4, p + bar % 2, arpeggiated=True) for p in (60, 64) if bar % 3 == 2]
    return page(rows, qpm=88.0)


def exchanged() -> list[PlayedNote]:
    """Neighbours of a figure in the other order, hesitations, a tempo that doubles."""
    playing = Playing(drone_page(), 23)
    playing.stretch(0, 12)
    rows = sorted(playing.rows)
    for i in (7, 8, 21, 30):
        (s, p, v), (s2, p2, v2) = rows[i], rows[i + 1]
        rows[i], rows[i + 1] = (s, p2, v2), (s2, p, v)
    playing.rows = rows
    playing.stretch(12, 20, pause_s=1.0)
    playing.s_per_q = 0.35
    playing.stretch(20, 34, bend=0.5)
    playing.s_per_q = 1.1
    playing.stretch(34, 44, pause_s=1.9)
    return playing.notes()


TAKES: dict[str, tuple[Callable[[], Arrangement], Callable[[], list[PlayedNote]]]] = {
    "usual": (drone_page, usual),
    "rehearsal": (drone_page, rehearsal),
    "hands apart": (drone_page, hands_apart),
    "twins": (drone_page, twins),
    "signs": (signs_page, signs),
    "repeats": (repeats_page, repeats),
    "scattered": (drone_page, scattered),
    "exchanged": (drone_page, exchanged),
    "wandering": (drone_page, lambda: wander(drone_page(), 31, 12)),
    "wandering in small print": (small_page, lambda: wander(small_page(), 37, 12)),
    "wandering among signs": (signs_page, lambda: wander(signs_page(), 41, 10)),
    "wandering in repeats": (repeats_page, lambda: wander(repeats_page(), 43, 14)),
}


def said_of(name: str) -> dict[str, list[str]]:
    """All that is said of a take, as lines."""
    make_page, make_notes = TAKES[name]
    arrangement, notes = make_page(), make_notes()
    whole = align(arrangement, notes)
    live, places = _live(arrangement, notes)
    passes = [
        f"{p.first}-{p.last} {p.from_q}-{p.to_q} {p.hands} {p.tempo_qpm:.{DECIMALS}f}"
        + (" end" if p.reached_end else "")
        for p in find_passes(arrangement, notes, whole)
    ]
    return {
        "whole": [_line(f) for f in whole],
        "costs": _costs(arrangement, notes),
        "live": live,
        "places": places,
        "passes": passes,
    }


def _line(f: Finding) -> str:
    """played>score, what, certainty, whether final, what else it may have been."""
    note_ = f.score if f.score is not None else f.stands_for
    where = f"{'' if f.played is None else f.played}>{'' if note_ is None else note_}"
    rest = f" {f.certainty:.{DECIMALS}f}" + ("!" if f.final else "")
    return where + SHORT[f.what] + rest + "".join(f" {k}" for k in f.alternatives)


def _costs(arrangement: Arrangement, notes: Sequence[PlayedNote]) -> list[str]:
    """Of every note of the best way through: what it cost, nats."""
    tracker = Tracker(map_score(arrangement))
    for n in notes:
        tracker.hear(n)
    out: list[str] = []
    node = tracker.best.node
    while node is not None:
        out.append(f"{node.played} {node.cost:.{DECIMALS}f} {node.logp:.{DECIMALS}f}")
        node = node.prev
    return out[::-1]


def _live(arrangement: Arrangement, notes: Sequence[PlayedNote]) -> tuple[list[str], list[str]]:
    follower = Follower(arrangement)
    said: list[str] = []
    places: list[str] = []
    for n in notes:
        said += [_line(f) for f in follower.hear(n)]
        p = follower.place
        others = "".join(f" {q:.3f}" for q in p.alternatives_q)
        places.append("lost" if p.lost else f"{p.place_q:.3f} {p.certainty:.{DECIMALS}f}{others}")
    return said + [_line(f) for f in follower.finish()], places


def main() -> int:
    """Write them all."""
    FOLDER.mkdir(exist_ok=True)
    for name in TAKES:
        (FOLDER / f"{name}.json").write_text(json.dumps(said_of(name), indent=0) + "\n")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
