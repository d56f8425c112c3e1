"""Small arrangements made by hand, and performances of them, for the tests of this room."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from fractions import Fraction
from typing import Any

import numpy as np

from engine.arrangement import Arrangement, Bar, ScoreNote, TempoMark
from engine.findings import Finding
from engine.follow import Follower
from engine.performance import PlayedNote

STEPS = {
    0: ("C", 0),
    1: ("C", 1),
    2: ("D", 0),
    3: ("E", -1),
    4: ("E", 0),
    5: ("F", 0),
    6: ("F", 1),
    7: ("G", 0),
    8: ("G", 1),
    9: ("A", 0),
    10: ("B", -1),
    11: ("B", 0),
}


def note(
    onset: float, pitch: int, *, duration: float = 1.0, hand: str = "right", **more: Any
) -> dict[str, Any]:
    """One note as a row for `page`."""
    return {"onset": onset, "pitch": pitch, "duration": duration, "hand": hand, **more}


def page(
    rows: Iterable[dict[str, Any]],
    *,
    qpm: float = 100.0,
    bar_q: int = 4,
    written: Sequence[int] | None = None,
) -> Arrangement:
    """An arrangement of rows; `written`: the written index of each unfolded bar."""
    rows = sorted(rows, key=lambda r: (r["onset"], r.get("grace", "") == "", r["pitch"]))
    count = int(max(r["onset"] for r in rows) // bar_q) + 1
    order = list(written or range(count))
    bars = tuple(
        Bar(
            i,
            str(w + 1),
            w,
            order[: i + 1].count(w),
            Fraction(i * bar_q),
            Fraction(bar_q),
            bar_q,
            4,
        )
        for i, w in enumerate(order)
    )
    notes = tuple(_score_note(i, r, bars, bar_q) for i, r in enumerate(rows))
    return Arrangement("by hand", "0" * 64, notes, bars, (TempoMark(Fraction(0), qpm),))


def _score_note(i: int, r: dict[str, Any], bars: Sequence[Bar], bar_q: int) -> ScoreNote:
    step, alter = STEPS[r["pitch"] % 12]
    grace = r.get("grace", "")
    return ScoreNote(
        note_id=r.get("id", f"n{i + 1}"),
        time=bars[int(r["onset"] // bar_q)].time,
        onset_q=Fraction(r["onset"]).limit_denominator(96),
        duration_q=Fraction(0) if grace else Fraction(r["duration"]).limit_denominator(96),
        pitch=r["pitch"],
        step=step,
        alter=alter,
        octave=r["pitch"] // 12 - 1,
        hand=r["hand"],
        staff=1 if r["hand"] == "right" else 2,
        voice="1",
        bar=int(r["onset"] // bar_q),
        grace=grace,
        optional=r.get("optional", False),
        ornament=r.get("ornament", ""),
        arpeggiated=r.get("arpeggiated", False),
        unison=i,
    )


def two_hands(bars: int = 6, seed: int = 4) -> Arrangement:
    """A melody over an arpeggio that does not repeat itself: every place can be told."""
    rng = np.random.default_rng(seed)
    rows = []
    for bar in range(bars):
        root = int(rng.integers(40, 52))
        for k in range(8):
            step = (0, 7, 12, 16)[k % 4] + (k // 4) * 2
            rows.append(note(bar * 4 + k / 2, root + step, duration=0.5, hand="left"))
        rows.extend(note(bar * 4 + k, int(rng.integers(67, 86))) for k in range(4))
    return page(rows)


def play(
    arrangement: Arrangement,
    order: Iterable[int] | None = None,
    *,
    s_per_q: float = 0.6,
    start_s: float = 1.0,
) -> list[PlayedNote]:
    """The notes struck where they are written, at an even pace, in their order of onset."""
    chosen = range(len(arrangement.notes)) if order is None else order
    rows = [(float(arrangement.notes[k].onset_q), arrangement.notes[k].pitch) for k in chosen]
    return strokes([(start_s + q * s_per_q, pitch) for q, pitch in rows])


def strokes(rows: Iterable[tuple[float, int]], first: int = 0) -> list[PlayedNote]:
    """(seconds, pitch) as played notes, in order."""
    ordered = sorted(rows)
    return [PlayedNote(first + i, p, 64, s, s + 0.2) for i, (s, p) in enumerate(ordered)]


def noise(rng: np.random.Generator, count: int) -> list[PlayedNote]:
    """Keys struck at random."""
    times = np.cumsum(rng.exponential(0.2, count)).tolist()
    return strokes(zip(times, rng.integers(30, 100, count).tolist(), strict=True))


def follow(arrangement: Arrangement, notes: Sequence[PlayedNote], **how: Any) -> list[Finding]:
    """What stands at the end of following note by note: one a note in order, then missing."""
    follower = Follower(arrangement, **how)
    last: dict[int, Finding] = {}
    missing: list[Finding] = []
    said = [f for n in notes for f in follower.hear(n)] + follower.finish()
    for f in said:
        if f.played is None:
            missing.append(f)
        else:
            last[f.played] = f
    return [last[n.index] for n in notes] + missing


def whats(findings: Iterable[Finding]) -> list[str]:
    """The kinds, in order."""
    return [f.what for f in findings]
