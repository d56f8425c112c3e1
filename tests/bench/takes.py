"""Takes with truth, for checks and benchmarks: recorded, simulated, spliced, with planted slips.

Truth by construction wherever something is changed: a planted or spliced note carries its own
label along. All chance comes from the generator passed in.
"""

from __future__ import annotations

import csv
import re
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from engine.arrangement import Arrangement, Hands, Span
from engine.findings import Finding
from engine.performance import PlayedNote, pair_notes
from practice.player import Character, perform_with_truth
from practice.store.recording import read_recording

ORNAMENT, NOTHING = -2, -1
#: Which time through: after @ by the reader, and -1, -2 in ids of files with repeats written out.
WRITTEN_OUT = re.compile(r"(-\d+)*@\d+$")


@dataclass(frozen=True, slots=True)
class Part:
    """One stretch of a spliced rehearsal: played notes [first, last], from and to which quarters,
    how many times as slow as recorded."""

    first: int
    last: int
    from_q: float
    to_q: float
    stretch: float


@dataclass(frozen=True, slots=True)
class Take:
    """Played notes and, for each, the index of its score note, `NOTHING` or `ORNAMENT`.

    `left_out`: score notes that were written where the player was and not played (known only
    where slips were planted); `parts`: how it was spliced.
    """

    name: str
    notes: tuple[PlayedNote, ...]
    truth: tuple[int, ...]
    left_out: tuple[int, ...] = ()
    parts: tuple[Part, ...] = ()


def recorded_take(midi: Path, arrangement: Arrangement) -> Take:
    """A recording with its table of truth beside it."""
    notes = read_recording(midi).notes
    with midi.with_suffix("").with_suffix(".truth.tsv").open(newline="") as file:
        rows = list(csv.DictReader(file, delimiter="\t"))
    ids = [(row["score_id"] or "").strip() for row in rows]
    if [n.pitch for n in notes] != [int(row["pitch"]) for row in rows]:
        raise ValueError(f"{midi}: notes and truth differ")
    index = arrangement.index_of
    truth = [ORNAMENT if i == "ornament" else index[i] if i else NOTHING for i in ids]
    return Take(f"{midi.parent.name}/{midi.stem}", tuple(notes), tuple(truth))


def simulated_take(
    name: str,
    arrangement: Arrangement,
    character: Character,
    rng: np.random.Generator,
    *,
    span: Span | None = None,
    hands: Hands = "both",
    rate: float = 1.0,
) -> Take:
    """A performance by the simulated pianist."""
    done = perform_with_truth(arrangement, character, rng, span=span, hands=hands, rate=rate)
    notes = pair_notes(list(done.events)).notes
    label = {
        t.played: ORNAMENT if t.what == "ornament" else NOTHING if t.score is None else t.score
        for t in done.truth
    }
    truth = [label[n.index] if label[n.index] is not None else NOTHING for n in notes]
    return Take(name, notes, tuple(truth), tuple(done.missing))


def plant_slips(
    take: Take, rng: np.random.Generator, *, wrong: float, extra: float, left_out: float
) -> Take:
    """Shares of the notes struck on another key, joined by another key, or not struck."""
    rows: list[tuple[PlayedNote, int]] = []
    gone: list[int] = []
    for note, label in zip(take.notes, take.truth, strict=True):
        chance = rng.random()
        if label >= 0 and chance < left_out:
            gone.append(label)
        elif label >= 0 and chance < left_out + wrong:
            rows.append((_beside(note, rng), NOTHING))
        else:
            rows.append((note, label))
        if chance > 1.0 - extra:
            rows.append((_brushed(note, rng), NOTHING))
    return _in_order(take, rows, left_out=take.left_out + tuple(gone))


def keep_hand(take: Take, arrangement: Arrangement, right: bool) -> Take:
    """The take with the other hand's notes removed (and what belongs to nothing as well)."""
    hand = arrangement.table["hand"]
    rows = [
        (note, label)
        for note, label in zip(take.notes, take.truth, strict=True)
        if label >= 0 and bool(hand[label]) == right
    ]
    return _in_order(take, rows)


def with_loudness(take: Take, rng: np.random.Generator, *, sd: float | None) -> Take:
    """Every velocity varied by a normal deviate; `sd` None: all alike, as without touch."""
    away = np.zeros(len(take.notes)) if sd is None else rng.normal(0.0, sd, len(take.notes))
    notes = tuple(
        replace(n, velocity=64 if sd is None else min(max(round(n.velocity + x), 1), 127))
        for n, x in zip(take.notes, away.tolist(), strict=True)
    )
    return replace(take, notes=notes)


def splice_rehearsal(
    take: Take, arrangement: Arrangement, rng: np.random.Generator, *, parts: int
) -> Take:
    """The take cut and joined as a rehearsal goes: stop, go back, go on, jump, at other tempos."""
    q = np.array([arrangement.table["onset_q"][k] if k >= 0 else np.nan for k in take.truth])
    onset_s = np.array([n.onset_s for n in take.notes])
    starts = _cutting_points(take, q)
    rows: list[tuple[PlayedNote, int]] = []
    spans: list[tuple[int, int, float]] = []
    now_s, at = 0.5, 0
    for _ in range(parts):
        length = int(rng.integers(12, max(len(q) // 3, 40)))
        stop = int(starts[min(np.searchsorted(starts, at + length), len(starts) - 1)])
        stretch = float(np.exp(rng.uniform(np.log(0.8), np.log(1.6))))
        for i in range(at, stop):
            note = take.notes[i]
            move = now_s - onset_s[at] * stretch
            rows.append((_moved(note, stretch, move), take.truth[i]))
        spans.append((at, stop, stretch))
        now_s += (onset_s[stop - 1] - onset_s[at]) * stretch + float(rng.uniform(1.0, 5.0))
        at = _next_start(at, stop, starts, q, arrangement, rng)
    return replace(_in_order(take, rows), parts=_parts_of(spans, q))


def _cutting_points(take: Take, q: np.ndarray) -> np.ndarray:
    """Played notes that begin a new moment of the score, with nothing from before after them."""
    filled = np.where(np.isnan(q), -np.inf, q)
    before = np.maximum.accumulate(np.concatenate([[-np.inf], filled[:-1]]))
    after = np.minimum.accumulate(np.where(np.isnan(q), np.inf, q)[::-1])[::-1]
    points = np.flatnonzero((q > before) & (after >= q))
    return np.concatenate([points, [len(q)]])


def _next_start(
    at: int,
    stop: int,
    starts: np.ndarray,
    q: np.ndarray,
    arrangement: Arrangement,
    rng: np.random.Generator,
) -> int:
    """Where the player goes on: mostly back a little, to the start of a bar; else anywhere."""
    usable = starts[starts < len(q) - 12]
    kind = rng.random()
    if kind < 0.15:
        return int(usable[0])
    if kind < 0.3:
        return int(rng.choice(usable))
    if kind < 0.4 and stop < len(q) - 12:
        return stop
    here_q = float(np.nanmax(q[at:stop]))
    bar = arrangement.bar_at(here_q).index - int(rng.integers(0, 7))
    wanted_q = float(arrangement.bars[max(bar, 0)].onset_q)
    if rng.random() < 0.3:
        wanted_q += float(rng.uniform(0.0, 3.0))
    return int(usable[min(np.searchsorted(q[usable], wanted_q), len(usable) - 1)])


def _parts_of(spans: list[tuple[int, int, float]], q: np.ndarray) -> tuple[Part, ...]:
    parts, first = [], 0
    for at, stop, stretch in spans:
        last = first + stop - at - 1
        parts.append(
            Part(first, last, float(np.nanmin(q[at:stop])), float(np.nanmax(q[at:stop])), stretch)
        )
        first = last + 1
    return tuple(parts)


def _moved(note: PlayedNote, stretch: float, move_s: float) -> PlayedNote:
    return replace(
        note,
        onset_s=note.onset_s * stretch + move_s,
        release_s=note.release_s * stretch + move_s,
    )


def _beside(note: PlayedNote, rng: np.random.Generator) -> PlayedNote:
    step = int(rng.choice([-2, -1, 1, 2, 12, -12], p=[0.2, 0.25, 0.25, 0.2, 0.05, 0.05]))
    pitch = note.pitch + step
    return replace(note, pitch=pitch if 21 <= pitch <= 108 else note.pitch - step)


def _brushed(note: PlayedNote, rng: np.random.Generator) -> PlayedNote:
    late_s = float(rng.uniform(-0.03, 0.15))
    beside = _beside(note, rng)
    return replace(beside, onset_s=note.onset_s + late_s, release_s=note.onset_s + late_s + 0.1)


def _in_order(
    take: Take, rows: list[tuple[PlayedNote, int]], left_out: tuple[int, ...] = ()
) -> Take:
    rows = sorted(rows, key=lambda row: (row[0].onset_s, row[0].pitch))
    notes = tuple(replace(note, index=i) for i, (note, _) in enumerate(rows))
    return Take(take.name, notes, tuple(label for _, label in rows), left_out)


def one_key_names(folder: Path) -> dict[str, str]:
    """Note ids that are one key at one moment (two voices in unison), to the first of them."""
    path = folder / "unisons.tsv"
    if not path.exists():
        return {}
    groups = [line.split() for line in path.read_text().splitlines()]
    return {name: group[0] for group in groups for name in group}


@dataclass(frozen=True, slots=True)
class Scores:
    """Figures of one take, as usual in note alignment: pairs, precision and recall.

    `anywhere`: share of notes given the right written note, not minding which time through;
    `extra`: (hit, found, true) of the notes that answer to nothing.
    """

    match_f: float
    accuracy: float
    anywhere: float
    extra: tuple[int, int, int]


def f_of(hit: int, found: int, true: int) -> float:
    """F from counts; 1 where there was nothing to find and nothing was found."""
    if not found and not true:
        return 1.0
    return 2.0 * hit / (found + true)


def score_findings(
    take: Take,
    findings: list[Finding],
    arrangement: Arrangement,
    one_key: dict[str, str] | None = None,
) -> Scores:
    """Compare findings with the truth; ornaments are left out of every figure.

    `one_key`: note ids that are one key at one moment, to the id that stands for them.
    """
    names = one_key or {}
    table, notes = arrangement.table, arrangement.notes

    def name(k: int) -> str:
        leader = int(table["unison"][k])
        note = notes[leader]
        base = names.get(note.note_id, note.note_id)
        return f"{base}@{note.time}"

    by_played = {f.played: f for f in findings if f.played is not None}
    pairs = []
    for note, label in zip(take.notes, take.truth, strict=True):
        if label == ORNAMENT:
            continue
        score = by_played[note.index].score
        pairs.append((name(label) if label >= 0 else "", "" if score is None else name(score)))
    hit = sum(t == g != "" for t, g in pairs)
    found, true = sum(g != "" for _, g in pairs), sum(t != "" for t, _ in pairs)
    none = (
        sum(t == g == "" for t, g in pairs),
        sum(g == "" for _, g in pairs),
        sum(t == "" for t, _ in pairs),
    )
    count = max(len(pairs), 1)
    base = [(WRITTEN_OUT.sub("", t), WRITTEN_OUT.sub("", g)) for t, g in pairs]
    return Scores(
        f_of(hit, found, true),
        sum(t == g for t, g in pairs) / count,
        sum(t == g for t, g in base) / count,
        none,
    )
